"""Exposure levels of frames: which frames were equally exposed, and how levels are spaced."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

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
    order, begins = _ordered(light)
    levels = np.zeros(len(light), dtype=int)
    levels[order] = np.cumsum(begins) - 1
    return tuple(levels.tolist())


def _ordered(light: Floats) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """The frames dark to light, and which of them begin a level."""
    order = light.argsort(kind="stable")
    values = light[order]
    begins = np.ones(len(light), dtype=bool)
    begins[1:] = values[1:] - values[:-1] > STOP_EV
    return order, begins


def level_values(light: Floats) -> Floats:
    """The mean light of each level in EV, dark to light; every light must be known."""
    if len(light) == 0 or not np.isfinite(light).all():
        return np.zeros(0)
    order, begins = _ordered(light)
    firsts = np.flatnonzero(begins)
    count = np.append(firsts[1:], len(light)) - firsts
    means: Floats = np.add.reduceat(light[order], firsts) / count
    return means


LADDER_EV = 0.34
"""Two marked steps may differ by twice the tolerance of one and still be equal."""


def is_even_ladder(light: Floats) -> bool:
    """Whether three or more levels are equally spaced, with marked-value tolerance."""
    return _is_even(level_values(light))


def _is_even(values: Floats) -> bool:
    """Whether three or more levels of these values are equally spaced."""
    steps = values[1:] - values[:-1]
    return len(steps) >= 2 and float(steps.max() - steps.min()) <= LADDER_EV


FLAGGED = 2.5
"""Weight of the body itself saying that it was bracketing."""
LADDER = 1.5
"""Weight of equally spaced exposures: they seldom happen by accident."""
REPEATED_LEVEL = -3.0
"""A bracket does not repeat an exposure; a second bracket of the view does."""


def ladder_weight(frames: Sequence[Frame], light: Floats) -> float | None:
    """Weight of the exposures of one view being a bracket; ``None`` where they are all alike.

    Args:
        frames: two or more frames of one view.
        light: their recorded light in EV, shape (n,).
    """
    values = level_values(light)
    if len(values) < 2:
        return None
    weight = REPEATED_LEVEL * (len(light) - len(values))
    weight += FLAGGED if _are_flagged(frames) else 0.0
    return weight + (LADDER if _is_even(values) else 0.0)


def ladder_reasons(frames: Sequence[Frame], light: Floats) -> tuple[str, ...]:
    """What speaks for the exposures of one view being a bracket, in words; see there."""
    values = level_values(light)
    if len(values) < 2:
        return ()
    reasons = [f"{len(values)} exposures over {np.ptp(light):.1f} EV"]
    if _are_flagged(frames):
        reasons.append("the body recorded that it was bracketing")
    if _is_even(values):
        reasons.append("equal exposure steps")
    return tuple(reasons)


def is_tried_out(frames: Sequence[Frame], light: Floats, after_ev: float) -> bool:
    """Whether exposures were tried until one was right, with which the photographer goes on.

    Args:
        frames: two or more frames of one view, in shooting order.
        light: their recorded light in EV, shape (n,).
        after_ev: that of the frame behind them, NaN where there is none.
    """
    if not abs(light[-1] - after_ev) <= STOP_EV or not abs(light[-1] - light[-2]) > STOP_EV:
        return False
    return not _are_flagged(frames) and not is_even_ladder(light)


def _are_flagged(frames: Sequence[Frame]) -> bool:
    return all(frame.bracketing for frame in frames)
