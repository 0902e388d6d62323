"""Sightings -> pointings: where every frame of a set looks, solved together. Pure.

Rotations are averaged by robust least squares (Hartley, Trumpf, Dai & Li, *Rotation
Averaging*, IJCV 103, 2013); the level frame is found as in the automatic straightening of
Brown & Lowe, IJCV 74(1), 2007, with the turning axis of a sweep as the stronger evidence.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse
from scipy.sparse.linalg import spsolve

from grouper import optics
from grouper.model import Frame, Pointing, Sighting, Solution
from grouper.rotations import rotation, rotation_vector
from grouper.sight.sphere import DoubleArray

_TRUSTED = 0.5
"""Sightings less certain than an even bet are not used."""
_EDGE_SIGMA_DEG = 0.25
"""Misfit of a good sighting, measured on rendered sweeps; parallax adds to it."""
_EDGE_SIGMA_SHARE = 0.01
"""A focal length known to a per cent puts this share of the turn on top."""
_OUTLIER_SIGMAS = 8.0
"""A sighting that misses the rest by this much saw something else (Huber weights have
already cut its pull)."""
_STILL_RAD = 1e-6
"""A step this small is the last: a twentieth of the last digit that is told."""
_ITERATIONS = 12
"""Re-weighted least squares settles within a handful of rounds; the rest is a reserve
(estimated)."""
_MOST_DENSE = 70
"""Frames up to which a full matrix is solved quicker than a sparse one is made (measured)."""
_HUBER = 1.345
"""In standard deviations: 95 % efficiency on Gaussian noise (Huber 1981)."""

_SCALE_KNOWN = 1.15
"""Furthest that a recorded focal length is off: 35 mm equivalents are whole millimetres (2 %
at 24 mm), computed on the diagonal or the width (4 %), and lenses are named roundly."""
_SCALE_ASSUMED = 1.9
"""Furthest that it is off where the sensor's size was only assumed, or computed from the
focal-plane resolution, which survives resizing and cropping."""

_ROLL_SIGMA_DEG = 3.0
"""How level cameras are held where nothing else shows it (practice)."""
_PITCH_SIGMA_DEG = 20.0
"""Sweeps are aimed about level, but looking up or down on purpose is common: a weak pull
(estimated)."""
_ATTITUDE_FLOOR_DEG = 2.0
"""A recorded level speaks of gravity, the sweep of its axis: a base may lean by this much."""
_AXIS_SIGMA_DEG = 0.4
"""Least wobble of a turning axis, per step: what sightings are good for."""
_AXIS_SURE_DEG = 0.8
"""The roll of the camera is told when the axis is known better than this."""
_TILT_LEAST_TURN_DEG = 30.0
"""A shorter turn does not tell its axis from the roll of the camera (estimated)."""
_MOST_SPAN_DEG = 400.0
"""A single turn, closed by a frame past its start, spans no more."""


@dataclass(frozen=True, slots=True)
class _Edge:
    a: int
    b: int
    turn: DoubleArray
    """Rotation vector in radians, in ``a``'s frame."""
    certainty: float

    @property
    def angle(self) -> float:
        return math.sqrt(float(self.turn @ self.turn))


def solve_pointings(
    frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
) -> Solution | None:
    """Solve pointings from sightings between frames given by index, in shooting order.

    Frames without a trusted tie to the largest group of frames have ``Pointing()``; yaw is
    0 at the first tied frame and runs on past 180 degrees, so a full turn spans 360.
    ``None`` when fewer than two frames hang together.
    """
    edges = [
        _Edge(a, b, np.radians(np.array(seen.turn_deg, dtype=np.float64)), seen.certainty)
        for a, b, seen in sightings
        if a != b and seen.certainty >= _TRUSTED and seen.overlap > 0
    ]
    tied = _largest_group(len(frames), edges)
    if len(tied) < 2:
        return None
    place = {frame: at for at, frame in enumerate(tied)}
    edges = [
        _Edge(place[edge.a], place[edge.b], edge.turn, edge.certainty)
        for edge in edges
        if edge.a in place
    ]
    known = all(
        frames[at].sensor_from in ("equivalent", "body") and frames[at].focal_mm for at in tied
    )
    scale, closing = _focal_scale(len(tied), edges, _SCALE_KNOWN if known else _SCALE_ASSUMED)
    if scale != 1.0:
        edges = [_Edge(e.a, e.b, _rescaled(e.turn, scale), e.certainty) for e in edges]
    held, used = _average(len(tied), edges)
    level = _level(held, used, [frames[at] for at in tied])
    yaw, pitch, roll = _angles(held, level.frame)
    trails = _trails(len(tied), used)
    yaw = _unwrapped(yaw, trails)
    pointings = [Pointing()] * len(frames)
    for at, frame in enumerate(tied):
        pointings[frame] = Pointing(
            yaw_deg=round(float(yaw[at] - yaw[0]), 3),
            pitch_deg=round(float(pitch[at]), 3),
            roll_deg=round(float(roll[at]), 3),
        )
    residual = math.sqrt(float((_misses(held, _ties(used)) ** 2).sum(axis=1).mean()))
    return Solution(
        pointings=tuple(pointings),
        residual_deg=round(math.degrees(residual), 3),
        focal_scale=round(scale, 4),
        closed=closing and _winds(yaw, used, trails),
        camera_roll_deg=None if not level.sure else round(float(np.median(roll)), 2),
        base_tilt_deg=level.base_tilt_deg,
    )


def _largest_group(count: int, edges: Sequence[_Edge]) -> list[int]:
    """Indices of the largest set of frames that edges connect; of equals the earliest."""
    group = {at: [at] for at in range(count)}
    for edge in edges:
        small, large = sorted((group[edge.a], group[edge.b]), key=len)
        if small is not large:
            large += small
            group.update(dict.fromkeys(small, large))
    largest = max(group.values(), key=len)
    return sorted(largest)


def _walk(
    count: int, edges: Sequence[_Edge], prices: Sequence[tuple[float, ...]]
) -> Iterator[tuple[int, int, int]]:
    """The cheapest tree of edges over all frames, outwards from the first (Prim's algorithm).

    Yields:
        Place of the edge, the frame it starts from and the one it adds.
    """
    by_frame: list[list[tuple[tuple[float, ...], int]]] = [[] for _ in range(count)]
    for at, edge in enumerate(edges):
        by_frame[edge.a].append((prices[at], at))
        by_frame[edge.b].append((prices[at], at))
    placed = {0}
    reach = by_frame[0].copy()
    heapq.heapify(reach)
    while reach:
        _, at = heapq.heappop(reach)
        edge = edges[at]
        if edge.a in placed and edge.b in placed:
            continue
        old, new = (edge.a, edge.b) if edge.a in placed else (edge.b, edge.a)
        placed.add(new)
        for one in by_frame[new]:
            heapq.heappush(reach, one)
        yield at, old, new


def _rescaled(turn: DoubleArray, scale: float) -> DoubleArray:
    """A turn measured with a focal length that was ``scale`` times too short.

    The shift in the picture stays: tan(half the turn) goes with 1 / focal length. Roll about
    the lens axis does not depend on the focal length.
    """
    across = math.hypot(float(turn[0]), float(turn[1]))
    if across < 1e-9:
        return turn
    factor = 2 * math.atan(math.tan(min(across, 3.0) / 2) / scale) / across
    return np.array([turn[0] * factor, turn[1] * factor, turn[2]])


# --- closing a circle ------------------------------------------------------------------


def _focal_scale(count: int, edges: Sequence[_Edge], most: float) -> tuple[float, bool]:
    """Scale of the focal length from loops that run once round, and whether there is one."""
    trail = _trails(count, edges)
    in_tree = {id(edge) for path in trail for edge, _ in path}
    scales = []
    for edge in edges:
        if id(edge) in in_tree:
            continue
        loop = _loop(trail[edge.a], trail[edge.b], edge)
        scale = _scale_of_loop(loop, most)
        if scale is not None:
            scales.append(scale)
    if not scales:
        return 1.0, False
    return float(np.median(scales)), True


_Trail = list[tuple[_Edge, int]]
"""Edges from the first frame to another, with +1 where walked from ``a`` to ``b``, else -1."""


def _trails(count: int, edges: Sequence[_Edge]) -> list[_Trail]:
    """For each frame how it hangs on the first: by the nearest in shooting order."""
    prices = [(abs(e.a - e.b), -e.certainty, max(e.a, e.b)) for e in edges]
    trails: list[_Trail] = [[] for _ in range(count)]
    for at, old, new in _walk(count, edges, prices):
        trails[new] = [*trails[old], (edges[at], 1 if edges[at].b == new else -1)]
    return trails


def _loop(to_a: _Trail, to_b: _Trail, edge: _Edge) -> _Trail:
    """The closed walk a -> b by the edge, b -> a by the trails."""
    common = 0
    while common < min(len(to_a), len(to_b)) and to_a[common][0] is to_b[common][0]:
        common += 1
    back = [(one, -sign) for one, sign in reversed(to_b[common:])]
    return [(edge, 1), *back, *to_a[common:]]


def _scale_of_loop(loop: _Trail, most: float) -> float | None:
    """The focal scale at which a loop turns by exactly 360 degrees; ``None`` if it cannot."""
    whole = np.array([edge.angle for edge, _ in loop])
    # No turn grows by more than the focal length shrinks: most loops are too small.
    if most * float(whole.sum()) < 2 * math.pi:
        return None
    turns = np.array([sign * edge.turn[1] for edge, sign in loop])
    # The turning angle about the axis: the whole angle with the sign of its yaw (at a pitch
    # the roll component takes part in the turn).
    signed = np.sign(turns) * whole

    def around(log_scale: float) -> float:
        tangent = np.tan(np.minimum(np.abs(signed), 3.0) / 2) / math.exp(log_scale)
        return float(abs(np.sum(np.sign(signed) * 2 * np.arctan(tangent)))) - 2 * math.pi

    limit = math.log(most)
    low, high = around(-limit), around(limit)
    if low < 0 or high > 0:
        return None
    return math.exp(optimize.brentq(around, -limit, limit, xtol=1e-5))


# --- averaging -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Ties:
    """Edges as arrays: indices and standard deviations of shape (n,), turns of (n, 3, 3)."""

    a: NDArray[np.intp]
    b: NDArray[np.intp]
    told: DoubleArray
    sigma: DoubleArray


def _ties(edges: Sequence[_Edge]) -> _Ties:
    turn = np.array([edge.turn for edge in edges])
    certainty = np.array([edge.certainty for edge in edges])
    sigma = math.radians(_EDGE_SIGMA_DEG) + _EDGE_SIGMA_SHARE * np.sqrt((turn * turn).sum(axis=1))
    return _Ties(
        np.array([edge.a for edge in edges], dtype=np.intp),
        np.array([edge.b for edge in edges], dtype=np.intp),
        rotation(turn),
        sigma / np.sqrt(certainty),
    )


def _average(count: int, edges: Sequence[_Edge]) -> tuple[DoubleArray, list[_Edge]]:
    """Camera attitudes of shape (count, 3, 3) in the first frame's axes, and edges used."""
    used = list(edges)
    while True:
        ties = _ties(used)
        held = _relaxed(_placed(count, used, ties.told), ties)
        misfit = np.sqrt((_misses(held, ties) ** 2).sum(axis=1)) / ties.sigma
        worst = float(misfit.max())
        if worst < _OUTLIER_SIGMAS:
            return held, used
        # Together with the worst those nearly as bad, but never a frame's only tie.
        bad = np.flatnonzero(misfit >= max(_OUTLIER_SIGMAS, 0.7 * worst))
        for drop in (bad, np.array([int(np.argmax(misfit))])):
            dropped = set(drop.tolist())
            without = [edge for at, edge in enumerate(used) if at not in dropped]
            if len(_largest_group(count, without)) == count:
                used = without
                break
        else:
            return held, used


def _placed(count: int, edges: Sequence[_Edge], told: DoubleArray) -> DoubleArray:
    """Attitudes by walking the most certain edges."""
    held = np.tile(np.eye(3), (count, 1, 1))
    for at, old, new in _walk(count, edges, [(-edge.certainty,) for edge in edges]):
        held[new] = held[old] @ (told[at] if edges[at].b == new else told[at].T)
    return held


def _misses(held: DoubleArray, ties: _Ties) -> DoubleArray:
    """By how much attitudes miss each sighting: rotation vectors of shape (edges, 3)."""
    seen = np.swapaxes(held[ties.a], 1, 2) @ held[ties.b]
    return rotation_vector(np.swapaxes(ties.told, 1, 2) @ seen)


def _relaxed(held: DoubleArray, ties: _Ties) -> DoubleArray:
    """Gauss-Newton on the attitudes with Huber weights; the first frame stays."""
    count, a, b, sigma = len(held), ties.a, ties.b, ties.sigma
    if len(a) < count:  # a tree fits its edges exactly
        return held
    for _ in range(_ITERATIONS):
        miss = _misses(held, ties)
        size = np.sqrt((miss * miss).sum(axis=1)) / sigma
        weight = np.minimum(1.0, _HUBER / np.maximum(size, 1e-9)) / sigma**2
        # miss(d) = miss + d_b - (a's axes seen from b) d_a for small turns d of the cameras.
        from_b = np.swapaxes(held[b], 1, 2) @ held[a]
        to_a = np.swapaxes(from_b, 1, 2)
        blocks = np.concatenate(
            [
                weight[:, None, None] * np.eye(3),
                weight[:, None, None] * np.eye(3),
                -weight[:, None, None] * to_a,
                -weight[:, None, None] * from_b,
            ]
        )
        rows, columns = np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a])
        right = np.zeros((count, 3))
        np.add.at(right, a, weight[:, None] * (to_a @ miss[:, :, None])[:, :, 0])
        np.add.at(right, b, -weight[:, None] * miss)
        step = np.zeros(3 * count)
        step[3:] = _solved(blocks, rows, columns, right)
        held = held @ rotation(step.reshape(count, 3))
        if float(np.abs(step).max()) < _STILL_RAD:
            break
    return held


def _solved(
    blocks: DoubleArray, row: NDArray[np.intp], column: NDArray[np.intp], right: DoubleArray
) -> DoubleArray:
    """Solve the normal equations, all but the first frame's, which stays.

    Args:
        blocks: of shape (n, 3, 3); blocks at one place add up.
        row: the frame in whose rows each block stands, of shape (n,).
        column: the frame in whose columns, of shape (n,).
        right: the right-hand side, of shape (frames, 3).
    """
    count = len(right)
    wanted = right.ravel()[3:]
    if count <= _MOST_DENSE:
        dense = np.zeros((count, count, 3, 3))
        np.add.at(dense, (row, column), blocks)
        square = dense.transpose(0, 2, 1, 3).reshape(3 * count, 3 * count)
        return np.asarray(np.linalg.solve(square[3:, 3:], wanted), dtype=np.float64)
    inner = np.arange(3)
    rows = np.broadcast_to(3 * row[:, None, None] + inner[:, None], blocks.shape)
    columns = np.broadcast_to(3 * column[:, None, None] + inner, blocks.shape)
    normal = sparse.coo_array(
        (blocks.ravel(), (rows.ravel(), columns.ravel())), shape=(3 * count, 3 * count)
    ).tocsc()
    return np.asarray(spsolve(normal[3:, 3:], wanted))


# --- the level frame -------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Level:
    frame: DoubleArray
    """Columns are the level frame's right, down and forward in the solution's axes."""
    sure: bool
    base_tilt_deg: float | None


def _level(held: DoubleArray, edges: Sequence[_Edge], frames: Sequence[Frame]) -> _Level:
    """Find which way is down."""
    gravity = _gravity(held, frames)
    first = held[:, :, 1].mean(axis=0) if gravity is None else gravity
    down = first / math.sqrt(float(first @ first))
    axes = np.array([held[edge.a] @ edge.turn for edge in edges])
    rows, wanted = _told_of_down(held, frames)
    wobble = math.radians(_AXIS_SIGMA_DEG)
    sigma_deg = 90.0
    for _ in range(3):
        about = _about(axes, down)
        down, sigma_deg = _settled(down, rows, wanted, axes[about] / wobble)
        if about.any():
            off = axes[about] - (axes[about] @ down)[:, None] * down
            rms = math.sqrt(float((off * off).sum() / 2 / len(off)))
            wobble = max(math.radians(_AXIS_SIGMA_DEG), rms)
    about = _about(axes, down)
    turned = math.degrees(_spread_of_yaw(held, down)) if about.any() else 0.0
    sure = bool(about.any()) and sigma_deg < _AXIS_SURE_DEG and turned > 2 * _AXIS_SIGMA_DEG
    tilt = None
    if gravity is not None and sure and turned >= _TILT_LEAST_TURN_DEG:
        tilt = round(math.degrees(math.acos(min(1.0, float(gravity @ down)))), 2)
    return _Level(_frame(down, held[0]), sure, tilt)


def _about(axes: DoubleArray, down: DoubleArray) -> NDArray[np.bool_]:
    """Which turns are made about the vertical: axes within 30 degrees of it."""
    if not len(axes):
        return np.zeros(0, dtype=bool)
    length = np.sqrt((axes * axes).sum(axis=1))
    return np.asarray(
        (length > math.radians(2.0)) & (np.abs(axes @ down) > math.cos(math.radians(30)) * length)
    )


def _gravity(held: DoubleArray, frames: Sequence[Frame]) -> DoubleArray | None:
    """The mean of "down" as the cameras' own levels recorded it, in the solution's axes."""
    seen = []
    for at, frame in enumerate(frames):
        told = frame.attitude
        if told is not None and told.pitch_deg is not None and told.roll_deg is not None:
            seen.append(held[at] @ _down_in_camera(told.pitch_deg, told.roll_deg))
    if not seen:
        return None
    mean = np.mean(seen, axis=0)
    return np.asarray(mean / math.sqrt(float(mean @ mean)))


def _down_in_camera(pitch_deg: float, roll_deg: float) -> DoubleArray:
    """The direction of gravity in the axes of a camera held like this."""
    pitch, roll = math.radians(pitch_deg), math.radians(roll_deg)
    c = math.cos(pitch)
    return np.array([math.sin(roll) * c, math.cos(roll) * c, -math.sin(pitch)])


def _told_of_down(held: DoubleArray, frames: Sequence[Frame]) -> tuple[DoubleArray, DoubleArray]:
    """What the hold and the levels of the cameras say of "down", in standard deviations.

    Returns:
        Rows of shape (n, 3), and what their products with "down" should be, of shape (n,).
    """
    # Cameras of one set share their hold, and their levels share an error: they count once.
    count = math.sqrt(len(held))
    rows = [
        held[:, :, 0] / (math.radians(_ROLL_SIGMA_DEG) * count),
        held[:, :, 2] / (math.radians(_PITCH_SIGMA_DEG) * count),
    ]
    wanted = [np.zeros(2 * len(held))]
    for camera, frame in zip(held, frames, strict=True):
        told = frame.attitude
        if told is None:
            continue
        pitch_deg, roll_deg = told.pitch_deg, told.roll_deg
        sigma = math.radians(math.hypot(told.sigma_deg, _ATTITUDE_FLOOR_DEG)) * count
        seen = _down_in_camera(pitch_deg or 0.0, roll_deg or 0.0)
        if pitch_deg is not None and roll_deg is not None:
            rows.append(camera.T / sigma)
            wanted.append(seen / sigma)
        elif pitch_deg is not None:
            # The sine of an angle near 90 degrees hardly changes with it.
            steep = max(0.1, math.hypot(seen[0], seen[1]))
            rows.append(camera[None, :, 2] / (sigma * steep))
            wanted.append(seen[2:] / (sigma * steep))
        elif roll_deg is not None:
            rows.append((camera[:, 0] * seen[1] - camera[:, 1] * seen[0])[None] / sigma)
            wanted.append(np.zeros(1))
    return np.concatenate(rows), np.concatenate(wanted)


def _settled(
    down: DoubleArray, rows: DoubleArray, wanted: DoubleArray, axes: DoubleArray
) -> tuple[DoubleArray, float]:
    """Weigh all the evidence for "down" (Gauss-Newton); also its standard deviation in degrees.

    Args:
        down: a first guess.
        rows: see ``_told_of_down``.
        wanted: see there.
        axes: turning axes that should lie along "down", over their standard deviation, (n, 3).
    """
    for _ in range(_ITERATIONS):
        across = _across(down)
        slope, along = rows @ across, axes @ down
        information = slope.T @ slope + float(along @ along) * np.eye(2)
        pull = (wanted - rows @ down) @ slope + along @ (axes @ across)
        doubt = np.linalg.inv(information)
        lean = doubt @ pull
        down = down + across @ lean
        down = down / math.sqrt(float(down @ down))
        if float(np.abs(lean).max()) < _STILL_RAD:
            break
    return down, math.degrees(math.sqrt(float(doubt.diagonal().max())))


def _across(axis: DoubleArray) -> DoubleArray:
    """Two unit vectors square to a unit vector and to each other, as columns of shape (3, 2).

    (Duff et al., *Building an Orthonormal Basis, Revisited*, JCGT 6(1), 2017.)
    """
    x, y, z = axis.tolist()
    sign = math.copysign(1.0, z)
    a = -1.0 / (sign + z)
    b = x * y * a
    return np.array([[1.0 + sign * x * x * a, b], [sign * b, sign + y * y * a], [-sign * x, -y]])


def _frame(down: DoubleArray, first: DoubleArray) -> DoubleArray:
    ahead = first[:, 2] - float(first[:, 2] @ down) * down
    if float(ahead @ ahead) < 1e-6:
        # The first camera looks straight up or down: take its top edge for ahead.
        ahead = -first[:, 1] - float(-first[:, 1] @ down) * down
    ahead = ahead / math.sqrt(float(ahead @ ahead))
    return np.stack([np.cross(down, ahead), down, ahead], axis=1)


def _spread_of_yaw(held: DoubleArray, down: DoubleArray) -> float:
    yaw = np.radians(_angles(held, _frame(down, held[0]))[0])
    return float(2 * np.sqrt(max(0.0, 1 - abs(np.exp(1j * yaw).mean()) ** 2)))


def _angles(held: DoubleArray, frame: DoubleArray) -> tuple[DoubleArray, DoubleArray, DoubleArray]:
    """Yaw, pitch, roll in degrees of each camera in the level frame."""
    level = frame.T @ held
    right, ahead = level[:, :, 0], level[:, :, 2]
    yaw = np.arctan2(ahead[:, 0], ahead[:, 2])
    pitch = np.arcsin(np.clip(-ahead[:, 1], -1.0, 1.0))
    # The camera's right, turned and tilted back, keeps the roll alone.
    back = np.sin(yaw) * right[:, 0] + np.cos(yaw) * right[:, 2]
    down = np.sin(pitch) * back + np.cos(pitch) * right[:, 1]
    roll = np.arctan2(down, np.cos(yaw) * right[:, 0] - np.sin(yaw) * right[:, 2])
    return np.degrees(yaw), np.degrees(pitch), np.degrees(roll)


def _unwrapped(yaw: DoubleArray, trails: Sequence[_Trail]) -> DoubleArray:
    """Yaw that runs on past 180 degrees along the order of shooting."""
    whole = np.zeros(len(yaw))
    for at, trail in enumerate(trails):
        total, here = 0.0, 0
        for edge, sign in trail:
            there = edge.b if sign > 0 else edge.a
            total += optics.within_half_turn(float(yaw[there] - yaw[here]))
            here = there
        whole[at] = total
    if float(np.ptp(whole)) > _MOST_SPAN_DEG:
        # Several rows round the circle: each would run on where the last one ended.
        whole = whole % 360.0
    return whole


def _winds(yaw: DoubleArray, edges: Sequence[_Edge], trails: Sequence[_Trail]) -> bool:
    """Whether some used edge closes a full turn against the order of shooting."""
    for edge in edges:
        loop = _loop(trails[edge.a], trails[edge.b], edge)
        total = 0.0
        for one, sign in loop:
            start, end = (one.a, one.b) if sign > 0 else (one.b, one.a)
            total += optics.within_half_turn(float(yaw[end] - yaw[start]))
        if abs(total) > 180.0:
            return True
    return False
