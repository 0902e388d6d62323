"""Comparing two plates: search, refine, judge. Pure but for the caches of the geometry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from grouper.model import Sighting
from grouper.sight import align
from grouper.sight.plate import FINE, SEARCH, Plate
from grouper.sight.search import Candidate, Views, candidates
from grouper.sight.sphere import DoubleArray, View, rotation_vector
from grouper.sight.verdict import Evidence, certainty

LEAST_OVERLAP = 0.07
"""Common ground below this share of a frame is too little to be told from chance on a
thumbnail, and too little for any set."""
_CANDIDATES = 3
"""The right shift is nearly always among the first three (see tests/sight)."""
_GROUND_SHARE = 0.4
"""Share of the pixels, the steepest ones, that alignment uses: the rest add little but time."""
_COARSE_STEPS, _FINE_STEPS = 5, 4
_CLEAR = 1.5
"""A candidate that, refined, stands this far above the next needs no second look."""


@dataclass(frozen=True, slots=True)
class Match:
    """The best turn found between two plates and the evidence for it."""

    turn: DoubleArray
    evidence: Evidence
    certainty: float
    view: View


def best_match(
    a: Plate, b: Plate, focal_shares: tuple[float, float], found: list[Candidate]
) -> Match | None:
    """Refine the best candidates and judge the best of them; ``None`` when nothing fits."""
    if not found:
        return None
    found = found[:_CANDIDATES]
    turns, fits = _aligned(
        a, b, focal_shares, np.stack([one.turn for one in found]), SEARCH, _COARSE_STEPS
    )
    begun = [(fit.strength, place) for place, fit in enumerate(fits) if fit is not None]
    if not begun:
        return None
    begun.sort(reverse=True)
    chosen = [place for at, place in begun[:2] if at * _CLEAR >= begun[0][0]]
    turns, fits = _aligned(a, b, focal_shares, turns[chosen], FINE, _FINE_STEPS)
    matches = []
    for place, turn, fit in zip(chosen, turns, fits, strict=True):
        if fit is not None and fit.overlap >= LEAST_OVERLAP / 2:
            matches.append(_judged(a, b, focal_shares, turn, fit, found[place]))
    return max(matches, key=lambda match: match.certainty, default=None)


def _judged(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    turn: DoubleArray,
    fit: align.Fit,
    candidate: Candidate,
) -> Match:
    camera_a, camera_b = a.pinhole(FINE, focal_shares[0]), b.pinhole(FINE, focal_shares[1])
    detail = align.detail(a.level(FINE), camera_a, b.level(FINE), camera_b, turn)
    roll = float(rotation_vector(turn)[2])
    evidence = Evidence(fit, detail, roll, candidate.margin)
    return Match(turn, evidence, certainty(evidence), candidate.view)


def search(
    a: Plate, b: Plate, focal_shares: tuple[float, float], views: Views, level: int = SEARCH
) -> list[Candidate]:
    """The candidates under some views, best first."""
    return candidates(
        a, b, focal_shares, views, level, least_overlap=LEAST_OVERLAP, count=_CANDIDATES
    )


def _aligned(
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    turns: DoubleArray,
    level: int,
    steps: int,
) -> tuple[DoubleArray, list[align.Fit | None]]:
    ground = a.ground(level, focal_shares[0], _GROUND_SHARE)
    camera_a, camera_b = a.pinhole(level, focal_shares[0]), b.pinhole(level, focal_shares[1])
    finer = align.refine(ground, b.level(level), camera_b, turns, steps)
    return finer, align.fits(a.level(level), camera_a, b.level(level), camera_b, finer)


def sighting(match: Match | None) -> Sighting:
    """The record of a match; without one the pictures show no common ground."""
    if match is None:
        return Sighting(overlap=0.0, certainty=0.0)
    fit = match.evidence.fit
    turn = np.degrees(rotation_vector(match.turn))
    return Sighting(
        overlap=round(min(1.0, fit.overlap), 4),
        certainty=round(match.certainty, 4),
        turn_deg=(round(float(turn[0]), 4), round(float(turn[1]), 4), round(float(turn[2]), 4)),
        shift_share=(round(fit.move[0], 4), round(-fit.move[1], 4)),
        score=round(fit.ncc, 4),
        margin=round(match.evidence.margin, 3),
    )
