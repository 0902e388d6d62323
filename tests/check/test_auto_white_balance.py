from __future__ import annotations

import pytest

from grouper.check.auto_white_balance import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, names, sweep

SILENT = [
    pytest.param(sweep(white_balance="manual"), id="set by hand"),
    pytest.param(sweep(white_balance=None), id="nothing recorded"),
    pytest.param(
        change(
            sweep(white_balance="auto", white_balance_detail="5200 K"),
            [3],
            white_balance_detail="6500 K",
        ),
        id="it moved",
    ),
    pytest.param(change(sweep(), [2], white_balance="auto"), id="some frames: they are mixed"),
    pytest.param(burst(white_balance="auto"), id="a burst"),
]

SPEAKS = [
    pytest.param(
        sweep(white_balance="auto"),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422", "QMK_0423"],
        "All 7 frames used automatic white balance; what it chose is not recorded.",
        id="the whole sweep",
    ),
    pytest.param(
        bracket(white_balance="auto"),
        ["QMK_0417", "QMK_0418", "QMK_0419"],
        "All 3 frames",
        id="a bracket",
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
