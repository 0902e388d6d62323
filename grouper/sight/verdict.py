"""From how well two pictures agree to the chance that they do overlap as said. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

from grouper.sight.align import Detail, Fit


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a comparison measured.

    ``fit`` and ``detail`` are the agreement after refinement, ``roll_rad`` the roll between
    the two cameras, ``found`` the score of the search, ``margin`` that score over the next
    best shift's.
    """

    fit: Fit
    detail: Detail
    roll_rad: float
    found: float
    margin: float


def features(evidence: Evidence) -> tuple[float, ...]:
    """The numbers that the certainty is computed from, in the order of the weights."""
    fit, detail = evidence.fit, evidence.detail
    slopes = math.sqrt(max(detail.right, 0.0) * max(detail.down, 0.0))
    return (
        fit.strength,
        math.atanh(min(max(fit.ncc, -0.99), 0.99)),
        slopes,
        detail.blocks,
        min(abs(evidence.roll_rad), 0.6),
    )


_BIAS = -7.0
_WEIGHTS = (0.167, 4.12, 2.58, 1.11, -4.86)


def certainty(evidence: Evidence) -> float:
    """The chance, 0..1, that the two pictures overlap as found."""
    weighed = _BIAS + sum(
        weight * value for weight, value in zip(_WEIGHTS, features(evidence), strict=True)
    )
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, weighed))))
