"""Refining a turn between two pictures by direct alignment, and scoring it. Pure.

Gauss-Newton on the rotation of the homography K R K^-1 (Szeliski 2010, ch. 9), in the
inverse compositional form of Baker & Matthews, *Lucas-Kanade 20 Years On*, IJCV 56(3),
2004, with Huber weights against moving subjects and parallax.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from grouper.sight.sphere import BoolArray, DoubleArray, FloatArray, Pinhole

_HUBER = 1.345
"""In standard deviations: 95 % efficiency on Gaussian noise (Huber 1981)."""
_LEAST_POINTS = 60
"""Fewer points in common than this do not fix three angles against noise."""
_LEAST_DEPTH = 0.1
"""Points further than 84 degrees off the other camera's axis are in none of its flat pictures."""
_DAMPING = 1e-3
"""Levenberg's share: keeps an angle that nothing fixes from running away."""
_LONGEST_STEP_RAD = 0.2
"""11 degrees: no linearisation holds so far."""
_BLOCK = 10
"""Side of a block in pixels: as many as fit the smallest overlap, large enough to correlate."""
_BLOCK_SPREAD = 0.2
"""Blocks with less (compressed) contrast than this are sky, fog or noise."""
_TINY = np.float32(1e-12)
"""Keeps flat blocks from being divided by nothing; any contrast is far above it."""
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

    @property
    def is_all_good(self) -> bool:
        """Whether nothing is clipped or blocked, as mostly."""
        return bool(self.good.all())


@dataclass(frozen=True, slots=True)
class Ground:
    """What alignment needs of the first picture of a pair: its most telling pixels.

    ``rays`` are the directions (x/z, y/z, 1), of shape (3, n), ``values`` of shape (n,),
    ``pull`` the derivative of each value by a small rotation, of shape (3, n).
    """

    rays: FloatArray
    values: FloatArray
    pull: FloatArray


def grounds(level: Level, camera: Pinhole, shares: tuple[float, ...]) -> tuple[Ground, ...]:
    """For each share the so many pixels with the strongest gradient, linearised.

    Args:
        level: the picture.
        camera: its camera.
        shares: in 0..1, of all its pixels, the largest first.
    """
    band = level.band
    gx, gy = np.zeros_like(band), np.zeros_like(band)
    gx[:, 1:-1] = (band[:, 2:] - band[:, :-2]) * level.good[:, 1:-1]
    gy[1:-1] = (band[2:] - band[:-2]) * level.good[1:-1]
    strength = (gx * gx + gy * gy).ravel()
    firsts = [strength.size - max(_LEAST_POINTS, int(share * strength.size)) for share in shares]
    at = np.argpartition(strength, [max(first, 0) for first in firsts])[max(firsts[0], 0) :]
    rays = directions(camera)[:, at]
    x, y = rays[0], rays[1]
    u = gx.ravel()[at] * np.float32(0.5 * camera.fx)
    v = gy.ravel()[at] * np.float32(0.5 * camera.fy)
    pull = np.stack([-u * x * y - v * (1 + y * y), u * (1 + x * x) + v * x * y, v * x - u * y])
    values = band.ravel()[at]
    lasts = (max(first - firsts[0], 0) for first in firsts)
    return tuple(
        Ground(*(np.ascontiguousarray(part[..., last:]) for part in (rays, values, pull)))
        for last in lasts
    )


@lru_cache(maxsize=64)
def directions(camera: Pinhole) -> FloatArray:
    """The ray (x/z, y/z, 1) through every pixel, of shape (3, height * width)."""
    x, y = camera.rays()
    return np.stack([x.ravel(), y.ravel(), np.ones(x.size, dtype=np.float32)])


def project(
    rays: FloatArray, turns: DoubleArray, camera: Pinhole
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where rays of camera ``a`` land in camera ``b`` under several turns.

    Args:
        rays: of shape (3, n).
        turns: rotations from ``a`` to ``b``, of shape (k, 3, 3).
        camera: camera ``b``.

    Returns:
        Columns, rows and whether inside the picture (1 or 0), each of shape (k, n).
    """
    across, along = (camera.width - 1) / 2, (camera.height - 1) / 2
    pixels = np.array([[camera.fx, 0.0, across], [0.0, camera.fy, along], [0.0, 0.0, 1.0]])
    seen = (pixels @ np.swapaxes(turns, 1, 2)).astype(np.float32) @ rays
    depth = seen[:, 2]
    inside = depth > _LEAST_DEPTH
    shrink = 1.0 / np.maximum(depth, np.float32(_LEAST_DEPTH))
    column, row = seen[:, 0] * shrink, seen[:, 1] * shrink
    # Half a pixel beyond the outermost centres is the picture's edge.
    inside &= np.abs(column - np.float32(across)) <= across + 0.5
    inside &= np.abs(row - np.float32(along)) <= along + 0.5
    return column, row, inside.astype(np.float32)


def sample(picture: FloatArray, column: FloatArray, row: FloatArray) -> FloatArray:
    """Bilinear samples at columns and rows, of shape (k, n); the edge is repeated beyond it.

    Places are rounded to a 32nd of a pixel: a hundredth of the misfit of real pictures.
    """
    seen = cv2.remap(picture, column, row, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, dtype=np.float32)


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
    values, pull = first.values, first.pull
    squares = values * values
    for last in range(steps - 1, -1, -1):
        column, row, inside = project(first.rays, turns, camera)
        seen = sample(second.band, column, row)
        seen *= inside
        # The pictures may differ in contrast: bring the second to the first's.
        here, there = inside @ squares, np.einsum("kn,kn->k", seen, seen)
        if not last:
            promise = (seen @ values) / np.sqrt((here + _TINY) * (there + _TINY))
            promise *= math.sqrt(len(squares))
        seen *= np.sqrt(here / (there + _TINY))[:, None]
        seen -= values
        size = np.abs(seen)
        size *= inside
        count = inside.sum(axis=1)
        # Mean absolute deviation of a Gaussian is 0.80 standard deviations.
        scale = (_HUBER * 1.2533) * size.sum(axis=1) / np.maximum(count, 1.0)
        scale += np.float32(1e-9)
        np.maximum(size, scale[:, None], out=size)
        inside *= scale[:, None]
        inside /= size  # is the weight now
        heavy = pull * inside[:, None, :]
        normal = (heavy @ pull.T).astype(np.float64)
        normal[:, _DIAGONAL[0], _DIAGONAL[1]] *= 1.0 + _DAMPING
        normal[:, _DIAGONAL[0], _DIAGONAL[1]] += 1e-9
        step = np.linalg.solve(normal, (heavy @ seen[:, :, None]).astype(np.float64))[:, :, 0]
        length = np.sqrt(np.einsum("ki,ki->k", step, step))
        step *= np.minimum(1.0, _LONGEST_STEP_RAD / np.maximum(length, 1e-12))[:, None]
        step[count < _LEAST_POINTS] = 0.0
        turns = np.stack([cv2.Rodrigues(one)[0] for one in step]) @ turns
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
    inside = insides[0]
    if inside.sum() < _LEAST_POINTS:
        return None
    seen = sample(b.band, columns, rows)[0]
    agreed = _fit(a, b, columns[0], rows[0], seen, inside)
    shape = a.band.shape
    return agreed, _detail(seen.reshape(shape), a.band, inside.reshape(shape))


def _fit(
    a: Level, b: Level, column: FloatArray, row: FloatArray, seen: FloatArray, inside: FloatArray
) -> Fit:
    cells = int(inside.sum())
    right, down = _pixels(a.width, a.height)
    move = float(inside @ (right - column)) / cells, float(inside @ (down - row)) / cells
    counted = inside
    if not (a.is_all_good and b.is_all_good):
        nearest = (row + 0.5).astype(np.intp).clip(0, b.height - 1) * b.width
        nearest += (column + 0.5).astype(np.intp).clip(0, b.width - 1)
        good = inside * (a.good.ravel() & b.good.ravel()[nearest])
        if good.sum() >= max(_LEAST_POINTS, cells // 4):
            counted = good
    ncc = correlation(seen, a.band.ravel(), counted)
    move_share = move[0] / a.width, move[1] / a.height
    return Fit(ncc, cells, cells / a.band.size, move_share)


@lru_cache(maxsize=64)
def _pixels(width: int, height: int) -> tuple[FloatArray, FloatArray]:
    """Column and row of every pixel, each of shape (height * width,)."""
    down, right = np.divmod(np.arange(width * height), width)
    return right.astype(np.float32), down.astype(np.float32)


def _detail(seen: FloatArray, there: FloatArray, common: FloatArray) -> Detail:
    along = common[:, 1:] * common[:, :-1]
    below = common[1:] * common[:-1]
    right = correlation(seen[:, 1:] - seen[:, :-1], there[:, 1:] - there[:, :-1], along)
    down = correlation(seen[1:] - seen[:-1], there[1:] - there[:-1], below)
    return Detail(right, down, _agreeing_blocks(seen, there, common))


def _agreeing_blocks(seen: FloatArray, there: FloatArray, common: FloatArray) -> float:
    rows, columns = (size // _BLOCK for size in seen.shape)
    if not rows or not columns:
        return 0.0
    cut = np.s_[: rows * _BLOCK, : columns * _BLOCK]
    seen, there, common = seen[cut], there[cut], common[cut]
    planes = np.empty((6, *common.shape), dtype=np.float32)
    planes[0] = common
    np.multiply(seen, common, out=planes[1])
    np.multiply(there, common, out=planes[2])
    np.multiply(seen, planes[1], out=planes[3])
    np.multiply(there, planes[2], out=planes[4])
    np.multiply(seen, planes[2], out=planes[5])
    means = _adding(rows) @ planes @ _adding(columns).T
    whole = np.maximum(means[0], np.float32(1e-6))
    mean_seen, mean_there, square_seen, square_there, product = means[1:] / whole
    spread_seen = np.maximum(square_seen - mean_seen * mean_seen, np.float32(1e-9))
    spread_there = np.maximum(square_there - mean_there * mean_there, np.float32(1e-9))
    cross = product - mean_seen * mean_there
    spread = np.sqrt(spread_seen * spread_there)
    told = (means[0] > 0.6 * _BLOCK * _BLOCK) & (spread > _BLOCK_SPREAD**2)
    agreed = np.sort((cross / spread)[told])
    # The median of few numbers, which numpy's own takes several times as long for.
    return float(agreed[(len(agreed) - 1) // 2] + agreed[len(agreed) // 2]) / 2 if told.any() else 0.0


@lru_cache(maxsize=64)
def _adding(blocks: int) -> FloatArray:
    """The matrix that adds up so many blocks of ``_BLOCK`` in a row."""
    return np.repeat(np.eye(blocks, dtype=np.float32), _BLOCK, axis=1)


def correlation(one: FloatArray, other: FloatArray, counted: FloatArray) -> float:
    """Correlation coefficient of two pictures; 0 where one of them does not vary.

    Args:
        one: the first.
        other: the second, of the same shape.
        counted: 1 where they are compared, else 0, of the same shape.
    """
    one, other, counted = one.ravel(), other.ravel(), counted.ravel()
    count = float(counted.sum())
    if count < 2:
        return 0.0
    ours, theirs = one * counted, other * counted
    mean_one, mean_other = float(ours.sum()) / count, float(theirs.sum()) / count
    energy_one = float(ours @ one) / count - mean_one * mean_one
    energy_other = float(theirs @ other) / count - mean_other * mean_other
    energy = max(energy_one, 0.0) * max(energy_other, 0.0)
    if energy <= 1e-12:
        return 0.0
    return (float(ours @ other) / count - mean_one * mean_other) / math.sqrt(energy)
