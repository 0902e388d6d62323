from __future__ import annotations

import pytest

from grouper.check.mixed_focal_length import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, change, names, regard, sweep

SILENT = [
    pytest.param(sweep(focal_mm=24.0), id="a set that agrees"),
    pytest.param(sweep(focal_mm=None), id="nothing recorded"),
    pytest.param(
        change(sweep(focal_mm=24.0), [3], focal_mm=None), id="one frame that records nothing"
    ),
    pytest.param(
        regard(change(sweep(focal_mm=24.0), [3], focal_mm=35.0), [3], spare=True), id="an odd spare"
    ),
    pytest.param(change(sweep(focal_mm=200.0), [3], focal_mm=201.0), id="a flicker of the encoder"),
    pytest.param(burst(odd={3: {"focal_mm": 50.0}}), id="a burst zoomed on purpose"),
]

SPEAKS = [
    pytest.param(
        change(sweep(focal_mm=24.0), [3], focal_mm=35.0),
        ["QMK_0420"],
        "QMK_0420.JPG (35 mm) differs in focal length: the 6 other frames have 24 mm",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(focal_mm=24.0), [1, 5], focal_mm=35.0),
        ["QMK_0418", "QMK_0422"],
        "35 mm",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(focal_mm=24.0), [0], focal_mm=35.0),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, focal_mm=24.0), [3, 4, 5], focal_mm=35.0),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
    pytest.param(change(sweep(), [3], focal_mm=25.0), ["QMK_0420"], "25 mm", id="a nudged zoom"),
    pytest.param(bracket(odd={2: {"focal_mm": 26.0}}), ["QMK_0419"], "26 mm", id="a bracket"),
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


def test_the_equivalent_stands_in_for_a_missing_focal_length() -> None:
    found = change(sweep(focal_mm=None, focal_35mm=24.0), [3], focal_35mm=28.0)
    (problem,) = ask(CHECK, found)
    assert names(problem.frames) == ["QMK_0420"]
