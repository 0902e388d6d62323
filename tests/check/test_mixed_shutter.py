from __future__ import annotations

import pytest

from grouper.check.mixed_shutter import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, interval, names, regard, stack, sweep

SILENT = [
    pytest.param(sweep(exposure_s=1 / 60), id="a set that agrees"),
    pytest.param(sweep(exposure_s=None), id="nothing recorded"),
    pytest.param(
        change(sweep(exposure_s=1 / 60), [3], exposure_s=None), id="one frame that records nothing"
    ),
    pytest.param(
        regard(change(sweep(exposure_s=1 / 60), [3], exposure_s=1 / 125), [3], spare=True),
        id="an odd spare",
    ),
    pytest.param(
        change(sweep(exposure_s=1 / 60), [3], exposure_s=1 / 64),
        id="marks and exact values of one time",
    ),
    pytest.param(sweep(legs_ev=(0, -2, 2)), id="legs of a bracket"),
    pytest.param(bracket(), id="a bracket on one spot"),
    pytest.param(burst(odd={2: {"exposure_s": 1 / 500}}), id="a burst under passing clouds"),
    pytest.param(
        interval(odd={i: {"exposure_s": 0.01 * (1 + i)} for i in range(10)}),
        id="an interval series that follows the dusk",
    ),
]

SPEAKS = [
    pytest.param(
        change(sweep(exposure_s=1 / 60), [3], exposure_s=1 / 125),
        ["QMK_0420"],
        "QMK_0420.JPG (1/125 s) differs in shutter speed: the 6 other frames have 1/60 s",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(exposure_s=1 / 60), [1, 5], exposure_s=1 / 125),
        ["QMK_0418", "QMK_0422"],
        "1/125 s",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(exposure_s=1 / 60), [0], exposure_s=1 / 125),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, exposure_s=1 / 60), [3, 4, 5], exposure_s=1 / 125),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), odd={4: {"exposure_s": 1 / 500}}),
        ["QMK_0421"],
        "1/500 s",
        id="one leg of one view",
    ),
    pytest.param(
        change(sweep(exposure_s=1 / 60), [3], exposure_s=1 / 80),
        ["QMK_0420"],
        "1/80 s",
        id="a third of a stop",
    ),
    pytest.param(
        sweep(program="aperture", odd={i: {"exposure_s": 1 / (60 + 40 * i)} for i in range(7)}),
        ["QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422", "QMK_0423"],
        "changes through the set: 1/300 to 1/60 s over 7 frames; the first to differ is "
        "QMK_0418.JPG",
        id="automatic exposure all over the sweep",
    ),
    pytest.param(
        change(sweep(20, 10.0), range(6), exposure_s=1 / 125),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422"],
        "6 frames differ in shutter speed: QMK_0417.JPG, QMK_0418.JPG, QMK_0419.JPG and "
        "3 more (1/125 s), where the other 14 have 1/64 s",
        id="six odd frames of twenty",
    ),
    pytest.param(
        stack([1, 2, 3], odd={1: {"exposure_s": 1 / 8}}), ["QMK_0418"], "1/8 s", id="a stack"
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


def test_says_when_the_camera_chose() -> None:
    (problem,) = ask(CHECK, change(sweep(program="aperture"), [3], exposure_s=1 / 500))
    assert "The camera chose the shutter speed (aperture priority)" in problem.advice
    assert problem.measured["shutter_range_ev"] == pytest.approx(2.97, abs=0.01)


def test_does_not_blame_the_camera_for_a_manual_change() -> None:
    (problem,) = ask(CHECK, change(sweep(), [3], exposure_s=1 / 500))
    assert "camera chose" not in problem.advice
