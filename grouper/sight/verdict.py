"""From how well two pictures agree to the chance that they do overlap as said. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

from grouper.sight.align import Detail, Fit


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a comparison measured.

    ``fit`` and ``detail`` are the agreement after refinement, ``roll_rad`` the roll between
    the two cameras, ``margin`` the score of the search over the next best shift's.
    """

    fit: Fit
    detail: Detail
    roll_rad: float
    margin: float


_BIAS = -5.27
"""Intercept of the logistic curve whose weights follow."""
_WEIGHTS = (0.138, 8.54, -0.747)
"""Logistic regression by ``python -m testdata.verdict`` on 360 real pairs (neighbours, opposite
frames of full circles, frames of different people) and 9,000 rendered ones, among them those of
twelve cards with people pasted over 3-5 % of each frame, elsewhere in every one; every kind of pair
with a fixed share of the weight. Judged on cards left out of the fit: above 0.9 stood 92 % of the
real neighbours (half of them with people pasted over), 98 % of the rendered ones and none of 3,790
pairs without common ground or misplaced, above 0.5 ten; of the pairs between 0.3 and 0.7 41 % were
right, between 0.7 and 0.9 92 %, above 0.9 all."""


def features(evidence: Evidence) -> tuple[float, ...]:
    """The numbers that the certainty is computed from, in the order of the weights.

    The agreement of the slopes both ways (harmonic mean, as in ``match.both_ways``) counts
    with the ground it rests on and by itself; then the roll: hardly anybody rolls the camera
    between two frames. How well the pictures correlate tells hardly more: a dark figure or a
    horizon in both makes it high.
    """
    fit, detail = evidence.fit, evidence.detail
    right, down = max(detail.right, 0.0), max(detail.down, 0.0)
    slopes = 2.0 * right * down / max(right + down, 1e-6)
    return (
        slopes * math.sqrt(fit.cells),
        slopes,
        min(abs(evidence.roll_rad), 0.6),
    )


def certainty(evidence: Evidence) -> float:
    """The chance, 0..1, that the two pictures overlap as found."""
    weighed = _BIAS + sum(
        weight * value for weight, value in zip(_WEIGHTS, features(evidence), strict=True)
    )
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, weighed))))


_FEWER_SHIFTS = 3.0
"""Odds gained by a match that lies where it was expected: chance had a tenth of the shifts to
choose from, but what lets two frames look alike there (a horizon, a row of windows) is not all
chance. Of rendered pairs that were unsure by themselves and came out above 0.2 near the
expected turn, 11 were neighbours in a sweep and 4 were not, three of these on a walk round."""


def expected_certainty(chance: float) -> float:
    """The chance that two pictures overlap, when they were matched near an expected turn."""
    odds = _FEWER_SHIFTS * chance / max(1.0 - chance, 1e-9)
    return odds / (1.0 + odds)
