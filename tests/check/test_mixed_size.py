from __future__ import annotations

import pytest

from grouper.check.mixed_size import CHECK
from grouper.model import Set
from tests.check.sets import ask, change, names, regard, sweep

SILENT = [
    pytest.param(sweep(), id="a set that agrees"),
    pytest.param(change(sweep(), [3], width_px=None, height_px=None), id="sizes not recorded"),
    pytest.param(change(sweep(), [3], width_px=6000, height_px=4000), id="one frame across"),
    pytest.param(change(sweep(), [3], width_px=4024, height_px=6048), id="a raw file's border"),
    pytest.param(
        regard(change(sweep(), [3], width_px=2000, height_px=3000), [3], spare=True),
        id="an odd spare",
    ),
]

SPEAKS = [
    pytest.param(
        change(sweep(), [3], width_px=2000, height_px=3000),
        ["QMK_0420"],
        "QMK_0420.JPG (3000 × 2000 pixels) differs in picture size: the 6 other frames "
        "have 6000 × 4000 pixels",
        id="half the size",
    ),
    pytest.param(
        change(sweep(), [3], width_px=3376, height_px=6000),
        ["QMK_0420"],
        "6000 × 3376",
        id="another aspect",
    ),
    pytest.param(
        change(sweep(), [3], width_px=3000, height_px=2000),
        ["QMK_0420"],
        "3000 × 2000",
        id="small and across",
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
