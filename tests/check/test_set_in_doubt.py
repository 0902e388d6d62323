from __future__ import annotations

from dataclasses import replace

import pytest

from grouper.check.set_in_doubt import CHECK
from grouper.model import Set
from tests.check.sets import ask, burst, names, sweep

SILENT = [
    pytest.param(sweep(), id="a sure set"),
    pytest.param(replace(sweep(), confidence=0.6), id="on the limit"),
]

SPEAKS = [
    pytest.param(
        replace(sweep(), confidence=0.41, evidence=("pauses 4-9 s", "no pictures")),
        [],
        "The chance that exactly these 7 frames belong together is put at 41 % (pauses "
        "4-9 s; no pictures).",
        id="an unsure set",
    ),
    pytest.param(
        replace(burst(), confidence=0.5), [], "put at 50 %.", id="an unsure burst without evidence"
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
