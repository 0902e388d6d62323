"""The pixels that alignment goes by."""

from __future__ import annotations

import math

import numpy as np
import pytest

from grouper.rotations import rotation, rotation_vector
from grouper.sight.align import EFFICIENT, NOISE_SLOPE, Level, cut_off, fit, grounds, refine, sample
from grouper.sight.sphere import Camera

CAMERA = Camera(36, 24, 30.0, 30.0)
SHARES = (0.5, 0.15)


def _level() -> Level:
    band = np.random.default_rng(4).standard_normal((24, 36)).astype(np.float32)
    good = np.ones(band.shape, bool)
    good[:, 30:] = False
    return Level(band, good, 36, 24)


@pytest.mark.parametrize(("which", "count"), [(0, 432), (1, 129)])
def test_the_steepest_pixels_are_gone_by(which: int, count: int) -> None:
    level = _level()
    right, down = (slope * level.good for slope in level.slopes())
    steepest = np.argsort((right**2 + down**2).ravel())[-count:]
    ground = grounds(level, CAMERA, SHARES)[which]
    assert sorted(ground.values) == sorted(level.band.ravel()[steepest])
    # Each with its own direction and slope.
    for ray, value, pull in zip(ground.rays.T, ground.values, ground.pull.T, strict=True):
        column, row = round(ray[0] * 30.0 + 17.5), round(ray[1] * 30.0 + 11.5)
        assert level.band[row, column] == value
        # Rolled by a little, what lies to the right goes down.
        rolled = ray[0] * down[row, column] - ray[1] * right[row, column]
        assert pull[2] == pytest.approx(15.0 * rolled, abs=1e-3)


def test_a_small_level_is_gone_by_as_a_whole() -> None:
    level = Level(np.eye(6, 9, dtype=np.float32), np.ones((6, 9), bool), 9, 6)
    for ground in grounds(level, Camera(9, 6, 9.0, 9.0), SHARES):
        assert ground.values.shape == (54,)
        assert ground.rays.shape == ground.pull.shape == (3, 54)


def test_slopes_are_cut_off_in_place_and_small_ones_kept() -> None:
    slopes = np.array([[-3.0, -0.05, 0.0, 0.05, 3.0]], np.float32)
    cut = cut_off(slopes, 0.1)
    assert cut is slopes
    assert cut.ravel().tolist() == pytest.approx([-0.1, -0.05, 0.0, 0.05, 0.1])


def test_a_strong_outline_in_one_picture_spoils_no_more_than_it_covers() -> None:
    band = (2 * NOISE_SLOPE * np.random.default_rng(6).standard_normal((64, 96))).astype(np.float32)
    good = np.ones(band.shape, bool)
    outlined = band.copy()
    outlined[20:40, 30:36] = 9.0
    camera = Camera(96, 64, 80.0, 80.0)
    levels = [Level(one, good, 96, 64) for one in (band, outlined)]
    [told] = fit(levels[:1], [camera], levels[1:], [camera], np.eye(3)[None])
    assert told is not None
    assert told[0].ncc < 0.3
    assert min(told[1].right, told[1].down) > 0.9


def test_a_larger_square_picture_is_compared_whole() -> None:
    """It has more pixels than are looked up at once."""
    side = 192
    band = np.random.default_rng(3).standard_normal((side, side)).astype(np.float32)
    row, column = (one.reshape(1, -1).astype(np.float32) for one in np.indices(band.shape))
    assert np.array_equal(sample([band], column, row), band.reshape(1, -1))
    good = np.ones(band.shape, bool)
    good[-30:] = good[:, 40:50] = False
    shown = Level(band, np.ones_like(good), side, side)
    spoilt = Level(np.where(good, band, -band), good, side, side)
    camera = Camera(side, side, 150.0, 150.0)
    for first, second in ((shown, spoilt), (spoilt, shown)):
        [told] = fit([first], [camera], [second], [camera], np.eye(3)[None])
        assert told is not None
        assert told[0].cells == side * side
        assert told[0].ncc == pytest.approx(1.0)


def test_each_pair_is_compared_through_its_own_lenses() -> None:
    level = _level()
    cameras = [Camera(36, 24, focal, focal) for focal in (60.0, 30.0)]
    each = fit([level] * 2, cameras, [level] * 2, cameras, np.stack([np.eye(3)] * 2))
    for told in each:
        assert told is not None
        assert told[0].overlap == pytest.approx(1.0)
        assert told[0].ncc == pytest.approx(1.0)
        assert told[0].move == pytest.approx((0.0, 0.0), abs=1e-6)


def test_tells_how_far_the_second_picture_moved() -> None:
    level = _level()
    right = rotation(np.array([[0.0, math.atan(6 / 30.0), 0.0]]))
    [told] = fit([level], [CAMERA], [level], [CAMERA], right)
    assert told is not None
    # By 6 of 36 columns at the middle, more to the sides.
    assert told[0].move[0] == pytest.approx(6 / 36, abs=0.04)
    assert told[0].move[1] == pytest.approx(0.0, abs=0.01)


FISHEYES = [
    Camera(72, 48, 30.0, 30.0, "equisolid"),
    Camera(48, 72, 25.0, 25.0, "stereographic"),
]


def _smooth(camera: Camera, turn: np.ndarray) -> Level:
    """What a camera sees of a sphere painted with waves that are longer than its pixels."""
    waves = np.random.default_rng(8).normal(0.0, 2.5, (12, 3))
    rays = camera.rays().astype(np.float64).reshape(3, -1)
    seen = turn @ (rays / np.linalg.norm(rays, axis=0))
    band = np.sin(waves @ seen + np.arange(12)[:, None]).sum(axis=0) / 4
    shape = (camera.height, camera.width)
    return Level(band.reshape(shape).astype(np.float32), np.ones(shape, bool), *shape[::-1])


@pytest.mark.parametrize("camera", FISHEYES, ids=lambda camera: str(camera.mapping))
def test_turns_are_refined_through_fisheyes(camera: Camera) -> None:
    turn = rotation(np.array([0.02, 0.9, -0.03]))
    first, second = _smooth(camera, np.eye(3)), _smooth(camera, turn)
    ground = grounds(first, camera, (1.0,))
    begun = turn @ rotation(np.array([0.03, -0.04, 0.02]))
    [found], _ = refine(ground, [second], [camera], begun[None], 8, EFFICIENT)
    off = np.linalg.norm(rotation_vector(found.T @ turn))
    assert math.degrees(off) < 0.1
    [told] = fit([first], [camera], [second], [camera], found[None])
    assert told is not None
    assert told[0].ncc > 0.99


@pytest.mark.parametrize("camera", FISHEYES, ids=lambda camera: str(camera.mapping))
def test_the_pull_is_how_values_change_with_a_turn(camera: Camera) -> None:
    """By comparing the picture with that of a camera that is turned a little."""
    level = _smooth(camera, np.eye(3))
    [ground] = grounds(level, camera, (1.0,))
    inside = np.zeros(level.band.shape, bool)
    inside[1:-1, 1:-1] = True  # at the picture's edge no slope is known
    places = np.argsort(level.band, axis=None)
    order = np.argsort(ground.values)[inside.ravel()[places]]
    places = places[inside.ravel()[places]]
    for axis in range(3):
        vector = np.zeros(3)
        vector[axis] = 1e-3
        moved = _smooth(camera, rotation(vector)).band.ravel()[places] - level.band.ravel()[places]
        told = ground.pull[axis][order] * 1e-3
        assert np.corrcoef(told, moved)[0, 1] > 0.999
        assert np.polyfit(told, moved, 1)[0] == pytest.approx(1.0, abs=0.03)
