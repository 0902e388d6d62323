from __future__ import annotations

import pytest

from grouper.check.clipped_highlights import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, glance, names, regard, sweep

SILENT = [
    pytest.param(sweep(), id="well exposed"),
    pytest.param(regard(sweep(), range(7), glance=None), id="pictures not looked at"),
    pytest.param(
        regard(bracket(), [0, 2], glance=glance(clipped_share=0.3)),
        id="a bracket one of whose frames holds them",
    ),
    pytest.param(
        regard(sweep(legs_ev=(-2, 0, 2)), range(2, 21, 3), glance=glance(clipped_share=0.3)),
        id="a sweep of such brackets",
    ),
    pytest.param(regard(sweep(), [3], glance=glance(clipped_share=0.04)), id="a little"),
    pytest.param(
        regard(sweep(), range(7), glance=glance(clipped_share=0.4, white_share=0.01)),
        id="a deep blue sky, one channel at its end",
    ),
]

SPEAKS = [
    pytest.param(
        regard(
            regard(sweep(), [2], glance=glance(clipped_share=0.2)),
            [3],
            glance=glance(clipped_share=0.3),
        ),
        ["QMK_0419", "QMK_0420"],
        "In 2 of 7 views highlights hold no detail: at worst 30 % of QMK_0420.JPG.",
        id="two views",
    ),
    pytest.param(
        regard(sweep(), [2], glance=glance(clipped_share=0.4, white_share=0.2)),
        ["QMK_0419"],
        "at worst 20 % of QMK_0419.JPG.",
        id="a white sky",
    ),
    pytest.param(
        regard(
            regard(bracket(), [0, 2], glance=glance(clipped_share=0.9)),
            [1],
            glance=glance(clipped_share=0.25),
        ),
        ["QMK_0418"],
        "In this set highlights hold no detail even in the best exposure: at worst 25 % "
        "of QMK_0418.JPG.",
        id="a whole bracket",
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
