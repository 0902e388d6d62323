"""From the chance that the choice gives a stretch to the confidence that is written.

Pieces of evidence depend on one another and the alternatives weighed are not all there are, so
the recursion's chance is not yet a frequency. A logistic curve between the two was fitted
(Platt 1999) on 452 sets of rendered cards of the tuning seeds and of real ones, 440 of them
exact: intercept 1.38, slope 1.35, Brier score 0.021 against 0.032 before. Both numbers below are
drawn in from the fitted ones, because those cards were seen while the rules were made.
"""

from __future__ import annotations

import math

INTERCEPT = 0.8
"""Of the logistic curve, drawn in from 1.38, see the module's docstring."""
SLOPE = 1.3
"""Of the logistic curve, see the module's docstring."""
LEAST, MOST = 0.01, 0.995
"""No set is impossible once it is chosen, none certain before somebody has looked at it."""
UNSEEN_MOST = 0.8
"""Where no picture was looked at, time and settings alone fit singles too."""


def calibrated(chance: float, *, seen: bool) -> float:
    """The confidence to write for a set, 0..1.

    Args:
        chance: what the choice gives the stretch, 0..1.
        seen: whether any pictures in it could be compared; without, the curve was not fitted
            and the chance stands, but for a ceiling.
    """
    if not seen:
        return min(chance, UNSEEN_MOST)
    bounded = min(max(chance, 1e-6), 1 - 1e-6)
    odds = INTERCEPT + SLOPE * math.log(bounded / (1 - bounded))
    return min(max(1 / (1 + math.exp(-odds)), LEAST), MOST)
