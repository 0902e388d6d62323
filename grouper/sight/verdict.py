"""From how well two pictures agree to the chance that they do overlap as said. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

from grouper.sight.align import Fit


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a comparison measured.

    ``fit`` is the agreement after refinement, ``found`` the score of the search, ``margin``
    that score over the next best shift's.
    """

    fit: Fit
    found: float
    margin: float


def strength(fit: Fit) -> float:
    """Correlation weighed with the ground it rests on (see ``match.peaks``)."""
    return fit.ncc * math.sqrt(fit.cells)


def certainty(evidence: Evidence) -> float:
    """The chance, 0..1, that the two pictures overlap as found."""
    weighed = -8.0 + 0.2 * strength(evidence.fit) + 4.0 * evidence.fit.ncc
    return 1.0 / (1.0 + math.exp(-weighed))
