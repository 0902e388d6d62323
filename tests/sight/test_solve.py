"""Pointings from sightings with known truth; attitudes made by scipy's rotations."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from grouper.model import Attitude, Frame, Pointing, Sighting, Solution
from grouper.sight import solve
from grouper.sight.solve import solve_pointings
from tests.sight.scenes import held
from tests.support import frame

Attitudes = Sequence[tuple[float, float, float]]


def _frames(count: int, **changes: object) -> list[Frame]:
    return [frame(number, **changes) for number in range(1, count + 1)]


def _seen(
    a: np.ndarray,
    b: np.ndarray,
    rng: np.random.Generator,
    *,
    focal_error: float = 1.0,
    noise_deg: float = 0.15,
    certainty: float = 0.98,
) -> Sighting:
    """A sighting with noise, by a lens thought to be ``focal_error`` times too long."""
    turn = Rotation.from_matrix(a.T @ b).as_rotvec()
    across = float(np.hypot(turn[0], turn[1]))
    if across > 0:
        factor = 2 * np.arctan(np.tan(across / 2) / focal_error) / across
        turn[:2] *= factor
    told = np.degrees(turn) + rng.normal(0, noise_deg, 3)
    return Sighting(
        overlap=0.3, certainty=certainty, turn_deg=(float(told[0]), float(told[1]), float(told[2]))
    )


def _solved(
    truth: Attitudes, pairs: Sequence[tuple[int, int]], *, focal_error: float = 1.0, seed: int = 1
) -> Solution:
    rng = np.random.default_rng(seed)
    turns = [held(*attitude) for attitude in truth]
    seen = [(i, j, _seen(turns[i], turns[j], rng, focal_error=focal_error)) for i, j in pairs]
    solution = solve_pointings(_frames(len(truth)), seen)
    assert solution is not None
    return solution


def _angles(solution: Solution) -> np.ndarray:
    return np.array([[p.yaw_deg, p.pitch_deg, p.roll_deg] for p in solution.pointings])


def _chain(count: int) -> list[tuple[int, int]]:
    return [(i, i + 1) for i in range(count - 1)]


@pytest.mark.parametrize("pitch_deg", [0.0, 15.0, -30.0])
@pytest.mark.parametrize("roll_deg", [0.0, 2.0])
def test_open_sweep(pitch_deg: float, roll_deg: float) -> None:
    truth = [(25.0 * i, pitch_deg, roll_deg) for i in range(9)]
    solution = _solved(truth, _chain(9))
    angles = _angles(solution)
    assert angles[0, 0] == 0.0
    assert np.abs(angles[:, 0] - [one[0] for one in truth]).max() < 1.0
    assert np.abs(angles[:, 1] - pitch_deg).max() < 1.0
    assert np.abs(angles[:, 2] - roll_deg).max() < 1.0
    assert solution.camera_roll_deg == pytest.approx(roll_deg, abs=0.5)
    assert not solution.closed
    assert solution.focal_scale == 1.0
    assert solution.base_tilt_deg is None


def test_sweep_to_the_left_has_falling_yaw() -> None:
    solution = _solved([(-30.0 * i, 0, 0) for i in range(6)], _chain(6))
    assert np.diff(_angles(solution)[:, 0]) == pytest.approx([-30.0] * 5, abs=0.6)


@pytest.mark.parametrize("focal_error", [1.0, 1.1, 0.92])
def test_closed_ring_finds_the_scale_of_the_focal_length(focal_error: float) -> None:
    """360 degrees over the sum of the steps gives the scale; the yaws come out even."""
    truth = [(30.0 * i, 0, 0) for i in range(12)]
    solution = _solved(truth, [*_chain(12), (11, 0)], focal_error=focal_error)
    assert solution.closed
    assert solution.focal_scale == pytest.approx(1 / focal_error, rel=0.01)
    assert _angles(solution)[:, 0] == pytest.approx([one[0] for one in truth], abs=0.8)
    assert solution.residual_deg < 0.3


def test_a_wrong_close_does_not_bend_a_known_lens() -> None:
    """Steps of 20 degrees and a false sighting from the last frame to the first."""
    truth = [(20.0 * i, 0, 0) for i in range(10)]
    rng = np.random.default_rng(2)
    turns = [held(*one) for one in truth]
    seen = [(i, j, _seen(turns[i], turns[j], rng)) for i, j in _chain(10)]
    seen += [(i, i + 2, _seen(turns[i], turns[i + 2], rng)) for i in range(8)]
    seen.append((9, 0, Sighting(overlap=0.4, certainty=0.6, turn_deg=(0.0, 25.0, 0.0))))
    solution = solve_pointings(_frames(10), seen)
    assert solution is not None
    assert not solution.closed
    assert _angles(solution)[:, 0] == pytest.approx([one[0] for one in truth], abs=1.0)


def test_assumed_sensor_may_be_far_off() -> None:
    truth = [(36.0 * i, 0, 0) for i in range(10)]
    rng = np.random.default_rng(3)
    turns = [held(*one) for one in truth]
    seen = [
        (i, (i + 1) % 10, _seen(turns[i], turns[(i + 1) % 10], rng, focal_error=1.5))
        for i in range(10)
    ]
    assumed = solve_pointings(_frames(10, sensor_from="assumed"), seen)
    known = solve_pointings(_frames(10), seen)
    assert assumed is not None
    assert known is not None
    assert assumed.closed
    assert assumed.focal_scale == pytest.approx(1 / 1.5, rel=0.02)
    assert known.focal_scale == 1.0


def test_outliers_are_thrown_out() -> None:
    truth = [(25.0 * i, 5, 1) for i in range(8)]
    rng = np.random.default_rng(4)
    turns = [held(*one) for one in truth]
    seen = [(i, j, _seen(turns[i], turns[j], rng)) for i, j in _chain(8)]
    seen += [(i, i + 2, _seen(turns[i], turns[i + 2], rng, certainty=0.8)) for i in range(6)]
    seen += [
        (0, 5, Sighting(overlap=0.5, certainty=0.7, turn_deg=(3.0, 10.0, 1.0))),
        (1, 6, Sighting(overlap=0.5, certainty=0.9, turn_deg=(-20.0, -10.0, 1.0))),
    ]
    solution = solve_pointings(_frames(8), seen)
    assert solution is not None
    assert _angles(solution)[:, 0] == pytest.approx([one[0] for one in truth], abs=1.0)
    assert solution.residual_deg < 0.5


def test_grid_of_rows() -> None:
    truth = [(30.0 * i, pitch, 0.0) for pitch in (-20.0, 20.0) for i in range(6)]
    pairs = [
        (i, j) for i in range(12) for j in range(i + 1, 12) if abs(truth[i][0] - truth[j][0]) <= 30
    ]
    angles = _angles(_solved(truth, pairs))
    assert np.abs(angles - np.array(truth)).max() < 1.0


def test_rows_round_the_circle_stay_within_one_turn() -> None:
    truth = [(36.0 * i, pitch, 0.0) for pitch in (0.0, 35.0) for i in range(10)]
    pairs = [(i, (i + 1) % 10) for i in range(10)]
    pairs += [(10 + i, 10 + (i + 1) % 10) for i in range(10)] + [(i, i + 10) for i in range(10)]
    solution = _solved(truth, pairs)
    angles = _angles(solution)
    assert solution.closed
    away = (angles[:, 0] - [one[0] for one in truth] + 180) % 360 - 180
    assert np.abs(away).max() < 1.0
    assert np.ptp(angles[:, 0]) <= 361
    assert angles[10:, 1].mean() - angles[:10, 1].mean() == pytest.approx(35, abs=1.0)


def test_up_and_down_sweep() -> None:
    truth = [(0.0, -30.0 + 20 * i, 0.0) for i in range(5)]
    angles = _angles(_solved(truth, _chain(5)))
    assert np.diff(angles[:, 1]) == pytest.approx([20.0] * 4, abs=0.6)
    assert np.abs(angles[:, 0]).max() < 1.5
    assert np.abs(angles[:, 2]).max() < 1.5


@pytest.mark.parametrize(
    "truth",
    [
        [(0, 0, 0), (5, 0, 0)],
        [(0, 0, 0), (0.3, 0.1, 0)],
        [(0, 0, 0), (0, 0, 0), (0, 0, 0)],
        [(0, 0, 0), (8, 10, 0), (12, 18, 0)],
        [(0, 0, 0), (2, 0, 0.5), (4, 0, 0)],
    ],
    ids=["five degrees", "nearly none", "none", "up right", "tiny"],
)
def test_small_sets_get_no_absurd_angles(truth: Attitudes) -> None:
    solution = _solved(truth, _chain(len(truth)))
    angles = _angles(solution)
    yaws = angles[:, 0] - np.array([one[0] for one in truth])
    assert np.abs(yaws).max() < 1.5
    assert np.abs(angles[:, 1]).max() < 20
    assert np.abs(angles[:, 2]).max() < 3
    assert solution.camera_roll_deg is None


def test_recorded_attitude_settles_the_pitch_of_a_small_set() -> None:
    truth = [(0, 25, 0), (12, 25, 0)]
    rng = np.random.default_rng(5)
    turns = [held(*one) for one in truth]
    frames = _frames(2, attitude=Attitude(pitch_deg=25.0, roll_deg=0.0))
    solution = solve_pointings(frames, [(0, 1, _seen(turns[0], turns[1], rng))])
    assert solution is not None
    assert _angles(solution)[:, 1] == pytest.approx([25, 25], abs=2.5)


@pytest.mark.parametrize(
    ("truth", "told", "angle"),
    [
        ((0, 25, 0), Attitude(pitch_deg=25.0), 1),
        ((0, -60, 0), Attitude(pitch_deg=-60.0), 1),
        ((0, 0, 6), Attitude(roll_deg=6.0), 2),
        ((0, 0, -6), Attitude(roll_deg=-6.0), 2),
    ],
    ids=["up", "down", "clockwise", "counter-clockwise"],
)
def test_a_level_may_tell_one_angle_only(
    truth: tuple[float, float, float], told: Attitude, angle: int
) -> None:
    # A turn of one degree does not show its axis: nothing but the level tells.
    turns = [held(*truth), held(truth[0] + 1.0, *truth[1:])]
    seen = [(0, 1, _seen(turns[0], turns[1], np.random.default_rng(5)))]
    without = solve_pointings(_frames(2), seen)
    solution = solve_pointings(_frames(2, attitude=told), seen)
    assert without is not None
    assert solution is not None
    assert np.abs(_angles(without)[:, angle]).max() < 1.5
    assert _angles(solution)[:, angle] == pytest.approx([truth[angle]] * 2, abs=2.5)


def test_leaning_base_shows_only_against_recorded_levels() -> None:
    """Body angles of a tilted turning axis are sine and cosine of the yaw, amplitude the tilt."""
    lean = Rotation.from_euler("X", 3.0, degrees=True).as_matrix()
    turns = [lean @ held(30.0 * i) for i in range(12)]
    rng = np.random.default_rng(6)
    seen = [(i, (i + 1) % 12, _seen(turns[i], turns[(i + 1) % 12], rng)) for i in range(12)]
    levels = []
    for turn in turns:
        down = turn.T @ np.array([0.0, 1.0, 0.0])
        levels.append(
            Attitude(
                pitch_deg=float(np.degrees(np.arcsin(-down[2]))),
                roll_deg=float(np.degrees(np.arctan2(down[0], down[1]))),
                sigma_deg=0.5,
            )
        )
    told = [frame(1 + at, attitude=attitude) for at, attitude in enumerate(levels)]
    with_levels = solve_pointings(told, seen)
    without = solve_pointings(_frames(12), seen)
    assert with_levels is not None
    assert without is not None
    assert with_levels.base_tilt_deg == pytest.approx(3.0, abs=0.6)
    assert without.base_tilt_deg is None
    # About its own axis the sweep is level either way.
    assert np.abs(_angles(without)[:, 1]).max() < 1.0


def test_frames_that_hang_on_nothing_have_no_pointing() -> None:
    rng = np.random.default_rng(7)
    turns = [held(20.0 * i) for i in range(6)]
    seen = [(i, i + 1, _seen(turns[i], turns[i + 1], rng)) for i in (1, 2, 4)]
    solution = solve_pointings(_frames(6), seen)
    assert solution is not None
    tied = [pointing.yaw_deg is not None for pointing in solution.pointings]
    assert tied == [False, True, True, True, False, False]
    assert solution.pointings[0] == Pointing()
    assert solution.pointings[1].yaw_deg == 0.0


@pytest.mark.parametrize(
    "seen",
    [
        [],
        [(0, 1, Sighting(overlap=0.0, certainty=0.9))],
        [(0, 1, Sighting(overlap=0.4, certainty=0.3, turn_deg=(0.0, 20.0, 0.0)))],
        [(1, 1, Sighting(overlap=1.0, certainty=1.0))],
    ],
    ids=["none", "no overlap", "doubtful", "itself"],
)
def test_nothing_trusted_gives_nothing(seen: list[tuple[int, int, Sighting]]) -> None:
    assert solve_pointings(_frames(3), seen) is None


def _rows_round(across: int) -> tuple[Attitudes, list[tuple[int, int]]]:
    """Five rows round the circle, and the pairs that stand side by side or over one another."""
    step = 360.0 / across
    truth = [(step * (i % across), -40.0 + 20 * (i // across), 0.0) for i in range(5 * across)]
    pairs = [
        (i, j)
        for i in range(len(truth))
        for j in range(i + 1, len(truth))
        if abs((truth[i][0] - truth[j][0] + 180) % 360 - 180) <= step
        and abs(truth[i][1] - truth[j][1]) <= 20
    ]
    return truth, pairs


@pytest.mark.parametrize("across", [12, 16])
def test_large_sets_are_solved(across: int) -> None:
    truth, pairs = _rows_round(across)
    angles = _angles(_solved(truth, pairs))
    assert np.abs(angles[:, 1] - [one[1] for one in truth]).max() < 1.5


def test_full_and_sparse_matrices_give_one_solution(monkeypatch: pytest.MonkeyPatch) -> None:
    truth, pairs = _rows_round(12)
    assert len(truth) <= solve._MOST_DENSE
    full = _angles(_solved(truth, pairs))
    monkeypatch.setattr(solve, "_MOST_DENSE", 0)
    assert _angles(_solved(truth, pairs)) == pytest.approx(full, abs=0.002)
