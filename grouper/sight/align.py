"""Refining a turn between two pictures by direct alignment, and scoring it. Pure.

Gauss-Newton on the rotation of the homography K R K^-1 (Szeliski 2010, ch. 9), in the
inverse compositional form of Baker & Matthews, *Lucas-Kanade 20 Years On*, IJCV 56(3),
2004, with Huber weights against moving subjects and parallax.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from grouper.sight.sphere import BoolArray, DoubleArray, FloatArray, Pinhole, rotation

_HUBER = 1.345
"""In standard deviations: 95 % efficiency on Gaussian noise (Huber 1981)."""
_LEAST_POINTS = 60
"""Fewer points in common than this do not fix three angles against noise."""
_LEAST_DEPTH = 0.1


@dataclass(frozen=True, slots=True)
class Level:
    """One scale. ``band`` has mean about 0 and shape (height, width); ``good`` marks pixels
    away from clipped and blocked areas."""

    band: FloatArray
    good: BoolArray
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Ground:
    """What alignment needs of the first picture of a pair: its most telling pixels.

    ``rays`` are slopes (x/z, y/z) of shape (n, 2), ``values`` of shape (n,), ``pull`` the
    derivative of each value by a small rotation, of shape (n, 3).
    """

    rays: FloatArray
    values: FloatArray
    pull: FloatArray


def ground(level: Level, camera: Pinhole, share: float) -> Ground:
    """Pick the share of pixels with the strongest gradient and linearise them."""
    band = level.band
    gy, gx = np.gradient(band)
    gx, gy = gx * level.good, gy * level.good
    strength = gx * gx + gy * gy
    count = max(_LEAST_POINTS, int(share * strength.size))
    flat = strength.ravel()
    if count < flat.size:
        at = np.sort(np.argpartition(flat, flat.size - count)[flat.size - count :])
    else:
        at = np.arange(flat.size)
    x, y = (part.ravel()[at] for part in camera.rays())
    u, v = gx.ravel()[at] * camera.fx, gy.ravel()[at] * camera.fy
    pull = np.stack(
        [
            -u * x * y - v * (1 + y * y),
            u * (1 + x * x) + v * x * y,
            -u * y + v * x,
        ],
        axis=1,
    )
    return Ground(np.stack([x, y], axis=1), band.ravel()[at], pull)


def project(
    x: FloatArray, y: FloatArray, turn: DoubleArray, camera: Pinhole
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Where rays of camera ``a`` land in camera ``b``: columns, rows, and whether inside."""
    r = turn.astype(np.float32)
    across = r[0, 0] * x + r[1, 0] * y + r[2, 0]
    down = r[0, 1] * x + r[1, 1] * y + r[2, 1]
    depth = r[0, 2] * x + r[1, 2] * y + r[2, 2]
    ahead = depth > _LEAST_DEPTH
    depth = np.where(ahead, depth, np.float32(1.0))
    column = across / depth * np.float32(camera.fx) + np.float32((camera.width - 1) / 2)
    row = down / depth * np.float32(camera.fy) + np.float32((camera.height - 1) / 2)
    inside = (
        ahead
        & (column >= -0.5)
        & (column <= camera.width - 0.5)
        & (row >= -0.5)
        & (row <= camera.height - 0.5)
    )
    return column, row, inside


def sample(picture: FloatArray, column: FloatArray, row: FloatArray) -> FloatArray:
    """Bilinear samples at columns and rows; beyond the edge the edge is repeated."""
    return np.asarray(
        ndimage.map_coordinates(picture, [row, column], order=1, mode="nearest", prefilter=False),
        dtype=np.float32,
    )


def refine(
    first: Ground, second: Level, camera: Pinhole, turn: DoubleArray, steps: int, settle_px: float
) -> DoubleArray | None:
    """Improve a turn; ``None`` when the pictures lose each other.

    Args:
        first: the first picture's ground.
        second: the second picture, same level.
        camera: the second picture's camera.
        turn: where to start, rotation from the first camera to the second.
        steps: most Gauss-Newton steps.
        settle_px: stop when a step moves the picture's centre by less than this.
    """
    for _ in range(steps):
        column, row, inside = project(first.rays[:, 0], first.rays[:, 1], turn, camera)
        at = np.flatnonzero(inside)
        if at.size < _LEAST_POINTS:
            return None
        seen = sample(second.band, column[at], row[at])
        there = first.values[at]
        seen = seen - seen.mean()
        there = there - there.mean()
        spread = float(seen @ seen)
        if spread <= 0:
            return None
        # The pictures may differ in contrast: bring the second to the first's.
        miss = seen * np.float32(np.sqrt(float(there @ there) / spread)) - there
        size = np.abs(miss)
        scale = 1.4826 * float(np.median(size)) * _HUBER + 1e-9
        weight = np.minimum(1.0, scale / np.maximum(size, 1e-9)).astype(np.float32)
        pull = first.pull[at]
        heavy = pull * weight[:, None]
        normal = (heavy.T @ pull).astype(np.float64)
        normal[np.diag_indices(3)] *= 1.0 + 1e-3
        try:
            step = np.linalg.solve(normal, (heavy.T @ miss).astype(np.float64))
        except np.linalg.LinAlgError:
            return None
        length = float(np.sqrt(step @ step))
        if length > 0.2:  # 11 degrees: no linearisation holds so far, take a part of it
            step *= 0.2 / length
        turn = rotation(step) @ turn
        if length * camera.fx < settle_px:
            break
    return turn


@dataclass(frozen=True, slots=True)
class Fit:
    """How well two pictures agree under a turn.

    ``ncc`` is the correlation coefficient over the common ground, ``cells`` how many pixels
    of the level that is, ``overlap`` their share of the first picture, ``texture`` the
    geometric mean of both pictures' contrast there, ``move_px`` the mean shift (right, down)
    of the common ground, in shares of the first picture's width and height.
    """

    ncc: float
    cells: int
    overlap: float
    texture: float
    move: tuple[float, float]


def fit(a: Level, camera_a: Pinhole, b: Level, camera_b: Pinhole, turn: DoubleArray) -> Fit | None:
    """Correlation over the true overlap after the exact warp; ``None`` without overlap."""
    x, y = camera_a.rays()
    column, row, inside = project(x, y, turn, camera_b)
    cells = int(np.count_nonzero(inside))
    if cells < _LEAST_POINTS:
        return None
    move_right = float(
        (np.broadcast_to(np.arange(a.width), inside.shape)[inside] - column[inside]).mean()
    )
    move_down = float(
        (np.broadcast_to(np.arange(a.height)[:, None], inside.shape)[inside] - row[inside]).mean()
    )
    seen = sample(b.band, column[inside], row[inside])
    fine = sample(b.good.astype(np.float32), column[inside], row[inside]) > 0.5
    there = a.band[inside]
    fine &= a.good[inside]
    if np.count_nonzero(fine) >= max(_LEAST_POINTS, cells // 4):
        seen, there = seen[fine], there[fine]
    seen = seen - seen.mean()
    there = there - there.mean()
    energy = float(seen @ seen) * float(there @ there)
    ncc = float(seen @ there) / energy**0.5 if energy > 0 else 0.0
    return Fit(
        ncc,
        cells,
        cells / inside.size,
        (energy**0.5 / seen.size) ** 0.5,
        (move_right / a.width, move_down / a.height),
    )
