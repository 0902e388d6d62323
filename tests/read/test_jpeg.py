"""JPEG files: segments, wholeness, thumbnails, fields of the frame."""

from __future__ import annotations

import io
import struct
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image

from grouper.errors import UnreadableFile
from grouper.model import Attitude, Frame
from grouper.read.jpeg import TAIL_BYTES, may_show, read
from grouper.read.source import Source
from grouper.settings import Settings
from tests.read.files import exif_of, jpeg_bytes, rational, write_photo

THUMB = jpeg_bytes((160, 120))


def frame_of(path: Path) -> Frame:
    return read(path.parent, path.name, Settings())


def photo(tmp_path: Path, **settings: Any) -> Frame:
    return frame_of(write_photo(tmp_path / "QMK_0417.JPG", **settings))


def reason(path: Path) -> str:
    with pytest.raises(UnreadableFile) as caught:
        frame_of(path)
    return caught.value.reason


def segment(marker: int, data: bytes) -> bytes:
    return bytes([0xFF, marker]) + struct.pack(">H", len(data) + 2) + data


def test_an_ordinary_photograph(tmp_path: Path) -> None:
    frame = photo(tmp_path, subsec="31", offset="+02:00", size=(96, 64))
    assert frame == Frame(
        file="QMK_0417.JPG",
        size_bytes=(tmp_path / "QMK_0417.JPG").stat().st_size,
        make="Quillmark",
        model="Q5",
        serial="5005001",
        lens="Quillmark 24-70mm f/4",
        taken=datetime(2026, 3, 14, 9, 14, 12, 310000),
        taken_resolution_s=0.01,
        utc_offset_min=120,
        exposure_s=0.016667,
        aperture_f=11.0,
        iso=100,
        bias_ev=0.0,
        focal_mm=24.0,
        focal_35mm=24.0,
        sensor_long_mm=36.0,
        sensor_from="equivalent",
        width_px=96,
        height_px=64,
        counter=417,
        picture=frame.picture,
    )
    assert frame.picture is not None
    assert (frame.picture.kind, frame.picture.file) == ("main", "QMK_0417.JPG")


@pytest.mark.parametrize(
    ("settings", "field", "expected"),
    [
        pytest.param({"exif": {0x8822: 1}}, "program", "manual", id="manual"),
        pytest.param({"exif": {0x8822: 3, 0xA402: 0}}, "program", "aperture", id="aperture"),
        pytest.param({"exif": {0x8822: 4}}, "program", "shutter", id="shutter"),
        pytest.param({"exif": {0x8822: 2}}, "program", "auto", id="program"),
        pytest.param({"exif": {0x8822: 0, 0xA402: 1}}, "program", "manual", id="by-mode"),
        pytest.param({"exif": {0xA402: 0}}, "program", "auto", id="automatic-mode"),
        pytest.param({"exif": {0x8822: 9}}, "program", None, id="program-unknown"),
        pytest.param({"exif": {0xA402: 2}}, "bracketing", True, id="bracketing"),
        pytest.param({"exif": {0xA402: 1}}, "bracketing", None, id="not-said-to-bracket"),
        pytest.param({"exif": {0xA403: 0}}, "white_balance", "auto", id="white-auto"),
        pytest.param({"exif": {0xA403: 1}}, "white_balance", "manual", id="white-manual"),
        pytest.param({"exif": {0x9208: 10}}, "white_balance_detail", "cloudy", id="light"),
        pytest.param({"exif": {0x9208: 0}}, "white_balance_detail", None, id="light-unknown"),
        pytest.param({"exif": {0x9209: 0x19}}, "flash_fired", True, id="flash"),
        pytest.param({"exif": {0x9209: 0x10}}, "flash_fired", False, id="no-flash"),
        pytest.param({"exif": {0x9206: rational(2.5)}}, "focus_m", 2.5, id="focus"),
        pytest.param({"exif": {0x9206: rational(0)}}, "focus_m", None, id="focus-unknown"),
        pytest.param({"exif": {0xA460: 3}}, "composite", True, id="composite"),
        pytest.param({"exif": {0xA460: 1}}, "composite", False, id="not-composite"),
        pytest.param({"iso": 65535, "exif": {0x8832: 102400}}, "iso", 102400, id="long-iso"),
        pytest.param({"iso": None, "exif": {0x8833: 400}}, "iso", 400, id="iso-speed"),
        pytest.param({"iso": 0}, "iso", None, id="iso-zero"),
        pytest.param(
            {"exposure_s": None, "exif": {0x9201: rational(6.0)}}, "exposure_s", 1 / 64, id="tv"
        ),
        pytest.param({"exposure_s": 0.0}, "exposure_s", None, id="no-time"),
        pytest.param(
            {"aperture_f": None, "exif": {0x9202: rational(6.0)}}, "aperture_f", 8.0, id="av"
        ),
        pytest.param({"aperture_f": 0.0}, "aperture_f", None, id="lens-without-contacts"),
        pytest.param({"focal_35mm": 0}, "focal_35mm", None, id="equivalent-unknown"),
        pytest.param({"lens": "----"}, "lens", None, id="no-lens"),
        pytest.param(
            {
                "lens": None,
                "exif": {0xA432: (rational(24), rational(70), rational(4), rational(4))},
            },
            "lens",
            "24-70 mm f/4",
            id="lens-by-its-range",
        ),
        pytest.param({"bias_ev": -2.0}, "bias_ev", -2.0, id="bias"),
        pytest.param({"taken": None}, "taken", None, id="no-time-taken"),
        pytest.param({"taken": "0000:00:00 00:00:00"}, "taken", None, id="clock-not-set"),
        pytest.param(
            {"taken": None, "exif": {0x9004: "2026:03:14 10:00:00"}},
            "taken",
            datetime(2026, 3, 14, 10),
            id="digitized",
        ),
        pytest.param(
            {"taken": None, "image": {0x0132: "2026:03:14 10:00:00"}},
            "taken",
            datetime(2026, 3, 14, 10),
            id="only-file-change-by-a-body",
        ),
        pytest.param(
            {"taken": None, "make": None, "image": {0x0132: "2026:03:14 10:00:00"}},
            "taken",
            None,
            id="file-change-by-software",
        ),
        pytest.param({"offset": None, "exif": {0x9010: "+01:00"}}, "utc_offset_min", 60, id="zone"),
        pytest.param({"exif": {0x882A: -3}}, "utc_offset_min", -180, id="tiff-ep-zone"),
        pytest.param({"image": {0x0131: "Q5 v1.2"}}, "software", "Q5 v1.2", id="software"),
    ],
)
def test_fields(tmp_path: Path, settings: dict[str, Any], field: str, expected: object) -> None:
    value = getattr(photo(tmp_path, **settings), field)
    if isinstance(expected, float):
        assert value == pytest.approx(expected, rel=1e-3)
    else:
        assert value == expected


GPS = {
    0x01: "N", 0x02: (rational(47), rational(30), rational(36)),
    0x03: "W", 0x04: (rational(11), rational(15), rational(0)),
    0x05: b"\0", 0x06: rational(1820.5),
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        pytest.param({}, (47.51, -11.25, 1820.5), id="place"),
        pytest.param({0x01: "S", 0x03: "E"}, (-47.51, 11.25, 1820.5), id="other-half"),
        pytest.param({0x05: b"\1"}, (47.51, -11.25, -1820.5), id="below-the-sea"),
        pytest.param({0x09: "V"}, (None, None, None), id="no-fix"),
        pytest.param(
            {0x02: (rational(0),) * 3, 0x04: (rational(0),) * 3}, (None, None, None), id="zeros"
        ),
        pytest.param({0x02: (rational(99),) * 3}, (None, None, None), id="latitude-99"),
    ],
)
def test_place(tmp_path: Path, change: dict[int, Any], expected: tuple[float | None, ...]) -> None:
    frame = photo(tmp_path, gps={**GPS, **change})
    found = (frame.latitude_deg, frame.longitude_deg, frame.altitude_m)
    assert found == pytest.approx(expected) if expected[0] else found == expected


XMP = b'<x q:GimbalYawDegree="-20.5" q:GimbalPitchDegree="-30.0" q:GimbalRollDegree="0.0"/>'
STILL = b'<x q:GimbalYawDegree="0.0" q:GimbalPitchDegree="0.0" q:GimbalRollDegree="+0.0"/>'


@pytest.mark.parametrize(
    ("settings", "packet", "expected"),
    [
        pytest.param({}, b"", None, id="nothing"),
        pytest.param(
            {"gps": {0x10: "T", 0x11: rational(312.5)}},
            b"",
            Attitude(yaw_deg=312.5, sigma_deg=5.0),
            id="compass",
        ),
        pytest.param(
            {"exif": {0x9405: rational(-12.5)}}, b"", Attitude(pitch_deg=-12.5), id="elevation"
        ),
        pytest.param({}, XMP, Attitude(yaw_deg=-20.5, pitch_deg=-30.0, roll_deg=0.0), id="gimbal"),
        pytest.param({}, STILL, None, id="gimbal-off"),
    ],
)
def test_attitude(
    tmp_path: Path, settings: dict[str, Any], packet: bytes, expected: Attitude | None
) -> None:
    path = tmp_path / "QMK_0001.JPG"
    path.write_bytes(jpeg_bytes(exif=exif_of(**settings).tobytes(), xmp=packet))
    assert frame_of(path).attitude == expected


def test_a_finished_panorama_is_marked(tmp_path: Path) -> None:
    packet = (
        b'<x xmlns:P="http://ns.google.com/photos/1.0/panorama/" P:ProjectionType="cylindrical"/>'
    )
    path = tmp_path / "QMK_0001.JPG"
    path.write_bytes(jpeg_bytes(xmp=packet))
    assert frame_of(path).composite


def test_a_picture_without_metadata_is_a_frame_without_a_time(tmp_path: Path) -> None:
    frame = photo(tmp_path, bare=True)
    assert (frame.taken, frame.model, frame.width_px, frame.height_px) == (None, None, 96, 64)


def test_size_is_the_files_own_not_the_cameras(tmp_path: Path) -> None:
    frame = photo(
        tmp_path,
        size=(102, 68),
        focal_35mm=None,
        exif={0xA002: 5184, 0xA003: 3456, 0xA20E: rational(5743.0), 0xA210: 2},
    )
    assert (frame.width_px, frame.height_px) == (102, 68)
    # 5184 px at 5743 px/inch: the resolution belongs to the pixels the camera had.
    assert frame.sensor_long_mm == pytest.approx(22.93, abs=0.01)
    assert frame.sensor_from == "focal-plane"


def test_a_progressive_picture(tmp_path: Path) -> None:
    path = tmp_path / "QMK_0001.JPG"
    path.write_bytes(jpeg_bytes((200, 120), progressive=True))
    assert frame_of(path).upright_px == (200, 120)


# ---- thumbnails


def test_the_thumbnail_is_where_it_is_said_to_be(tmp_path: Path) -> None:
    path = write_photo(tmp_path / "QMK_0001.JPG", thumbnail=THUMB)
    picture = frame_of(path).picture
    assert picture is not None
    assert picture.kind == "thumbnail"
    assert picture.offset is not None
    assert picture.length is not None
    with path.open("rb") as stream:
        stream.seek(picture.offset)
        assert stream.read(picture.length) == THUMB
    with Image.open(path) as image:  # the place Pillow finds it at
        first = image.getexif().get_ifd(ExifTags.IFD.IFD1)
    assert first[0x0202] == picture.length


@pytest.mark.parametrize(
    "thumbnail",
    [
        pytest.param(b"\0" * 300, id="zeros"),
        pytest.param(THUMB[:2] + b"\0" * 300, id="mark-only"),
        pytest.param(jpeg_bytes((90, 160)), id="standing-for-a-lying-picture"),
        pytest.param(jpeg_bytes((160, 160)), id="square"),
    ],
)
def test_thumbnails_that_are_not_used(tmp_path: Path, thumbnail: bytes) -> None:
    picture = photo(tmp_path, thumbnail=thumbnail).picture
    assert picture is not None
    assert picture.kind == "main"


def test_a_thumbnail_beyond_the_end_is_not_used(tmp_path: Path) -> None:
    path = write_photo(tmp_path / "QMK_0001.JPG", thumbnail=THUMB)
    data = path.read_bytes().replace(
        struct.pack(">HHII", 0x0202, 4, 1, len(THUMB)), struct.pack(">HHII", 0x0202, 4, 1, 10**6)
    )
    path.write_bytes(data)
    picture = frame_of(path).picture
    assert picture is not None
    assert picture.kind == "main"


def test_a_picture_turned_by_software_does_not_use_its_thumbnail(tmp_path: Path) -> None:
    frame = photo(tmp_path, size=(64, 96), orientation=8, thumbnail=THUMB)
    assert frame.orientation == 1
    assert frame.picture is not None
    assert frame.picture.kind == "main"


@pytest.mark.parametrize(
    ("thumbnail", "stored", "expected"),
    [
        pytest.param((160, 120), (6000, 4000), True, id="bars-above-and-below"),
        pytest.param((160, 120), (4000, 6000), True, id="bars-at-the-sides"),
        pytest.param((160, 120), (4000, 4000), True, id="square-between-bars"),
        pytest.param((160, 107), (6000, 4000), True, id="own-shape"),
        pytest.param((320, 240), (4000, 3000), True, id="larger"),
        pytest.param((160, 90), (6000, 4000), False, id="cropped-after"),
        pytest.param((120, 160), (4000, 3000), False, id="standing"),
        pytest.param((120, 160), (3000, 4000), True, id="both-standing"),
        pytest.param((160, 120), None, True, id="size-unknown"),
    ],
)
def test_what_a_thumbnail_may_show(
    thumbnail: tuple[int, int], stored: tuple[int, int] | None, expected: bool
) -> None:
    # CIPA DC-009: 160 x 120, other shapes between bars.
    assert may_show(thumbnail, stored) is expected


# ---- whole and broken files

WHOLE = jpeg_bytes((400, 300), exif=exif_of().tobytes(), quality=98)
SCAN = WHOLE.index(b"\xff\xda")


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(WHOLE, id="as-written"),
        pytest.param(WHOLE + bytes(2 * TAIL_BYTES), id="padded-with-zeros"),
        pytest.param(WHOLE + b"ftypmp42" + bytes(range(1, 250)) * 400, id="film-appended"),
        pytest.param(WHOLE + WHOLE, id="second-picture-appended"),
        pytest.param(WHOLE + WHOLE[: SCAN + 40], id="second-picture-cut"),
        pytest.param(WHOLE[:2] + b"\xff\xff\xff" + WHOLE[2:], id="fill-bytes"),
        pytest.param(WHOLE[:2] + b"\0\0\0" + WHOLE[2:], id="stray-bytes-between-segments"),
        pytest.param(WHOLE[:2] + segment(0xE5, b"x" * 60000) * 20 + WHOLE[2:], id="many-segments"),
        pytest.param(WHOLE[:2] + segment(0xFE, b"\xff\xd9\xff\xda" * 9) + WHOLE[2:], id="comment"),
    ],
)
def test_silent_on_whole_files(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "QMK_0001.JPG"
    path.write_bytes(data)
    frame = frame_of(path)
    assert frame.upright_px == (400, 300)
    assert frame.model == "Q5"


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        pytest.param(WHOLE[:3], "truncated", id="mark-only"),
        pytest.param(WHOLE[:100], "truncated", id="cut-in-the-metadata"),
        pytest.param(WHOLE[: SCAN - 10], "truncated", id="cut-before-the-picture"),
        pytest.param(WHOLE[: SCAN + 200], "truncated", id="cut-in-the-picture"),
        pytest.param(WHOLE[:-2], "truncated", id="last-bytes-missing"),
        pytest.param(
            WHOLE[: SCAN + 200] + bytes(3 * TAIL_BYTES), "truncated", id="rest-never-written"
        ),
        pytest.param(WHOLE[:2] + b"rubbish" * 2000, "damaged", id="rubbish-after-the-mark"),
        pytest.param(b"\xff\xd8\xff\xd9", "damaged", id="no-picture"),
        pytest.param(
            b"\xff\xd8" + segment(0xDA, b"\0" * 10) + b"\xff\xd9", "damaged", id="no-size"
        ),
        pytest.param(
            b"\xff\xd8" + segment(0xC0, bytes(15)) + segment(0xDA, bytes(10)) + b"\xff\xd9",
            "damaged",
            id="size-zero",
        ),
    ],
)
def test_speaks_on_broken_files(tmp_path: Path, data: bytes, expected: str) -> None:
    path = tmp_path / "QMK_0001.JPG"
    path.write_bytes(data)
    assert reason(path) == expected


def test_every_cut_is_noticed(tmp_path: Path) -> None:
    # Wherever a copy breaks off, the file is not taken for a whole one.
    path = tmp_path / "QMK_0001.JPG"
    for length in range(3, len(WHOLE), 97):
        path.write_bytes(WHOLE[:length])
        assert reason(path) == "truncated", length


def test_a_file_on_a_thumbnails_end_marker_is_still_cut(tmp_path: Path) -> None:
    path = write_photo(tmp_path / "QMK_0001.JPG", thumbnail=THUMB)
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b"\xff\xda") + 30])
    assert reason(path) == "truncated"


def test_odd_exif_leaves_a_frame_without_metadata(tmp_path: Path) -> None:
    path = tmp_path / "QMK_0001.JPG"
    path.write_bytes(WHOLE[:2] + segment(0xE1, b"Exif\0\0II*\0\xff\xff\xff\xff") + jpeg_bytes()[2:])
    assert frame_of(path).taken is None


@pytest.mark.parametrize(
    ("offset", "length", "expected"),
    [
        (0, 4, b"0123"),
        (2, 3, b"234"),  # across the end of what was read at first
        (6, 9, b"67"),  # no further than its size
        (8, 1, b""),
        (-1, 3, b""),
        (3, 0, b""),
    ],
)
def test_pieces_of_a_file(offset: int, length: int, expected: bytes) -> None:
    data = b"0123456789"
    for head in (b"", data[:4], data):
        assert Source(io.BytesIO(data), 8, head).at(offset, length) == expected
