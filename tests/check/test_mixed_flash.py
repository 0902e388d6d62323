from __future__ import annotations

import pytest

from grouper.check.mixed_flash import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, names, regard, sweep

SILENT = [
    pytest.param(sweep(flash_fired=False), id="a set that agrees"),
    pytest.param(sweep(flash_fired=None), id="nothing recorded"),
    pytest.param(
        change(sweep(flash_fired=False), [3], flash_fired=None), id="one frame that records nothing"
    ),
    pytest.param(
        regard(change(sweep(flash_fired=False), [3], flash_fired=True), [3], spare=True),
        id="an odd spare",
    ),
    pytest.param(sweep(flash_fired=True), id="flash in every frame"),
    pytest.param(burst(odd={2: {"flash_fired": True}}), id="a burst the flash cannot keep up with"),
]

SPEAKS = [
    pytest.param(
        change(sweep(flash_fired=False), [3], flash_fired=True),
        ["QMK_0420"],
        "QMK_0420.JPG (flash) differs in flash: the 6 other frames have no flash",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(flash_fired=False), [1, 5], flash_fired=True),
        ["QMK_0418", "QMK_0422"],
        "flash",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(flash_fired=False), [0], flash_fired=True),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, flash_fired=False), [3, 4, 5], flash_fired=True),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
    pytest.param(
        bracket(flash_fired=True, odd={1: {"flash_fired": False}}),
        ["QMK_0418"],
        "no flash",
        id="a flash that had to charge",
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
