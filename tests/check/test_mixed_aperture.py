from __future__ import annotations

import pytest

from grouper.check.mixed_aperture import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, interval, names, regard, sweep

SILENT = [
    pytest.param(sweep(aperture_f=11.0), id="a set that agrees"),
    pytest.param(sweep(aperture_f=None), id="nothing recorded"),
    pytest.param(
        change(sweep(aperture_f=11.0), [3], aperture_f=None), id="one frame that records nothing"
    ),
    pytest.param(
        regard(change(sweep(aperture_f=11.0), [3], aperture_f=8.0), [3], spare=True),
        id="an odd spare",
    ),
    pytest.param(
        change(sweep(aperture_f=5.6), [3], aperture_f=5.657),
        id="marks and exact values of one opening",
    ),
    pytest.param(burst(aperture_f=8.0, odd={2: {"aperture_f": 5.6}}), id="a burst"),
]

SPEAKS = [
    pytest.param(
        change(sweep(aperture_f=11.0), [3], aperture_f=8.0),
        ["QMK_0420"],
        "QMK_0420.JPG (f/8) differs in aperture: the 6 other frames have f/11",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(aperture_f=11.0), [1, 5], aperture_f=8.0),
        ["QMK_0418", "QMK_0422"],
        "QMK_0418.JPG (f/8) and QMK_0422.JPG (f/8) differ",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(aperture_f=11.0), [0], aperture_f=8.0),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, aperture_f=11.0), [3, 4, 5], aperture_f=8.0),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
    pytest.param(
        bracket(odd={1: {"aperture_f": 22.0}, 2: {"aperture_f": 5.6}}),
        ["QMK_0418", "QMK_0419"],
        "aperture changes through the set: f/5.6 to f/22",
        id="a bracket made with the aperture",
    ),
    pytest.param(
        interval(odd={4: {"aperture_f": 8.0}}),
        ["QMK_0421"],
        "the 9 other frames have f/11",
        id="an interval series",
    ),
    pytest.param(
        change(sweep(), [3], aperture_f=10.0), ["QMK_0420"], "(f/10)", id="a third of a stop"
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


def test_of_two_frames_neither_is_the_rule() -> None:
    (problem,) = ask(CHECK, sweep(2, odd={1: {"aperture_f": 5.6}}, aperture_f=8.0))
    assert problem.message == (
        "The two frames differ in aperture: QMK_0418.JPG has f/5.6, the other f/8."
    )
