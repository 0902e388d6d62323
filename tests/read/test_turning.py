"""Orientation: which tags still apply. Values: TIFF 6.0 and CIPA DC-008."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

from grouper.read.jpeg import read
from grouper.read.turning import SWAPPING, orientation_to_apply, was_turned
from grouper.settings import Settings
from tests.read.files import write_photo

LANDSCAPE, PORTRAIT, SQUARE = (6000, 4000), (4000, 6000), (3000, 3000)


@pytest.mark.parametrize(
    ("tag", "stored", "camera", "from_camera", "expected"),
    [
        pytest.param(1, LANDSCAPE, LANDSCAPE, True, 1, id="level"),
        pytest.param(3, LANDSCAPE, LANDSCAPE, True, 3, id="upside-down"),
        pytest.param(6, LANDSCAPE, LANDSCAPE, True, 6, id="turned-body"),
        pytest.param(8, LANDSCAPE, None, True, 8, id="turned-body-no-size"),
        pytest.param(6, LANDSCAPE, PORTRAIT, True, 6, id="size-given-upright"),
        pytest.param(8, PORTRAIT, PORTRAIT, True, 1, id="stale-sizes-renewed"),
        pytest.param(8, PORTRAIT, LANDSCAPE, True, 1, id="stale-camera-size-kept"),
        pytest.param(6, PORTRAIT, LANDSCAPE, False, 1, id="stale-no-maker"),
        pytest.param(6, PORTRAIT, PORTRAIT, False, 6, id="software-may-store-any-way"),
        pytest.param(6, PORTRAIT, None, True, 1, id="stale-no-size"),
        pytest.param(6, SQUARE, SQUARE, True, 6, id="square-does-not-tell"),
        pytest.param(6, None, None, True, 6, id="no-pixels-known"),
        pytest.param(3, PORTRAIT, LANDSCAPE, True, 3, id="half-turn-does-not-tell"),
        pytest.param(0, LANDSCAPE, None, True, 1, id="zero"),
        pytest.param(9, LANDSCAPE, None, True, 1, id="nine"),
        pytest.param(None, PORTRAIT, None, True, 1, id="missing"),
    ],
)
def test_orientation(
    tag: int | None,
    stored: tuple[int, int] | None,
    camera: tuple[int, int] | None,
    from_camera: bool,
    expected: int,
) -> None:
    assert orientation_to_apply(tag, stored, camera, from_camera) == expected


@pytest.mark.parametrize("tag", range(1, 9))
def test_swapping_values_are_those_that_pillow_transposes(tag: int) -> None:
    image = Image.fromarray(np.array([[1, 2, 3], [4, 5, 6]], dtype=np.uint8))
    exif = Image.Exif()
    exif[0x0112] = tag
    image.info["exif"] = exif.tobytes()
    turned = ImageOps.exif_transpose(image)
    assert (turned.size == (2, 3)) == (tag in SWAPPING)


@pytest.mark.parametrize("tag", range(1, 9))
def test_upright_size_is_what_a_viewer_shows(tmp_path: Path, tag: int) -> None:
    path = write_photo(tmp_path / "QMK_0001.JPG", size=(96, 64), orientation=tag)
    with Image.open(path) as image:
        shown = ImageOps.exif_transpose(image).size
    frame = read(tmp_path, path.name, Settings())
    assert (frame.width_px, frame.height_px, frame.orientation) == (96, 64, tag)
    assert frame.upright_px == shown


def test_was_turned() -> None:
    assert was_turned(6, 1)
    assert not was_turned(6, 6)
    assert not was_turned(1, 1)
    assert not was_turned(None, 1)
