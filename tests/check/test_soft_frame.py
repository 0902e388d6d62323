from __future__ import annotations

import pytest

from grouper.check.soft_frame import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, glance, interval, names, regard, stack, sweep

SILENT = [
    pytest.param(sweep(), id="all sharp"),
    pytest.param(regard(bracket(), range(3), glance=None), id="pictures not looked at"),
    pytest.param(
        regard(sweep(), [3], glance=glance(sharpness=0.01)), id="a featureless view among others"
    ),
    pytest.param(
        regard(sweep(legs_ev=(-2, 0, 2)), range(2, 21, 3), glance=glance(sharpness=0.03)),
        id="a leg that is always softer",
    ),
    pytest.param(
        regard(bracket(), [2], glance=glance(sharpness=0.01, clipped_share=0.7)),
        id="a leg so bright that it shows nothing",
    ),
    pytest.param(regard(stack([1, 2, 4]), [1], glance=glance(sharpness=0.01)), id="a focus stack"),
]

SPEAKS = [
    pytest.param(
        regard(bracket(), [1], glance=glance(sharpness=0.03)),
        ["QMK_0418"],
        "QMK_0418.JPG (30 %) is blurred against other frames of the same view.",
        id="one leg of a bracket",
    ),
    pytest.param(
        regard(sweep(legs_ev=(-2, 0, 2)), [4], glance=glance(sharpness=0.02)),
        ["QMK_0421"],
        "QMK_0421.JPG (20 %)",
        id="one leg in a sweep",
    ),
    pytest.param(
        regard(regard(sweep(), [3], spare=True, view=2), [3], glance=glance(sharpness=0.02)),
        ["QMK_0420"],
        "QMK_0420.JPG (20 %)",
        id="a spare",
    ),
    pytest.param(
        regard(burst(), [4], glance=glance(sharpness=0.04)),
        ["QMK_0421"],
        "QMK_0421.JPG (40 %)",
        id="one frame of a burst",
    ),
    pytest.param(
        regard(interval(), [4], glance=glance(sharpness=0.04)),
        ["QMK_0421"],
        "QMK_0421.JPG (40 %)",
        id="one frame of an interval series",
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


def test_the_sharp_spare_is_recommended_for_a_soft_frame() -> None:
    found = regard(regard(sweep(), [3], spare=True, view=2), [2], glance=glance(sharpness=0.02))
    (problem,) = ask(CHECK, found)
    assert names(problem.frames) == ["QMK_0419"]
    assert "use QMK_0420.JPG instead" in problem.advice
