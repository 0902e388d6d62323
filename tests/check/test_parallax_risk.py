from __future__ import annotations

import math

import pytest

from grouper.check.parallax_risk import CHECK
from grouper.contracts import Problem
from grouper.model import Set
from grouper.settings import settings_from
from tests.check.sets import ask, bracket, names, sweep

SILENT = [
    pytest.param(sweep(), id="focus not recorded"),
    pytest.param(sweep(focus_m=10.0), id="focused far"),
    pytest.param(sweep(focus_m=math.inf), id="focused at infinity"),
    pytest.param(sweep(focus_m=1.0, angles=False, pictures=False), id="no angles"),
    pytest.param(bracket(focus_m=1.0), id="a bracket"),
]

SPEAKS = [
    pytest.param(
        sweep(focus_m=2.0),
        [],
        "Turned about a point 80 mm from the entrance pupil, in steps of 36°, things at "
        "the focus distance of 2 m shift by 99 px against the background; up to 3 px "
        "only from 65.9 m on.",
        id="a foreground at two metres",
    ),
]


@pytest.mark.parametrize("found", SILENT)
def test_stays_silent_on(found: Set) -> None:
    assert ask(CHECK, found) == []


@pytest.mark.parametrize(("found", "frames", "says"), SPEAKS)
def test_speaks_on(found: Set, frames: list[str], says: str) -> None:
    (problem,) = ask(CHECK, found)
    assert names(problem.frames) == frames
    assert says in problem.message
    assert problem.advice.endswith(".")


def test_a_panorama_head_set_up_for_the_lens_bears_no_risk() -> None:
    assert ask(CHECK, sweep(focus_m=2.0), parallax_offset_mm=0.0) == []
    assert ask(CHECK, sweep(focus_m=2.0), parallax_offset_mm=1.0) == []
    assert ask(CHECK, sweep(focus_m=2.0), parallax_offset_mm=10.0) != []


def test_shift_agrees_with_the_worked_geometry() -> None:
    # Littlefield 2006, worked for 100 mm, 30 degrees, 2 m, 4000 px focal length: 103.5 px.
    (problem,) = ask(CHECK, sweep(step_deg=30.0, focus_m=2.0), parallax_offset_mm=100.0)
    assert problem.measured["shift_px"] == pytest.approx(103.5, abs=0.1)
    assert problem.measured["nearest_safe_m"] == pytest.approx(69.0, abs=0.1)


@pytest.mark.parametrize(
    ("tolerance_px", "offset_mm", "nearest_m"),
    # Worked by tracing rays for 30 degrees and f = 4000 px (principle: Littlefield 2006).
    [(3.0, 5.0, 3.45), (3.0, 10.0, 6.90), (3.0, 20.0, 13.80), (3.0, 50.0, 34.51)],
)
def test_how_near_a_thing_may_stand(
    tolerance_px: float, offset_mm: float, nearest_m: float
) -> None:
    (problem,) = ask(
        CHECK,
        sweep(step_deg=30.0, focus_m=0.5),
        parallax_offset_mm=offset_mm,
        parallax_shift_px=tolerance_px,
    )
    assert problem.measured["nearest_safe_m"] == pytest.approx(nearest_m, abs=0.01)


LENS = "Quillmark 24-70mm f/4"


def with_rig(found: Set, stood_mm: float | None = None) -> list[Problem]:
    rig: dict[str, object] = {"marks_mm": [[24, 120], [35, 128], [70, 141]]}
    if stood_mm is not None:
        rig["stood_mm"] = stood_mm
    return list(CHECK.find(found, settings_from({"rig": {LENS: rig}})))


def test_with_a_rig_it_names_the_rail_mark_that_was_needed() -> None:
    (problem,) = with_rig(sweep(focus_m=2.0, lens=LENS))
    assert problem.message.endswith("from 65.9 m on. 24 mm: rail mark 120.")
    assert problem.advice.startswith("On location, set the rail to 120 ")
    assert problem.measured["rail_mark_mm"] == 120.0
    (problem,) = with_rig(sweep(focus_m=2.0, lens=LENS, focal_mm=50.0))
    assert "50 mm: rail mark 133.6 (interpolated" in problem.message
    assert problem.measured["rail_mark_from"] == "interpolated"
    (problem,) = with_rig(sweep(focus_m=2.0, lens=LENS, focal_mm=16.0))
    assert "16 mm: rail mark not known, the rig has 24 mm to 70 mm." in problem.message
    assert problem.measured["rail_mark_mm"] is None


def test_another_lens_has_no_mark() -> None:
    (problem,) = with_rig(sweep(focus_m=2.0, lens="Ostrel 24mm f/2"))
    assert "rail" not in problem.message


def test_where_the_rail_stood_is_known_the_offset_is_not_assumed() -> None:
    (problem,) = with_rig(sweep(step_deg=30.0, lens=LENS), stood_mm=128)
    assert problem.message == (
        "With the rail at 128, 8 mm from the entrance pupil, in steps of 30°, things nearer than "
        "5.52 m shift by more than 3 px. 24 mm: rail mark 120."
    )
    assert problem.measured["offset_mm"] == 8.0
    assert problem.measured["shift_px"] is None


def test_a_rail_that_stood_right_bears_no_risk() -> None:
    assert with_rig(sweep(focus_m=1.0, lens=LENS), stood_mm=120) == []
    assert with_rig(sweep(lens=LENS), stood_mm=122) == []


def test_a_rail_alone_does_not_speak_of_every_sweep() -> None:
    assert with_rig(sweep(lens=LENS)) == []
    assert with_rig(sweep(focus_m=math.inf, lens=LENS)) == []
