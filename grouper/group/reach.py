"""How far the frames of a stretch reach over the picture: whether they still show one view.

A hand that holds on to one thing sways and comes back. A camera that follows something turns by as
little from frame to frame, but on and on.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from grouper.group.evidence import Evidence

FARTHEST = 0.3
"""Shifted by more of the frame in all, it is another view of the thing (estimated)."""


class Reach:
    """How far the frames reach, as a share of the frame, pair after pair from some first one."""

    def __init__(self, evidence: Evidence) -> None:
        self._steps = _steps(evidence)
        self._x, self._y = _Side(), _Side()

    def after(self, link: int) -> float:
        """How far they reach once the second frame of a pair is among them."""
        across, up = self._steps
        return max(self._x.after(across[link]), self._y.after(up[link]))


class _Side:
    """How far the frames reach along one side, step by step."""

    def __init__(self) -> None:
        self._at = self._least = self._most = 0.0

    def after(self, step: float) -> float:
        self._at += step
        self._least, self._most = min(self._least, self._at), max(self._most, self._at)
        return self._most - self._least


@lru_cache(maxsize=1)
def _steps(evidence: Evidence) -> tuple[list[float], list[float]]:
    """How far each frame is shifted against the one before, right and up; 0 where not known.

    Remembered for the strand at hand: every stretch of it is asked about.
    """
    heading, shift = np.radians(evidence.heading), evidence.shift
    across: list[float] = np.nan_to_num(shift * np.cos(heading)).tolist()
    up: list[float] = np.nan_to_num(shift * np.sin(heading)).tolist()
    return across, up
