"""Clocks of several bodies, held against each other by what both of them saw.

Where two bodies photographed the same thing they were most often there together, so the
difference of the times of such frames is that of the clocks, give or take the minutes they
stayed. One place says nothing: one photographer may have come an hour later. Several places hours
apart that say the same do (voting on pairwise differences: Yang, Luo, Yu & Huang, *Photo Stream
Alignment*, WSM 2011).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from grouper.contracts import Eye
from grouper.group.strands import Strand
from grouper.model import Body, Frame, Set

_MOST_OWN, _MOST_OTHER = 12, 48
"""Frames of a body and of the first that are held against each other: a dozen spread over the
day, and of the first body enough to cover its sweeps all round. Some seconds of looking."""
_SURE = 0.97
"""Hundreds of pairs are looked at of which few belong together, so each must be surer than a
neighbour in a sweep."""
_LEAST_OVERLAP = 0.1
"""Less common ground shows that two bodies looked the same way, not from the same place."""
_STAY_S = 600.0
"""Two photographers who work together are at one place within ten minutes (practice)."""
_PLACES_APART_S = 1200.0
"""Frames of one place are closer in time than this, those of two places further apart."""
_LEAST_PLACES = 2
"""One place may be a chance likeness that fits one wrong difference as well as another."""
_LEAST_PER_PLACE = 2
"""Of two places each needs a second pair that says so; three places vouch for one another."""
_CLEAR = 2.0
"""The difference must be borne out by this many times as many pairs as any other."""
_ROUND_S = 60.0
"""What both saw tells minutes, not seconds."""


@dataclass(frozen=True, slots=True)
class _Shared:
    """Two frames that show the same: when each body took its own, by its own clock."""

    first_s: float
    other_s: float

    @property
    def add_s(self) -> float:
        return self.first_s - self.other_s


def with_offsets(
    bodies: Sequence[Body], strands: Sequence[Strand], sets: Sequence[Set], eye: Eye
) -> tuple[Body, ...]:
    """The bodies with their clocks' offsets: nought for the first, ``None`` where unknown."""
    told: list[Body] = []
    for body, strand in zip(bodies, strands, strict=True):
        if not told:
            told.append(replace(body, clock_offset_s=0.0))
            continue
        add_s = _offset(_shared(strands[0], strand, sets, eye))
        told.append(replace(body, clock_offset_s=add_s))
    return tuple(told)


def _shared(first: Strand, other: Strand, sets: Sequence[Set], eye: Eye) -> list[_Shared]:
    """Pairs of frames of two bodies that surely overlap.

    Half of the pairs are looked at first, as the black squares of a board lie. Offsets rest on
    several pairs, and neighbours show the same place: where the black ones show nothing in common,
    the white ones are left.
    """
    theirs = _spread(list(_telling(first, sets)), _MOST_OTHER)
    own = _spread(list(_telling(other, sets)), _MOST_OWN)
    shared: list[_Shared] = []
    for colour in (0, 1):
        pairs = [
            (a, b) for j, b in enumerate(own) for i, a in enumerate(theirs) if (i + j) % 2 == colour
        ]
        seen = eye.compare([(a[0], b[0]) for a, b in pairs], quick=True)
        shared += [
            _Shared(a[1], b[1])
            for (a, b), sighting in zip(pairs, seen, strict=True)
            if sighting is not None
            and sighting.certainty >= _SURE
            and sighting.overlap >= _LEAST_OVERLAP
        ]
        if not shared:
            break
    return sorted(shared, key=lambda pair: (pair.other_s, pair.first_s))


def _telling(strand: Strand, sets: Sequence[Set]) -> Iterator[tuple[Frame, float]]:
    """Frames and their times: of a panorama each view, of other sets one frame, all singles."""
    passed: set[str] = set()
    for found in sets:
        kept: set[int] = set()
        for member in found.members:
            if member.view in kept or member.spare:
                passed.add(member.frame.file)
            kept.add(member.view)
    for frame, at_s in zip(strand.frames, strand.at_s, strict=True):
        if at_s is not None and frame.file not in passed:
            yield frame, at_s


def _spread(frames: list[tuple[Frame, float]], most: int) -> list[tuple[Frame, float]]:
    step = max(1, math.ceil(len(frames) / most))
    return frames[::step]


def _offset(shared: Sequence[_Shared]) -> float | None:
    """Seconds to add to the other clock, where several places agree on them; whole minutes."""
    groups = [
        [pair for pair in shared if abs(pair.add_s - about.add_s) <= _STAY_S] for about in shared
    ]
    groups = [group for group in groups if _is_borne_out(group)]
    if not groups:
        return None
    best = max(groups, key=len)
    others = [pair for pair in shared if pair not in best]
    rival = max((sum(abs(p.add_s - q.add_s) <= _STAY_S for p in others) for q in others), default=0)
    if len(best) < _CLEAR * rival:
        return None
    middle = sorted(pair.add_s for pair in best)[len(best) // 2]
    if abs(middle) <= _STAY_S:  # one may always have been so much later at the same things
        return None
    return round(middle / _ROUND_S) * _ROUND_S


def _is_borne_out(group: Sequence[_Shared]) -> bool:
    places: list[list[_Shared]] = []
    for pair in sorted(group, key=lambda pair: pair.first_s):
        if places and pair.first_s - places[-1][-1].first_s < _PLACES_APART_S:
            places[-1].append(pair)
        else:
            places.append([pair])
    if len(places) > _LEAST_PLACES:
        return True
    return len(places) == _LEAST_PLACES and min(map(len, places)) >= _LEAST_PER_PLACE
