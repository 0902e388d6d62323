"""Comparing plates: search, refine, judge. Pure but for the caches of the geometry."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeGuard

import cv2
import numpy as np

from grouper.model import Sighting
from grouper.sight import align
from grouper.sight.plate import FINE, SCALES_PX, SCOUT, SEARCH
from grouper.sight.search import (
    FLAT_DEG,
    Candidate,
    Layer,
    Pair,
    Views,
    alike,
    candidates,
    views_for,
)
from grouper.sight.sphere import DoubleArray, View, about_x
from grouper.sight.verdict import Evidence, certainty

LEAST_OVERLAP = 0.07
"""Common ground below this share of a frame is too little to be told from chance on a
thumbnail, and too little for any set."""
SURE = 0.9
"""Certainty from which a match ends the search and tells of later ones."""
_CANDIDATES = 3
"""On rendered pairs the right shift was among the first three in 85 %, the first five in 86 %."""
_REFINED = 3
"""Candidates refined at once, of all ways of holding together: of 1,486 rendered matches 99 % were
the candidate that stood out most, and none came after the third."""
_LEAST_SCORE = 2.7
"""No match is begun below this: of 1,590 rendered ones that came out right none lay lower, people
or not."""
_LEAST_STANDING = {SEARCH: 5.0, SCOUT: 4.5}
"""What stands out by less under every view was not found: of 415 rendered neighbours none lies
lower, of 1,177 with people over 3-15 % of the frame 15; of the strangers nine in ten."""
_QUICK_STANDING = 6.3
"""The same for pairs that are likely strangers: 1 in 18 neighbours with people before them lies
lower, none without, and four in five of the strangers that are left."""
_STANDING_SCALE = {SEARCH: 1.0, SCOUT: (SCALES_PX[SEARCH] / SCALES_PX[SCOUT]) ** 0.8}
"""Scores go with the number of cells to the power 0.4 (see ``match.evidence_weight``)."""
_LEAST_PROMISE = 5.0
"""No match is finished below this after coarse alignment: of 415 right ones none lay lower, of
1,177 with people over a part of the frame 23; of the wrong ones six in ten."""
_COARSE_SHARES, _FINE_SHARES = (0.3,), (0.5, 0.15)
"""Shares of the pixels of a level, the steepest ones, that alignment uses: the rest add
little but time. Half of them for the last step takes the misfit from 0.25 to 0.22 degrees
(median)."""
_COARSE_STEPS, _FINE_STEPS = 3, 2
"""Gauss-Newton steps on a level. The search starts within a cell of the answer: with three fine
steps no panorama of 424 rendered ones came out otherwise, nor its angles."""
_NOTHING = 0.01
"""Certainty where no match was even begun."""
_WORTH_POLISHING = 0.5
"""Turns less certain than an even bet are not used by anything."""
_CLEAR = 1.5
"""A candidate that stands this far above the next, by its score or after coarse alignment,
needs no rival: true peaks mostly stand 1.4 above the runner-up, false ones below 1.3."""
_PITCH_STEP_DEG = 5
"""Half of this rolls neighbours by a degree or two at most: nothing to the search, which finds
pictures that are rolled by up to 7 degrees (see ``search.views_for``)."""
_SAME_PITCH_DEG = 8.0
"""Rows are further apart than this; a base that leans or a hand moves neighbours by less
(estimated)."""
_TELLING_TURN_DEG = 10.0
"""Turned by less, a hand's roll of a degree or two is too much of the turn to tell a pitch from."""
_SIDEWAYS = 0.3
"""Sine of 17 degrees: so far an axis leans to the side with a rolled camera, or a hand (estimated);
and so near to lying down it is that of a camera turned up or down."""
_MOST_AHEAD = 0.9
"""Sine of 64 degrees: nobody sweeps any steeper, so such a turn is a roll (estimated)."""
_VIEW_REACH_DEG = 25.0
"""Half the widest steps at which views are tried, those of long lenses: no pictures match under one
that is further off."""
_POLAR_DEG = 60.0
"""Steeper views are laid across the pole: yaw means less and less towards it. Cosine 0.5."""


@dataclass(frozen=True, slots=True)
class Match:
    """The best turn found between two plates and the evidence for it."""

    turn: DoubleArray
    evidence: Evidence
    certainty: float
    view: View


Ways = Sequence[tuple[Views, int]]
"""How cameras may have been held, and the levels to search on."""


def likeliest_view(pitches_deg: tuple[float | None, float | None], habit_deg: float) -> View:
    """The likeliest way both cameras of a pair were held.

    Args:
        pitches_deg: how far up each camera is known to have looked.
        habit_deg: how far up this camera looked last.
    """
    known = [pitch for pitch in pitches_deg if pitch is not None]
    return _view(sum(known) / len(known) if known else habit_deg)


def other_ways(
    pair: Pair,
    pitches_deg: tuple[float | None, float | None],
    tried: frozenset[View],
    *,
    habit_deg: float | None = None,
    on_side: bool = False,
    everywhere: bool = False,
) -> Ways:
    """Further ways the cameras may have been held, where those tried showed no match.

    Args:
        pair: the pictures.
        pitches_deg: how far up each camera is known to have looked.
        tried: views tried before.
        habit_deg: how far up this camera looked last, to be tried where no pitch is known.
        on_side: lay the pictures on their side as well, where they are not too flat for it to
            matter.
        everywhere: try not only the pitches that are known, but, where none is, every pitch.
    """
    known = [pitch for pitch in pitches_deg if pitch is not None]
    hoped = known or ([] if habit_deg is None else [habit_deg])
    likely = {view for view in map(_view, hoped) if not _is_near(view, tried)}
    scouted: Sequence[Views] = ()
    if on_side or everywhere:
        cameras = pair.cameras(SCOUT)
        wide, tall = (max(camera.half_fov_rad[at] for camera in cameras) for at in (0, 1))
        if on_side and max(wide, tall) > math.radians(FLAT_DEG):
            likely |= {View(view.pitch_deg, across=not view.across) for view in tried}
        if everywhere and not known:
            scouted = views_for(round(wide, 2), round(tall, 2))
    ways: list[tuple[Views, int]] = []
    if new := likely - tried:
        ways.append((tuple(sorted(new, key=lambda one: (one.across, one.pitch_deg))), SEARCH))
    return ways + [(views, SCOUT) for views in scouted if views]


def ways_near(pitch_deg: float) -> Ways:
    """The ways to look near an expected turn, the first camera looking so far up."""
    first = _view(pitch_deg)
    return [((first, View(first.pitch_deg, across=not first.across)), SEARCH)]


LEVEL: Ways = [((View(),), SEARCH)]
"""A level camera."""


def find_matches(
    pairs: Sequence[Pair],
    ways: Sequence[Ways],
    expected: Sequence[DoubleArray] | None = None,
    *,
    quick: Sequence[bool] = (),
) -> list[Match | None]:
    """The best match of each pair; ``None`` when nothing even begins to fit.

    What pairs have in common is worked out together: that takes half the time.

    Args:
        pairs: pictures to compare.
        ways: the ways each pair may have been held.
        expected: where given, rotations from each first camera to the second, of shape
            (3, 3), near which alone is looked.
        quick: pairs to give up where the best shift stands out no more than it does for most
            strangers; none if left out.
    """
    found = _search(pairs, ways, expected, quick or [False] * len(pairs))
    return _best_matches(list(zip(pairs, found, strict=True)))


def _search(
    pairs: Sequence[Pair],
    ways: Sequence[Ways],
    expected: Sequence[DoubleArray] | None,
    quick: Sequence[bool],
) -> list[list[Candidate]]:
    """Candidates of each pair under all its ways, the one that stands out most first.

    None of a way under which none stands out; but near an expected turn there is little to
    stand out from.
    """
    layers: list[Layer] = []
    owners: list[tuple[int, Views]] = []
    for at, (pair, own) in enumerate(zip(pairs, ways, strict=True)):
        near = None if expected is None else expected[at]
        for views, level in own:
            layers += [Layer(pair, view, level, near) for view in views]
            owners += [(at, views)] * len(views)
    each = candidates(layers, least_overlap=LEAST_OVERLAP, count=_CANDIDATES)
    by_way: dict[tuple[int, int, Views], list[Candidate]] = defaultdict(list)
    for (at, views), layer, some in zip(owners, layers, each, strict=True):
        by_way[at, layer.level, views] += some
    found: list[list[tuple[float, Candidate]]] = [[] for _ in pairs]
    for (at, level, _), some in by_way.items():
        least = 0.0 if expected is not None else _LEAST_STANDING[level]
        if quick[at]:
            least = max(least, _QUICK_STANDING)
        if max((one.standing for one in some), default=0.0) >= least:
            found[at] += [(one.standing * _STANDING_SCALE[level], one) for one in some]
    ranked = (sorted(some, key=lambda scaled: -scaled[0])[:_REFINED] for some in found)
    return [[one for _, one in some if one.score >= _LEAST_SCORE] for some in ranked]


@dataclass(frozen=True, slots=True)
class _Try:
    """A turn between the pictures of a pair, by its place in a list, that is being refined.

    It began as a shift under ``view`` that stood out by ``margin``.
    """

    at: int
    pair: Pair
    turn: DoubleArray
    view: View
    margin: float


def _best_matches(found: Sequence[tuple[Pair, Sequence[Candidate]]]) -> list[Match | None]:
    """Refine the candidates of pairs, and judge the best."""
    best: list[Match | None] = [None] * len(found)
    # A clear candidate is mostly so near already that the coarse steps can be left out.
    clear = [
        _Try(at, pair, some[0].turn, some[0].view, some[0].margin)
        for at, (pair, some) in enumerate(found)
        if some and some[0].margin >= _CLEAR
    ]
    for one, match in zip(clear, _judged(clear), strict=True):
        best[one.at] = match
    rest = [
        _Try(at, pair, one.turn, one.view, one.margin)
        for at, (pair, some) in enumerate(found)
        if not is_sure(best[at])
        for one in (some[:1] if some and some[0].margin >= _CLEAR else some)
    ]
    best = [match if is_sure(match) else None for match in best]
    promising = _promising(rest)
    for one, match in zip(promising, _judged(promising), strict=True):
        before = best[one.at]
        if match is not None and (before is None or match.certainty > before.certainty):
            best[one.at] = match
    return _polished([pair for pair, _ in found], best)


def is_sure(match: Match | None) -> TypeGuard[Match]:
    """Whether a match needs no further search."""
    return match is not None and match.certainty >= SURE


def _promising(tries: Sequence[_Try]) -> list[_Try]:
    """The one or two of each pair that agree best after coarse alignment."""
    turns, promise = _aligned(tries, SEARCH, _COARSE_SHARES, -1, _COARSE_STEPS)
    ranked: dict[int, list[int]] = defaultdict(list)
    for i in np.argsort(-promise, kind="stable").tolist():
        ranked[tries[i].at].append(i)
    return [
        replace(tries[i], turn=turns[i])
        for own in ranked.values()
        for i in own[:2]
        if promise[i] >= _LEAST_PROMISE and promise[i] * _CLEAR >= promise[own[0]]
    ]


def _judged(tries: Sequence[_Try]) -> list[Match | None]:
    """Refine turns from where they are, and say how surely each is right."""
    turns, _ = _aligned(tries, FINE, _FINE_SHARES, -1, _FINE_STEPS)
    judged: list[Match | None] = [None] * len(tries)
    sizes = [(one.pair.a.sizes[FINE], one.pair.b.sizes[FINE]) for one in tries]
    for places in alike(sizes):
        some = [tries[at] for at in places]
        cameras = [one.pair.cameras(FINE) for one in some]
        agreed = align.fit(
            [one.pair.a.level(FINE) for one in some],
            [a for a, _ in cameras],
            [one.pair.b.level(FINE) for one in some],
            [b for _, b in cameras],
            turns[places],
        )
        for at, one, fits in zip(places, some, agreed, strict=True):
            judged[at] = _match(one, turns[at], fits)
    return judged


def _match(
    one: _Try, turn: DoubleArray, agreed: tuple[align.Fit, align.Detail] | None
) -> Match | None:
    if agreed is None or agreed[0].overlap < LEAST_OVERLAP / 2:
        return None
    roll = float(cv2.Rodrigues(turn)[0][2, 0])
    evidence = Evidence(agreed[0], agreed[1], roll, one.margin)
    return Match(turn, evidence, certainty(evidence), one.view)


def _polished(pairs: Sequence[Pair], matches: Sequence[Match | None]) -> list[Match | None]:
    """Matches with their turns refined on more of the picture, where they are worth it."""
    polished = list(matches)
    worth = [
        _Try(at, pairs[at], match.turn, match.view, match.evidence.margin)
        for at, match in enumerate(matches)
        if match is not None and match.certainty >= _WORTH_POLISHING
    ]
    turns, _ = _aligned(worth, FINE, _FINE_SHARES, 0, 1)
    for one, turn in zip(worth, turns, strict=True):
        match = matches[one.at]
        polished[one.at] = None if match is None else replace(match, turn=turn)
    return polished


def _aligned(
    tries: Sequence[_Try], level: int, shares: tuple[float, ...], which: int, steps: int
) -> tuple[DoubleArray, DoubleArray]:
    """Turns refined on the pixels that one of the shares stands for (see ``align.refine``)."""
    turns, promise = np.zeros((len(tries), 3, 3)), np.zeros(len(tries))
    grounds = [one.pair.a.grounds(level, one.pair.lenses[0], shares)[which] for one in tries]
    for places in alike(len(ground.values) for ground in grounds):
        some = [tries[at].pair for at in places]
        turns[places], promise[places] = align.refine(
            [grounds[at] for at in places],
            [pair.b.level(level) for pair in some],
            [pair.cameras(level)[1] for pair in some],
            np.stack([tries[at].turn for at in places]),
            steps,
            align.WARY if level == SEARCH else align.EFFICIENT,
        )
    return turns, promise


def _is_near(view: View, tried: frozenset[View]) -> bool:
    """Whether a view was tried that shows nearly the same."""
    return any(
        view.across == one.across and abs(view.pitch_deg - one.pitch_deg) <= _PITCH_STEP_DEG
        for one in tried
    )


def _view(pitch_deg: float) -> View:
    """The view for a pitch, rounded so that few maps of the sphere are needed."""
    rounded = float(_PITCH_STEP_DEG * round(pitch_deg / _PITCH_STEP_DEG))
    # Near the pole of the grid yaw means nothing: lay it down.
    return View(rounded, across=abs(rounded) > _POLAR_DEG)


def pitches_after(
    match: Match, pitches_deg: tuple[float | None, float | None]
) -> tuple[float, float] | None:
    """How far up both cameras of a good match looked, in degrees; ``None`` where it does not tell.

    A change of less than ``_SAME_PITCH_DEG`` is taken for none: the small ones add up along a
    sweep with a rolled camera though it stays level. A camera turned straight up or down looks the
    same from wherever it began, so without a pitch known before nothing follows from that.
    """
    known_a, known_b = pitches_deg
    if known_a is None and known_b is not None:
        pitch_b, turn = known_b, match.turn.T
    else:
        begun = _pitch_of_turn(match) if known_a is None else known_a
        if begun is None:
            return None
        pitch_b, turn = begun, match.turn
    ahead = about_x(math.radians(pitch_b)) @ turn[:, 2]
    other = math.degrees(math.asin(min(1.0, max(-1.0, -float(ahead[1])))))
    if abs(other - pitch_b) < _SAME_PITCH_DEG:
        other = pitch_b
    if known_a is None and known_b is not None:
        return other, pitch_b
    return pitch_b, other


def _pitch_of_turn(match: Match) -> float | None:
    """How far up cameras looked that were turned about the vertical, else as they were matched.

    Turned by some angle, a camera that looks up or down rolls by the sine of its pitch of it: the
    axis that it turned about, as it sees it, stands that far from upright.
    """
    axis = cv2.Rodrigues(match.turn)[0][:, 0]
    angle = float(np.linalg.norm(axis))
    if angle < math.radians(_TELLING_TURN_DEG):
        return match.view.pitch_deg
    across, up, ahead = (float(one) / angle for one in axis)
    if abs(across) > _SIDEWAYS:
        return None if abs(up) < _SIDEWAYS else match.view.pitch_deg
    if abs(ahead) > _MOST_AHEAD:
        return match.view.pitch_deg
    told = -math.degrees(math.asin(ahead)) * math.copysign(1.0, up)
    return min(
        max(told, match.view.pitch_deg - _VIEW_REACH_DEG), match.view.pitch_deg + _VIEW_REACH_DEG
    )


def sighting(match: Match | None) -> Sighting:
    """The record of a match; without one the pictures show no common ground."""
    if match is None:
        return Sighting(overlap=0.0, certainty=_NOTHING)
    fit = match.evidence.fit
    turn = np.degrees(cv2.Rodrigues(match.turn)[0][:, 0])
    return Sighting(
        overlap=round(min(1.0, fit.overlap), 4),
        certainty=round(match.certainty, 4),
        turn_deg=(round(float(turn[0]), 4), round(float(turn[1]), 4), round(float(turn[2]), 4)),
        shift_share=(round(fit.move[0], 4), round(-fit.move[1], 4)),
        score=round(fit.ncc, 4),
        margin=round(match.evidence.margin, 3),
    )
