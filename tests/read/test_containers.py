"""Containers that hold a TIFF block: HEIF, AVIF, PNG, WebP, JPEG XL and three makers' raws."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from grouper.errors import UnreadableFile
from grouper.model import Frame
from grouper.read import READERS, read_one
from grouper.settings import Settings
from tests.read.containers import SMALL, box, cr3, heif_with_thumbnail, jxl, mrw, raf
from tests.read.files import exif_of, jpeg_bytes, tiff, with_thumbnail, write_photo

pillow_heif = pytest.importorskip("pillow_heif")


@pytest.fixture(autouse=True)
def _heif() -> None:
    """Let Pillow write and read HEIC for the tests here; harmless to others."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        pillow_heif.register_heif_opener()


def frame_of(path: Path) -> Frame:
    outcome = read_one(path.parent, path.name, settings=Settings())
    assert isinstance(outcome, Frame), outcome
    return outcome


def reason(tmp_path: Path, name: str, data: bytes) -> str:
    path = tmp_path / name
    path.write_bytes(data)
    reader = next(reader for reader in READERS if reader.recognises(data[:64]))
    with pytest.raises(UnreadableFile) as caught:
        reader.read(tmp_path, name, Settings())
    return caught.value.reason


@pytest.mark.parametrize("suffix", [".heic", ".avif", ".png", ".webp"])
def test_written_by_pillow(tmp_path: Path, suffix: str) -> None:
    path = write_photo(tmp_path / f"QMK_0417{suffix}", size=(96, 64), subsec="25")
    frame = frame_of(path)
    assert frame.taken == datetime(2026, 3, 14, 9, 14, 12, 250000)
    assert (frame.model, frame.focal_mm, frame.iso, frame.counter) == ("Q5", 24.0, 100, 417)
    assert (frame.width_px, frame.height_px) == (96, 64)
    assert frame.picture is not None
    assert (frame.picture.kind, frame.picture.file) == ("main", path.name)


@pytest.mark.parametrize("suffix", [".heic", ".avif", ".png", ".webp"])
def test_without_metadata(tmp_path: Path, suffix: str) -> None:
    frame = frame_of(write_photo(tmp_path / f"x{suffix}", size=(70, 50), bare=True))
    assert (frame.taken, frame.model, frame.upright_px) == (None, None, (70, 50))


@pytest.mark.parametrize("suffix", [".heic", ".avif"])
@pytest.mark.parametrize("tag", [1, 3, 6, 8])
def test_orientation_fits_the_decoder(tmp_path: Path, suffix: str, tag: int) -> None:
    # Whoever decodes the file and applies the frame's orientation gets the upright picture:
    # the frame's stored size is what the decoder gives, and the sum is what a viewer shows.
    path = write_photo(tmp_path / f"QMK_0001{suffix}", size=(96, 64), orientation=tag)
    with Image.open(path) as image:
        decoded, left_over = image.size, image.getexif().get(0x0112, 1)
    frame = frame_of(path)
    assert (frame.width_px, frame.height_px) == decoded
    assert frame.orientation == left_over


@pytest.mark.parametrize("suffix", [".heic", ".avif", ".png", ".webp"])
def test_every_cut_is_noticed(tmp_path: Path, suffix: str) -> None:
    data = write_photo(tmp_path / f"QMK_0001{suffix}", size=(200, 150)).read_bytes()
    for length in range(24, len(data), max(len(data) // 40, 1)):
        assert reason(tmp_path, f"cut{suffix}", data[:length]) in ("truncated", "damaged"), length


@pytest.mark.parametrize(("lossless", "exif"), [(True, b""), (False, b"")])
def test_plain_webp(tmp_path: Path, lossless: bool, exif: bytes) -> None:
    path = tmp_path / "x.webp"
    Image.new("RGB", (91, 53), "teal").save(path, lossless=lossless)
    assert frame_of(path).upright_px == (91, 53)


def test_png_with_xmp(tmp_path: Path) -> None:
    from PIL.PngImagePlugin import PngInfo

    info = PngInfo()
    packet = '<x q:GimbalPitchDegree="-30.0" q:GimbalYawDegree="5" q:GimbalRollDegree="0"/>'
    info.add_itxt("XML:com.adobe.xmp", packet)
    Image.new("RGB", (30, 20)).save(tmp_path / "x.png", pnginfo=info)
    attitude = frame_of(tmp_path / "x.png").attitude
    assert attitude is not None
    assert attitude.pitch_deg == -30.0


def test_jpeg_xl(tmp_path: Path) -> None:
    path = tmp_path / "QMK_0417.jxl"
    path.write_bytes(jxl(exif_of(size=(6000, 4000), orientation=6).tobytes()[6:]))
    frame = frame_of(path)
    assert (frame.model, frame.width_px, frame.height_px) == ("Q5", 6000, 4000)
    assert frame.picture is None
    assert reason(tmp_path, "cut.jxl", path.read_bytes()[:-20]) == "truncated"


def test_cr3(tmp_path: Path) -> None:
    path = tmp_path / "QMK_0417.CR3"
    path.write_bytes(cr3())
    frame = frame_of(path)
    assert (frame.make, frame.model, frame.orientation) == ("Quillmark", "Q5", 8)
    assert frame.taken == datetime(2026, 3, 14, 9, 14, 12)
    assert (frame.width_px, frame.height_px, frame.focal_mm) == (6000, 4000, 24.0)
    assert frame.picture is not None
    assert frame.picture.kind == "thumbnail"
    assert frame.picture.offset is not None
    assert cr3()[frame.picture.offset :][: len(SMALL)] == SMALL
    assert reason(tmp_path, "cut.CR3", cr3()[:-100]) == "truncated"
    empty = box(b"ftyp", b"crx \0\0\0\1crx isom") + box(b"moov", box(b"free", bytes(9)))
    assert reason(tmp_path, "bare.CR3", empty + box(b"mdat")) == "no-metadata"
    assert reason(tmp_path, "half.CR3", empty) == "truncated"


def test_raf(tmp_path: Path) -> None:
    block = with_thumbnail(exif_of(size=(6000, 4000), orientation=6).tobytes(), SMALL)
    data = raf(jpeg_bytes((640, 427), exif=block))
    path = tmp_path / "QMKF0417.RAF"
    path.write_bytes(data)
    frame = frame_of(path)
    assert (frame.model, frame.width_px, frame.height_px) == ("Q5", 6000, 4000)
    assert frame.orientation == 6
    assert frame.picture is not None
    assert frame.picture.offset is not None
    assert data[frame.picture.offset :][: len(SMALL)] == SMALL
    assert reason(tmp_path, "cut.RAF", data[:-100]) == "truncated"
    assert reason(tmp_path, "head.RAF", data[:90]) == "truncated"
    assert reason(tmp_path, "bare.RAF", raf(jpeg_bytes())) == "no-metadata"


def test_mrw(tmp_path: Path) -> None:
    exif: dict[int, Any] = {0x9003: "2026:03:14 09:14:12", 0x920A: 24.0}
    block = tiff({0x0110: "Q5", 0x0100: 3272, 0x0101: 2456, 0x8769: exif}, order=">")
    path = tmp_path / "PICT0417.MRW"
    path.write_bytes(mrw(block))
    frame = frame_of(path)
    assert (frame.model, frame.width_px, frame.focal_mm) == ("Q5", 3272, 24.0)
    assert reason(tmp_path, "cut.MRW", mrw(block)[:-500]) == "truncated"
    assert reason(tmp_path, "bare.MRW", mrw(b"")) == "no-metadata"


def heif_without(name: bytes) -> Callable[[bytes], bytes]:
    return lambda data: data.replace(name, b"free", 1)


@pytest.mark.parametrize(
    "change",
    [heif_without(b"meta"), heif_without(b"iloc"), heif_without(b"pitm"), heif_without(b"iprp")],
)
def test_heif_with_a_part_missing(tmp_path: Path, change: Callable[[bytes], bytes]) -> None:
    data = write_photo(tmp_path / "QMK_0001.heic").read_bytes()
    path = tmp_path / "changed.heic"
    path.write_bytes(change(data))
    outcome = read_one(tmp_path, path.name, settings=Settings())
    assert outcome is not None
    assert isinstance(outcome, Frame) or outcome.reason == "damaged"


def test_a_heif_thumbnail_that_is_a_jpeg(tmp_path: Path) -> None:
    data, offset = heif_with_thumbnail(SMALL)
    path = tmp_path / "QMK_0001.HEIC"
    path.write_bytes(data)
    frame = frame_of(path)
    assert (frame.width_px, frame.height_px) == (4000, 3000)
    assert frame.picture is not None
    assert (frame.picture.kind, frame.picture.offset) == ("thumbnail", offset)
    with Image.open(io.BytesIO(path.read_bytes()[offset:])) as image:
        assert image.size == (160, 120)
