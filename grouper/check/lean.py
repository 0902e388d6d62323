"""How much the base leaned, from the elevation that the body recorded with each frame.

On an axis that leans by t a camera looks up and down by ``t cos(yaw - yaw0)`` as it turns, on
top of the pitch it was set to (own derivation from rotations, exact to second order in t). Exif
2.31 has a tag for the elevation and none for the roll, so bodies that record their level as
that standard says tell just this.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from grouper.check.views import members_in_use
from grouper.model import Member, Set

_LEAST_FRAMES = 6
"""Three unknowns, and as many frames again to show how well they fit."""
_LEAST_TURN_DEG = 60.0
"""In a shorter sweep a wave and a slope look the same (practice)."""
_SURE = 3.0
"""Standard errors that a lean must exceed to be told."""
_FLOOR_DEG = 0.5
"""Levels are no better than this, whatever they say: half a degree to one (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lean:
    """The lean of the turning axis and its standard error."""

    deg: float
    error_deg: float


def find_lean(found: Set) -> Lean | None:
    """The lean that recorded elevations show beyond doubt; ``None`` where they do not."""
    told = [member for member in members_in_use(found) if _is_told(member)]
    if len(told) < _LEAST_FRAMES or found.layout is None:
        return None
    yaws = [member.pointing.yaw_deg or 0.0 for member in told]
    if found.layout.pointing_from != "pictures" or max(yaws) - min(yaws) < _LEAST_TURN_DEG:
        return None
    levels = [member.frame.attitude for member in told]
    pitches = [level.pitch_deg or 0.0 for level in levels if level is not None]
    sigma = max(_FLOOR_DEG, *(level.sigma_deg for level in levels if level is not None))
    lean = fit_lean(yaws, pitches, sigma, [member.row for member in told])
    return lean if lean.deg >= _SURE * lean.error_deg else None


def fit_lean(
    yaws_deg: Sequence[float],
    pitches_deg: Sequence[float],
    sigma_deg: float,
    rows: Sequence[int] = (),
) -> Lean:
    """Least squares of a wave once round the circle; pitch errors of ``sigma_deg`` at least.

    Each row has the pitch it was set to; without ``rows`` all frames are of one.

    Raises:
        ValueError: fewer than three frames, or not as many yaws as pitches.
    """
    if len(yaws_deg) != len(pitches_deg) or len(yaws_deg) < 3:
        raise ValueError("a wave needs three frames, each with yaw and pitch")
    of = np.asarray(rows or [0] * len(yaws_deg))
    levels = [(of == row).astype(float) for row in sorted(set(of.tolist()))]
    yaws = np.radians(np.asarray(yaws_deg, dtype=float))
    pitches = np.asarray(pitches_deg, dtype=float)
    design = np.stack([np.cos(yaws), np.sin(yaws), *levels], axis=1)
    solution = np.linalg.lstsq(design, pitches, rcond=None)[0]
    rest = pitches - design @ solution
    spread = float(np.sqrt((rest @ rest) / max(1, len(rest) - design.shape[1])))
    error = max(sigma_deg, spread) * float(
        np.sqrt(np.linalg.pinv(design.T @ design).diagonal()[:2].max())
    )
    return Lean(deg=float(np.hypot(solution[0], solution[1])), error_deg=error)


def _is_told(member: Member) -> bool:
    level = member.frame.attitude
    return level is not None and level.pitch_deg is not None and member.pointing.yaw_deg is not None
