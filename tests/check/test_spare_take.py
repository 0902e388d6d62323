from __future__ import annotations

import pytest

from grouper.check.spare_take import CHECK
from grouper.model import Set
from tests.check.sets import ask, burst, names, regard, sweep

SILENT = [
    pytest.param(sweep(), id="no spares"),
    pytest.param(regard(burst(), [3], spare=True), id="a burst"),
]

SPEAKS = [
    pytest.param(
        regard(sweep(), [3], spare=True, view=2),
        ["QMK_0419", "QMK_0420"],
        "1 view was shot more than once; spare is QMK_0420.JPG (used: QMK_0419.JPG)",
        id="a view shot again",
    ),
    pytest.param(
        regard(regard(sweep(), [3], spare=True, view=2), [5], spare=True, view=4),
        ["QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422"],
        "2 views were shot more than once; spares are",
        id="two views",
    ),
    pytest.param(
        regard(sweep(), [3], spare=True),
        ["QMK_0420"],
        "spare is QMK_0420.JPG.",
        id="nothing used in its place",
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
