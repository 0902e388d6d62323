from __future__ import annotations

import math

import pytest

from grouper.check.shallow_focus import CHECK
from grouper.model import Set
from tests.check.sets import ask, names, steps, sweep

SILENT = [
    pytest.param(sweep(), id="focus not recorded"),
    pytest.param(sweep(focus_m=math.inf), id="infinity"),
    pytest.param(sweep(focus_m=3.0), id="beyond the hyperfocal distance"),
    pytest.param(sweep(focus_m=0.5, aperture_f=None), id="no aperture"),
    pytest.param(steps(sweep(legs_ev=(0, 0), focus_m=0.5)), id="focus steps"),
]

SPEAKS = [
    pytest.param(
        sweep(focal_mm=35.0, aperture_f=8.0, focus_m=3.0),
        [],
        "Focused at 3 m with 35 mm at f/8, sharpness reaches from 1.9 m to 7.16 m: the "
        "background is soft.",
        id="near focus, long lens",
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
