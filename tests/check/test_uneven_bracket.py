from __future__ import annotations

import pytest

from grouper.check.uneven_bracket import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, names, sweep

SILENT = [
    pytest.param(bracket(), id="three frames"),
    pytest.param(bracket((0.0, -2.0)), id="two frames"),
    pytest.param(
        bracket(
            (0, -1, 1),
            odd={0: {"exposure_s": 1 / 60}, 1: {"exposure_s": 1 / 125}, 2: {"exposure_s": 1 / 30}},
        ),
        id="marks of thirds",
    ),
    pytest.param(
        bracket(
            (0, -0.5, 0.5),
            odd={0: {"exposure_s": 1 / 60}, 1: {"exposure_s": 1 / 90}, 2: {"exposure_s": 1 / 45}},
        ),
        id="a third of a stop between steps of a half",
    ),
    pytest.param(sweep(legs_ev=(0, -2, 2)), id="a bracketed sweep"),
    pytest.param(sweep(legs_ev=(-4, -2, 0, 2), lost=[5]), id="a sweep whose views lack a leg"),
    pytest.param(
        bracket((-4, -2, 2), odd={1: {"exposure_s": None}}), id="an exposure that is not recorded"
    ),
]

SPEAKS = [
    pytest.param(
        bracket((-4, -2, 0, 2), lost=[1]),
        ["QMK_0417", "QMK_0419", "QMK_0420"],
        "The exposures are 4 EV and 2 EV apart: between QMK_0417.JPG (1/1024 s) and "
        "QMK_0419.JPG (1/64 s) one seems to be missing",
        id="a middle leg lost",
    ),
    pytest.param(
        bracket((0, -2, 2), odd={1: {"exposure_s": 1 / 100}}),
        ["QMK_0417", "QMK_0418", "QMK_0419"],
        "longest step lies between QMK_0417.JPG and QMK_0419.JPG",
        id="a shutter that ran into its limit",
    ),
    pytest.param(
        sweep(3, legs_ev=(-2, 0, 1)),
        [
            "QMK_0417",
            "QMK_0418",
            "QMK_0419",
            "QMK_0420",
            "QMK_0421",
            "QMK_0422",
            "QMK_0423",
            "QMK_0424",
            "QMK_0425",
        ],
        "2 EV and 1 EV apart in 3 of 3 views",
        id="every view of a sweep",
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
