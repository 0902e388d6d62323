from __future__ import annotations

import pytest

from grouper.check.moved_subject import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, glance, names, regard, scored, sweep, within

SILENT = [
    pytest.param(bracket(), id="nothing compared"),
    pytest.param(within(bracket(), [0.9, 0.85]), id="legs that agree"),
    pytest.param(
        within(sweep(3, legs_ev=(-3, 0)), [0.45, 0.5, 0.4]),
        id="exposure that costs every view alike",
    ),
    pytest.param(within(bracket((0, -3, 3)), [0.9, 0.3]), id="a lone bracket's legs 6 EV apart"),
    pytest.param(
        regard(within(bracket(), [0.3, 0.9]), [1], glance=glance(blocked_share=0.6)),
        id="a leg that is mostly black",
    ),
    pytest.param(
        regard(within(bracket(), [0.5, 0.9]), [0], glance=glance(spread=0.016)),
        id="a leg so dark that noise alone is left to agree on",
    ),
    pytest.param(
        within(sweep(5, legs_ev=(-2, 2)), [0.97, 0.93, 0.97, 0.97, 0.87]),
        id="a view little below the others, which scatter themselves",
    ),
    pytest.param(scored(sweep(2), 0.3), id="neighbours, not legs, that agree little"),
]

SPEAKS = [
    pytest.param(
        within(bracket(), [0.3, 0.9]),
        ["QMK_0417", "QMK_0418"],
        "QMK_0417.JPG and QMK_0418.JPG show the same view but agree only to 0.30: "
        "something moved between them.",
        id="one bracket",
    ),
    pytest.param(
        within(bracket(), [0.92, 0.7]),
        ["QMK_0418", "QMK_0419"],
        "agree only to 0.70",
        id="legs 4 EV apart, a fifth of the picture moved",
    ),
    pytest.param(
        within(sweep(4, legs_ev=(-2, 2)), [0.85, 0.9, 0.5, 0.85]),
        ["QMK_0421", "QMK_0422"],
        "agree only to 0.50, where the other views reach 0.85",
        id="one view of four",
    ),
    pytest.param(
        within(sweep(5, legs_ev=(-2, 2)), [0.97, 0.96, 0.84, 0.97, 0.98]),
        ["QMK_0421", "QMK_0422"],
        "agree only to 0.84, where the other views reach 0.97",
        id="a tenth of the picture moved, where all others agree closely",
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
