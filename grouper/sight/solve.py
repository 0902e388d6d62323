"""Sightings -> pointings: where every frame of a set looks, solved together. Pure.

Rotations are averaged by robust least squares (Hartley, Trumpf, Dai & Li, *Rotation
Averaging*, IJCV 103, 2013); the level frame is found as in the automatic straightening of
Brown & Lowe, IJCV 74(1), 2007, with the turning axis of a sweep as the stronger evidence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse
from scipy.sparse import csgraph
from scipy.sparse.linalg import spsolve

from grouper.model import Frame, Pointing, Sighting, Solution
from grouper.sight.sphere import DoubleArray, about_x, about_y, rotation, rotation_vector

_TRUSTED = 0.5
"""Sightings less certain than an even bet are not used."""
_EDGE_SIGMA_DEG = 0.25
"""Misfit of a good sighting, measured on rendered sweeps; parallax adds to it."""
_EDGE_SIGMA_SHARE = 0.01
"""A focal length known to a per cent puts this share of the turn on top."""
_OUTLIER_SIGMAS = 8.0
"""A sighting that misses the rest by this much saw something else (Huber weights have
already cut its pull)."""
_ITERATIONS = 12
"""Re-weighted least squares settles within a handful of rounds; the rest is a reserve
(estimated)."""
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

    @property
    def sigma(self) -> float:
        base = math.radians(_EDGE_SIGMA_DEG) + _EDGE_SIGMA_SHARE * self.angle
        return base / math.sqrt(max(self.certainty, 0.05))


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
    scaled = [_Edge(e.a, e.b, _rescaled(e.turn, scale), e.certainty) for e in edges]
    held, used = _average(len(tied), scaled)
    level = _level(held, used, [frames[at] for at in tied])
    yaw, pitch, roll = _angles(held, level.frame)
    yaw = _unwrapped(yaw, used)
    pointings = [Pointing()] * len(frames)
    for at, frame in enumerate(tied):
        pointings[frame] = Pointing(
            yaw_deg=round(float(yaw[at] - yaw[0]), 3),
            pitch_deg=round(float(pitch[at]), 3),
            roll_deg=round(float(roll[at]), 3),
        )
    residual = math.sqrt(float((_misses(held, used) ** 2).sum(axis=1).mean()))
    return Solution(
        pointings=tuple(pointings),
        residual_deg=round(math.degrees(residual), 3),
        focal_scale=round(scale, 4),
        closed=closing and _winds(used, held, level.frame),
        camera_roll_deg=None if not level.sure else round(float(np.median(roll)), 2),
        base_tilt_deg=level.base_tilt_deg,
    )


def _largest_group(count: int, edges: Sequence[_Edge]) -> list[int]:
    """Indices of the largest set of frames that edges connect; of equals the earliest."""
    graph = sparse.coo_array(
        (np.ones(len(edges)), ([e.a for e in edges], [e.b for e in edges])), shape=(count, count)
    )
    _, label = csgraph.connected_components(graph, directed=False)
    sizes = np.bincount(label, minlength=1)
    return [int(at) for at in np.flatnonzero(label == int(np.argmax(sizes)))]


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
    parent = _chain(count, edges)
    trail = _trails(parent)
    in_tree = {id(edge) for edge in parent if edge is not None}
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


def _chain(count: int, edges: Sequence[_Edge]) -> list[_Edge | None]:
    """The edge by which each frame hangs on earlier ones: the nearest in shooting order.

    Every returned edge has the frame itself as ``b``.
    """
    by_frame: list[list[_Edge]] = [[] for _ in range(count)]
    for edge in edges:
        by_frame[edge.a].append(edge)
        by_frame[edge.b].append(edge)
    parent: list[_Edge | None] = [None] * count
    placed = {0}
    while len(placed) < count:
        reach = [
            (abs(edge.a - edge.b), -edge.certainty, max(edge.a, edge.b), edge)
            for edge in edges
            if (edge.a in placed) != (edge.b in placed)
        ]
        edge = min(reach, key=lambda one: one[:3])[3]
        new = edge.b if edge.a in placed else edge.a
        parent[new] = edge
        placed.add(new)
    return parent


def _trails(parent: Sequence[_Edge | None]) -> list[list[tuple[_Edge, int]]]:
    """For each frame the edges from the root to it, with +1 where walked from ``a`` to ``b``."""
    trails: list[list[tuple[_Edge, int]] | None] = [None] * len(parent)

    def trail(at: int) -> list[tuple[_Edge, int]]:
        path: list[tuple[_Edge, int]] = []
        while True:
            edge = parent[at]
            if edge is None:
                return path[::-1]
            sign = 1 if edge.b == at else -1
            path.append((edge, sign))
            at = edge.a if edge.b == at else edge.b

    for at in range(len(parent)):
        trails[at] = trail(at)
    return [one if one is not None else [] for one in trails]


def _loop(
    to_a: Sequence[tuple[_Edge, int]], to_b: Sequence[tuple[_Edge, int]], edge: _Edge
) -> list[tuple[_Edge, int]]:
    """The closed walk a -> b by the edge, b -> a by the trails."""
    common = 0
    while common < min(len(to_a), len(to_b)) and to_a[common][0] is to_b[common][0]:
        common += 1
    back = [(one, -sign) for one, sign in reversed(to_b[common:])]
    return [(edge, 1), *back, *to_a[common:]]


def _scale_of_loop(loop: Sequence[tuple[_Edge, int]], most: float) -> float | None:
    """The focal scale at which a loop turns by exactly 360 degrees; ``None`` if it cannot."""
    turns = np.array([sign * edge.turn[1] for edge, sign in loop])
    whole = np.array([edge.angle for edge, _ in loop])
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


def _average(count: int, edges: Sequence[_Edge]) -> tuple[DoubleArray, list[_Edge]]:
    """Camera attitudes of shape (count, 3, 3) in the first frame's axes, and edges used."""
    used = list(edges)
    while True:
        held = _relaxed(_placed(count, used), used)
        sigma = np.array([edge.sigma for edge in used])
        misfit = np.sqrt((_misses(held, used) ** 2).sum(axis=1)) / sigma
        worst = float(misfit.max())
        if worst < _OUTLIER_SIGMAS:
            return held, used
        # Together with the worst those nearly as bad, but never a frame's only tie.
        bad = np.flatnonzero(misfit >= max(_OUTLIER_SIGMAS, 0.7 * worst))
        for drop in (bad, np.array([int(np.argmax(misfit))])):
            without = [edge for at, edge in enumerate(used) if at not in set(drop.tolist())]
            if len(_largest_group(count, without)) == count:
                used = without
                break
        else:
            return held, used


def _placed(count: int, edges: Sequence[_Edge]) -> DoubleArray:
    """Attitudes by walking the most certain edges (a maximum spanning tree)."""
    best: dict[tuple[int, int], _Edge] = {}
    for edge in edges:
        key = min(edge.a, edge.b), max(edge.a, edge.b)
        if key not in best or edge.certainty > best[key].certainty:
            best[key] = edge
    doubt = [1.001 - edge.certainty for edge in best.values()]
    graph = sparse.coo_array(
        (doubt, ([key[0] for key in best], [key[1] for key in best])), shape=(count, count)
    ).tocsr()
    tree = csgraph.minimum_spanning_tree(graph)
    order, before = csgraph.breadth_first_order(tree, 0, directed=False)
    held = np.tile(np.eye(3), (count, 1, 1))
    for at in order[1:]:
        earlier = int(before[at])
        edge = best[min(earlier, int(at)), max(earlier, int(at))]
        turn = rotation(edge.turn)
        held[at] = held[earlier] @ (turn if edge.b == at else turn.T)
    return held


def _misses(held: DoubleArray, edges: Sequence[_Edge]) -> DoubleArray:
    """By how much attitudes miss each sighting: rotation vectors of shape (edges, 3)."""
    a, b = _ends(edges)
    seen = np.swapaxes(held[a], 1, 2) @ held[b]
    told = rotation(np.array([edge.turn for edge in edges]))
    return rotation_vector(np.swapaxes(told, 1, 2) @ seen)


def _ends(edges: Sequence[_Edge]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return (
        np.array([edge.a for edge in edges], dtype=np.intp),
        np.array([edge.b for edge in edges], dtype=np.intp),
    )


def _relaxed(held: DoubleArray, edges: Sequence[_Edge]) -> DoubleArray:
    """Gauss-Newton on the attitudes with Huber weights; the first frame stays."""
    count = len(held)
    if len(edges) < count:  # a tree fits its edges exactly
        return held
    a, b = _ends(edges)
    sigma = np.array([edge.sigma for edge in edges])
    for _ in range(_ITERATIONS):
        miss = _misses(held, edges)
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
        normal = _assembled(
            blocks, np.concatenate([a, b, a, b]), np.concatenate([a, b, b, a]), count
        )
        right = np.zeros((count, 3))
        np.add.at(right, a, weight[:, None] * (to_a @ miss[:, :, None])[:, :, 0])
        np.add.at(right, b, -weight[:, None] * miss)
        step = np.zeros(3 * count)
        step[3:] = spsolve(normal[3:, 3:], right.ravel()[3:])
        held = held @ rotation(step.reshape(count, 3))
        if float(np.abs(step).max()) < 1e-6:
            break
    return held


def _assembled(
    blocks: DoubleArray, row: NDArray[np.intp], column: NDArray[np.intp], count: int
) -> sparse.csc_array:
    """A sparse matrix of 3 x 3 blocks; blocks at one place add up."""
    inner = np.arange(3)
    rows = np.broadcast_to(3 * row[:, None, None] + inner[:, None], blocks.shape)
    columns = np.broadcast_to(3 * column[:, None, None] + inner, blocks.shape)
    return sparse.coo_array(
        (blocks.ravel(), (rows.ravel(), columns.ravel())), shape=(3 * count, 3 * count)
    ).tocsc()


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
    wobble = math.radians(_AXIS_SIGMA_DEG)
    sigma_deg = 90.0
    for _ in range(3):
        about = _about(axes, down)
        down, sigma_deg = _settled(down, held, frames, axes[about], wobble)
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


def _settled(
    down: DoubleArray,
    held: DoubleArray,
    frames: Sequence[Frame],
    axes: DoubleArray,
    wobble: float,
) -> tuple[DoubleArray, float]:
    """Weigh all the evidence for "down"; also its standard deviation in degrees."""
    side, other = _across(down)
    count = math.sqrt(len(held))

    def candidate(lean: DoubleArray) -> DoubleArray:
        tilted = down + lean[0] * side + lean[1] * other
        return np.asarray(tilted / math.sqrt(float(tilted @ tilted)))

    def residuals(lean: DoubleArray) -> DoubleArray:
        there = candidate(lean)
        parts = [
            # Cameras of one set share their hold: together they count once.
            held[:, :, 0] @ there / math.radians(_ROLL_SIGMA_DEG) / count,
            held[:, :, 2] @ there / math.radians(_PITCH_SIGMA_DEG) / count,
        ]
        if len(axes):
            off = axes - (axes @ there)[:, None] * there
            parts.append((off @ np.stack([side, other], axis=1)).ravel() / wobble)
        for at, frame in enumerate(frames):
            told = frame.attitude
            if told is None:
                continue
            sigma = math.radians(math.hypot(told.sigma_deg, _ATTITUDE_FLOOR_DEG)) * count
            in_camera = held[at].T @ there
            if told.pitch_deg is not None:
                miss = math.asin(min(1.0, max(-1.0, -float(in_camera[2]))))
                parts.append(np.array([(miss - math.radians(told.pitch_deg)) / sigma]))
            if told.roll_deg is not None:
                miss = math.atan2(float(in_camera[0]), float(in_camera[1]))
                parts.append(np.array([(miss - math.radians(told.roll_deg)) / sigma]))
        return np.concatenate(parts)

    found = optimize.least_squares(residuals, np.zeros(2), method="lm")
    information = found.jac.T @ found.jac
    spread = math.degrees(math.sqrt(float(np.linalg.inv(information).diagonal().max())))
    return candidate(found.x), spread


def _across(axis: DoubleArray) -> tuple[DoubleArray, DoubleArray]:
    """Two unit vectors square to an axis and to each other."""
    helper = np.eye(3)[int(np.argmin(np.abs(axis)))]
    side = np.cross(axis, helper)
    side /= math.sqrt(float(side @ side))
    return side, np.asarray(np.cross(axis, side))


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
    yaw, pitch, roll = [], [], []
    for camera in held:
        level = frame.T @ camera
        turn = math.atan2(level[0, 2], level[2, 2])
        tilt = math.asin(min(1.0, max(-1.0, -float(level[1, 2]))))
        own = (about_y(turn) @ about_x(tilt)).T @ level
        yaw.append(math.degrees(turn))
        pitch.append(math.degrees(tilt))
        roll.append(math.degrees(math.atan2(own[1, 0], own[0, 0])))
    return np.array(yaw), np.array(pitch), np.array(roll)


def _unwrapped(yaw: DoubleArray, edges: Sequence[_Edge]) -> DoubleArray:
    """Yaw that runs on past 180 degrees along the order of shooting."""
    parent = _chain(len(yaw), edges)
    trails = _trails(parent)
    whole = np.zeros(len(yaw))
    for at, trail in enumerate(trails):
        total, here = 0.0, 0
        for edge, sign in trail:
            there = edge.b if sign > 0 else edge.a
            total += (float(yaw[there] - yaw[here]) + 180.0) % 360.0 - 180.0
            here = there
        whole[at] = total
    if float(np.ptp(whole)) > _MOST_SPAN_DEG:
        # Several rows round the circle: each would run on where the last one ended.
        whole = whole % 360.0
    return whole


def _winds(edges: Sequence[_Edge], held: DoubleArray, frame: DoubleArray) -> bool:
    """Whether some used edge closes a full turn against the order of shooting."""
    yaw = _angles(held, frame)[0]
    parent = _chain(len(held), edges)
    trails = _trails(parent)
    for edge in edges:
        loop = _loop(trails[edge.a], trails[edge.b], edge)
        total = 0.0
        for one, sign in loop:
            start, end = (one.a, one.b) if sign > 0 else (one.b, one.a)
            total += (float(yaw[end] - yaw[start]) + 180.0) % 360.0 - 180.0
        if abs(total) > 180.0:
            return True
    return False
