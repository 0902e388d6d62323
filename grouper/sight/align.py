"""Refining a turn between two pictures by direct alignment, and scoring it. Pure.

Gauss-Newton on the rotation of the homography K R K^-1 (Szeliski 2010, ch. 9), in the
inverse compositional form of Baker & Matthews, *Lucas-Kanade 20 Years On*, IJCV 56(3),
2004, with Huber weights against moving subjects and parallax.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from grouper.sight.sphere import BoolArray, DoubleArray, FloatArray, Pinhole, rotation

_HUBER = 1.345
"""In standard deviations: 95 % efficiency on Gaussian noise (Huber 1981)."""
_LEAST_POINTS = 60
"""Fewer points in common than this do not fix three angles against noise."""
_LEAST_DEPTH = 0.1
_DAMPING = 1e-3
"""Levenberg's share: keeps an angle that nothing fixes from running away."""
_LONGEST_STEP_RAD = 0.2
"""11 degrees: no linearisation holds so far."""
_BLOCK = 10
"""Side of a block in pixels: as many as fit the smallest overlap, large enough to correlate."""
_BLOCK_SPREAD = 0.2
"""Blocks with less (compressed) contrast than this are sky, fog or noise."""
_DIAGONAL = np.diag_indices(3)


@dataclass(frozen=True, slots=True)
class Level:
    """One scale of a picture.

    ``band`` has mean about 0 and shape (height, width); ``good`` marks pixels away from
    clipped and blocked areas.
    """

    band: FloatArray
    good: BoolArray
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class Ground:
    """What alignment needs of the first picture of a pair: its most telling pixels.

    ``rays`` are the directions (x/z, y/z, 1), of shape (3, n), ``values`` of shape (n,),
    ``pull`` the derivative of each value by a small rotation, of shape (3, n).
    """

    rays: FloatArray
    values: FloatArray
    pull: FloatArray


def ground(level: Level, camera: Pinhole, share: float) -> Ground:
    """Pick the share of pixels with the strongest gradient and linearise them."""
    band = level.band
    gx, gy = np.zeros_like(band), np.zeros_like(band)
    gx[:, 1:-1] = (band[:, 2:] - band[:, :-2]) * level.good[:, 1:-1]
    gy[1:-1] = (band[2:] - band[:-2]) * level.good[1:-1]
    strength = (gx * gx + gy * gy).ravel()
    count = max(_LEAST_POINTS, int(share * strength.size))
    at = np.arange(strength.size)
    if count < strength.size:
        at = np.sort(np.argpartition(strength, strength.size - count)[-count:])
    rays = directions(camera)[:, at]
    x, y = rays[0], rays[1]
    u = gx.ravel()[at] * np.float32(0.5 * camera.fx)
    v = gy.ravel()[at] * np.float32(0.5 * camera.fy)
    pull = np.stack([-u * x * y - v * (1 + y * y), u * (1 + x * x) + v * x * y, v * x - u * y])
    return Ground(rays, band.ravel()[at], pull)


@lru_cache(maxsize=64)
def directions(camera: Pinhole) -> FloatArray:
    """The ray (x/z, y/z, 1) through every pixel, of shape (3, height * width)."""
    x, y = camera.rays()
    return np.stack([x.ravel(), y.ravel(), np.ones(x.size, dtype=np.float32)])


def project(
    rays: FloatArray, turns: DoubleArray, camera: Pinhole
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Where rays of camera ``a`` land in camera ``b`` under several turns.

    Args:
        rays: of shape (3, n).
        turns: rotations from ``a`` to ``b``, of shape (k, 3, 3).
        camera: camera ``b``.

    Returns:
        Columns, rows and whether inside the picture, each of shape (k, n).
    """
    seen = np.swapaxes(turns, 1, 2).astype(np.float32) @ rays
    depth = seen[:, 2]
    ahead = depth > _LEAST_DEPTH
    np.maximum(depth, np.float32(_LEAST_DEPTH), out=depth)
    column, row = seen[:, 0] / depth, seen[:, 1] / depth
    inside = np.abs(column) <= camera.width / (2 * camera.fx)
    inside &= np.abs(row) <= camera.height / (2 * camera.fy)
    inside &= ahead
    column *= np.float32(camera.fx)
    column += np.float32((camera.width - 1) / 2)
    row *= np.float32(camera.fy)
    row += np.float32((camera.height - 1) / 2)
    return column, row, inside


def sample(picture: FloatArray, column: FloatArray, row: FloatArray) -> FloatArray:
    """Bilinear samples at columns and rows; beyond the edge the edge is repeated."""
    return np.asarray(
        ndimage.map_coordinates(picture, (row, column), order=1, mode="nearest", prefilter=False)
    )


def refine(
    first: Ground, second: Level, camera: Pinhole, turns: DoubleArray, steps: int
) -> tuple[DoubleArray, DoubleArray]:
    """Improve several turns at once.

    Args:
        first: the first picture's ground.
        second: the second picture, same level.
        camera: the second picture's camera.
        turns: where to start, rotations from the first camera to the second, (k, 3, 3).
        steps: Gauss-Newton steps.

    Returns:
        The improved turns, (k, 3, 3); one that lost the other picture stays where it was.
        Also how well the ground agreed before the last step, (k,): its cosine times the
        root of the number of its points.
    """
    promise = np.zeros(len(turns))
    for _ in range(steps):
        column, row, inside = project(first.rays, turns, camera)
        seen = sample(second.band, column, row)
        # The pictures may differ in contrast: bring the second to the first's.
        seen *= inside
        spread = np.einsum("kn,kn->k", seen, seen) + np.float32(1e-12)
        gain = np.sqrt((inside @ (first.values * first.values)) / spread)
        seen *= gain[:, None]
        promise = (seen @ first.values) / np.sqrt(inside @ (first.values**2) + 1e-12)
        promise = promise / np.sqrt((seen * seen).mean(axis=1) + 1e-12)
        miss = seen - first.values
        size = np.abs(miss) * inside
        count = np.maximum(inside.sum(axis=1), 1)
        # Mean absolute deviation of a Gaussian is 0.80 standard deviations.
        scale = (_HUBER * 1.2533 * size.sum(axis=1) / count + 1e-9).astype(np.float32)[:, None]
        weight = scale / np.maximum(size, scale)
        weight *= inside
        heavy = first.pull * weight[:, None, :]
        normal = (heavy @ first.pull.T).astype(np.float64)
        normal[:, _DIAGONAL[0], _DIAGONAL[1]] *= 1.0 + _DAMPING
        normal[:, _DIAGONAL[0], _DIAGONAL[1]] += 1e-9
        step = np.linalg.solve(normal, (heavy @ miss[:, :, None]).astype(np.float64))[:, :, 0]
        length = np.sqrt(np.einsum("ki,ki->k", step, step))
        step *= np.minimum(1.0, _LONGEST_STEP_RAD / np.maximum(length, 1e-12))[:, None]
        step[count < _LEAST_POINTS] = 0.0
        turns = rotation(step) @ turns
    return turns, promise


@dataclass(frozen=True, slots=True)
class Fit:
    """How well two pictures agree under a turn.

    ``ncc`` is the correlation coefficient over the common ground, ``cells`` how many pixels
    of the level that is, ``overlap`` their share of the first picture, ``move`` the mean
    shift (right, down) of the common ground from the second picture to the first, in shares
    of the picture's size.
    """

    ncc: float
    cells: int
    overlap: float
    move: tuple[float, float]

    @property
    def strength(self) -> float:
        """Correlation weighed with the ground it rests on (see ``match.peaks``)."""
        return self.ncc * math.sqrt(self.cells)


@dataclass(frozen=True, slots=True)
class Detail:
    """How well the details agree: correlation of slopes to the right and downwards.

    Two landscapes with nothing but a level horizon in common agree downwards only.
    ``blocks`` is the median correlation of the textured blocks: a moving subject or a sky
    spoils some, chance spoils most.
    """

    right: float
    down: float
    blocks: float


def fit(
    a: Level, camera_a: Pinhole, b: Level, camera_b: Pinhole, turn: DoubleArray
) -> tuple[Fit, Detail] | None:
    """Agreement over the true overlap after the exact warp; ``None`` without overlap.

    Args:
        a: the first picture.
        camera_a: its camera.
        b: the second picture, same level.
        camera_b: its camera.
        turn: rotation from the first camera to the second, of shape (3, 3).
    """
    columns, rows, insides = project(directions(camera_a), turn[None], camera_b)
    column, row, inside = columns[0], rows[0], insides[0]
    at = np.flatnonzero(inside)
    if at.size < _LEAST_POINTS:
        return None
    seen = sample(b.band, column, row)
    agreed = _fit(a, b, column[at], row[at], seen[at], at)
    common = inside.reshape(a.band.shape)
    return agreed, _detail(seen.reshape(a.band.shape), a.band, common)


def _fit(
    a: Level,
    b: Level,
    column: FloatArray,
    row: FloatArray,
    seen: FloatArray,
    at: NDArray[np.intp],
) -> Fit:
    down, right = np.divmod(at, a.width)
    move = float(right.mean() - column.mean()), float(down.mean() - row.mean())
    there = a.band.ravel()[at]
    good = a.good.ravel()[at]
    if not b.good.all():
        nearest = (row + 0.5).astype(np.intp).clip(0, b.height - 1) * b.width
        nearest += (column + 0.5).astype(np.intp).clip(0, b.width - 1)
        good = good & b.good.ravel()[nearest]
    count = int(np.count_nonzero(good))
    if _LEAST_POINTS <= count < at.size and count >= at.size // 4:
        seen, there = seen[good], there[good]
    move_share = move[0] / a.width, move[1] / a.height
    return Fit(correlation(seen, there), at.size, at.size / a.band.size, move_share)


def _detail(seen: FloatArray, there: FloatArray, common: BoolArray) -> Detail:
    along = common[:, 1:] & common[:, :-1]
    below = common[1:] & common[:-1]
    right = correlation((seen[:, 1:] - seen[:, :-1])[along], (there[:, 1:] - there[:, :-1])[along])
    down = correlation((seen[1:] - seen[:-1])[below], (there[1:] - there[:-1])[below])
    return Detail(right, down, _agreeing_blocks(seen * common, there * common, common))


def _agreeing_blocks(seen: FloatArray, there: FloatArray, common: BoolArray) -> float:
    rows, columns = (size // _BLOCK for size in seen.shape)
    if not rows or not columns:
        return 0.0

    def means(values: FloatArray) -> FloatArray:
        cut = values[: rows * _BLOCK, : columns * _BLOCK]
        return np.asarray(cut.reshape(rows, _BLOCK, columns, _BLOCK).mean(axis=(1, 3)))

    share = means(common.astype(np.float32))
    whole = np.maximum(share, 1e-6)
    mean_seen, mean_there = means(seen) / whole, means(there) / whole
    spread_seen = np.maximum(means(seen * seen) / whole - mean_seen**2, 1e-9)
    spread_there = np.maximum(means(there * there) / whole - mean_there**2, 1e-9)
    cross = means(seen * there) / whole - mean_seen * mean_there
    spread = np.sqrt(spread_seen * spread_there)
    told = (share > 0.6) & (spread > _BLOCK_SPREAD**2)
    return float(np.median((cross / spread)[told])) if told.any() else 0.0


def correlation(one: FloatArray, other: FloatArray) -> float:
    """Correlation coefficient of two samples; 0 where one of them does not vary."""
    if one.size < 2:
        return 0.0
    one = one - one.mean()
    other = other - other.mean()
    energy = float(one @ one) * float(other @ other)
    return float(one @ other) / math.sqrt(energy) if energy > 1e-12 else 0.0
