"""Rendered files read by libraries that know nothing of the renderer."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import exifread
import exiv2
import numpy as np
import pytest
from PIL import Image, ImageOps

from testdata.rehearsal.bodies import COMPACT, M1, M2, NOTED, PHONE, Q3, Q5
from testdata.rehearsal.files import shoot
from testdata.rehearsal.records import SceneKey, Shot

LAKE = SceneKey(kind="lake", seed=8, tall_deg=110.0, px_per_deg=4.0)
BASE = Shot(
    file="100QMARK/QMK_0417.JPG",
    body=Q5,
    counter=417,
    taken=datetime(2026, 3, 14, 9, 14, 12, 310000),
    scene=LAKE,
    aperture=7.0,
    shutter=5.0,
    focal_mm=24.0,
    seed=3,
)


def made(**changes: Any) -> bytes:
    shot = replace(BASE, **changes)
    return shoot(shot)[shot.file]


def tags_of(data: bytes) -> dict[str, Any]:
    return dict(exifread.process_file(io.BytesIO(data), details=False))


@pytest.mark.parametrize(
    ("tag", "value"),
    [
        ("Image Make", "Quillmark"),
        ("Image Model", "Q5"),
        ("Image Orientation", "Rotated 90 CCW"),
        ("EXIF DateTimeOriginal", "2026:03:14 09:14:12"),
        ("EXIF SubSecTimeOriginal", "31"),
        ("EXIF OffsetTimeOriginal", "+01:00"),
        ("EXIF ExposureTime", "1/30"),
        ("EXIF FNumber", "11"),
        ("EXIF ISOSpeedRatings", "100"),
        ("EXIF FocalLength", "24"),
        ("EXIF FocalLengthIn35mmFilm", "24"),
        ("EXIF BodySerialNumber", "5005001"),
        ("EXIF ExposureMode", "Manual Exposure"),
        ("EXIF ExifImageWidth", "6000"),
        ("Thumbnail Compression", "JPEG (old-style)"),
    ],
)
def test_tags_as_exifread_sees_them(tag: str, value: str) -> None:
    assert str(tags_of(made())[tag]) == value


def test_tags_as_exiv2_sees_them(tmp_path: Path) -> None:
    path = tmp_path / "frame.jpg"
    path.write_bytes(made(bias_ev=-2 / 3, shutter=-1 / 3))
    picture = exiv2.ImageFactory.open(str(path))
    picture.readMetadata()
    data = picture.exifData()
    assert data["Exif.Photo.ExposureBiasValue"].toString() == "-2/3"
    assert data["Exif.Photo.ExposureTime"].toString() == "13/10"
    assert data["Exif.Photo.LensModel"].toString() == "Quillmark 24-70mm f/4"
    thumbnail = bytes(exiv2.ExifThumbC(data).copy().data())
    assert Image.open(io.BytesIO(thumbnail)).size == (160, 120)


def thumbnail_of(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(tags_of(data)["JPEGThumbnail"]))


@pytest.mark.parametrize(
    ("body", "bars", "side"),
    [
        # DCF thumbnails are 160 x 120 whatever the picture's shape, the rest black: 3:2 leaves
        # 6.67 rows above and below, 4:3 none, an upright 3:2 picture 40 columns at each side.
        pytest.param(Q5, 6, 0, id="3:2"),
        pytest.param(M2, 0, 0, id="4:3"),
        pytest.param(COMPACT, 0, 39, id="3:2 with the pixels turned"),
    ],
)
def test_thumbnails_are_letterboxed(body: Any, bars: int, side: int) -> None:
    thumbnail = np.asarray(thumbnail_of(made(body=body, shutter=2.0)).convert("L"), float)
    assert thumbnail.shape == (120, 160)
    if bars:
        assert thumbnail[:bars].max() < 40
        assert thumbnail[-bars:].max() < 40
    if side:
        assert thumbnail[:, :side].max() < 40
        assert thumbnail[:, -side:].max() < 40
    inner = thumbnail[bars + 2 : 118 - bars, side + 2 : 158 - side]
    assert np.median(inner) > 60


def test_bodies_without_thumbnail() -> None:
    tags = tags_of(made(body=M1))
    assert "JPEGThumbnail" not in tags
    assert str(tags["EXIF SubSecTimeOriginal"]) == "3"
    assert "EXIF OffsetTimeOriginal" not in tags


@pytest.mark.parametrize("orientation", [6, 8])
def test_tag_and_turned_pixels_show_the_same_picture(orientation: int) -> None:
    tagged = Image.open(io.BytesIO(made(orientation=orientation)))
    turned = Image.open(io.BytesIO(made(body=replace(Q5, turns="applied"))))
    assert tagged.size == (640, 427)
    assert turned.size == (427, 640)
    upright = ImageOps.exif_transpose(tagged)
    difference = np.asarray(upright, float) - np.asarray(turned, float)
    assert np.abs(difference).mean() < 3


def test_focal_plane_resolution_gives_the_sensor() -> None:
    # Sensor = pixels / resolution (Exif: per centimetre for unit 3).
    tags = tags_of(made(body=M2, upright=False))
    along = tags["EXIF FocalPlaneXResolution"].values[0]
    assert str(tags["EXIF FocalPlaneResolutionUnit"]) == "3"
    assert tags["EXIF ExifImageWidth"].values[0] / float(along) * 10 == pytest.approx(
        17.3, abs=0.01
    )
    assert "EXIF FocalLengthIn35mmFilm" not in tags


def test_bodies_that_say_little() -> None:
    tags = tags_of(made(body=Q3))
    for name in ("SubSecTimeOriginal", "OffsetTimeOriginal", "BodySerialNumber"):
        assert f"EXIF {name}" not in tags
    tags = tags_of(made(body=COMPACT))
    assert "EXIF FocalLengthIn35mmFilm" not in tags
    assert "EXIF FocalPlaneXResolution" not in tags


def test_focus_distance_where_the_body_writes_it() -> None:
    assert float(tags_of(made(body=M2, focus_m=2.5))["EXIF SubjectDistance"].values[0]) == 2.5
    far = tags_of(made(body=M2, focus_m=float("inf")))["EXIF SubjectDistance"].values[0]
    assert far.num == 0xFFFFFFFF
    assert "EXIF SubjectDistance" not in tags_of(made(focus_m=2.5))


def test_level_where_the_body_writes_it() -> None:
    data = made(body=replace(Q5, level_tag=True), pitch_deg=12.0)
    angle = Image.open(io.BytesIO(data)).getexif().get_ifd(0x8769)[0x9405]
    assert float(angle) == pytest.approx(12.0, abs=1.5)
    assert 0x9405 not in Image.open(io.BytesIO(made())).getexif().get_ifd(0x8769)


def test_position() -> None:
    tags = tags_of(made(gps=(46.5125, -9.75, 1804.0)))
    assert str(tags["GPS GPSLatitudeRef"]) == "N"
    assert str(tags["GPS GPSLongitudeRef"]) == "W"
    assert [float(v) for v in tags["GPS GPSLatitude"].values] == pytest.approx([46, 30, 45])
    assert float(tags["GPS GPSAltitude"].values[0]) == 1804


def test_composite_is_wide_and_flagged() -> None:
    data = made(
        body=PHONE, look="composite", composite_deg=(140.0, 45.0), upright=False, focal_mm=4.2
    )
    width, height = Image.open(io.BytesIO(data)).size
    assert width / height == pytest.approx(140 / 45, rel=0.02)
    tag = Image.open(io.BytesIO(data)).getexif().get_ifd(0x8769)[0xA460]
    assert tag == 3  # Exif 2.32 CompositeImage: captured when shooting


def test_raw_companion_is_a_tiff_with_the_same_tags() -> None:
    files = shoot(replace(BASE, raw=True))
    assert sorted(files) == ["100QMARK/QMK_0417.DNG", "100QMARK/QMK_0417.JPG"]
    raw = tags_of(files["100QMARK/QMK_0417.DNG"])
    assert str(raw["EXIF DateTimeOriginal"]) == "2026:03:14 09:14:12"


def test_faults() -> None:
    assert made(fault="empty") == b""
    assert not made(fault="foreign").startswith(b"\xff\xd8")
    whole, cut = made(), made(fault="truncated")
    assert whole.startswith(cut)
    assert len(cut) < len(whole) / 10
    assert tags_of(made(fault="no-exif")) == {}
    undated = tags_of(made(fault="no-date"))
    assert str(undated["EXIF DateTimeOriginal"]) == "0000:00:00 00:00:00"
    assert str(undated["EXIF FNumber"]) == "11"


def test_same_shot_same_bytes() -> None:
    assert made() == made()
    assert made() != made(seed=4)


def test_a_cap_is_black_and_a_hand_is_not() -> None:
    cap = np.asarray(Image.open(io.BytesIO(made(look="cap", scene=None))), float)
    hand = np.asarray(Image.open(io.BytesIO(made(look="hand", scene=None))), float)
    assert cap.mean() < 25
    assert 40 < hand.mean() < 230


@pytest.mark.parametrize(("iso_auto", "says_iso"), [(True, "Auto"), (False, "200")])
@pytest.mark.parametrize(
    ("focus_auto", "says_focus"), [(True, "One shot AF"), (False, "Manual focus (3)")]
)
def test_maker_note_tells_automatic_iso_and_focus(
    iso_auto: bool, says_iso: str, focus_auto: bool, says_focus: str
) -> None:
    # The exiv2 library has tables of its own for this note.
    data = made(body=NOTED, iso=200, iso_auto=iso_auto, focus_auto=focus_auto)
    image = exiv2.ImageFactory.open(data)
    image.readMetadata()
    tags = image.exifData()
    assert tags["Exif.CanonCs.ISOSpeed"].print(tags) == says_iso
    assert tags["Exif.CanonCs.FocusMode"].print(tags) == says_focus


def test_other_bodies_write_no_maker_note() -> None:
    image = exiv2.ImageFactory.open(made(iso_auto=True))
    image.readMetadata()
    assert not any("MakerNote" in tag.key() for tag in image.exifData())


def test_a_fisheye_tells_its_name_or_nothing() -> None:
    lens = {"projection": "equisolid", "focal_mm": 15.0, "lens": "Quillmark Fisheye 15mm f/2.8"}
    told, untold = (tags_of(made(**lens, lens_tells=tells)) for tells in (True, False))
    asked = (
        "EXIF LensModel",
        "EXIF FocalLength",
        "EXIF FocalLengthIn35mmFilm",
        "EXIF FNumber",
    )
    assert [str(told[tag]) for tag in asked] == ["Quillmark Fisheye 15mm f/2.8", "15", "15", "11"]
    assert not set(asked) & set(untold)
    assert set(told) - set(untold) == set(asked)
