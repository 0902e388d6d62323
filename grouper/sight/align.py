"""Refining a turn between two pictures by direct alignment, and scoring it. Pure.

Gauss-Newton on the rotation of the homography K R K^-1 (Szeliski 2010, ch. 9), in the
inverse compositional form of Baker & Matthews, *Lucas-Kanade 20 Years On*, IJCV 56(3),
2004, with Cauchy's weights against moving subjects and parallax.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from grouper.rotations import rotation
from grouper.sight.sphere import BoolArray, Camera, DoubleArray, FloatArray

EFFICIENT, WARY = 2.385, 1.0
"""Widths of Cauchy's weights (see ``refine``): 95 % efficiency on Gaussian noise (Holland & Welsch
1977), and one that what moved pulls by less. Wary all the way, the largest twentieth of the misfits
of 1,370 rendered neighbours begins a tenth to two fifths higher; efficient all the way, 1 in 100
with people over a part of the frame is not found."""
NOISE_SLOPE = 0.1
"""Slope per pixel, of compressed contrast, that noise and JPEG blocks do not reach."""
_LEAST_POINTS = 60
"""Fewer points in common than this do not fix three angles against noise."""
_LEAST_DEPTH = 0.1
"""Points further than 84 degrees off the other camera's axis are in none of its flat pictures."""
_DAMPING = 1e-3
"""Levenberg's share: keeps an angle that nothing fixes from running away."""
_LONGEST_STEP_RAD = 0.2
"""11 degrees: no linearisation holds so far."""
_PLAINLY = np.float32(0.5)
"""Compressed contrast from which points are taken to be alike in the look for what promises
anything: of rendered neighbours with people over 3-15 % of the frame it lost 62 of 1,190 without,
33 with it, at as many wrong ones passed."""
_LITTLE_RAD = 1e-4
"""A hundredth of a pixel of a thumbnail: over so little a fisheye's picture is straight."""
_TINY = np.float32(1e-12)
"""Keeps flat pictures from being divided by nothing; any contrast is far above it."""
_DAMPED = np.ones((3, 3)) + _DAMPING * np.eye(3)
_SOLVABLE = 1e-9 * np.eye(3)
"""What normal equations are multiplied by, and what is added that they always have a solution."""


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

    def slopes(self) -> tuple[FloatArray, FloatArray]:
        """Differences over two pixels to the right and downwards, of the level's shape, anew."""
        right, down = np.zeros_like(self.band), np.zeros_like(self.band)
        np.subtract(self.band[:, 2:], self.band[:, :-2], out=right[:, 1:-1])
        np.subtract(self.band[2:], self.band[:-2], out=down[1:-1])
        return right, down


@dataclass(frozen=True, slots=True)
class Ground:
    """What alignment needs of the first picture of a pair: its most telling pixels.

    ``rays`` are the directions, of any length and shape (3, n), ``values`` of shape (n,),
    ``pull`` the derivative of each value by a small rotation, of shape (3, n).
    """

    rays: FloatArray
    values: FloatArray
    pull: FloatArray

    @property
    def parts(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Rays, values and pull."""
        return self.rays, self.values, self.pull


def grounds(level: Level, camera: Camera, shares: tuple[float, ...]) -> tuple[Ground, ...]:
    """For each share the so many pixels with the strongest gradient, linearised.

    Args:
        level: the picture.
        camera: its camera.
        shares: in 0..1, of all its pixels, the largest first.
    """
    band = level.band
    gx, gy = level.slopes()
    if not level.is_all_good:
        gx *= level.good
        gy *= level.good
    strength = (gx * gx + gy * gy).ravel()
    most, *fewer = (max(_LEAST_POINTS, int(share * strength.size)) for share in shares)
    at = _strongest(strength, most)
    # Taking is several times as fast as indexing.
    rays = directions(camera).take(at, axis=1)
    pull = _pull(camera, rays, gx.ravel().take(at), gy.ravel().take(at))
    whole = Ground(rays, band.ravel().take(at), pull)
    parts = (_strongest(strength.take(at), count) for count in fewer)
    return whole, *(Ground(*(part.take(kept, axis=-1) for part in whole.parts)) for kept in parts)


def _pull(camera: Camera, rays: FloatArray, right: FloatArray, down: FloatArray) -> FloatArray:
    """How values change, of shape (3, n), as their rays turn a little about each axis.

    Args:
        camera: that looks.
        rays: of shape (3, n).
        right: differences of the values over two pixels to the right, of shape (n,).
        down: the same downwards.
    """
    if camera.mapping != "rectilinear":
        moved = [_moved(camera, rays, axis) for axis in range(3)]
        return np.stack([0.5 * (right * across + down * along) for across, along in moved])
    x, y = rays[0], rays[1]
    u = right * np.float32(0.5 * camera.fx)
    v = down * np.float32(0.5 * camera.fy)
    along = u * x + v * y
    return np.stack([-y * along - v, x * along + u, v * x - u * y])


def _moved(camera: Camera, rays: FloatArray, axis: int) -> tuple[FloatArray, FloatArray]:
    """By how many pixels rays move a radian that they turn about an axis, each of shape (n,)."""
    exact = rays.astype(np.float64)
    turned = np.cross(np.eye(3)[axis], exact, axisb=0, axisc=0) * _LITTLE_RAD
    column, row, _ = camera.draw(exact + turned)
    column_back, row_back, _ = camera.draw(exact - turned)
    span = 2.0 * _LITTLE_RAD
    across, along = (column - column_back) / span, (row - row_back) / span
    return across.astype(np.float32), along.astype(np.float32)


def _strongest(strength: FloatArray, count: int) -> NDArray[np.intp]:
    """Places of so many of the largest values, or of all, in no order.

    One share after the other: two at once take numpy three times as long.
    """
    count = min(count, strength.size)
    return np.argpartition(strength, -count)[-count:]


@lru_cache(maxsize=24)
def directions(camera: Camera) -> FloatArray:
    """The ray through every pixel, of shape (3, height * width)."""
    return camera.rays().reshape(3, -1)


def project(
    rays: FloatArray, turns: DoubleArray, cameras: Sequence[Camera]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where rays of cameras ``a`` land in cameras ``b``.

    Args:
        rays: of shape (k, 3, n), or (1, 3, n) where all are the same.
        turns: rotations from ``a`` to ``b``, of shape (k, 3, 3).
        cameras: the k cameras ``b``.

    Returns:
        Columns, rows and whether inside the picture (1 or 0), each of shape (k, n).
    """
    if any(camera.mapping != "rectilinear" for camera in cameras):
        return _drawn(rays, turns, cameras)
    pixels = np.stack([_to_pixels(camera) for camera in cameras])
    across, along = (pixels[:, at, 2, None].astype(np.float32) for at in (0, 1))
    seen = (pixels @ np.swapaxes(turns, 1, 2)).astype(np.float32) @ rays
    depth = seen[:, 2]
    inside = depth > _LEAST_DEPTH
    shrink = 1.0 / np.maximum(depth, np.float32(_LEAST_DEPTH))
    column, row = seen[:, 0] * shrink, seen[:, 1] * shrink
    # Half a pixel beyond the outermost centres is the picture's edge.
    inside &= np.abs(column - across) <= across + np.float32(0.5)
    inside &= np.abs(row - along) <= along + np.float32(0.5)
    return column, row, inside.astype(np.float32)


def _drawn(
    rays: FloatArray, turns: DoubleArray, cameras: Sequence[Camera]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The same where a camera has a fisheye."""
    seen = np.swapaxes(turns, 1, 2) @ rays
    shape = (3, len(cameras), rays.shape[2])
    places = np.empty(shape, dtype=np.float32)
    for at, camera in enumerate(cameras):
        column, row, inside = camera.draw(seen[at])
        inside &= (column >= -0.5) & (column <= camera.width - 0.5)
        inside &= (row >= -0.5) & (row <= camera.height - 0.5)
        for own, part in zip(places, (column, row, inside), strict=True):
            own[at] = part
    return places[0], places[1], places[2]


@lru_cache(maxsize=64)
def _to_pixels(camera: Camera) -> DoubleArray:
    """The matrix K from rays to pixels, of shape (3, 3)."""
    across, along = (camera.width - 1) / 2, (camera.height - 1) / 2
    return np.array([[camera.fx, 0.0, across], [0.0, camera.fy, along], [0.0, 0.0, 1.0]])


def sample(pictures: Sequence[FloatArray], column: FloatArray, row: FloatArray) -> FloatArray:
    """Bilinear samples of k pictures, of shape (k, n); the edge is repeated beyond it.

    Places are rounded to a 32nd of a pixel: a hundredth of the misfit of real pictures.
    """
    seen = np.empty(column.shape, dtype=np.float32)
    for at, picture in enumerate(pictures):
        seen[at] = _looked_up(picture, column[at], row[at], cv2.INTER_LINEAR)
    return seen


_MOST_AT_ONCE = 2**15 - 2
"""OpenCV looks up fewer than 32767 places in a row; a larger square picture has more."""


def _looked_up(
    picture: NDArray[Any], column: FloatArray, row: FloatArray, how: int
) -> NDArray[Any]:
    """What a picture shows at n places; the edge is repeated beyond it."""
    parts = [
        cv2.remap(picture, column[part], row[part], how, borderMode=cv2.BORDER_REPLICATE)
        for first in range(0, len(column), _MOST_AT_ONCE)
        for part in [np.s_[None, first : first + _MOST_AT_ONCE]]
    ]
    return (parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)).ravel()


def refine(
    firsts: Sequence[Ground],
    seconds: Sequence[Level],
    cameras: Sequence[Camera],
    turns: DoubleArray,
    steps: int,
    width: float,
) -> tuple[DoubleArray, FloatArray]:
    """Improve several turns at once, of one pair of pictures or of several.

    Args:
        firsts: the first pictures' grounds, each of as many points.
        seconds: the second pictures.
        cameras: the second pictures' cameras.
        turns: where to start, rotations from the first camera to the second, (k, 3, 3).
        steps: Gauss-Newton steps, at least one.
        width: misfit in standard deviations from which a point pulls the less, the more it is off.

    Returns:
        The improved turns, (k, 3, 3); one that lost the other picture stays where it was.
        Also how well the ground agreed before the last step, (k,): its cosine times the
        root of the number of its points.
    """
    rays, values, pull = (
        np.stack(parts) for parts in zip(*(one.parts for one in firsts), strict=True)
    )
    bands = [one.band for one in seconds]
    squares = values * values
    for last in range(steps - 1, -1, -1):
        column, row, inside = project(rays, turns, cameras)
        seen = sample(bands, column, row)
        seen *= inside
        # The pictures may differ in contrast: bring the second to the first's.
        here = np.einsum("kn,kn->k", inside, squares)
        there = np.einsum("kn,kn->k", seen, seen)
        if not last:
            promise = _promise(seen, values, inside)
        seen *= np.sqrt(here / (there + _TINY))[:, None]
        seen -= values
        size = np.abs(seen)
        size *= inside
        count = inside.sum(axis=1)
        # Mean absolute deviation of a Gaussian is 0.80 standard deviations.
        scale = (width * 1.2533) * size.sum(axis=1) / np.maximum(count, 1.0)
        scale *= scale
        scale += _TINY
        size *= size
        size += scale[:, None]
        inside *= scale[:, None]
        inside /= size  # is the weight now
        heavy = pull * inside[:, None, :]
        step = _step(heavy @ np.swapaxes(pull, 1, 2), heavy @ seen[:, :, None])
        step[count < _LEAST_POINTS] = 0.0
        turns = rotation(step) @ turns
    return turns, promise


def _promise(seen: FloatArray, values: FloatArray, inside: FloatArray) -> FloatArray:
    """The cosine of two pictures' points times the root of their number, of shape (k,).

    Cut off, as slopes are: what stands out strongly counts no more than what does so plainly.
    """
    ours = np.clip(values, -_PLAINLY, _PLAINLY)
    theirs = np.clip(seen, -_PLAINLY, _PLAINLY)
    product = np.einsum("kn,kn->k", theirs, ours)
    ours *= inside
    here = np.einsum("kn,kn->k", ours, ours)
    there = np.einsum("kn,kn->k", theirs, theirs)
    product /= np.sqrt((here + _TINY) * (there + _TINY) / np.float32(values.shape[1]))
    return np.asarray(product)


def _step(normal: FloatArray, right: FloatArray) -> DoubleArray:
    """The small rotations, of shape (k, 3), that solve k normal equations, damped and not too long.

    Args:
        normal: of shape (k, 3, 3).
        right: of shape (k, 3, 1).
    """
    damped = normal * _DAMPED
    damped += _SOLVABLE
    step = np.linalg.solve(damped, right.astype(np.float64))[:, :, 0]
    length = np.sqrt(np.einsum("ki,ki->k", step, step))
    step *= np.minimum(1.0, _LONGEST_STEP_RAD / np.maximum(length, 1e-12))[:, None]
    return np.asarray(step)


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
        """Correlation weighed with the ground it rests on (as in ``match.evidence_weight``)."""
        return self.ncc * math.sqrt(self.cells)


@dataclass(frozen=True, slots=True)
class Detail:
    """How well the details agree: correlation of slopes to the right and downwards.

    Two landscapes with nothing but a level horizon in common agree downwards only. Slopes are
    cut off where they exceed what noise reaches (see ``cut_off``).
    """

    right: float
    down: float


def cut_off(slopes: FloatArray, most: float) -> FloatArray:
    """Slopes, in place, none larger than ``most``: they say where and which way, not how much.

    Else few strong outlines outweigh all the rest, and what is strong mostly stands in front and
    moves: somebody who walked on, a car, a flag.
    """
    limit = np.float32(most)
    return np.asarray(np.clip(slopes, -limit, limit, out=slopes))


def fit(
    firsts: Sequence[Level],
    cameras_a: Sequence[Camera],
    seconds: Sequence[Level],
    cameras_b: Sequence[Camera],
    turns: DoubleArray,
) -> list[tuple[Fit, Detail] | None]:
    """Agreement of k pairs over the true overlap after the exact warp; ``None`` without overlap.

    Args:
        firsts: the first pictures, all of one size.
        cameras_a: their cameras.
        seconds: the second pictures, all of one size.
        cameras_b: their cameras.
        turns: rotations from the first cameras to the second, of shape (k, 3, 3).
    """
    # Mostly of one camera: one set of rays serves them all.
    cameras = set(cameras_a)
    each = cameras if len(cameras) == 1 else cameras_a
    rays = np.stack([directions(camera) for camera in each])
    column, row, inside = project(rays, turns, cameras_b)
    seen = sample([one.band for one in seconds], column, row)
    there = np.stack([one.band for one in firsts])
    cells = inside.sum(axis=1)
    counted = _counted(firsts, seconds, column, row, inside)
    right, down = _pixels(firsts[0].width, firsts[0].height)
    whole = np.maximum(cells, 1.0) * np.array([[right.max() + 1.0], [down.max() + 1.0]])
    moves = np.stack([inside @ right, inside @ down])
    moves -= np.einsum("kn,akn->ak", inside, np.stack([column, row]))
    moves = moves / whole
    shape = there.shape
    ncc = correlation(seen, there.reshape(seen.shape), counted)
    details = _details(seen.reshape(shape), there, inside.reshape(shape))
    return [
        None
        if cells[at] < _LEAST_POINTS
        else (
            Fit(
                float(ncc[at]),
                int(cells[at]),
                float(cells[at]) / right.size,
                (float(moves[0, at]), float(moves[1, at])),
            ),
            details[at],
        )
        for at in range(len(firsts))
    ]


def _counted(
    firsts: Sequence[Level],
    seconds: Sequence[Level],
    column: FloatArray,
    row: FloatArray,
    inside: FloatArray,
) -> FloatArray:
    """Which pixels of each pair count: those away from clipped and blocked areas, if enough."""
    counted = inside.copy()
    for at, (a, b) in enumerate(zip(firsts, seconds, strict=True)):
        if a.is_all_good and b.is_all_good:
            continue
        seen = _looked_up(b.good.view(np.uint8), column[at], row[at], cv2.INTER_NEAREST)
        good = inside[at] * (seen & a.good.ravel())
        if good.sum() >= max(_LEAST_POINTS, inside[at].sum() // 4):
            counted[at] = good
    return counted


@lru_cache(maxsize=64)
def _pixels(width: int, height: int) -> tuple[FloatArray, FloatArray]:
    """Column and row of every pixel, each of shape (height * width,)."""
    down, right = np.divmod(np.arange(width * height), width)
    return right.astype(np.float32), down.astype(np.float32)


def _details(seen: FloatArray, there: FloatArray, common: FloatArray) -> list[Detail]:
    """How well the details of k pairs agree; all of shape (k, height, width)."""
    along = common[:, :, 1:] * common[:, :, :-1]
    below = common[:, 1:] * common[:, :-1]
    along_seen, along_there = (
        cut_off(one[:, :, 1:] - one[:, :, :-1], NOISE_SLOPE) for one in (seen, there)
    )
    below_seen, below_there = (
        cut_off(one[:, 1:] - one[:, :-1], NOISE_SLOPE) for one in (seen, there)
    )
    right = correlation(along_seen, along_there, along)
    down = correlation(below_seen, below_there, below)
    return [Detail(float(one), float(other)) for one, other in zip(right, down, strict=True)]


def correlation(one: FloatArray, other: FloatArray, counted: FloatArray) -> FloatArray:
    """Correlation coefficients of k pairs of pictures; 0 where one of them does not vary.

    Args:
        one: the first pictures, of shape (k, ...).
        other: the second, of the same shape.
        counted: 1 where they are compared, else 0, of the same shape.

    Returns:
        Of shape (k,).
    """
    one, other, counted = (part.reshape(len(part), -1) for part in (one, other, counted))
    count = np.maximum(counted.sum(axis=1), 1.0)
    ours, theirs = one * counted, other * counted
    mean_one, mean_other = ours.sum(axis=1) / count, theirs.sum(axis=1) / count
    energy_one = np.einsum("kn,kn->k", ours, one) / count - mean_one**2
    energy_other = np.einsum("kn,kn->k", theirs, other) / count - mean_other**2
    product = np.einsum("kn,kn->k", ours, other) / count - mean_one * mean_other
    energy = np.maximum(energy_one, 0.0) * np.maximum(energy_other, 0.0)
    return np.asarray(np.where(energy > 1e-12, product / np.sqrt(energy + 1e-20), 0.0))
