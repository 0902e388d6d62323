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


_BIAS = -5.4
"""Intercept of the logistic curve whose weights follow."""
_WEIGHTS = (0.185, 8.71, -4.9)
"""Logistic regression on 2,000 real pairs (neighbours in nine people's panoramas, brackets,
stacks, an interval series; strangers; opposite frames of full circles) and 3,000 rendered
ones, every kind of pair with a fixed share of the weight. Judged on cameras and scenes left
out of the fit: above 0.9 stood 98.5 % of real neighbours, 97 % of rendered ones and none of
1,356 real and 1,150 rendered pairs without common ground; of the pairs between 0.3 and 0.7
42 % were right, between 0.7 and 0.9 86 %, above 0.9 all but one in 1,800."""


def features(evidence: Evidence) -> tuple[float, ...]:
    """The numbers that the certainty is computed from, in the order of the weights.

    The agreement of the slopes both ways (harmonic mean, as in ``match.both_ways``) counts
    with the ground it rests on and by itself; then the roll: hardly anybody rolls the camera
    between two frames. How well the pictures correlate tells nothing more: a dark figure or a
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
