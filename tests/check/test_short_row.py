from __future__ import annotations

import pytest

from grouper.check.short_row import CHECK
from grouper.model import Pointing, Set
from tests.check.sets import ask, bricks, column, names, regard, sweep

SILENT = [
    pytest.param(sweep(), id="one row"),
    pytest.param(sweep(5, pitches_deg=(0.0, 45.0)), id="two equal rows"),
    pytest.param(bricks(5), id="rows set like bricks"),
    pytest.param(sweep(5, pitches_deg=(0.0, 45.0), deleted=[9], angles=False), id="no angles"),
    pytest.param(
        sweep(5, pitches_deg=(0.0, 75.0), deleted=[8, 9]), id="a few frames of the zenith"
    ),
    pytest.param(sweep(10, pitches_deg=(0.0, 45.0)), id="full turns"),
    pytest.param(sweep(5, pitches_deg=(0.0, 45.0), deleted=[7]), id="a gap in mid-row"),
    pytest.param(column(), id="an up-and-down sweep"),
    pytest.param(
        regard(sweep(5, pitches_deg=(-30.0, 0.0, 30.0), deleted=[14]), [4], pointing=Pointing()),
        id="as many views short as the pictures could not place",
    ),
]

SPEAKS = [
    pytest.param(
        sweep(5, pitches_deg=(0.0, 45.0), deleted=[9]),
        ["QMK_0425"],
        "The row pitched 45° up ends 27° before the others on the right, at "
        "QMK_0425.JPG: about 1 view short",
        id="the upper row, on the right",
    ),
    pytest.param(
        sweep(5, pitches_deg=(0.0, 30.0), deleted=[0]),
        ["QMK_0418"],
        "The row at the horizon ends 39° before the others on the left",
        id="the horizon row, on the left",
    ),
    pytest.param(
        sweep(5, pitches_deg=(-30.0, 0.0, 30.0), deleted=[8, 9]),
        ["QMK_0424"],
        "about 2 views short",
        id="one of three rows",
    ),
    pytest.param(
        regard(
            sweep(5, pitches_deg=(-30.0, 0.0, 30.0), deleted=[13, 14]), [4], pointing=Pointing()
        ),
        ["QMK_0429"],
        "about 2 views short",
        id="more views short than the pictures could not place",
    ),
    pytest.param(
        sweep(10, pitches_deg=(-30.0, 0.0, 30.0), deleted=[8, 9]),
        ["QMK_0417", "QMK_0424"],
        "where the others go all the way round",
        id="an open row among full turns",
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
