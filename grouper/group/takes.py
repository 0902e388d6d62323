"""Takes: a sweep that was shot again, within one stretch or as another set."""

from __future__ import annotations

from collections.abc import Sequence

from grouper.group.views import Places, same_place

FEWEST_VIEWS = 2
COVERED = 0.6
"""A second pass over this share of the views is another take; fewer are spares."""


def second_take_starts(places: Places) -> int | None:
    """Index of the frame where a second complete go at the set begins, or ``None``.

    Looks for the cut that leaves as few repeated places as possible on either side, each side
    covering most of the views. Legs shot sweep by sweep are other places, not repeats.
    """
    place = same_place(places)
    count, views = len(place), len(set(places.view))
    if views < FEWEST_VIEWS or len(set(place.tolist())) == count:
        return None
    best: tuple[int, int] | None = None
    for cut in range(FEWEST_VIEWS, count - FEWEST_VIEWS + 1):
        before, after = place[:cut].tolist(), place[cut:].tolist()
        views_before, views_after = set(places.view[:cut]), set(places.view[cut:])
        if min(len(views_before), len(views_after)) < max(FEWEST_VIEWS, COVERED * views):
            continue
        shared = len(set(before) & set(after))
        if shared < COVERED * min(len(set(before)), len(set(after))):
            continue
        repeats = len(before) - len(set(before)) + len(after) - len(set(after))
        if best is None or repeats < best[0]:
            best = (repeats, cut)
    return None if best is None else best[1]


def same_scene(spans: Sequence[tuple[float, float]]) -> bool:
    """Whether two yaw ranges (low, high) on one scale cover mostly the same directions."""
    (low_a, high_a), (low_b, high_b) = spans
    shared = min(high_a, high_b) - max(low_a, low_b)
    return shared >= COVERED * min(high_a - low_a, high_b - low_b)
