from __future__ import annotations

import pytest

from grouper.check.open_circle import CHECK
from grouper.model import Set
from tests.check.sets import ask, names, sweep, unclosed

SILENT = [
    pytest.param(sweep(10, 36.0, closed=True), id="a turn that closes"),
    pytest.param(sweep(9, 36.0, closed=True), id="a turn that the pictures saw closing"),
    pytest.param(sweep(10, 36.0), id="a turn that closes by the angles"),
    pytest.param(sweep(), id="an open sweep"),
    pytest.param(sweep(5), id="a half turn"),
    pytest.param(
        sweep(8, 34.5, fov_deg=(91.0, 113.0)),
        id="eight steps of an angle of view not known well: the rest is more than two of them",
    ),
    pytest.param(sweep(9, angles=False, pictures=False), id="no angles"),
    pytest.param(sweep(10, 36.0, skipped=[4]), id="a gap elsewhere in the turn"),
]

SPEAKS = [
    pytest.param(
        sweep(9, 36.0),
        ["QMK_0417", "QMK_0425"],
        "the last frame QMK_0425.JPG and the first QMK_0417.JPG point 72° apart and "
        "they do not overlap",
        id="one frame short",
    ),
    pytest.param(
        unclosed(sweep(10, 36.0)),
        ["QMK_0417", "QMK_0426"],
        "by the angles 32 % would overlap, but the pictures show no common ground",
        id="angles that meet, pictures that do not",
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
