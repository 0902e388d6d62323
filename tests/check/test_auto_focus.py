from __future__ import annotations

import pytest

from grouper.check.auto_focus import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, names, regard, stack, sweep

SILENT = [
    pytest.param(sweep(focus_auto=False), id="set by hand"),
    pytest.param(sweep(focus_auto=None), id="nothing recorded"),
    pytest.param(change(sweep(focus_auto=True, focus_m=3.0), [3], focus_m=1.0), id="it moved"),
    pytest.param(stack([1, 2, 4], focus_auto=True), id="a stack, which needs it"),
    pytest.param(regard(sweep(focus_auto=True), [3], step=1), id="a sweep with focus steps"),
    pytest.param(burst(focus_auto=True), id="a burst"),
]

SPEAKS = [
    pytest.param(
        sweep(focus_auto=True),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422", "QMK_0423"],
        "All 7 frames used automatic focus; what it chose is not recorded.",
        id="the whole sweep",
    ),
    pytest.param(
        change(sweep(focus_auto=False), [2, 3], focus_auto=True),
        ["QMK_0419", "QMK_0420"],
        "2 of 7 frames (QMK_0419.JPG and QMK_0420.JPG) used automatic focus",
        id="some frames",
    ),
    pytest.param(
        sweep(2, focus_auto=True, focus_m=3.0),
        ["QMK_0417", "QMK_0418"],
        "Both frames used automatic focus; this time it did not move.",
        id="a distance that stayed",
    ),
    pytest.param(
        bracket(focus_auto=True),
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
