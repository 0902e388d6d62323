from __future__ import annotations

import pytest

from grouper.check.rolled_camera import CHECK
from grouper.model import Set
from tests.check.sets import ask, names, sweep

SILENT = [
    pytest.param(sweep(), id="not known"),
    pytest.param(sweep(layout={"camera_roll_deg": -1.0}), id="a degree"),
]

SPEAKS = [
    pytest.param(
        sweep(layout={"camera_roll_deg": 3.0}),
        [],
        "The camera was rolled clockwise by 3.0°, so each frame climbs against the "
        "last; straightening costs about 2 % of the height.",
        id="clockwise",
    ),
    pytest.param(
        sweep(angles=False, pictures=False, layout={"camera_roll_deg": -4.0}),
        [],
        "rolled counter-clockwise by 4.0°, so each frame climbs against the last.",
        id="the other way, angles unknown",
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
