from __future__ import annotations

import pytest

from grouper.check.clock_jump import CHECK
from tests.check.sets import ask_card, card, sweep

PAIR = ("100QMARK/QMK_0423.JPG", "100QMARK/QMK_0424.JPG")


@pytest.mark.parametrize("seconds", [0.0, -1.0, 2.0], ids=["none", "rounding back", "rounding on"])
def test_stays_silent_on(seconds: float) -> None:
    assert ask_card(CHECK, card(sweep(), clock_steps=((*PAIR, seconds),))) == []


@pytest.mark.parametrize(
    ("seconds", "says"),
    [
        (
            -3600.0,
            "jumped back by about 1 h between QMK_0423.JPG and QMK_0424.JPG, as with summer time",
        ),
        (
            5400.0 * 4,
            "forward by about 6 h between QMK_0423.JPG and QMK_0424.JPG, as with another time",
        ),
        (
            -3452.0,
            "by about 57 min 32 s between QMK_0423.JPG and QMK_0424.JPG, as with summer time",
        ),
        (4500.0, "forward by about 1 h 15 min between QMK_0423.JPG and QMK_0424.JPG."),
        (-754.0, "jumped back by about 12 min 34 s between QMK_0423.JPG and QMK_0424.JPG."),
        (
            -700 * 86400.0,
            "by about 700 days between QMK_0423.JPG and QMK_0424.JPG, as after a flat",
        ),
    ],
    ids=[
        "summer time",
        "summer time and a pause",
        "no zone",
        "another zone",
        "set by hand",
        "flat battery",
    ],
)
def test_speaks_on(seconds: float, says: str) -> None:
    (problem,) = ask_card(CHECK, card(sweep(), clock_steps=((*PAIR, seconds),)))
    assert problem.frames == PAIR
    assert says in problem.message
    assert problem.measured["jump_s"] == seconds
