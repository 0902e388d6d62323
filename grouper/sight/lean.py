"""How much the base of a sweep leaned: from the horizon, or from recorded elevations. Pure.

How neighbours turn shows the axis they turn about, not whether it stands upright. The horizon
shows it: one great circle over the whole sweep, square to gravity. So do elevation angles: on an
axis that leans by t a camera looks up and down by ``t cos(yaw - yaw0)`` as it turns (own
derivation from rotations, exact to second order in t). Exif 2.31 has a tag for the elevation and
none for the roll, so bodies that record their level as that standard says tell just this.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grouper.model import Frame, Pointing, Solution
from grouper.sight.horizon import HorizonLine
from grouper.sight.sphere import DoubleArray, about_x, about_z

SURE = 3.0
"""Standard errors that a lean must exceed to be more than chance."""
KNOWN_DEG = 0.6
"""A lean is written down when its standard error is below this, be it nought or not: the best of
the bubbles and levels it would be compared with."""

LEAST_TURN_DEG = 120.0
"""Turn over which the horizon must be seen. A straight shore or wall is a piece of a great circle
too, of half a one at most: with half a frame at either end this is more (and in a short sweep a
lean looks like a roll of the camera)."""
_LEAST_VIEWS = 6
"""Four unknowns from two numbers a view, and as much again to show how well they fit."""
_LEAST_SHARE = 0.6
"""Share of the views that must show it: coasts and people hide it from the rest."""
_HEIGHT_DEG, _SLOPE_DEG = 0.6, 1.0
"""How far a piece may be off the circle in height and in direction: a pixel and a half of a small
picture at 0.4 degrees to the pixel; a pixel and a half at both ends of it."""
_FLOOR_DEG = 0.2
"""Half a pixel of a small picture: no fit of such lines is better, whatever its residuals."""
_CHAIN_DEG = 0.2
"""What errors of the pointings, handed on from view to view, leave in the lean. Measured on 17
rendered horizons: 0.21 degrees root mean square in all."""
_COMMON_DEG = 1.0
"""Pitch and roll of all views together are known from the axis they turn about, to 0.8 degrees
where they are known at all; a circle higher or lower than this is a skyline or a shore."""
_MOST_DEG = 12.0
"""No one leaves a tripod leaning more. Beyond, the circle is the edge of a wall or a roof."""

_SAME_VIEW_DEG = 2.0
"""Legs and spares of a view lie closer; no sweep steps by so little."""

_LEAST_FRAMES = 6
"""Three unknowns from elevations, and as many frames again."""
_LEAST_LEVEL_TURN_DEG = 60.0
"""In a shorter sweep a wave and a slope of elevations look the same (practice)."""
_LEVEL_FLOOR_DEG = 0.5
"""Levels are no better than this, whatever they say: half a degree to one (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lean:
    """The lean of the turning axis and its standard error."""

    deg: float
    error_deg: float

    @property
    def is_known(self) -> bool:
        """Whether it is good enough to be written down: sure to be there, or sure to be small."""
        return self.deg >= SURE * self.error_deg or self.error_deg <= KNOWN_DEG


@dataclass(frozen=True, slots=True)
class _Piece:
    """A candidate in the axes of the sweep: lean towards the view and to its right, radians."""

    view: int
    yaw: float
    ahead: float
    right: float


def may_show_horizon(solution: Solution) -> bool:
    """Whether it is worth looking for the horizon: a sweep wide enough, about an axis it knows."""
    yaws = [p.yaw_deg for p in solution.pointings if p.yaw_deg is not None]
    is_wide = len(yaws) >= _LEAST_VIEWS and max(yaws) - min(yaws) >= LEAST_TURN_DEG
    return is_wide and solution.camera_roll_deg is not None


def lean_by_horizon(
    pointings: Sequence[Pointing],
    focal_share: float,
    look: Callable[[int], Sequence[HorizonLine]],
) -> Lean | None:
    """The lean that pieces of one horizon show; ``None`` where they are not surely one.

    Args:
        pointings: where each frame looks, in the axes of the sweep.
        focal_share: focal length in long sides of the picture.
        look: candidates in a frame, by its place in ``pointings``. Asked for one frame of each
            view, and no further once too few views can show the horizon.
    """
    views = _views(pointings)
    least = max(_LEAST_VIEWS, math.ceil(_LEAST_SHARE * len(views)))
    pieces: list[_Piece] = []
    hidden = 0
    for at in views:
        own = [_piece(at, pointings[at], line, focal_share) for line in look(at)]
        pieces += own
        hidden += not own
        if len(views) - hidden < least:
            return None
    chosen = _largest_agreement(pieces)
    yaws = [math.degrees(piece.yaw) for piece in chosen]
    if len(chosen) < least or max(yaws) - min(yaws) < LEAST_TURN_DEG:
        return None
    lean = _fitted(chosen)
    return lean if lean.deg <= _MOST_DEG else None


def _views(pointings: Sequence[Pointing]) -> list[int]:
    """The first frame of each view that has a place: frames that look the same way are one."""
    views: list[int] = []
    for at, pointing in enumerate(pointings):
        if pointing.yaw_deg is None or pointing.pitch_deg is None:
            continue
        if not any(
            abs((pointings[other].yaw_deg or 0.0) - pointing.yaw_deg) < _SAME_VIEW_DEG
            and abs((pointings[other].pitch_deg or 0.0) - pointing.pitch_deg) < _SAME_VIEW_DEG
            for other in views
        ):
            views.append(at)
    return views


def _piece(view: int, pointing: Pointing, line: HorizonLine, focal_share: float) -> _Piece:
    """The pole of the line's great circle, as the sweep's axes have it."""
    yaw = math.radians(pointing.yaw_deg or 0.0)
    # Square to every ray (x, drop + slope x, 1) of the line in focal lengths; y is down.
    up = np.array([line.slope, -1.0, line.drop / focal_share])
    held = about_x(math.radians(pointing.pitch_deg or 0.0)) @ about_z(
        math.radians(pointing.roll_deg or 0.0)
    )
    right, down, ahead = held @ up
    return _Piece(view, yaw, float(ahead / -down), float(right / -down))


def _design(pieces: Sequence[_Piece]) -> tuple[DoubleArray, DoubleArray]:
    """Two equations a piece; unknown are the lean to yaw 0 and to its right, and what is common.

    The pitch that all views share is known less well than how they differ, and so is the roll:
    a shift of all heights and a turn of all directions stay free.
    """
    yaw = np.array([piece.yaw for piece in pieces])
    one, none = np.ones(len(yaw)), np.zeros(len(yaw))
    heights = np.stack([np.cos(yaw), np.sin(yaw), one, none], axis=1)
    slopes = np.stack([-np.sin(yaw), np.cos(yaw), none, one], axis=1)
    told = np.array([piece.ahead for piece in pieces] + [piece.right for piece in pieces])
    weight = np.repeat([1.0 / _HEIGHT_DEG, 1.0 / _SLOPE_DEG], len(yaw))
    design = np.concatenate([heights, slopes]) * weight[:, None]
    return np.asarray(design), np.asarray(np.degrees(told) * weight)


def _largest_agreement(pieces: Sequence[_Piece]) -> list[_Piece]:
    """The most views whose pieces are of one circle: every two pieces are tried as its measure.

    (Random sampling and consensus, Fischler & Bolles 1981, with all samples drawn.)
    """
    design, told = _design(pieces)
    count = len(pieces)
    best: list[_Piece] = []
    least_off = math.inf
    for i, j in itertools.combinations(range(count), 2):
        if abs(math.remainder(pieces[i].yaw - pieces[j].yaw, 2 * math.pi)) < math.radians(30.0):
            continue  # from pieces side by side the other end of the circle is a guess
        rows = [i, j, count + i, count + j]
        try:
            guess = np.linalg.solve(design[rows], told[rows])
        except np.linalg.LinAlgError:
            continue
        if max(abs(guess[2]), abs(guess[3])) > _COMMON_DEG:
            continue
        off = np.abs(design @ guess - told)
        agree = np.flatnonzero(np.maximum(off[:count], off[count:]) <= 1.0)
        kept = _one_per_view(pieces, agree, off[:count] + off[count:])
        misfit = float(sum(off[k] + off[count + k] for k in kept))
        if (len(kept), -misfit) > (len(best), -least_off):
            best, least_off = [pieces[k] for k in kept], misfit
    return best


def _one_per_view(pieces: Sequence[_Piece], agree: NDArray[np.intp], off: DoubleArray) -> list[int]:
    closest: dict[int, int] = {}
    for k in agree.tolist():
        other = closest.get(pieces[k].view)
        if other is None or off[k] < off[other]:
            closest[pieces[k].view] = k
    return list(closest.values())


def _fitted(pieces: Sequence[_Piece]) -> Lean:
    design, told = _design(pieces)
    solution = np.linalg.lstsq(design, told, rcond=None)[0]
    rest = design @ solution - told
    spread = math.sqrt(float(rest @ rest) / max(1, len(rest) - design.shape[1]))
    # In units of the tolerances; the floor is half a pixel in those.
    own = max(_FLOOR_DEG / _HEIGHT_DEG, spread) * math.sqrt(
        float(np.linalg.pinv(design.T @ design).diagonal()[:2].max())
    )
    error = math.hypot(own, _CHAIN_DEG)
    return Lean(deg=float(np.hypot(solution[0], solution[1])), error_deg=error)


def lean_by_elevation(pointings: Sequence[Pointing], frames: Sequence[Frame]) -> Lean | None:
    """The lean that recorded elevations show; ``None`` where there are too few.

    How each view was pitched on its axis is known from the sweep and taken off first.
    """
    told = [
        (pointing, frame.attitude)
        for pointing, frame in zip(pointings, frames, strict=True)
        if pointing.yaw_deg is not None
        and frame.attitude is not None
        and frame.attitude.pitch_deg is not None
    ]
    yaws = [pointing.yaw_deg or 0.0 for pointing, _ in told]
    if len(told) < _LEAST_FRAMES or max(yaws) - min(yaws) < _LEAST_LEVEL_TURN_DEG:
        return None
    pitches = [(level.pitch_deg or 0.0) - (pointing.pitch_deg or 0.0) for pointing, level in told]
    sigma = max(_LEVEL_FLOOR_DEG, *(level.sigma_deg for _, level in told))
    return fit_wave(yaws, pitches, sigma)


def fit_wave(yaws_deg: Sequence[float], pitches_deg: Sequence[float], sigma_deg: float) -> Lean:
    """Least squares of a wave once round the circle; pitch errors of ``sigma_deg`` at least.

    Raises:
        ValueError: fewer than three frames, or not as many yaws as pitches.
    """
    if len(yaws_deg) != len(pitches_deg) or len(yaws_deg) < 3:
        raise ValueError("a wave needs three frames, each with yaw and pitch")
    yaws = np.radians(np.asarray(yaws_deg, dtype=float))
    pitches = np.asarray(pitches_deg, dtype=float)
    design = np.stack([np.cos(yaws), np.sin(yaws), np.ones(len(yaws))], axis=1)
    solution = np.linalg.lstsq(design, pitches, rcond=None)[0]
    rest = pitches - design @ solution
    spread = float(np.sqrt((rest @ rest) / max(1, len(rest) - design.shape[1])))
    error = max(sigma_deg, spread) * float(
        np.sqrt(np.linalg.pinv(design.T @ design).diagonal()[:2].max())
    )
    return Lean(deg=float(np.hypot(solution[0], solution[1])), error_deg=error)
