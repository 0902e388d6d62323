"""What one picture shows on its own."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import cv2
import numpy as np
import pytest

from grouper.model import Glance
from grouper.settings import Settings
from grouper.sight import open_eye
from grouper.sight.glance import _sharpness, glance
from grouper.sight.picture import preview, stood_up
from tests.sight.scenes import Picture, held, put, town, view

SCENE = town(11)


def _glance(folder: Path, picture: Picture, number: int = 1) -> Glance:
    seen = open_eye(folder, Settings()).glance([put(folder, number, picture)])[0]
    assert seen is not None
    return seen


def test_levels_are_shares_of_full_scale(tmp_path: Path) -> None:
    picture = np.full((427, 640, 3), 51, np.uint8)
    picture[:, :320] = 204
    seen = _glance(tmp_path, picture)
    assert seen.mean == pytest.approx(0.5, abs=0.02)
    assert seen.spread == pytest.approx(0.3, abs=0.02)
    assert seen.clipped_share == seen.blocked_share == 0
    assert seen.aspect == pytest.approx(1.5, abs=0.02)


@pytest.mark.parametrize("level", [0, 128, 255])
def test_every_number_is_pythons_own(tmp_path: Path, level: int) -> None:
    """A record travels between processes and into files; array scalars would not."""
    picture = np.full((427, 640, 3), level, np.uint8)
    picture[::7] = 90
    seen = _glance(tmp_path, picture)
    for field in fields(seen):
        value = getattr(seen, field.name)
        values = value if isinstance(value, tuple) else (value,)
        assert values
        assert {type(number) for number in values} <= {float, bool}, field.name


def test_clipped_and_blocked_areas_are_measured(tmp_path: Path) -> None:
    picture = np.full((427, 640, 3), 128, np.uint8)
    picture[:, :160] = 255
    picture[:, 320:] = 0
    seen = _glance(tmp_path, picture)
    assert seen.clipped_share == pytest.approx(0.25, abs=0.03)
    assert seen.blocked_share == pytest.approx(0.50, abs=0.03)


def test_one_clipped_channel_counts(tmp_path: Path) -> None:
    picture = np.zeros((427, 640, 3), np.uint8)
    picture[..., 0] = 255
    assert _glance(tmp_path, picture).clipped_share > 0.95


def test_white_is_where_no_channel_holds_detail(tmp_path: Path) -> None:
    picture = np.full((427, 640, 3), 128, np.uint8)
    picture[:, :160] = 255
    picture[:, 320:] = (150, 200, 255)
    seen = _glance(tmp_path, picture)
    assert seen.white_share == pytest.approx(0.25, abs=0.03)
    assert seen.clipped_share == pytest.approx(0.75, abs=0.03)


@pytest.mark.parametrize("gain_ev", [0.0, -1.5])
def test_blur_takes_sharpness_whatever_the_exposure(tmp_path: Path, gain_ev: float) -> None:
    sharp = view(SCENE, held(0), long_px=1280, gain_ev=gain_ev)
    values = [
        _glance(tmp_path, picture, number).sharpness
        for number, picture in enumerate(
            [sharp, *(cv2.GaussianBlur(sharp, (0, 0), sigma) for sigma in (6, 12, 24))], 1
        )
    ]
    assert values == sorted(values, reverse=True)
    assert values[-1] < 0.6 * values[0]


def test_sharpness_does_not_follow_exposure(tmp_path: Path) -> None:
    values = [
        _glance(tmp_path, view(SCENE, held(0), gain_ev=ev), 1 + at).sharpness
        for at, ev in enumerate((-1.0, 0.0, 1.0))
    ]
    assert max(values) / min(values) < 1.25


def _map(folder: Path, picture: Picture, number: int) -> np.ndarray:
    return np.array(_glance(folder, picture, number).focus_map).reshape(4, 4)


def test_the_focus_map_falls_where_the_picture_is_blurred(tmp_path: Path) -> None:
    sharp = view(SCENE, held(0), long_px=1280)
    half = sharp.copy()
    middle = half.shape[1] // 2
    half[:, :middle] = cv2.GaussianBlur(sharp, (0, 0), 10)[:, :middle]
    change = _map(tmp_path, half, 2) - _map(tmp_path, sharp, 1)
    assert change[:, :2].max() < -0.1
    assert np.abs(change[:, 2:]).max() < 0.1


def test_the_focus_map_falls_everywhere_where_all_is_blurred(tmp_path: Path) -> None:
    sharp = view(SCENE, held(0), long_px=1280)
    change = _map(tmp_path, cv2.GaussianBlur(sharp, (0, 0), 10), 2) - _map(tmp_path, sharp, 1)
    assert change.max() < -0.1


@pytest.mark.parametrize("gain_ev", [-1.5, 0.7])
def test_the_focus_map_does_not_follow_the_light(tmp_path: Path, gain_ev: float) -> None:
    """As the light goes by a stop and more it changes by less than by a stack's first steps."""
    change = _map(tmp_path, view(SCENE, held(0), gain_ev=gain_ev), 2) - _map(
        tmp_path, view(SCENE, held(0)), 1
    )
    assert float(np.sqrt((change**2).mean())) < 0.1


def test_too_small_a_picture_has_no_focus_map(tmp_path: Path) -> None:
    tiny = np.zeros((7, 24, 3), np.uint8)
    tiny[::2] = 200
    shown = preview(stood_up(tiny, (24, 7), 1))
    assert glance(shown).focus_map == ()


def test_a_plain_picture_is_not_sharp(tmp_path: Path) -> None:
    seen = _glance(tmp_path, np.full((427, 640, 3), 100, np.uint8))
    assert seen.sharpness == 0.0
    assert seen.spread < 0.001  # single precision


def test_what_hardly_slopes_is_not_sharp() -> None:
    """Less than a grey level over two pixels: noise has slopes like that."""
    for step, is_sharp in ((0.45, False), (0.55, True)):
        luma = np.tile(np.arange(160, dtype=np.float32) * np.float32(step), (120, 1))
        fine = np.ones((118, 158), np.float32)
        assert (_sharpness(luma, fine) > 0.0) == is_sharp
