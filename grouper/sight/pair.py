"""Comparing two plates: search, refine, judge. Pure but for the searcher's caches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from grouper.model import Sighting
from grouper.sight import align
from grouper.sight.plate import Plate
from grouper.sight.search import Candidate, Searcher
from grouper.sight.sphere import DoubleArray, View, rotation_vector
from grouper.sight.verdict import Evidence, certainty, strength

LEAST_OVERLAP = 0.07
"""Common ground below this share of a frame is too little to be told from chance on a
thumbnail, and too little for any set."""
_CANDIDATES = 3
_GROUND_SHARE = 0.5
_STEPS = ((0, 4), (1, 4))
"""(level, most Gauss-Newton steps)"""
_SETTLED_PX = 0.05
_GOOD_ENOUGH = 0.98
"""A candidate this certain ends the search among the weaker ones."""


@dataclass(frozen=True, slots=True)
class Match:
    """The best turn found between two plates and the evidence for it."""

    turn: DoubleArray
    evidence: Evidence
    certainty: float
    view: View

    @property
    def strength(self) -> float:
        """Correlation weighed with the ground it rests on."""
        return strength(self.evidence.fit)


def best_match(
    searcher: Searcher,
    a: Plate,
    b: Plate,
    focal_shares: tuple[float, float],
    views: Sequence[View],
) -> Match | None:
    """Search and refine under some views; ``None`` when nothing even begins to fit."""
    candidates = searcher.candidates(
        a, b, focal_shares, views, least_overlap=LEAST_OVERLAP, count=_CANDIDATES
    )
    best: Match | None = None
    for candidate in candidates[:_CANDIDATES]:
        match = _refined(a, b, focal_shares, candidate)
        if match is not None and (best is None or match.strength > best.strength):
            best = match
            if best.certainty >= _GOOD_ENOUGH:
                break
    return best


def _refined(
    a: Plate, b: Plate, focal_shares: tuple[float, float], candidate: Candidate
) -> Match | None:
    turn: DoubleArray | None = candidate.turn
    for level, steps in _STEPS:
        if turn is None:
            return None
        ground = a.ground(level, focal_shares[0], _GROUND_SHARE)
        camera = b.pinhole(level, focal_shares[1])
        turn = align.refine(ground, b.level(level), camera, turn, steps, _SETTLED_PX)
    if turn is None:
        return None
    level = _STEPS[-1][0]
    fit = align.fit(
        a.level(level),
        a.pinhole(level, focal_shares[0]),
        b.level(level),
        b.pinhole(level, focal_shares[1]),
        turn,
    )
    if fit is None or fit.overlap < LEAST_OVERLAP / 2:
        return None
    evidence = Evidence(fit, candidate.score, candidate.margin)
    return Match(turn, evidence, certainty(evidence), candidate.view)


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
