"""The frames that close a sphere: straight up, straight down, after a full turn.

They overlap the ring by little or nothing and show blank sky or tripod legs, so no picture
ties them to it. What does: a full turn with a lens tall enough to make a sphere of, and one or
two frames that follow in its rhythm with nothing changed.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from grouper.group.pairs import FOR_GOOD, Pairs, median
from grouper.model import Layout

MOST_FRAMES = 2
"""Zenith and nadir. A hand that shoots more of either goes on to another subject."""
LEAST_HEIGHT_DEG = 80.0
"""A ring this tall leaves caps of at most 50 degrees half-width, which one frame each covers."""
LONGEST_PAUSE_FACTOR = 5.0
"""Tilting a head right up or down takes longer than clicking on, not longer than this."""
LOCKED = (*FOR_GOOD, "aperture", "iso", "shutter", "white_balance")
"""Nothing is set anew between a ring and the frames that close it."""


def closing_frames(
    pairs: Pairs, layout: Layout | None, first: int, last: int, taken: Collection[int]
) -> Sequence[int]:
    """Indexes of frames after ``last`` that close the sphere begun by ``first`` to ``last``.

    Args:
        pairs: the strand's evidence.
        layout: the panorama's layout; only a closed one is followed by such frames.
        first: first frame of the panorama on its strand.
        last: last frame of it.
        taken: frames that belong elsewhere already.
    """
    if layout is None or not layout.closed or layout.span_deg is None:
        return ()
    if layout.span_deg[1] < LEAST_HEIGHT_DEG:
        return ()
    usual = median(pairs.pause_s[first:last])
    if usual is None:
        return ()  # undated frames have no rhythm to follow in
    found: list[int] = []
    for frame in range(last + 1, min(last + 1 + MOST_FRAMES, len(pairs.frames))):
        link = frame - 1
        changed = any(pairs.changed[name][link] for name in LOCKED)
        in_rhythm = pairs.pause_s[link] <= LONGEST_PAUSE_FACTOR * max(usual, 1.0)
        if frame in taken or changed or not in_rhythm:
            break
        found.append(frame)
    # A frame more in the same rhythm and settings: the photographer simply went on.
    after = last + len(found)
    if found and after + 1 < len(pairs.frames) and after + 1 not in taken:
        on = not any(pairs.changed[name][after] for name in LOCKED)
        if on and pairs.pause_s[after] <= LONGEST_PAUSE_FACTOR * max(usual, 1.0):
            return ()
    return tuple(found)
