from __future__ import annotations

import pytest

from grouper.check.short_stack import CHECK
from grouper.model import Set
from tests.check.sets import ask, names, stack, steps, sweep

SILENT = [
    pytest.param(stack([0.5, 0.6, 0.75, 1.0, 1.5, 3.0]), id="a whole stack"),
    pytest.param(stack([None] * 6), id="distances that are not recorded"),
    pytest.param(stack([0.5, 0.55, 0.8, 0.9, 2.0, 2.2]), id="uneven steps of a hand on the ring"),
    pytest.param(stack([0.5, 0.7, 0.6, 1.0, 0.8]), id="focus that went to and fro"),
    pytest.param(steps(sweep(4, legs_ev=(0, 0, 0))), id="a sweep with focus steps"),
    pytest.param(sweep(), id="a plain sweep"),
]

SPEAKS = [
    pytest.param(
        stack([0.5, 0.6, 0.75, 1.0, 1.5, 3.0], lost=[3]),
        ["QMK_0419", "QMK_0421"],
        "inside the stack: 1 step is missing",
        id="a number left out",
    ),
    pytest.param(
        stack([1 / 2.0, 1 / 1.8, 1 / 1.6, 1 / 1.2, 1 / 1.0, 1 / 0.8]),
        ["QMK_0419", "QMK_0420"],
        "The focus moves by 0.40 dioptre between QMK_0419.JPG (62 cm) and QMK_0420.JPG "
        "(83 cm), where the other steps are about 0.20",
        id="a step twice as long as the others",
    ),
    pytest.param(
        steps(sweep(4, legs_ev=(0, 0, 0), lost=[4])),
        ["QMK_0420", "QMK_0422"],
        "View 2 of 4 (QMK_0420.JPG and QMK_0422.JPG) lacks focus step 2, counted from the near end",
        id="a view of a sweep",
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
