from __future__ import annotations

import pytest

from grouper.check.tilted_base import CHECK
from grouper.model import Set
from tests.check.sets import ask, names, sweep

SILENT = [
    pytest.param(sweep(), id="not known"),
    pytest.param(sweep(layout={"base_tilt_deg": 0.2}), id="level"),
    pytest.param(sweep(3, layout={"base_tilt_deg": 1.0}), id="a degree over a short sweep"),
]

SPEAKS = [
    pytest.param(
        sweep(layout={"base_tilt_deg": 2.5}),
        [],
        "The base leaned by 2.5°; straightening costs up to 9 % of the height.",
        id="two and a half degrees",
    ),
    pytest.param(
        sweep(20, 18.0, fov_deg=(26.99, 39.6), layout={"base_tilt_deg": -1.0}),
        [],
        "The base leaned by 1.0°; straightening costs up to 5 % of the height.",
        id="a degree that costs a long lens much",
    ),
    pytest.param(
        sweep(layout={"base_tilt_deg": 3.0, "fov_deg": None}),
        [],
        "The base leaned by 3.0°.",
        id="angles unknown",
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
