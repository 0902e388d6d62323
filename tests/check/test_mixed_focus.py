from __future__ import annotations

import math

import pytest

from grouper.check.mixed_focus import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, change, names, regard, steps, sweep

SILENT = [
    pytest.param(sweep(focus_m=3.0), id="a set that agrees"),
    pytest.param(sweep(focus_m=None), id="nothing recorded"),
    pytest.param(
        change(sweep(focus_m=3.0), [3], focus_m=None), id="one frame that records nothing"
    ),
    pytest.param(
        regard(change(sweep(focus_m=3.0), [3], focus_m=1.5), [3], spare=True), id="an odd spare"
    ),
    pytest.param(
        change(sweep(focus_m=math.inf), [3], focus_m=10.0), id="coarse marks at the far end"
    ),
    pytest.param(
        steps(sweep(3, legs_ev=(0, 0), odd={i: {"focus_m": 1.0 + 4 * (i % 2)} for i in range(6)})),
        id="focus steps at the views",
    ),
    pytest.param(change(sweep(focus_m=3.0), [3], focus_m=0.0), id="an unreadable distance of zero"),
]

SPEAKS = [
    pytest.param(
        change(sweep(focus_m=3.0), [3], focus_m=1.5),
        ["QMK_0420"],
        "QMK_0420.JPG (1.5 m) differs in focus distance: the 6 other frames have 3 m",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(focus_m=3.0), [1, 5], focus_m=1.5),
        ["QMK_0418", "QMK_0422"],
        "1.5 m",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(focus_m=3.0), [0], focus_m=1.5),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, focus_m=3.0), [3, 4, 5], focus_m=1.5),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
    pytest.param(
        change(sweep(focus_m=3.0), [3], focus_m=math.inf),
        ["QMK_0420"],
        "infinity",
        id="infinity among near frames",
    ),
    pytest.param(
        bracket(focus_m=5.0, odd={1: {"focus_m": 1.0}}),
        ["QMK_0418"],
        "1 m",
        id="one leg of a bracket",
    ),
    pytest.param(
        steps(
            sweep(
                3,
                legs_ev=(0, 0),
                odd={i: {"focus_m": 1.0 + 4 * (i % 2) - 0.4 * (i == 2)} for i in range(6)},
            )
        ),
        ["QMK_0419"],
        "60 cm",
        id="one step of one view",
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
