from __future__ import annotations

import pytest

from grouper.check.auto_exposure import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, interval, names, stack, sweep

SILENT = [
    pytest.param(sweep(program="manual"), id="set by hand"),
    pytest.param(sweep(program=None), id="nothing recorded"),
    pytest.param(change(sweep(program="aperture"), [3], exposure_s=1 / 125), id="it moved"),
    pytest.param(change(sweep(program="shutter"), [3], aperture_f=8.0), id="the aperture moved"),
    pytest.param(bracket(program="aperture"), id="a bracket on one spot"),
    pytest.param(interval(program="auto"), id="an interval series"),
    pytest.param(burst(program="auto"), id="a burst"),
]

SPEAKS = [
    pytest.param(
        sweep(program="aperture"),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422", "QMK_0423"],
        "All 7 frames used aperture priority; this time it did not move.",
        id="the whole sweep",
    ),
    pytest.param(
        change(sweep(program="manual"), [2, 3], program="aperture"),
        ["QMK_0419", "QMK_0420"],
        "2 of 7 frames (QMK_0419.JPG and QMK_0420.JPG) used aperture priority",
        id="some frames",
    ),
    pytest.param(
        sweep(2, program="auto"),
        ["QMK_0417", "QMK_0418"],
        "Both frames used program automatic",
        id="program automatic",
    ),
    pytest.param(
        sweep(2, legs_ev=(0, -2, 2), program="aperture"),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422"],
        "All 6 frames",
        id="a bracketed sweep",
    ),
    pytest.param(
        stack([1, 2, 4], program="shutter"),
        ["QMK_0417", "QMK_0418", "QMK_0419"],
        "shutter priority",
        id="a stack",
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
