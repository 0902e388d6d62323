from __future__ import annotations

import pytest

from grouper.check.mixed_iso import CHECK
from grouper.model import Set
from tests.check.sets import ask, change, interval, names, regard, sweep

SILENT = [
    pytest.param(sweep(iso=100.0), id="a set that agrees"),
    pytest.param(sweep(iso=None), id="nothing recorded"),
    pytest.param(change(sweep(iso=100.0), [3], iso=None), id="one frame that records nothing"),
    pytest.param(
        regard(change(sweep(iso=100.0), [3], iso=400.0), [3], spare=True), id="an odd spare"
    ),
    pytest.param(
        sweep(legs_ev=(0, 2), odd={i: {"iso": 400.0} for i in range(1, 14, 2)}),
        id="legs bracketed by ISO",
    ),
    pytest.param(
        interval(odd={i: {"iso": 100.0 * (1 + i)} for i in range(10)}),
        id="an interval series that follows the dusk",
    ),
]

SPEAKS = [
    pytest.param(
        change(sweep(iso=100.0), [3], iso=400.0),
        ["QMK_0420"],
        "QMK_0420.JPG (ISO 400) differs in ISO: the 6 other frames have ISO 100",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(iso=100.0), [1, 5], iso=400.0),
        ["QMK_0418", "QMK_0422"],
        "ISO 400",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(iso=100.0), [0], iso=400.0),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, iso=100.0), [3, 4, 5], iso=400.0),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
    pytest.param(
        sweep(legs_ev=(0, 2), odd={i: {"iso": 400.0} for i in (3,)}),
        ["QMK_0420"],
        "ISO 400",
        id="one leg of one view",
    ),
    pytest.param(
        sweep(odd={i: {"iso": 100 + 40 * i} for i in range(7)}),
        ["QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421", "QMK_0422", "QMK_0423"],
        "changes through the set: ISO 100 to ISO 340",
        id="automatic ISO all over the sweep",
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
