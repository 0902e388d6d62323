from __future__ import annotations

import re
from typing import Any

import pytest

from grouper import optics
from grouper.check.rail import find_rail
from grouper.errors import BadSettings
from grouper.settings import Settings, settings_from, settings_table

ZOOM = "Quillmark 24-70mm f/4"
WIDE = "Quillmark 16-35mm f/4"
RIG = settings_from(
    {
        "rig": {
            ZOOM: {"marks_mm": [[70, 141], [24, 120], [35, 128]]},
            # 24 mm: 120 mm and 16 mm: 140 mm are common practice, no source.
            WIDE: {"marks_mm": [[16, 140], [24, 120], [35, 126]], "stood_mm": 140},
        }
    }
).rig


@pytest.mark.parametrize(
    ("focal_mm", "mark_mm"),
    [(16.0, 140.0), (20.0, 130.0), (24.0, 120.0), (29.5, 123.0), (35.0, 126.0)],
)
def test_between_marks_it_is_a_straight_line_even_where_the_curve_turns(
    focal_mm: float, mark_mm: float
) -> None:
    assert optics.rail_mark_mm(focal_mm, [(16, 140), (24, 120), (35, 126)]) == pytest.approx(
        mark_mm
    )


@pytest.mark.parametrize("focal_mm", [15.4, 35.6, 200.0])
def test_nothing_is_known_beyond_the_outer_marks(focal_mm: float) -> None:
    assert optics.rail_mark_mm(focal_mm, [(16, 140), (24, 120), (35, 126)]) is None


def test_rounding_of_a_recorded_focal_length_is_not_beyond_the_marks() -> None:
    assert optics.rail_mark_mm(23.6, [(24, 120), (70, 141)]) == 120
    assert optics.rail_mark_mm(70.4, [(24, 120), (70, 141)]) == 141
    assert optics.rail_mark_mm(50.0, [(50, 98)]) == 98
    assert optics.rail_mark_mm(50.0, []) is None


SAYS = [
    pytest.param(ZOOM, 24.0, "24 mm: rail mark 120.", id="at a mark"),
    pytest.param("quillmark  24-70MM F/4", 24.0, "24 mm: rail mark 120.", id="spelt otherwise"),
    pytest.param(
        ZOOM, 50.0, "50 mm: rail mark 133.6 (interpolated between the rig's marks).", id="between"
    ),
    pytest.param(
        ZOOM, 105.0, "105 mm: rail mark not known, the rig has 24 mm to 70 mm.", id="beyond"
    ),
    pytest.param(None, 70.0, "70 mm: rail mark 141.", id="by the only lens that spans it"),
]


@pytest.mark.parametrize(("lens", "focal_mm", "says"), SAYS)
def test_what_it_says(lens: str | None, focal_mm: float, says: str) -> None:
    rail = find_rail(lens, focal_mm, RIG)
    assert rail is not None
    assert rail.said == says


@pytest.mark.parametrize(
    ("lens", "focal_mm"),
    [("Ostrel 50mm f/2", 50.0), (None, 28.0), (None, 200.0)],
    ids=["another lens", "two lenses span it", "none spans it"],
)
def test_a_lens_that_is_not_in_the_rig(lens: str | None, focal_mm: float) -> None:
    assert find_rail(lens, focal_mm, RIG) is None


def test_the_offset_is_known_where_the_rail_stood() -> None:
    wide = find_rail(WIDE, 24.0, RIG)
    zoom = find_rail(ZOOM, 24.0, RIG)
    assert wide is not None
    assert zoom is not None
    assert wide.offset_mm == 20.0
    assert zoom.offset_mm is None


@pytest.mark.parametrize(
    ("rig", "says"),
    [
        (8, "[rig] must hold a table for each lens"),
        ({ZOOM: [[24, 120]]}, f"[rig.'{ZOOM}'] must be a table"),
        ({ZOOM: {}}, "marks_mm must list pairs"),
        ({ZOOM: {"marks": [[24, 120]]}}, "has no key 'marks'; did you mean 'marks_mm'?"),
        ({ZOOM: {"marks_mm": [[24]]}}, "marks_mm: [24] is no pair"),
        ({ZOOM: {"marks_mm": [[24, 120], [24, 121]]}}, "24 mm has two marks"),
        ({ZOOM: {"marks_mm": [[0, 120]]}}, "marks_mm: 0 makes no sense"),
        ({ZOOM: {"marks_mm": [[24, "120"]]}}, "marks_mm: '120' is not a number"),
        ({ZOOM: {"marks_mm": [[24, 120]], "stood_mm": float("inf")}}, "stood_mm: inf makes no"),
    ],
)
def test_a_bad_rig_names_the_lens_and_the_key(rig: Any, says: str) -> None:
    with pytest.raises(BadSettings, match=re.escape(says)):
        settings_from({"rig": rig})


def test_the_rig_is_told_among_the_settings() -> None:
    table = settings_table(Settings(rig=RIG))
    assert table["rig"][WIDE] == {
        "marks_mm": [[16.0, 140.0], [24.0, 120.0], [35.0, 126.0]],
        "stood_mm": 140.0,
    }
    assert settings_table(Settings())["rig"] == {}


def test_a_zero_of_ones_own_may_make_marks_negative() -> None:
    (lens,) = settings_from({"rig": {"Ostrel 50mm f/2": {"marks_mm": [[50, -12.5]]}}}).rig
    assert lens.marks_mm == ((50.0, -12.5),)
