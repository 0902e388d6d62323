"""TIFF files and raws shaped like one."""

from __future__ import annotations

import struct
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource
from grouper.read.tiff import read, recognises
from grouper.settings import Settings
from tests.read.files import Blob, exif_of, jpeg_bytes, raw_bytes, short, tiff, with_thumbnail

SMALL, MIDDLE, LARGE = jpeg_bytes((160, 107)), jpeg_bytes((640, 427)), jpeg_bytes((1200, 800))


def frame_of(tmp_path: Path, data: bytes, name: str = "QMK_0417.NEF") -> Frame:
    (tmp_path / name).write_bytes(data)
    return read(tmp_path, name, Settings())


def shown(tmp_path: Path, picture: PictureSource | None) -> bytes:
    assert picture is not None
    assert picture.offset is not None
    assert picture.length is not None
    return (tmp_path / picture.file).read_bytes()[picture.offset :][: picture.length]


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_raw(tmp_path: Path, order: str) -> None:
    frame = frame_of(tmp_path, raw_bytes(preview=SMALL, orientation=6, subsec="5", order=order))
    assert frame.taken == datetime(2026, 3, 14, 9, 14, 12, 500000)
    assert (frame.make, frame.model, frame.focal_mm) == ("Quillmark", "Q5", 24.0)
    assert (frame.width_px, frame.height_px, frame.orientation) == (6000, 4000, 6)
    assert frame.picture is not None
    assert frame.picture.kind == "thumbnail"
    assert shown(tmp_path, frame.picture) == SMALL


@pytest.mark.parametrize("magic", [b"IIRO", b"IIRS", b"IIU\0"])
def test_other_magic_numbers(tmp_path: Path, magic: bytes) -> None:
    data = raw_bytes(preview=SMALL)
    frame = frame_of(tmp_path, magic + data[4:])
    assert frame.model == "Q5"
    assert recognises(magic + data[4:64])


@pytest.mark.parametrize(
    "head", [b"", b"II", b"II*", b"\xff\xd8\xff\xe1", b"RIFF", b"IIxx", b"MM\0+"[:3]]
)
def test_what_is_not_taken_for_a_raw(head: bytes) -> None:
    assert not recognises(head)


def test_the_smallest_preview_is_used(tmp_path: Path) -> None:
    preview = {0x00FE: 1, 0x0201: Blob(MIDDLE), 0x0202: len(MIDDLE)}
    data = tiff(
        {0x0110: "Q5", 0x0201: Blob(LARGE), 0x0202: len(LARGE), 0x014A: (preview,)},
        {0x0103: short(7), 0x0111: Blob(jpeg_bytes((90, 60))), 0x0117: 40},
    )
    frame = frame_of(tmp_path, data)
    assert shown(tmp_path, frame.picture) == MIDDLE
    assert frame.picture is not None
    assert frame.picture.kind == "preview"


def test_a_preview_in_one_strip(tmp_path: Path) -> None:
    strip = {0x00FE: 1, 0x0103: short(7), 0x0111: Blob(MIDDLE), 0x0117: len(MIDDLE)}
    frame = frame_of(tmp_path, tiff({0x0110: "Q5", 0x014A: (strip,)}), "QMK_0417.DNG")
    assert shown(tmp_path, frame.picture) == MIDDLE


@pytest.mark.parametrize(
    "preview",
    [
        pytest.param(b"\xff\xd8\xff" + bytes(300), id="no-jpeg"),
        pytest.param(jpeg_bytes((64, 43)), id="too-small"),
        pytest.param(jpeg_bytes((107, 160)), id="standing-for-a-lying-picture"),
    ],
)
def test_previews_that_are_not_used(tmp_path: Path, preview: bytes) -> None:
    assert frame_of(tmp_path, raw_bytes(preview=preview)).picture is None


@pytest.mark.parametrize(
    ("main", "exif", "size"),
    [
        pytest.param({0x0100: 6000, 0x0101: 4000}, {}, (6000, 4000), id="main-directory"),
        pytest.param(
            {0x00FE: 1, 0x0100: 160, 0x0101: 120}, {0xA002: 6000, 0xA003: 4000}, (6000, 4000),
            id="exif-beside-a-preview",
        ),
        pytest.param(
            {0x0100: 6048, 0x0101: 4024}, {0xA002: 6000, 0xA003: 4000}, (6000, 4000),
            id="finished-size-not-the-sensors",
        ),
        pytest.param(
            {0x0100: 6000, 0x0101: 4000}, {0xA002: 1620, 0xA003: 1080}, (6000, 4000),
            id="exif-describes-a-preview",
        ),
        pytest.param({0x0100: 6048, 0x0101: 4024, 0xC620: [6000, 4000]}, {}, (6000, 4000),
            id="crop",
        ),
        pytest.param({0x00FE: 1, 0x0100: 160, 0x0101: 120}, {}, (None, None), id="preview-only"),
    ],
)  # fmt: skip
def test_full_size(
    tmp_path: Path,
    main: dict[int, Any],
    exif: dict[int, Any],
    size: tuple[int | None, int | None],
) -> None:
    frame = frame_of(tmp_path, tiff({0x0110: "Q5", **main, 0x8769: {0x920A: 24.0, **exif}}))
    assert (frame.width_px, frame.height_px) == size


def test_a_raw_with_its_metadata_in_an_inner_jpeg(tmp_path: Path) -> None:
    # Panasonic's layout: size by the sensor's borders, ISO among the first tags, and a whole
    # JPEG under tag 0x002E with the Exif block and the thumbnail.
    block = with_thumbnail(exif_of(subsec="25").tobytes(), SMALL)
    inner = jpeg_bytes((640, 427), exif=block)
    main = {
        0x0004: short(10), 0x0005: short(20), 0x0006: short(4010), 0x0007: short(6020),
        0x0017: short(200), 0x002E: inner, 0x010F: "Quillmark", 0x0110: "Q5",
        0x0111: 0xFFFFFFFF, 0x0117: 100,
    }  # fmt: skip
    frame = frame_of(tmp_path, tiff(main, magic=b"IIU\0"), "QMK_0417.RW2")
    assert frame.taken == datetime(2026, 3, 14, 9, 14, 12, 250000)
    assert (frame.width_px, frame.height_px, frame.lens) == (6000, 4000, "Quillmark 24-70mm f/4")
    assert shown(tmp_path, frame.picture) == SMALL


def test_a_plain_tiff(tmp_path: Path) -> None:
    Image.new("RGB", (96, 64)).save(tmp_path / "QMK_0417.TIF")
    frame = read(tmp_path, "QMK_0417.TIF", Settings())
    assert frame.upright_px == (96, 64)
    assert frame.picture == PictureSource(kind="main", file="QMK_0417.TIF")


def test_a_bare_block_is_a_raw_without_a_picture(tmp_path: Path) -> None:
    frame = frame_of(tmp_path, exif_of().tobytes()[6:])
    assert frame.model == "Q5"
    assert frame.picture is None


RAW = raw_bytes(preview=SMALL)


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(RAW[:6], "truncated", id="within-the-head"),
        pytest.param(RAW[:8], "truncated", id="before-the-directory"),
        pytest.param(RAW[: len(RAW) // 2], "truncated", id="half"),
        pytest.param(b"II*\0\x08\0\0\0" + bytes(100), "no-metadata", id="empty-directory"),
        pytest.param(b"II+\0\x08\0\0\0" + bytes(100), "unknown-format", id="64-bit-offsets"),
        pytest.param(
            tiff({0x0110: "Q5", 0x0111: 5000, 0x0117: 10_000}), "truncated", id="strip-beyond-end"
        ),
        pytest.param(
            tiff({0x0110: "Q5", 0x0144: [500, 5000], 0x0145: [9, 9]}), "truncated", id="tile-beyond"
        ),
    ],
)
def test_speaks_on_broken_files(tmp_path: Path, data: bytes, expected: str) -> None:
    with pytest.raises(UnreadableFile) as caught:
        frame_of(tmp_path, data)
    assert caught.value.reason == expected


def test_every_cut_of_the_picture_is_noticed(tmp_path: Path) -> None:
    strip_at = RAW.index(bytes(range(256)) * 2)
    for length in range(strip_at, strip_at + 512, 37):
        with pytest.raises(UnreadableFile) as caught:
            frame_of(tmp_path, RAW[:length])
        assert caught.value.reason == "truncated"


def test_strips_in_short_numbers(tmp_path: Path) -> None:
    packed = struct.pack("<HH", 8, 9000)
    from tests.read.files import Typed

    data = tiff({0x0110: "Q5", 0x0111: Typed(3, 2, packed), 0x0117: Typed(3, 2, packed)})
    with pytest.raises(UnreadableFile, match="truncated: 17"):
        frame_of(tmp_path, data)
