"""Small pictures out of files: bars, orientation, odd and damaged data."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image, ImageOps

from grouper.sight.picture import contradicts, decode, preview, stood_up, upright
from tests.sight.scenes import held, thumbnail, town, view

SCENE = town(11)


def _jpeg(size: tuple[int, int]) -> bytes:
    out = io.BytesIO()
    Image.effect_noise(size, 60).convert("RGB").save(out, "JPEG")
    return out.getvalue()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_agrees_with_pillow(orientation: int) -> None:
    pixels = np.arange(2 * 3 * 3, dtype=np.uint8).reshape(2, 3, 3)
    image = Image.fromarray(pixels)
    image.getexif()[0x0112] = orientation
    expected = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(upright(pixels, orientation), expected)


@pytest.mark.parametrize(
    ("stored_px", "size", "bars"),
    [
        ((6000, 4000), (160, 120), (7, 0)),  # DCF: 6.67 rows above and below
        ((5472, 3080), (160, 120), (15, 0)),  # 16:9
        ((4000, 4000), (160, 120), (0, 20)),  # square
        ((4608, 3456), (160, 120), (0, 0)),
    ],
    ids=["3:2", "16:9", "1:1", "4:3"],
)
def test_cuts_bars_that_are_there(
    stored_px: tuple[int, int], size: tuple[int, int], bars: tuple[int, int]
) -> None:
    pixels = np.full((size[1], size[0], 3), 120, np.uint8)
    high, wide = bars
    if high:
        pixels[:high] = pixels[-high:] = 0
    if wide:
        pixels[:, :wide] = pixels[:, -wide:] = 0
    shown = preview(stood_up(pixels, stored_px, 1))
    assert shown.luma.shape == (size[1] - 2 * high, size[0] - 2 * wide)
    assert not shown.blocked.any()
    assert shown.full_px == pytest.approx(160 if not wide else 120, abs=0.01)


def test_leaves_what_is_no_bar() -> None:
    """A camera that crops its thumbnail to 4:3: the sides of the 3:2 picture are missing."""
    pixels = np.full((120, 160, 3), 90, np.uint8)
    shown = preview(stood_up(pixels, (6000, 4000), 1))
    assert shown.luma.shape == (120, 160)
    assert shown.full_px == pytest.approx(180.0)


def test_whole_thumbnails_need_no_cut() -> None:
    pixels = decode(thumbnail(view(SCENE, held(0), upright=False), letterbox=False))
    assert pixels is not None
    assert preview(stood_up(pixels, (6000, 4000), 1)).size == (160, 107)


@pytest.mark.parametrize("channel", range(3))
def test_a_coloured_edge_is_no_bar(channel: int) -> None:
    pixels = np.full((120, 160, 3), 120, np.uint8)
    pixels[:7] = pixels[-7:] = 0
    pixels[:7, :, channel] = 200
    assert preview(stood_up(pixels, (6000, 4000), 1)).luma.shape == (120, 160)


def test_stands_up_with_its_bars_cut() -> None:
    lying = view(SCENE, held(0), upright=False)
    pixels = decode(thumbnail(lying))
    assert pixels is not None
    shown = preview(stood_up(pixels, (6000, 4000), 6))
    assert shown.size == (106, 160)
    turned = np.rot90(pixels[7:113], -1).astype(np.float32).mean(axis=2)
    assert np.abs(shown.luma - turned).max() < 1.0


@pytest.mark.parametrize(
    ("stored_px", "orientation", "answer"),
    [
        ((6000, 4000), 1, False),
        ((4000, 6000), 1, True),  # main picture turned by software, thumbnail left lying
        ((6000, 4000), 8, False),
        ((4000, 6000), 5, False),  # stored upright already
        ((4000, 6000), 6, False),
        (None, 1, False),
    ],
)
def test_notices_a_thumbnail_on_its_side(
    stored_px: tuple[int, int] | None, orientation: int, answer: bool
) -> None:
    pixels = decode(thumbnail(view(SCENE, held(0), upright=False)))
    assert pixels is not None
    assert contradicts(pixels, stored_px, orientation) is answer


def test_raw_rgb_block() -> None:
    block = np.random.default_rng(2).integers(0, 255, (120, 160, 3), dtype=np.uint8)
    pixels = decode(block.tobytes())
    assert pixels is not None
    assert np.array_equal(pixels, block)


def test_large_pictures_come_reduced() -> None:
    pixels = decode(_jpeg((1500, 1000)))
    assert pixels is not None
    assert pixels.shape == (107, 160, 3)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not a picture",
        b"\xff\xd8\xff",
        _jpeg((160, 120))[:700],
        _jpeg((8, 8)),
        b"\x89PNG\r\n\x1a\n" + b"\0" * 40,
    ],
    ids=["empty", "text", "stub", "cut", "tiny", "png stub"],
)
def test_bad_data_is_not_known(data: bytes) -> None:
    assert decode(data) is None


def test_size_bomb_is_not_opened() -> None:
    out = io.BytesIO()
    Image.new("1", (30000, 30000)).save(out, "PNG")
    assert decode(out.getvalue()) is None
