from __future__ import annotations

import pytest

from grouper.check.soft_frame import CHECK
from grouper.model import Set
from tests.check.sets import (
    ask,
    bracket,
    burst,
    detailed,
    glance,
    interval,
    names,
    regard,
    stack,
    sweep,
)

SILENT = [
    pytest.param(sweep(), id="all sharp"),
    pytest.param(regard(bracket(), range(3), glance=None), id="pictures not looked at"),
    pytest.param(
        regard(sweep(), [3], glance=glance(sharpness=0.01, spread=0.02)),
        id="a view of plain sky among others",
    ),
    pytest.param(
        detailed(sweep(), 0.10, 0.08, 0.06, 0.03, 0.035, 0.06, 0.08), id="views of uneven detail"
    ),
    pytest.param(
        regard(sweep(3), [1], glance=glance(sharpness=0.04)), id="a soft view among three"
    ),
    pytest.param(
        regard(sweep(legs_ev=(-2, 0, 2)), range(2, 21, 3), glance=glance(sharpness=0.03)),
        id="a leg that is always softer",
    ),
    pytest.param(
        regard(bracket(), [2], glance=glance(sharpness=0.01, clipped_share=0.7)),
        id="a leg so bright that it shows nothing",
    ),
    pytest.param(
        detailed(sweep(5), 0.1, 0.1, 0.09, 0.12, 0.065), id="a last view beside a very sharp one"
    ),
    pytest.param(
        detailed(burst(8), 0.13, 0.13, 0.13, 0.13, 0.12, 0.10, 0.08, 0.07),
        id="a burst that pans into a plainer part",
    ),
    pytest.param(regard(stack([1, 2, 4]), [1], glance=glance(sharpness=0.01)), id="a focus stack"),
]

SPEAKS = [
    pytest.param(
        regard(bracket(), [1], glance=glance(sharpness=0.03)),
        ["QMK_0418"],
        "QMK_0418.JPG (30 %) is blurred: that share of the sharpness of the frames beside.",
        id="one leg of a bracket",
    ),
    pytest.param(
        detailed(sweep(), 0.103, 0.0414, 0.0927, 0.101, 0.088, 0.097, 0.1045),
        ["QMK_0418"],
        "QMK_0418.JPG (42 %)",
        id="one view of a sweep",
    ),
    pytest.param(
        detailed(sweep(5), 0.1, 0.1, 0.09, 0.1, 0.04),
        ["QMK_0421"],
        "QMK_0421.JPG (42 %)",
        id="the last view of a sweep",
    ),
    pytest.param(
        regard(sweep(legs_ev=(-2, 0, 2)), [9, 10, 11], glance=glance(sharpness=0.04)),
        ["QMK_0426", "QMK_0427", "QMK_0428"],
        "QMK_0426.JPG (40 %)",
        id="a whole bracketed view",
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
