"""Length of the sensor behind a picture's long side."""

from __future__ import annotations

import math
from typing import Any

import pytest

from grouper.model import Frame
from grouper.read.sensor import Sensor, agree_sensors, assumed_length, body_length, sensor_of
from tests.support import frame

DEFAULTS: dict[str, Any] = {
    "model": "Q5",
    "focal_mm": 24.0,
    "focal_35mm": None,
    "plane_per_unit": (None, None),
    "plane_unit": None,
    "camera_px": (6000, 4000),
}


def found(**changes: Any) -> Sensor:
    return sensor_of(**{**DEFAULTS, **changes})


def test_focal_plane_check_value() -> None:
    # By the definition of the tags (CIPA DC-008): 6000 px at 4233.333 px/inch are 36.000 mm.
    long_mm, origin = found(plane_per_unit=(4233.333, 4233.333), plane_unit=2)
    assert long_mm == pytest.approx(36.0, abs=5e-4)
    assert origin == "focal-plane"


@pytest.mark.parametrize(
    ("per_unit", "unit", "long_mm"),
    [
        pytest.param(4233.333, 2, 36.0, id="inch"),
        pytest.param(4233.333, None, 36.0, id="inch-by-default"),
        pytest.param(4233.333, 1, 36.0, id="none-means-inch"),
        pytest.param(1666.667, 3, 36.0, id="centimetre"),
        pytest.param(166.6667, 4, 36.0, id="millimetre-outside-the-standard"),
        pytest.param(0.1666667, 5, 36.0, id="micrometre-outside-the-standard"),
    ],
)
def test_focal_plane_units(per_unit: float, unit: int | None, long_mm: float) -> None:
    assert found(plane_per_unit=(per_unit, per_unit), plane_unit=unit).long_mm == pytest.approx(
        long_mm, rel=1e-4
    )


@pytest.mark.parametrize(
    ("per_unit", "unit"),
    [
        pytest.param((50_000.0, 50_000.0), 2, id="3-mm"),
        pytest.param((2_000.0, 2_000.0), 2, id="76-mm"),
        pytest.param((None, None), 2, id="missing"),
        pytest.param((0.0, 0.0), 2, id="zero"),
        pytest.param((4233.3, 4233.3), 77, id="unit-unknown"),
    ],
)
def test_focal_plane_that_is_not_believed(
    per_unit: tuple[float | None, float | None], unit: int
) -> None:
    assert found(plane_per_unit=per_unit, plane_unit=unit) == (36.0, "assumed")


def test_an_upright_picture_uses_the_resolution_along_its_long_side() -> None:
    upright = found(camera_px=(4000, 6000), plane_per_unit=(9999.0, 4233.333), plane_unit=2)
    assert upright.long_mm == pytest.approx(36.0, rel=1e-4)


@pytest.mark.parametrize(
    ("focal", "equivalent", "px", "long_mm"),
    [
        pytest.param(24.0, 24.0, (6000, 4000), 36.0, id="full-frame"),
        pytest.param(24.0, 36.0, (6000, 4000), 24.0, id="crop-1.5"),
        # 4:3 by the diagonal: 43.267 / 2 * 0.8 = 17.307 mm, the Four Thirds sensor's 17.3.
        pytest.param(12.0, 24.0, (4000, 3000), 17.307, id="four-thirds"),
        pytest.param(24.0, 24.0, (5000, 5000), 43.267 / math.sqrt(2), id="square"),
        pytest.param(24.0, 24.0, None, 36.0, id="shape-unknown"),
        # Digital zoom is in the equivalent: half the sensor's diagonal is used.
        pytest.param(4.15, 58.0, (4000, 3000), 2.477, id="digital-zoom"),
    ],
)
def test_equivalent_focal_length_is_by_the_diagonal(
    focal: float, equivalent: float, px: tuple[int, int] | None, long_mm: float
) -> None:
    sensor = found(focal_mm=focal, focal_35mm=equivalent, camera_px=px)
    assert sensor.long_mm == pytest.approx(long_mm, rel=1e-3)
    assert sensor.origin == "equivalent"


@pytest.mark.parametrize(
    ("focal", "equivalent"),
    [pytest.param(23.1, 11113.0, id="absurd"), pytest.param(50.0, 20.0, id="larger-than-any")],
)
def test_equivalents_that_are_not_believed(focal: float, equivalent: float) -> None:
    assert found(focal_mm=focal, focal_35mm=equivalent).origin != "equivalent"


@pytest.mark.parametrize(
    ("model", "long_mm"),
    # Published sensor widths: 36 x 24 full frame, 23.5-23.6 and 22.3 APS-C, 17.3 Four Thirds,
    # 13.2 "1 inch", 43.8 medium format.
    [
        ("Canon EOS 6D", 36.0),
        ("Canon EOS 5D Mark II", 36.0),
        ("Canon EOS-1D X", 36.0),
        ("Canon EOS R", 36.0),
        ("Canon EOS R5", 36.0),
        ("Canon EOS RP", 36.0),
        ("Canon EOS R7", 22.3),
        ("Canon EOS R50", 22.3),
        ("Canon EOS R100", 22.3),
        ("Canon EOS 450D", 22.3),
        ("Canon EOS DIGITAL REBEL XTi", 22.3),
        ("Canon EOS-1D Mark III", 28.1),
        ("Canon PowerShot G7 X", 13.2),
        ("Canon PowerShot S60", 7.3),
        ("NIKON D3", 36.0),
        ("NIKON D300", 23.6),
        ("NIKON D850", 36.0),
        ("NIKON D5600", 23.6),
        ("NIKON Z 6", 36.0),
        ("NIKON Z 6_2", 36.0),
        ("NIKON Z 50", 23.5),
        ("NIKON Z fc", 23.5),
        ("ILCE-7M3", 35.8),
        ("ILCE-6400", 23.5),
        ("NEX-5", 23.5),
        ("DSC-RX10M4", 13.2),
        ("DMC-GX7", 17.3),
        ("E-M1MarkII", 17.3),
        ("X-T3", 23.5),
        ("GFX 50S", 43.8),
        ("PENTAX K10D        ", 23.5),
        ("PENTAX K-1", 35.9),
        ("Q5", None),
        (None, None),
    ],
)
def test_bodies(model: str | None, long_mm: float | None) -> None:
    assert body_length(model) == long_mm


def test_a_resized_picture_does_not_shrink_its_body() -> None:
    # 1024 of 4272 pixels are left and written into the Exif block; the resolution is the body's.
    sensor = found(
        model="Canon EOS 450D",
        camera_px=(1024, 683),
        plane_per_unit=(4865.6, 4865.6),
        plane_unit=2,
    )
    assert sensor == (22.3, "body")


def test_a_resolution_in_keeping_with_the_body_is_taken() -> None:
    sensor = found(model="Canon EOS 600D", camera_px=(5184, 3456), plane_per_unit=(5728.2, 5728.2))
    assert sensor.origin == "focal-plane"
    assert sensor.long_mm == pytest.approx(22.99, abs=0.01)


def test_digital_zoom_uses_less_of_the_sensor() -> None:
    assert found(model="Canon EOS 450D", zoom=2.0) == (22.3 / 2.0, "body")


@pytest.mark.parametrize(
    ("model", "focal", "lens", "long_mm"),
    [
        pytest.param("Q5", 24.0, None, 36.0, id="ordinary-lens"),
        pytest.param(None, None, None, 36.0, id="nothing-known"),
        pytest.param("Q5", 4.4, None, 4.4 * 36 / 26, id="phone"),
        pytest.param("Q5", 6.81, None, 6.81 * 36 / 26, id="large-phone"),
        pytest.param("Q5", 2.0, None, 4.5, id="at-least-the-smallest"),
        pytest.param("Q5", 7.9, None, 9.8, id="at-most-the-largest-small-one"),
        pytest.param("Q5", 7.5, "Quillmark 7.5mm f/2", 36.0, id="named-lens"),
        pytest.param("Q5", 4.2, "Q5 back camera 4.2mm", 4.2 * 36 / 26, id="lens-of-a-phone"),
        pytest.param("DSC-W180", 18.6, None, 6.0, id="compact-zoomed-in"),
    ],
)
def test_assumptions(
    model: str | None, focal: float | None, lens: str | None, long_mm: float
) -> None:
    assert assumed_length(model, focal, lens) == pytest.approx(long_mm)


def assumed(number: int, **changes: Any) -> Frame:
    base = {"sensor_from": "assumed", "sensor_long_mm": 36.0, "focal_35mm": None, "lens": None}
    return frame(number, **{**base, **changes})


def test_frames_of_a_body_follow_those_that_know() -> None:
    knows = frame(1, sensor_long_mm=24.0)
    other = assumed(3, model="M2")
    told = agree_sensors([knows, assumed(2), other])
    assert [item.sensor_long_mm for item in told] == [24.0, 24.0, 36.0]
    assert [item.sensor_from for item in told] == ["equivalent", "equivalent", "assumed"]


def test_a_short_focal_length_shows_the_body_to_be_small() -> None:
    wide = assumed(1, focal_mm=6.0, sensor_long_mm=8.0)
    told = agree_sensors([wide, assumed(2, focal_mm=18.6)])
    assert told[0].sensor_long_mm == told[1].sensor_long_mm == pytest.approx(6.0 * 36 / 26)


def test_frames_of_no_known_body_are_left_alone() -> None:
    frames = [assumed(1, make=None, model=None), frame(2, make=None, model=None)]
    assert agree_sensors(frames) == frames
