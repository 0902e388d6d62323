from __future__ import annotations

from dataclasses import replace

import pytest

from grouper.check.set_in_doubt import CHECK
from grouper.model import Set
from tests.check.sets import ask, bracket, burst, names, sweep

SILENT = [
    pytest.param(sweep(), id="a sure set"),
    pytest.param(replace(sweep(), confidence=0.6), id="on the limit"),
    pytest.param(sweep(5, odd={2: {"aperture_f": 5.6}}), id="one odd aperture in five"),
    pytest.param(
        sweep(odd={i: {"focal_mm": 35.0} for i in (3, 4, 5, 6)}), id="zoomed once for good"
    ),
    pytest.param(sweep(2, odd={1: {"aperture_f": 5.6}}), id="two frames that differ"),
    pytest.param(
        sweep(3, program="auto", odd={1: {"aperture_f": 5.6}}),
        id="an aperture that the camera moves",
    ),
    pytest.param(
        sweep(
            4,
            legs_ev=(-2, 0, 2),
            odd={i: {"aperture_f": (16.0, 8.0, 4.0)[i % 3]} for i in range(12)},
        ),
        id="a sweep bracketed by the aperture",
    ),
    pytest.param(bracket(odd={1: {"aperture_f": 5.6}}), id="a bracket by the aperture is no sweep"),
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
        sweep(3, program="aperture", odd={0: {"aperture_f": 4.0}, 1: {"aperture_f": 8.0}}),
        [],
        "Between most of these frames the aperture was changed by hand",
        id="singles of one place, each at its own aperture",
    ),
    pytest.param(
        sweep(5, odd={1: {"focal_mm": 35.0}, 3: {"focal_mm": 70.0}}),
        [],
        "the focal length was changed by hand",
        id="zoomed to and fro",
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
