"""Takes: a sweep that was shot again, within one stretch or as another set."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from grouper.contracts import Eye
from grouper.group.looking import ask, is_sure
from grouper.group.pairs import FOR_GOOD, Pairs, changed_names
from grouper.group.views import Places, same_place
from grouper.model import Set

LONGEST_WAIT_S = 300.0
"""A new attempt at the same thing follows within minutes (common practice, no source)."""
SAME_VIEW_OVERLAP = 0.9
"""Frames that share nine tenths of the picture were aimed at one thing; a sweep steps further."""
SAME_AREA_OVERLAP = 0.4
"""Corner frames of two sweeps of one scene seldom match exactly; half a frame is enough."""
FEWEST_VIEWS = 2
"""A single view shot again is a spare, not another take."""
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
        if place[cut] not in before and abs(places.view[cut] - places.view[cut - 1]) <= 1:
            continue  # the sweep simply goes on here
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """A set and the frames ``first`` to ``last`` of its strand that it was built from."""

    group: Set
    first: int
    last: int
    again: bool = False
    """Known to be another go at what the set before it shows."""


def link_takes(pairs: Pairs, eye: Eye, built: Sequence[Built]) -> list[list[int]]:
    """Which consecutive sets of one strand are takes of the same thing.

    Args:
        pairs: the strand's evidence; what is looked at is added to it.
        eye: looks at a few pairs of frames of neighbouring sets.
        built: the strand's sets in shooting order.

    Returns:
        Lists of indexes into ``built``, each of two or more takes.
    """
    chains: list[list[int]] = []
    for i in range(len(built) - 1):
        a, b = built[i], built[i + 1]
        if not b.again and not (_may_be_takes(pairs, a, b) and _look_alike(pairs, eye, a, b)):
            continue
        if chains and chains[-1][-1] == i:
            chains[-1].append(i + 1)
        else:
            chains.append([i, i + 1])
    return chains


def _may_be_takes(pairs: Pairs, a: Built, b: Built) -> bool:
    """Whether two sets are alike in all but the pictures."""
    if a.group.kind != b.group.kind or a.group.kind in ("burst", "interval"):
        return False
    sizes = sorted((len(a.group.members), len(b.group.members)))
    if sizes[0] < COVERED * sizes[1] or not follows_soon(pairs, a.last, b.first):
        return False
    return not set(changed_names(a.group.frames[0], b.group.frames[0])) & set(FOR_GOOD)


def follows_soon(pairs: Pairs, last: int, first: int) -> bool:
    """Whether frame ``first`` was shot soon enough after ``last`` to be a new attempt."""
    before, after = pairs.strand.at_s[last], pairs.strand.at_s[first]
    return before is not None and after is not None and after - before <= LONGEST_WAIT_S


def _look_alike(pairs: Pairs, eye: Eye, a: Built, b: Built) -> bool:
    """Whether the pictures of two sets show the same views."""
    if a.group.kind != "panorama":
        ask(pairs, eye, [(a.last, b.first)])
        seen = pairs.seen(a.last, b.first)
        return seen is not None and is_sure(seen) and seen.overlap > SAME_VIEW_OVERLAP
    middles = (a.first + a.last) // 2, (b.first + b.last) // 2
    wanted = [(i, j) for i in (a.first, a.last) for j in (b.first, b.last)] + [middles]
    wanted = [pair for pair in dict.fromkeys(wanted) if pair[0] < pair[1]]
    ask(pairs, eye, wanted)
    seen_alike = [s for i, j in wanted if (s := pairs.seen(i, j)) and is_sure(s)]
    return sum(s.overlap > SAME_AREA_OVERLAP for s in seen_alike) >= 2
