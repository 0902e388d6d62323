from __future__ import annotations

import pytest

from grouper.check.mixed_white_balance import CHECK
from grouper.model import Set
from tests.check.sets import ask, change, names, regard, sweep

SILENT = [
    pytest.param(sweep(white_balance="manual"), id="a set that agrees"),
    pytest.param(sweep(white_balance=None), id="nothing recorded"),
    pytest.param(
        change(sweep(white_balance="manual"), [3], white_balance=None),
        id="one frame that records nothing",
    ),
    pytest.param(
        regard(change(sweep(white_balance="manual"), [3], white_balance="auto"), [3], spare=True),
        id="an odd spare",
    ),
    pytest.param(
        change(
            sweep(white_balance="auto", white_balance_detail="5200 K"),
            [3],
            white_balance_detail="5250 K",
        ),
        id="temperatures nobody can tell apart",
    ),
    pytest.param(
        change(sweep(white_balance_detail="daylight"), [3], white_balance_detail=None),
        id="a detail one frame does not record",
    ),
]

SPEAKS = [
    pytest.param(
        change(sweep(white_balance="manual"), [3], white_balance="auto"),
        ["QMK_0420"],
        "QMK_0420.JPG (auto white balance) differs in white balance: the 6 other frames "
        "have manual white balance",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(white_balance="manual"), [1, 5], white_balance="auto"),
        ["QMK_0418", "QMK_0422"],
        "auto white balance",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(white_balance="manual"), [0], white_balance="auto"),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, white_balance="manual"), [3, 4, 5], white_balance="auto"),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
    pytest.param(
        change(sweep(white_balance_detail="daylight"), [3], white_balance_detail="shade"),
        ["QMK_0420"],
        "white balance shade",
        id="another light source",
    ),
    pytest.param(
        change(
            sweep(white_balance="auto", white_balance_detail="5200 K"),
            [3],
            white_balance_detail="6100 K",
        ),
        ["QMK_0420"],
        "6100 K (auto)",
        id="automatic, and it moved",
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
