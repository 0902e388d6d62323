from __future__ import annotations

import math

import pytest

from grouper.check.parallax_risk import CHECK
from grouper.model import Set
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
