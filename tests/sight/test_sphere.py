"""Geometry against scipy's rotations and closed forms of the pinhole model."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from grouper.rotations import rotation, rotation_vector
from grouper.sight.align import directions, project
from grouper.sight.sphere import (
    Camera,
    View,
    about_x,
    about_y,
    about_z,
    sphere_map,
)

CAMERA = Camera(107, 160, 160 * 24 / 36, 160 * 24 / 36)


def test_rotations_agree_with_scipy() -> None:
    vectors = np.random.default_rng(1).normal(0, 1.0, (200, 3))
    vectors[0] = 0.0
    vectors[1] = [1e-9, 0.0, 0.0]
    expected = Rotation.from_rotvec(vectors).as_matrix()
    assert np.abs(rotation(vectors) - expected).max() < 1e-9
    back = rotation_vector(expected)
    assert np.abs(Rotation.from_rotvec(back).as_matrix() - expected).max() < 1e-7


def test_half_a_turn_has_a_vector() -> None:
    for axis in np.eye(3):
        turn = Rotation.from_rotvec(np.pi * axis).as_matrix()
        assert np.linalg.norm(rotation_vector(turn)) == pytest.approx(math.pi)


@pytest.mark.parametrize(
    ("matrix", "looked_at"),
    [
        (about_y(math.radians(30)), (0.5, 0.0)),  # right
        (about_x(math.radians(30)), (0.0, -0.5)),  # up: y is down
    ],
)
def test_signs_of_turning(matrix: np.ndarray, looked_at: tuple[float, float]) -> None:
    assert matrix[:2, 2] == pytest.approx(looked_at)


def test_clockwise_roll_lowers_the_right_side() -> None:
    assert about_z(math.radians(10))[1, 0] > 0


@pytest.mark.parametrize("step_deg", [1.0, 10.0, 30.0])
def test_shift_and_yaw_obey_the_closed_form(step_deg: float) -> None:
    """A point that lies symmetric to both axes moves by d = 2 f tan(yaw / 2)."""
    yaw = math.radians(step_deg)
    middle = np.array([[math.tan(yaw / 2)], [0.0], [1.0]], dtype=np.float32)
    column, row, inside = project(middle[None], about_y(yaw)[None], [CAMERA])
    seen_in_a = math.tan(yaw / 2) * CAMERA.fx + (CAMERA.width - 1) / 2
    assert inside[0, 0]
    assert seen_in_a - column[0, 0] == pytest.approx(2 * CAMERA.fx * math.tan(yaw / 2), abs=1e-3)
    assert row[0, 0] == pytest.approx((CAMERA.height - 1) / 2, abs=1e-3)


def test_overlap_share_obeys_the_closed_form() -> None:
    """Common share on the horizon row: 1/2 + tan(a/2 - s) / (2 tan(a/2))."""
    wide = Camera(1600, 4, 1200.0, 1200.0)
    half = math.atan(1600 / 2 / 1200)
    for step_deg in (5.0, 20.0, 45.0):
        step = math.radians(step_deg)
        _, _, inside = project(directions(wide)[None], about_y(step)[None], [wide])
        share = inside.reshape(4, 1600)[1:3].mean()
        expected = 0.5 + math.tan(half - step) / (2 * math.tan(half))
        assert share == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize("pitch_deg", [0.0, 20.0, -35.0])
def test_on_the_sphere_a_turn_is_a_shift(pitch_deg: float) -> None:
    """A smooth pattern of yaw and elevation, drawn by a pitched camera at two yaws."""
    x, y, _ = CAMERA.rays()
    view = View(pitch_deg)
    step = 1.0 / CAMERA.fx
    shift = 7

    def drawn(yaw_cells: int) -> np.ndarray:
        turn = about_y(yaw_cells * step) @ about_x(math.radians(pitch_deg))
        rays = np.stack([x, y, np.ones_like(x)], axis=-1) @ turn.T
        yaw = np.arctan2(rays[..., 0], rays[..., 2])
        down = np.arctan2(rays[..., 1], np.hypot(rays[..., 0], rays[..., 2]))
        return (np.sin(9 * yaw) * np.cos(11 * down)).astype(np.float32)

    on_sphere = sphere_map(CAMERA, view, step)
    a, b = on_sphere.apply(drawn(0)), on_sphere.apply(drawn(shift))
    mask = on_sphere.mask
    assert (a[~mask] == 0).all()
    common = mask[:, shift:] & mask[:, :-shift]
    assert common.sum() > 2000
    assert np.abs(a[:, shift:] - b[:, :-shift])[common].max() < 0.05


@pytest.mark.parametrize("pitch_deg", [0.0, 35.0, -20.0])
@pytest.mark.parametrize("across", [False, True])
@pytest.mark.parametrize("angles", [(0.0, 0.4), (-0.3, 0.1), (0.2, -0.6)])
def test_the_angles_of_a_turn_are_found_again(
    pitch_deg: float, across: bool, angles: tuple[float, float]
) -> None:
    view = View(pitch_deg, across)
    assert view.shift(view.turn(*angles)) == pytest.approx(angles, abs=1e-9)


def test_shift_becomes_the_turn_again() -> None:
    view = View(20.0)
    expected = about_x(math.radians(20)).T @ about_y(0.3) @ about_x(math.radians(20))
    assert view.turn(0.0, 0.3) == pytest.approx(expected)
    assert rotation_vector(View().turn(-0.2, 0.0)) == pytest.approx([0.2, 0.0, 0.0])
    across = View(0.0, across=True)
    assert rotation_vector(across.turn(-0.2, 0.0)) == pytest.approx([0.2, 0.0, 0.0])


FISHEYES = [
    pytest.param(Camera(160, 107, 67.0, 67.0, "equisolid"), id="equisolid"),
    pytest.param(Camera(107, 160, 54.0, 54.0, "stereographic"), id="stereographic"),
]


@pytest.mark.parametrize("camera", [*FISHEYES, pytest.param(CAMERA, id="rectilinear")])
def test_rays_are_drawn_where_they_come_from(camera: Camera) -> None:
    column, row, drawn = camera.draw(camera.rays().astype(np.float64))
    rows, columns = np.indices((camera.height, camera.width))
    assert drawn.all()
    assert np.abs(column - columns).max() < 1e-3
    assert np.abs(row - rows).max() < 1e-3


@pytest.mark.parametrize("camera", FISHEYES)
def test_a_fisheye_draws_by_the_closed_form(camera: Camera) -> None:
    """60 degrees to the right: 2 f sin 30 or 2 f tan 30 (Kannala & Brandt 2006, eqs. 2 and 4)."""
    ray = np.array([math.sin(math.pi / 3), 0.0, math.cos(math.pi / 3)])
    column, row, drawn = camera.draw(ray)
    off = 1.0 if camera.mapping == "equisolid" else 2.0 / math.sqrt(3.0)
    assert drawn
    assert float(column) == pytest.approx((camera.width - 1) / 2 + off * camera.fx)
    assert float(row) == pytest.approx((camera.height - 1) / 2)


def test_a_fisheye_sees_beside_itself_and_not_behind() -> None:
    camera = Camera(160, 160, 40.0, 40.0, "equisolid")
    rays = np.array([[1.0, 0.0, 0.0], [1.0, 0.0, -0.2], [0.2, 0.0, -1.0]]).T
    assert camera.draw(rays)[2].tolist() == [True, True, False]
    assert CAMERA.draw(rays)[2].tolist() == [False, False, False]


@pytest.mark.parametrize("camera", FISHEYES)
def test_a_fisheye_is_laid_out_as_far_as_it_sees(camera: Camera) -> None:
    step = math.radians(1.0)
    laid = sphere_map(camera, View(), step)
    across, down = (math.degrees(half) for half in camera.half_fov_rad)
    rows, columns = laid.mask.any(axis=1).sum(), laid.mask[laid.size[0] // 2].sum()
    assert columns == pytest.approx(2 * across, abs=2)
    assert rows == pytest.approx(2 * down, abs=2)


@pytest.mark.parametrize("camera", FISHEYES)
def test_turned_rays_land_as_one_by_one(camera: Camera) -> None:
    turns = rotation(np.array([[0.1, 0.7, -0.05], [0.0, -1.2, 0.2]]))
    rays = directions(camera)
    column, row, inside = project(rays[None], turns, [camera, CAMERA])
    for at, other in enumerate((camera, CAMERA)):
        seen = turns[at].T @ rays.astype(np.float64)
        across, along, drawn = other.draw(seen)
        within = drawn & (np.abs(across - (other.width - 1) / 2) <= other.width / 2)
        within &= np.abs(along - (other.height - 1) / 2) <= other.height / 2
        assert inside[at].sum() == pytest.approx(within.sum(), abs=2)
        assert np.abs(column[at] - across)[within].max() < 1e-3
        assert np.abs(row[at] - along)[within].max() < 1e-3
