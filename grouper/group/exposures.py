"""Exposure levels of frames: which frames were equally exposed, and how levels are spaced."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from grouper.group.pairs import STOP_EV, Floats
from grouper.model import Frame


def exposure_levels(light: Floats) -> tuple[int, ...] | None:
    """Number the exposure levels, dark to light, 0 first.

    Args:
        light: recorded light in EV, shape (n,).

    Returns:
        The level of each frame, or ``None`` when an exposure is not known. Neighbouring values
        closer than the tolerance for marked settings are one level.
    """
    if len(light) == 0 or not np.isfinite(light).all():
        return None
    order = np.argsort(light, kind="stable")
    jumps = np.diff(light[order]) > STOP_EV
    levels = np.zeros(len(light), dtype=int)
    levels[order[1:]] = np.cumsum(jumps)
    return tuple(int(level) for level in levels)


def level_values(light: Floats) -> Floats:
    """The mean light of each level in EV, dark to light; every light must be known."""
    levels = exposure_levels(light)
    if levels is None:
        return np.zeros(0)
    numbers = np.array(levels)
    return np.array([light[numbers == level].mean() for level in range(max(levels) + 1)])


LADDER_EV = 0.34
"""Two marked steps may differ by twice the tolerance of one and still be equal."""


def is_even_ladder(light: Floats) -> bool:
    """Whether three or more levels are equally spaced, with marked-value tolerance."""
    steps = np.diff(level_values(light))
    return len(steps) >= 2 and float(np.ptp(steps)) <= LADDER_EV


FLAGGED = 2.5
"""Weight of the body itself saying that it was bracketing."""
LADDER = 1.5
"""Weight of equally spaced exposures: they seldom happen by accident."""
REPEATED_LEVEL = -3.0
"""A bracket does not repeat an exposure; a second bracket of the view does."""


def ladder_weight(frames: Sequence[Frame], light: Floats) -> tuple[float, tuple[str, ...]]:
    """Weight of the exposures of one view being a bracket, and why.

    Args:
        frames: two or more frames of one view.
        light: their recorded light in EV, shape (n,).
    """
    levels = exposure_levels(light)
    if levels is None or len(set(levels)) < 2:
        return 0.0, ()
    weight = REPEATED_LEVEL * (len(levels) - len(set(levels)))
    reasons = [f"{len(set(levels))} exposures over {np.ptp(light):.1f} EV"]
    if all(frame.bracketing for frame in frames):
        weight += FLAGGED
        reasons.append("the body recorded that it was bracketing")
    if is_even_ladder(light):
        weight += LADDER
        reasons.append("equal exposure steps")
    return weight, tuple(reasons)
