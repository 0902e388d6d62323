from __future__ import annotations

import pytest

from grouper.check.drifting_row import CHECK
from grouper.model import Set
from tests.check.sets import ask, column, drifting, names, rolled, sweep

SILENT = [
    pytest.param(sweep(), id="a level row"),
    pytest.param(drifting(sweep(), 1.0), id="a few degrees"),
    pytest.param(rolled(sweep(), 3.0), id="a roll told as such"),
    pytest.param(drifting(sweep(angles=False), 3.0), id="guessed angles"),
    pytest.param(column(), id="an up-and-down sweep"),
]

SPEAKS = [
    pytest.param(
        drifting(sweep(), 2.0),
        ["QMK_0417", "QMK_0423"],
        "The row drifts by 12° from QMK_0417.JPG (lowest) to QMK_0423.JPG (highest): 16 "
        "% of the frame's height.",
        id="a row that climbs",
    ),
    pytest.param(
        rolled(drifting(sweep(), -1.0), -1.0),
        ["QMK_0423", "QMK_0417"],
        "The row drifts by 9.8°",
        id="a row that sinks and is read as rolled in part",
    ),
    pytest.param(
        drifting(sweep(), -2.0),
        ["QMK_0423", "QMK_0417"],
        "from QMK_0423.JPG (lowest)",
        id="a row that sinks",
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


def test_of_several_rows_it_says_which() -> None:
    problems = ask(CHECK, drifting(sweep(5, pitches_deg=(40.0, 0.0)), 2.0))
    assert [problem.message.split(" drifts")[0] for problem in problems] == [
        "Row 1 of 2",
        "Row 2 of 2",
    ]
