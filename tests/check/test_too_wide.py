from __future__ import annotations

import pytest

from grouper.check.too_wide import CHECK
from grouper.model import Set
from tests.check.sets import ask, column, names, sweep

SILENT = [
    pytest.param(sweep(2), id="a hundred degrees"),
    pytest.param(sweep(layout={"span_deg": None}), id="a span not known"),
]

SPEAKS = [
    pytest.param(
        sweep(),
        [],
        "The span of 269° across outgrows a flat picture, whose edges stretch 4 times at 120°.",
        id="a wide sweep",
    ),
    pytest.param(column(3, 66.0), [], "The span of 206° upwards", id="tall"),
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
