"""Exposure levels of frames: which frames were equally exposed, and how levels are spaced."""

from __future__ import annotations

import numpy as np

from grouper.group.pairs import STOP_EV, Floats


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
