"""Files of one exposure become one frame."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from grouper.model import Attitude, Frame, PictureSource
from grouper.read.pairing import family_of, join_companions

TAKEN = datetime(2026, 3, 14, 9, 14, 12)


def file(name: str, **changes: Any) -> Frame:
    base: dict[str, Any] = {
        "make": "Quillmark", "model": "Q5", "serial": "1", "taken": TAKEN, "counter": 417,
    }  # fmt: skip
    return Frame(file=name, **{**base, **changes})


def grouped(*frames: Frame) -> list[tuple[str, ...]]:
    return [(frame.file, *frame.companions) for frame in join_companions(frames)]


@pytest.mark.parametrize(
    ("name", "family"),
    [("a.JPG", "jpeg"), ("a.jpeg", "jpeg"), ("a.HIF", "heif"), ("a.NEF", "raw"), ("a", "raw")],
)
def test_families(name: str, family: str) -> None:
    assert family_of(name) == family


@pytest.mark.parametrize(
    ("frames", "expected"),
    [
        pytest.param(
            [file("d/Q_0417.NEF"), file("d/Q_0417.JPG")], [("d/Q_0417.JPG", "d/Q_0417.NEF")],
            id="raw-and-jpeg",
        ),
        pytest.param(
            [file("d/Q_0417.cr3"), file("d/q_0417.HEIC")], [("d/q_0417.HEIC", "d/Q_0417.cr3")],
            id="heif-and-raw-other-case",
        ),
        pytest.param(
            [file("Q_0417.NEF"), file("Q_0417.JPG"), file("Q_0417.HIF")],
            [("Q_0417.JPG", "Q_0417.HIF", "Q_0417.NEF")],
            id="three",
        ),
        pytest.param(
            [file("raw/Q_0417.NEF"), file("jpg/Q_0417.JPG")],
            [("jpg/Q_0417.JPG", "raw/Q_0417.NEF")],
            id="sorted-into-folders-by-kind",
        ),
        pytest.param(
            [file("d/IMG_0417.JPG"), file("d/_MG_0417.CR2")],
            [("d/IMG_0417.JPG", "d/_MG_0417.CR2")],
            id="one-number-two-free-parts",
        ),
        pytest.param(
            [file("Q_0417.NEF", taken=None), file("Q_0417.JPG")], [("Q_0417.JPG", "Q_0417.NEF")],
            id="raw-without-a-time",
        ),
        pytest.param(
            [file("Q_0417.NEF", taken=TAKEN + timedelta(seconds=0.31)), file("Q_0417.JPG")],
            [("Q_0417.JPG", "Q_0417.NEF")],
            id="one-with-fractions",
        ),
    ],
)  # fmt: skip
def test_speaks_on(frames: list[Frame], expected: list[tuple[str, ...]]) -> None:
    assert grouped(*frames) == expected
    assert grouped(*reversed(frames)) == expected


@pytest.mark.parametrize(
    "frames",
    [
        pytest.param([file("a/Q_0417.JPG"), file("b/Q_0417.JPG")], id="two-jpegs-two-folders"),
        pytest.param([file("Q_0417.JPG"), file("Q_0417.jpg")], id="two-jpegs-by-case"),
        pytest.param([file("Q_0417.JPG"), file("Q_0417.jpeg")], id="two-jpegs-by-suffix"),
        pytest.param(
            [
                file("a/Q_0417.JPG"),
                file("b/Q_0417.NEF", taken=TAKEN + timedelta(hours=1)),
            ],
            id="same-name-other-folder-other-time",
        ),
        pytest.param(
            [file("Q_0417.JPG"), file("Q_0417.NEF", taken=TAKEN + timedelta(seconds=9))],
            id="same-name-other-time",
        ),
        pytest.param(
            [file("Q_0417.JPG"), file("Q_0417.NEF", model="M2")], id="same-name-other-body"
        ),
        pytest.param(
            [file("Q_0417.JPG"), file("Q_0417.NEF", serial="2")], id="same-name-other-serial"
        ),
        pytest.param([file("Q_0417.JPG"), file("Q_0417-edit.TIF", counter=None)], id="edited-copy"),
        pytest.param(
            [file("a/Q_0417.JPG"), file("b/Q_0418.NEF", counter=418)], id="same-time-next-number"
        ),
        pytest.param(
            [
                file("a/x.JPG", make=None, model=None, taken=None, counter=None),
                file("b/x.NEF", make=None, model=None, taken=None, counter=None),
            ],
            id="nothing-known-two-folders",
        ),
    ],
)
def test_silent_on(frames: list[Frame]) -> None:
    assert grouped(*frames) == sorted((frame.file,) for frame in frames)


def test_the_main_file_is_completed_from_its_companion() -> None:
    jpeg = file(
        "Q_0417.JPG", serial=None, width_px=3000, orientation=6, iso=200.0, sensor_long_mm=36.0,
        size_bytes=5,
    )  # fmt: skip
    raw = file(
        "Q_0417.NEF", lens="Quillmark 24-70mm f/4", taken=TAKEN + timedelta(seconds=0.31),
        taken_resolution_s=0.01, utc_offset_min=60, width_px=6000, iso=100.0, orientation=8,
        sensor_long_mm=24.0, sensor_from="equivalent", attitude=Attitude(pitch_deg=1.0),
        size_bytes=50,
    )  # fmt: skip
    (frame,) = join_companions([raw, jpeg])
    assert (frame.file, frame.size_bytes, frame.width_px, frame.orientation) == (
        "Q_0417.JPG", 5, 3000, 6,
    )  # fmt: skip
    assert frame.iso == 200.0
    assert (frame.serial, frame.lens, frame.attitude) == ("1", raw.lens, raw.attitude)
    assert (frame.taken, frame.taken_resolution_s) == (raw.taken, 0.01)
    assert frame.utc_offset_min == 60
    assert (frame.sensor_long_mm, frame.sensor_from) == (24.0, "equivalent")


THUMBNAIL = PictureSource(kind="thumbnail", file="Q_0417.NEF", offset=9, length=9)
OWN = PictureSource(kind="thumbnail", file="Q_0417.JPG", offset=5, length=5)
MAIN = PictureSource(kind="main", file="Q_0417.JPG")


@pytest.mark.parametrize(
    ("own", "other", "turned", "expected"),
    [
        pytest.param(MAIN, THUMBNAIL, 1, THUMBNAIL, id="thumbnail-of-the-raw"),
        pytest.param(None, THUMBNAIL, 1, THUMBNAIL, id="none-of-its-own"),
        pytest.param(OWN, THUMBNAIL, 1, OWN, id="its-own-first"),
        pytest.param(MAIN, THUMBNAIL, 6, MAIN, id="the-raw-lies-otherwise"),
        pytest.param(MAIN, None, 1, MAIN, id="the-raw-has-none"),
    ],
)
def test_whose_picture(
    own: PictureSource | None, other: PictureSource | None, turned: int, expected: object
) -> None:
    jpeg = file("Q_0417.JPG", picture=own)
    raw = file("Q_0417.NEF", picture=other, orientation=turned)
    assert join_companions([jpeg, raw])[0].picture == expected
