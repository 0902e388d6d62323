"""Frames that never join a set: composites made in the camera, and dividers."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from grouper.group.looking import is_sure
from grouper.group.pairs import FOR_GOOD, STOP_EV, Pairs, median
from grouper.model import Frame, Glance, Preview, Set

WIDE_ASPECT = 2.0
"""No sensor is wider than 2:1 on its own; a picture beyond that was put together (16:9 and
65:24 crops of single frames stay below or are rare: 65:24 is a crop of a wide body and counts
as a composite only when it is wider than anything else the body made)."""
COMMON_FLAG = 0.5
"""A body that flags more than this share of its frames as composites flags ordinary frames
(phones that merge every exposure do): there the flag alone says nothing."""
BLANK_SPREAD = 0.035
"""Grey levels that spread by less than this share of full scale show nothing: noise and the
falling-off of a lens at the corners stay below."""
DARK_MEAN = 0.06
"""A lens cap or a hand on the glass."""
BLUR_SHARE = 0.65
"""A hand before the lens is far out of focus: well below what its neighbours usually are."""
RHYTHM_FACTOR = 2.0
"""A hand keeps the rhythm of a sweep to a third either way; twice the pause is out of it
(common practice, no source)."""
SAME_LIGHT_EV = 2.0
"""A dark frame exposed much less than its neighbours is the dark leg of a bracket or a slip of
the exposure, not a cap."""


def split_previews(frames: Sequence[Frame]) -> tuple[list[Frame], list[Frame]]:
    """Separate composites from ordinary frames: (frames, previews)."""
    flagged = Counter((f.make, f.model, f.serial) for f in frames if f.composite)
    every = Counter((f.make, f.model, f.serial) for f in frames)
    wide = Counter((f.make, f.model, f.serial) for f in frames if _is_wide(f))
    ordinary: list[Frame] = []
    previews: list[Frame] = []
    for frame in frames:
        body = (frame.make, frame.model, frame.serial)
        told = frame.composite and flagged[body] <= max(1.0, COMMON_FLAG * every[body])
        # A body that shoots wide throughout was set to a wide crop.
        seen = _is_wide(frame) and wide[body] <= max(1.0, COMMON_FLAG * every[body])
        (previews if told or seen else ordinary).append(frame)
    return ordinary, previews


def _is_wide(frame: Frame) -> bool:
    size = frame.upright_px
    return size is not None and min(size) > 0 and max(size) / min(size) >= WIDE_ASPECT


def attach_previews(
    previews: Iterable[Frame], sets: Sequence[Set], within_s: float
) -> tuple[Preview, ...]:
    """Attach each preview to the panorama nearest in time, if one is within ``within_s``."""
    attached = []
    for frame in sorted(previews, key=lambda f: f.file):
        nearest, best = None, within_s
        for panorama in sets:
            apart = _seconds_apart(frame, panorama)
            if panorama.kind == "panorama" and apart is not None and apart <= best:
                nearest, best = panorama.id, apart
        attached.append(Preview(file=frame.file, set_id=nearest))
    return tuple(attached)


def _seconds_apart(frame: Frame, group: Set) -> float | None:
    times = [f.taken for f in group.frames if f.taken is not None]
    if frame.taken is None or not times:
        return None
    if min(times) <= frame.taken <= max(times):
        return 0.0
    return min(abs((frame.taken - time).total_seconds()) for time in (min(times), max(times)))


def find_dividers(pairs: Pairs) -> frozenset[int]:
    """Indexes of frames that show nothing though their neighbours do.

    A bright blank frame in the rhythm of a sweep may be its patch of sky, so only dark ones
    and bright ones that no neighbour overlaps with and that break the rhythm count.
    """
    found = set()
    for i, glance in enumerate(pairs.glances):
        if glance is None or glance.spread > BLANK_SPREAD:
            continue
        around = [j for j in range(max(0, i - 3), min(len(pairs.glances), i + 4)) if j != i]
        others = [pairs.glances[j] for j in around]
        if not any(g is not None and g.spread > BLANK_SPREAD for g in others):
            continue
        usual = median(float(pairs.light[j]) for j in around)
        light = float(pairs.light[i])
        dimmed = usual is not None and np.isfinite(light) and light < usual - SAME_LIGHT_EV
        # What shows enough to be matched with a neighbour is a dark picture, not a cap.
        matched = is_sure(pairs.seen(i - 1, i)) or is_sure(pairs.seen(i, i + 1))
        if glance.mean < DARK_MEAN and not dimmed and not matched:
            found.add(i)
    found |= _blurs(pairs)
    return frozenset(found)


def _blurs(pairs: Pairs) -> set[int]:
    """Frames of something held before the lens: out of focus, and alone between two sweeps.

    The neighbours on either side overlap their own neighbours, the frame overlaps nothing.
    """
    found = set()
    for i in range(2, len(pairs.frames) - 2):
        sharp = [g.sharpness for j in (i - 2, i - 1, i + 1, i + 2) if (g := pairs.glances[j])]
        own = pairs.glances[i]
        if own is None or len(sharp) < 4 or own.sharpness > BLUR_SHARE * statistics.median(sharp):
            continue
        before, after = pairs.seen(i - 2, i - 1), pairs.seen(i + 1, i + 2)
        if any(pairs.changed[name][link] for name in FOR_GOOD for link in (i - 1, i)):
            continue  # a divider is shot with the rig as it stands
        if _is_leg(pairs, i):
            continue  # a blown or black leg of a bracket is as smooth as a hand
        if is_blank(own) and not _breaks_rhythm(pairs, i):
            continue  # a sweep's patch of sky
        alone = not is_sure(pairs.seen(i - 1, i)) and not is_sure(pairs.seen(i, i + 1))
        if alone and is_sure(before) and is_sure(after):
            found.add(i)
    return found


def _breaks_rhythm(pairs: Pairs, i: int) -> bool:
    """Whether a pause beside a frame is much longer than those of the frames around it."""
    usual = median(float(pairs.pause_s[link]) for link in (i - 2, i + 1))
    beside = [float(pairs.pause_s[link]) for link in (i - 1, i)]
    return usual is not None and max(beside) > RHYTHM_FACTOR * max(usual, 1.0)


def _is_leg(pairs: Pairs, i: int) -> bool:
    """Whether a frame was exposed on purpose unlike the frames before and after it.

    A meter that sees a hand moves by as much, so in automatic exposure only the body's word or
    a changed compensation counts.
    """
    frame, around = pairs.frames[i], (i - 1, i + 1)
    if not all(abs(pairs.light[i] - pairs.light[j]) > STOP_EV for j in around):
        return False
    moved = all(pairs.frames[j].bias_ev != frame.bias_ev for j in around)
    return frame.program in ("manual", None) or bool(frame.bracketing) or moved


def is_blank(glance: Glance | None) -> bool:
    """Whether a picture shows nothing that could be matched."""
    return glance is not None and glance.spread <= BLANK_SPREAD
