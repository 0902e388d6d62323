"""The horizon in small pictures: drawn by casting rays, found again."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from grouper.sight.horizon import _MOST_GUESSES, _peaks, find_horizons

Picture = NDArray[np.float32]
WIDE, TALL, FOCAL = 107, 160, 107.0  # 24 mm upright on a 160 x 120 thumbnail


def sea(
    pitch_deg: float = 0.0, roll_deg: float = 0.0, noise: float = 2.0, seed: int = 1
) -> Picture:
    """Sky over sea as a camera pitched up and rolled clockwise sees it, from ray geometry."""
    x = (np.arange(WIDE) - (WIDE - 1) / 2) / FOCAL
    y = (np.arange(TALL) - (TALL - 1) / 2) / FOCAL
    right, down = np.meshgrid(x, y)
    pitch, roll = math.radians(pitch_deg), math.radians(roll_deg)
    # Upwards part of each ray: roll turns the camera's axes, then pitch lifts its forward axis.
    levelled = -right * math.sin(roll) - down * math.cos(roll)
    rise = levelled * math.cos(pitch) + math.sin(pitch)
    rng = np.random.default_rng(seed)
    shade = np.clip(rise * FOCAL + 0.5, 0, 1)  # one pixel wide, as a lens and a sampler leave it
    return np.asarray(70 + 110 * shade + rng.normal(0, noise, rise.shape), np.float32)


@pytest.mark.parametrize("pitch_deg", [-20.0, 0.0, 3.0, 15.0])
@pytest.mark.parametrize("roll_deg", [-8.0, 0.0, 2.5])
def test_height_and_slope_are_those_of_the_pinhole(pitch_deg: float, roll_deg: float) -> None:
    best = find_horizons(sea(pitch_deg, roll_deg), TALL)[0]
    # Szeliski 2010, ch. 2: a point at infinity ahead on the horizon lies tan(pitch) focal lengths
    # below the middle; roll by r tilts the line by r the other way.
    drop_deg = math.degrees(math.atan(best.drop * TALL / FOCAL * math.cos(math.radians(roll_deg))))
    assert drop_deg == pytest.approx(pitch_deg, abs=0.25)
    assert math.degrees(math.atan(best.slope)) == pytest.approx(-roll_deg, abs=0.3)
    assert best.support > 0.95
    assert best.rough_px < 0.3


def test_a_boat_and_a_head_do_not_hide_it() -> None:
    picture = sea(2.0)
    picture[60:100, 20:50] = 20.0
    best = find_horizons(picture, TALL)[0]
    assert math.degrees(math.atan(best.drop * TALL / FOCAL)) == pytest.approx(2.0, abs=0.25)
    assert 0.6 < best.support < 0.8


def test_a_line_of_another_kind_is_told_as_well() -> None:
    picture = sea(2.0)
    picture[120:] -= 30.0  # wet sand, or a quay
    heights = sorted(line.drop * TALL + (TALL - 1) / 2 for line in find_horizons(picture, TALL))
    assert heights == pytest.approx([79.5 + FOCAL * math.tan(math.radians(2.0)), 119.5], abs=0.5)


def skyline(seed: int, rough_px: float) -> Picture:
    """Hills: a line that wanders as ridges do, the sum of a few waves of falling height."""
    rng = np.random.default_rng(seed)
    x = np.arange(WIDE)
    waves = [
        rng.normal() / k * np.sin(2 * math.pi * k * x / WIDE + rng.uniform(0, 7))
        for k in range(1, 30)
    ]
    line = np.sum(waves, axis=0)
    line = 80 + rough_px * line / line.std()
    shade = np.clip(line[None, :] - np.arange(TALL)[:, None] + 0.5, 0, 1)
    return np.asarray(60 + 120 * shade + rng.normal(0, 2, shade.shape), np.float32)


@pytest.mark.parametrize("seed", range(6))
def test_hills_are_no_horizon(seed: int) -> None:
    assert find_horizons(skyline(seed, 4.0), TALL) == ()


@pytest.mark.parametrize(
    "picture",
    [
        np.full((TALL, WIDE), 128.0, np.float32),
        np.random.default_rng(3).normal(128, 30, (TALL, WIDE)).astype(np.float32),
        sea(1.0)[::-1].copy(),  # darker above: a ceiling, or a beach under a black sky
        sea(0.0, 25.0),
        sea(60.0),
        np.full((12, 12), 128.0, np.float32),
    ],
    ids=["nothing", "noise", "darker above", "far too steep", "out of the picture", "tiny"],
)
def test_nothing_is_found_where_there_is_none(picture: Picture) -> None:
    assert find_horizons(picture, TALL) == ()


@pytest.mark.parametrize("row", [0, 2, 30, 59])
def test_lines_close_to_a_better_one_are_the_same(row: int) -> None:
    votes = np.zeros((3, 60), np.intp)
    votes[1, row] = 100
    for by in (-3, -2, 2, 3):
        if 0 <= row + by < 60:
            votes[1, row + by] = 90
    far = (row + 8) % 60
    votes[1, far] = 80
    rows, slopes = _peaks(votes, np.array([-5.0, 0.0, 5.0]), 100)
    assert rows.tolist() == [row, far]
    assert slopes.tolist() == [1, 1]
    assert len(rows) < _MOST_GUESSES
