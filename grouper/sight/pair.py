"""Comparing two plates: search, refine, judge. Pure but for the caches of the geometry."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from grouper.model import Sighting
from grouper.sight import align
from grouper.sight.plate import FINE, SCALES_PX, SCOUT, SEARCH, Plate
from grouper.sight.search import FLAT_DEG, Candidate, Views, candidates, views_for
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
_LEAST_SCORE = 3.0
"""No match is begun below this: of 1,158 rendered ones that came out right 0.3 % lay lower."""
_LEAST_STANDING = {SEARCH: 5.5, SCOUT: 5.0}
"""What stands out by less under every view was not found: of 3,500 matches (rendered and real)
two lay lower, of the strangers whose pitch was known two thirds."""
_STANDING_SCALE = {SEARCH: 1.0, SCOUT: (SCALES_PX[SEARCH] / SCALES_PX[SCOUT]) ** 0.8}
"""Scores go with the number of cells to the power 0.4 (see ``match.peaks``)."""
_LEAST_PROMISE = 6.0
"""No match is finished below this after coarse alignment: of 1,255 right ones 0.3 % lay lower,
of the wrong ones more than half."""
_COARSE_SHARES, _FINE_SHARES = (0.3,), (0.5, 0.15)
"""Shares of the pixels of a level, the steepest ones, that alignment uses: the rest add
little but time. Half of them for the last step takes the misfit from 0.25 to 0.22 degrees
(median)."""
_COARSE_STEPS, _FINE_STEPS = 3, 3
"""Gauss-Newton steps on a level: the search starts within a cell of the answer (estimated)."""
_NOTHING = 0.01
"""Certainty where no match was even begun."""
_WORTH_POLISHING = 0.5
"""Turns less certain than an even bet are not used by anything."""
_CLEAR = 1.5
"""A candidate that stands this far above the next, by its score or after coarse alignment,
needs no rival: true peaks mostly stand 1.4 above the runner-up, false ones below 1.3."""
_PITCH_STEP_DEG = 5
"""Half of this rolls neighbours by a degree or two at most: nothing to the search."""
_SAME_PITCH_DEG = 8.0
"""Rows are further apart than this; a base that leans or a hand moves neighbours by less
(estimated)."""
_POLAR_DEG = 60.0
"""Steeper views are laid across the pole: yaw means less and less towards it. Cosine 0.5."""


@dataclass(frozen=True, slots=True)
class Match:
    """The best turn found between two plates and the evidence for it."""

    turn: DoubleArray
    evidence: Evidence
    certainty: float
    view: View


def find_match(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    pitches_deg: tuple[float | None, float | None],
    habit_deg: float,
    *,
    quick: bool = False,
) -> Match | None:
    """The best match of two pictures; ``None`` when nothing even begins to fit.

    The likeliest pitch is tried first. If that fails, pictures whose pitch is known from
    other matches are tried at that, all others at every pitch; and all laid on their side.

    Args:
        a: the first picture.
        b: the second picture.
        focal_shares: focal lengths in long sides of the full picture.
        pitches_deg: how far up each camera is known to have looked.
        habit_deg: how far up this camera looked last.
        quick: try only the pitches that are known, or else the likeliest.
    """
    known = [pitch for pitch in pitches_deg if pitch is not None]
    first = _view(sum(known) / len(known) if known else habit_deg)
    found = search(a, b, focal_shares, (first,))
    best = best_match(a, b, focal_shares, found)
    if best is not None and best.certainty >= SURE:
        return _polished(a, b, focal_shares, best)
    others = [
        (candidate.standing * _STANDING_SCALE[level], candidate)
        for views, level in _other_views(a, b, focal_shares, known, first, quick=quick)
        for candidate in search(a, b, focal_shares, views, level)
    ]
    others.sort(key=lambda one: -one[0])
    again = best_match(a, b, focal_shares, [candidate for _, candidate in others])
    if best is None or (again is not None and again.certainty > best.certainty):
        best = again
    return best if best is None else _polished(a, b, focal_shares, best)


def find_near(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    pitch_deg: float,
    expected: DoubleArray,
) -> Match | None:
    """The best match near the turn that the rest of a sweep lets expect.

    Args:
        a: the first picture.
        b: the second picture.
        focal_shares: focal lengths in long sides of the full picture.
        pitch_deg: how far up the first camera looked.
        expected: rotation from the first camera to the second, of shape (3, 3).
    """
    first = _view(pitch_deg)
    views = (first, View(first.pitch_deg, across=not first.across))
    best = best_match(a, b, focal_shares, search(a, b, focal_shares, views, expected=expected))
    return best if best is None else _polished(a, b, focal_shares, best)


def _other_views(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    known: Sequence[float],
    first: View,
    *,
    quick: bool,
) -> Iterator[tuple[Views, int]]:
    """Further ways the cameras may have been held, and the level to search them on."""
    cameras = a.pinhole(SCOUT, focal_shares[0]), b.pinhole(SCOUT, focal_shares[1])
    wide, tall = (max(camera.half_fov_rad[at] for camera in cameras) for at in (0, 1))
    likely = {_view(pitch) for pitch in known}
    if not quick and max(wide, tall) > math.radians(FLAT_DEG):
        likely.add(View(first.pitch_deg, across=not first.across))
    likely.discard(first)
    if likely:
        yield tuple(sorted(likely, key=lambda view: (view.across, view.pitch_deg))), SEARCH
    if not (known or quick):
        for views in filter(None, views_for(round(wide, 2), round(tall, 2))):
            yield views, SCOUT


def _polished(a: Plate, b: Plate, focal_shares: tuple[float, float], match: Match) -> Match:
    """A match with its turn refined on more of the picture, if it is worth it."""
    if match.certainty < _WORTH_POLISHING:
        return match
    ground, _ = a.grounds(FINE, focal_shares[0], _FINE_SHARES)
    camera = b.pinhole(FINE, focal_shares[1])
    turns, _ = align.refine(ground, b.level(FINE), camera, match.turn[None], 1)
    return replace(match, turn=turns[0])


def level_match(a: Plate, b: Plate, focal_shares: tuple[float, float]) -> Match | None:
    """The best match of two pictures from a level camera."""
    return best_match(a, b, focal_shares, search(a, b, focal_shares, (View(),)))


def _view(pitch_deg: float) -> View:
    """The view for a pitch, rounded so that few maps of the sphere are needed."""
    rounded = float(_PITCH_STEP_DEG * round(pitch_deg / _PITCH_STEP_DEG))
    # Near the pole of the grid yaw means nothing: lay it down.
    return View(rounded, across=abs(rounded) > _POLAR_DEG)


def pitches_after(
    match: Match, pitches_deg: tuple[float | None, float | None]
) -> tuple[float, float]:
    """How far up both cameras of a good match looked, in degrees.

    A change of less than ``_SAME_PITCH_DEG`` is taken for none: the small ones add up along a
    sweep with a rolled camera though it stays level.
    """
    known_a, known_b = pitches_deg
    if known_a is None and known_b is not None:
        pitch_b, turn = known_b, match.turn.T
    else:
        pitch_b, turn = match.view.pitch_deg if known_a is None else known_a, match.turn
    ahead = about_x(math.radians(pitch_b)) @ turn[:, 2]
    other = math.degrees(math.asin(min(1.0, max(-1.0, -float(ahead[1])))))
    if abs(other - pitch_b) < _SAME_PITCH_DEG:
        other = pitch_b
    if known_a is None and known_b is not None:
        return other, pitch_b
    return pitch_b, other


def best_match(
    a: Plate, b: Plate, focal_shares: tuple[float, float], found: Sequence[Candidate]
) -> Match | None:
    """Refine the best candidates and judge the best of them; ``None`` when nothing fits."""
    chosen = [one for one in found[:_REFINED] if one.score >= _LEAST_SCORE]
    if not chosen:
        return None
    if chosen[0].margin >= _CLEAR:
        # Mostly so near already that the coarse steps can be left out.
        match = _best_of(a, b, focal_shares, chosen[:1], chosen[0].turn[None])
        if match is not None and match.certainty >= SURE:
            return match
        chosen = chosen[:1]
    turns = np.stack([one.turn for one in chosen])
    turns, promise = _aligned(a, b, focal_shares, turns, SEARCH, _COARSE_STEPS)
    order = [int(at) for at in np.argsort(-promise, kind="stable")]
    keep = [
        at
        for at in order[:2]
        if promise[at] >= _LEAST_PROMISE and promise[at] * _CLEAR >= promise[order[0]]
    ]
    return _best_of(a, b, focal_shares, [chosen[at] for at in keep], turns[keep])


def _best_of(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    chosen: Sequence[Candidate],
    turns: DoubleArray,
) -> Match | None:
    """Refine candidates from where they are, and take the one that comes out best."""
    if not chosen:
        return None
    turns, _ = _aligned(a, b, focal_shares, turns, FINE, _FINE_STEPS)
    matches = [
        _judged(a, b, focal_shares, turn, one) for one, turn in zip(chosen, turns, strict=True)
    ]
    return max(
        (match for match in matches if match is not None),
        key=lambda match: match.certainty,
        default=None,
    )


def _judged(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    turn: DoubleArray,
    candidate: Candidate,
) -> Match | None:
    camera_a, camera_b = a.pinhole(FINE, focal_shares[0]), b.pinhole(FINE, focal_shares[1])
    agreed = align.fit(a.level(FINE), camera_a, b.level(FINE), camera_b, turn)
    if agreed is None or agreed[0].overlap < LEAST_OVERLAP / 2:
        return None
    roll = float(cv2.Rodrigues(turn)[0][2, 0])
    evidence = Evidence(agreed[0], agreed[1], roll, candidate.margin)
    return Match(turn, evidence, certainty(evidence), candidate.view)


def search(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    views: Views,
    level: int = SEARCH,
    *,
    expected: DoubleArray | None = None,
) -> list[Candidate]:
    """The candidates under some views, best first; none if none stands out.

    Near an expected turn it need not stand out: there is little to stand out from.
    """
    found = candidates(
        a,
        b,
        focal_shares,
        views,
        level,
        least_overlap=LEAST_OVERLAP,
        count=_CANDIDATES,
        most=_REFINED,
        expected=expected,
    )
    if expected is None and found and found[0].standing < _LEAST_STANDING[level]:
        return []
    return found


def _aligned(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    turns: DoubleArray,
    level: int,
    steps: int,
) -> tuple[DoubleArray, DoubleArray]:
    shares = _FINE_SHARES if level == FINE else _COARSE_SHARES
    ground = a.grounds(level, focal_shares[0], shares)[-1]
    return align.refine(ground, b.level(level), b.pinhole(level, focal_shares[1]), turns, steps)


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
