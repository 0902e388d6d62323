from __future__ import annotations

import pytest

from grouper.check.auto_iso import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, names, sweep

SILENT = [
    pytest.param(sweep(iso_auto=False), id="set by hand"),
    pytest.param(sweep(iso_auto=None), id="nothing recorded"),
    pytest.param(change(sweep(iso_auto=True), [3], iso=200.0), id="it moved"),
    pytest.param(burst(iso_auto=True), id="a burst"),
]

SPEAKS = [
    pytest.param(
        sweep(iso_auto=True),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422", "QMK_0423"],
        "All 7 frames used automatic ISO; this time it did not move.",
        id="the whole sweep",
    ),
    pytest.param(
        change(sweep(iso_auto=False), [2, 3], iso_auto=True),
        ["QMK_0419", "QMK_0420"],
        "2 of 7 frames (QMK_0419.JPG and QMK_0420.JPG) used automatic ISO",
        id="some frames",
    ),
    pytest.param(
        bracket(iso_auto=True), ["QMK_0417", "QMK_0418", "QMK_0419"], "All 3 frames", id="a bracket"
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
