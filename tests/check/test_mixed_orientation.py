from __future__ import annotations

import pytest

from grouper.check.mixed_orientation import CHECK
from grouper.model import Pointing, Set
from tests.check.sets import ask, bracket, change, names, regard, sweep

SILENT = [
    pytest.param(sweep(), id="a set that agrees"),
    pytest.param(sweep(width_px=None), id="sizes not recorded"),
    pytest.param(
        change(sweep(), [3], width_px=6000, height_px=4000, orientation=8),
        id="turned by the tag or in the pixels",
    ),
    pytest.param(change(sweep(), [3], width_px=4000, height_px=4000), id="square pictures"),
    pytest.param(
        change(sweep(width_px=6000, height_px=4000, orientation=6), [3], orientation=8),
        id="held upright with the grip up and down",
    ),
    pytest.param(
        regard(
            change(sweep(), [6], width_px=6000, height_px=4000),
            [6],
            pointing=Pointing(yaw_deg=0.0, pitch_deg=88.0),
        ),
        id="a zenith frame that lost its gravity",
    ),
    pytest.param(
        regard(change(sweep(), [3], width_px=6000, height_px=4000), [3], spare=True),
        id="an odd spare",
    ),
]

SPEAKS = [
    pytest.param(
        change(sweep(), [3], width_px=6000, height_px=4000),
        ["QMK_0420"],
        "QMK_0420.JPG (across) differs in orientation: the 6 other frames are upright",
        id="one frame across",
    ),
    pytest.param(
        change(sweep(width_px=6000, height_px=4000, orientation=8), [3], orientation=1),
        ["QMK_0420"],
        "across",
        id="the tag of one frame",
    ),
    pytest.param(
        bracket(odd={2: {"width_px": 6000, "height_px": 4000}}),
        ["QMK_0419"],
        "across",
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
