"""Which pairs of pictures to compare: neighbours first, then what a chain leaves open.

Never all pairs. A frame that does not overlap the one before is held against earlier frames of
the chain it follows: that is how a new row, a second sweep at another exposure or the end of a
circle shows itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TypeGuard

from grouper.contracts import Eye
from grouper.group.pairs import FOR_GOOD, STOP_EV, Pairs, changed_names
from grouper.model import Frame, Sighting

SURE = 0.5
"""Certainty from which two frames are taken to overlap: more than an even bet."""
SETTLED = 0.9
"""Certainty that needs no second look (the search itself goes no further from here)."""
SAME_VIEW_SHARE = 0.06
"""Frames shifted by less than this share of the frame look at one view: a tripod that settles
and a breathing lens stay below it, and no sweep steps by so little."""
SAME_STEP_DEG = 2.0
"""Expected turns this near are looked for in the same place."""
MOST_TIES = (6, 3, 2)
"""Of the last chain, the one before, and the one before that: how many frames the first frame
behind the last one is held against. The ends count most, for a new row, a second sweep and the end
of a circle begin there. A third row lies beside the first, and a lost frame parts a row in two."""
LATER_TIES = (2, 2, 2)
"""The same for frames further behind: the ends will do to find on after a lost frame or a cap
(with more, not one of 450 rendered panoramas came out otherwise)."""
MOST_MISSES = 3
"""Frames in a row that overlap nothing before a chain counts as ended: a lost frame, a cap, a
frame of blank sky. The one behind them is held against its end alone: a sweep goes on from there
after so many frames of something else."""
FEWEST_TO_CLOSE = 4
"""No lens but a fisheye closes a circle with fewer frames."""
LONGEST_CHANGE_S = 120.0
"""A slip of the zoom or the lens within a set is mended at once; two minutes later with another
focal length, lens, orientation or size it is another subject (common practice, no source)."""
LONGEST_PAUSE_S = 1800.0
"""Half an hour later nobody goes on with a sweep: the light has changed."""
MOST_CLOSER, FREE_CLOSER = 0.1, 50
"""Share of the pairs at the most, but so many in any case, for which larger pictures are decoded: a
night or a fog would have a whole card opened anew. Of mixed days one or two in a hundred are looked
at so (rendered)."""
LEFT_OPEN = 0.03
"""Certainty from which two frames may yet be found to overlap: of thin overlaps that were missed
one in eight was less certain than this, of strangers two thirds."""
ONE_RHYTHM = 2.0
"""A pause up to so many times the one beside it may be of the same sweep: a steady hand keeps
within a third either way, and one in fifty such pauses is longer (common practice, no source)."""
SHORTEST_PART = 500
"""Pairs that are gone through together: many at once is quicker, and this many pictures are kept
(see ``SightSettings.shelved``)."""


def look_at_neighbours(pairs: Pairs, eye: Eye) -> None:
    """Fill ``pairs.sightings`` with all neighbours and the ties back into their chains.

    A long day is gone through part by part, so that its pictures are at hand all the while.
    """
    for part in _parts(pairs):
        worth = [i for i in part if _worth_a_look(pairs, i)]
        apart = [_likely_apart(pairs, i) for i in worth]
        # In one go, so that every picture is taken in hand once.
        ask(pairs, eye, [(i, i + 1) for i in worth], quick=apart)
        look_again(pairs, eye, part)
        look_closer(pairs, eye, part)
        ask(pairs, eye, chain_ties(pairs, part), quick=True)


def _parts(pairs: Pairs) -> Iterator[range]:
    """The pairs in stretches between pauses over which nothing is tied, none of them short."""
    first = 0
    for i in range(len(pairs.frames) - 1):
        if i - first >= SHORTEST_PART and float(pairs.pause_s[i]) > LONGEST_PAUSE_S:
            yield range(first, i)
            first = i
    yield range(first, len(pairs.frames) - 1)


def look_again(pairs: Pairs, eye: Eye, part: range) -> None:
    """Where neighbours were unsure, look where the sweep on either side lets expect them.

    A sweep steps evenly, so beside a sure step the next is looked for in a tenth of the
    picture: chance seldom finds anything there.
    """
    frames = pairs.frames
    wanted = [
        (i, turn_deg)
        for i in part
        if (i, i + 1) in pairs.sightings
        and not _likely_apart(pairs, i)
        and not is_settled(pairs.seen(i, i + 1))
        for turn_deg in _steps_beside(pairs, i)
    ]
    seen = eye.compare_near(
        [(frames[i], frames[i + 1]) for i, _ in wanted], [turn_deg for _, turn_deg in wanted]
    )
    for (i, _), sighting in zip(wanted, seen, strict=True):
        before = pairs.seen(i, i + 1)
        if sighting is not None and (before is None or sighting.certainty > before.certainty):
            pairs.sightings[i, i + 1] = sighting


def look_closer(pairs: Pairs, eye: Eye, part: range) -> None:
    """Where neighbours are too plain to tell, or left in doubt, look at larger pictures of them.

    Only beside a pair that does overlap, where it decides how far a set goes on: so on from pair to
    pair as long as that shows more of them.
    """
    asked: set[int] = set()
    most = max(FREE_CLOSER, round(MOST_CLOSER * len(part)))
    while wanted := [i for i in part if i not in asked and _may_go_on(pairs, i)][
        : most - len(asked)
    ]:
        asked.update(wanted)
        seen = eye.compare_closely([(pairs.frames[i], pairs.frames[i + 1]) for i in wanted])
        for i, sighting in zip(wanted, seen, strict=True):
            if sighting is not None or pairs.seen(i, i + 1) is None:
                pairs.sightings[i, i + 1] = sighting


def _may_go_on(pairs: Pairs, i: int) -> bool:
    """Whether a pair that thumbnails leave open may go on with what overlaps beside it.

    A thin overlap, or a faint one, is found in doubt; of the strangers beside a set, for which the
    same is found, most come after a longer pause than the set's own.
    """
    beside = [k for k in (i - 1, i + 1) if is_sure(pairs.seen(k, k + 1))]
    if not beside or _likely_apart(pairs, i):
        return False
    seen = pairs.seen(i, i + 1)
    if seen is None:
        return True
    # Whole seconds make a quick rhythm uneven, with pauses of nothing, or of less.
    longest = ONE_RHYTHM * max(0.0, *(float(pairs.pause_s[k]) for k in beside))
    longest += float(pairs.pause_slack_s[i])
    return LEFT_OPEN <= seen.certainty <= SURE and bool(pairs.pause_s[i] <= longest)


def _steps_beside(pairs: Pairs, i: int) -> list[tuple[float, float, float]]:
    """The sure steps of the chains before and after a pair, nearest first, without doubles."""
    steps = []
    for ahead in (-1, 1):
        k = i + ahead
        while 0 <= k < len(pairs.frames) - 1:
            sighting = pairs.seen(k, k + 1)
            if sighting is None or not is_settled(sighting):
                break
            if not is_still(sighting):
                steps.append(sighting.turn_deg)
                break
            k += ahead  # another leg of the same view
    if len(steps) == 2 and math.dist(*steps) < SAME_STEP_DEG:
        return steps[:1]
    return steps


def is_settled(sighting: Sighting | None) -> TypeGuard[Sighting]:
    """Whether two frames so surely overlap that nothing need be looked for again."""
    return sighting is not None and sighting.certainty > SETTLED


def ask(
    pairs: Pairs,
    eye: Eye,
    wanted: Sequence[tuple[int, int]],
    *,
    quick: bool | Sequence[bool] = False,
) -> None:
    """Compare the wanted pairs that have not been compared yet (see ``Eye.compare``)."""
    each = [quick] * len(wanted) if isinstance(quick, bool) else quick
    new = {
        pair: hasty for pair, hasty in zip(wanted, each, strict=True) if pair not in pairs.sightings
    }
    frames: Sequence[Frame] = pairs.frames
    seen = eye.compare([(frames[i], frames[j]) for i, j in new], quick=list(new.values()))
    for pair, sighting in zip(new, seen, strict=True):
        pairs.sightings[pair] = sighting


def chain_ties(pairs: Pairs, part: range) -> list[tuple[int, int]]:
    """Pairs (earlier frame of a chain, frame) for frames that do not overlap the one before."""
    wanted: list[tuple[int, int]] = []
    chain: list[int] = [part.start]  # frames that hang together one by one
    anchors: list[list[int]] = []  # the last such chains of two or more, newest first
    misses = 0
    for i in part:
        if is_sure(pairs.seen(i, i + 1)):
            if not is_settled(pairs.seen(i, i + 1)):
                # By chance, it may be: where the frame belongs, earlier ones tell better.
                wanted += [(k, i + 1) for k in _sample(chain, MOST_TIES[0]) if k != i]
            chain.append(i + 1)
            misses = 0
            continue
        if len(chain) >= 2:
            anchors = [chain, *anchors[: len(MOST_TIES) - 1]]
            wanted += _closing(pairs, chain)
        misses += 1
        if float(pairs.pause_s[i]) > LONGEST_PAUSE_S:
            anchors = []
        if anchors and (leg := _like_leg(pairs, anchors[0], i + 1)) is not None:
            wanted.append((leg, i + 1))
        for most, anchor in zip(_most_ties(misses), anchors, strict=False):
            if not _changed_for_good(pairs, anchor[-1], i + 1):
                wanted += [(k, i + 1) for k in _sample(anchor, most) if k != i]
        if misses > MOST_MISSES:
            anchors = []
        chain = [i + 1]
    if len(chain) >= 2:
        wanted += _closing(pairs, chain)
    return wanted


def _like_leg(pairs: Pairs, chain: Sequence[int], frame: int) -> int | None:
    """The last frame of a chain exposed like a frame, where the one before it was not.

    The last leg of a bracket and the first of the next may show nothing alike: a blown sky and a
    black one.
    """
    light = pairs.light
    if not abs(light[frame] - light[frame - 1]) > STOP_EV:
        return None
    return next((k for k in reversed(chain) if abs(light[k] - light[frame]) <= STOP_EV), None)


def _most_ties(misses: int) -> tuple[int, ...]:
    """Of each chain, newest first, how many frames a frame is held against after misses."""
    if misses > MOST_MISSES:
        return (1,)
    return MOST_TIES if misses == 1 else LATER_TIES


def _likely_apart(pairs: Pairs, i: int) -> bool:
    """Whether neighbours are more likely two subjects, before anything was seen."""
    return _walked(pairs, i) or _changed_between(pairs, i)


def _worth_a_look(pairs: Pairs, i: int) -> bool:
    """Whether pictures could still make neighbours one set: not after a walk with another lens."""
    return not (_walked(pairs, i) and _changed_between(pairs, i))


def _walked(pairs: Pairs, i: int) -> bool:
    return float(pairs.pause_s[i]) > LONGEST_CHANGE_S


def _changed_between(pairs: Pairs, i: int) -> bool:
    return any(pairs.changed[name][i] for name in FOR_GOOD)


def _changed_for_good(pairs: Pairs, i: int, j: int) -> bool:
    return bool(set(changed_names(pairs.frames[i], pairs.frames[j])) & set(FOR_GOOD))


def _closing(pairs: Pairs, chain: Sequence[int]) -> list[tuple[int, int]]:
    """Pairs that tie the frame just before a chain to its end, as the start of a full turn."""
    before = chain[0] - 1
    if before < 0 or len(chain) < FEWEST_TO_CLOSE:
        return []
    if float(pairs.pause_s[before]) > LONGEST_PAUSE_S:
        return []
    return [(before, k) for k in (chain[1], chain[-2], chain[-1])]


def _sample(chain: Sequence[int], most: int) -> list[int]:
    """At most so many frames of a chain, spread evenly, with its ends; of one alone the last."""
    if len(chain) <= most:
        return list(chain)
    if most == 1:
        return [chain[-1]]
    step = (len(chain) - 1) / (most - 1)
    return sorted({chain[round(k * step)] for k in range(most)})


def is_sure(sighting: Sighting | None) -> bool:
    """Whether the pictures say that two frames overlap."""
    return sighting is not None and sighting.certainty > SURE


def is_still(sighting: Sighting) -> bool:
    """Whether two overlapping frames look at one view."""
    return shift_of(sighting) < SAME_VIEW_SHARE


def shift_of(sighting: Sighting) -> float:
    """How far the second frame is shifted against the first, as a share of the frame."""
    return math.hypot(*sighting.shift_share)
