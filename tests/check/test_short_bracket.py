from __future__ import annotations

import pytest

from grouper.check.short_bracket import CHECK
from grouper.model import Pointing, Set
from tests.check.sets import ask, bracket, names, regard, sweep


def unplaced(leg: int, lost: tuple[int, ...] = ()) -> Set:
    """Five bracketed views, some frames lost; one of those left could not be placed."""
    found = sweep(5, legs_ev=(0, -2, 2), lost=lost)
    return regard(found, [leg], view=5, pointing=Pointing())


SILENT = [
    pytest.param(sweep(legs_ev=(0, -2, 2)), id="a bracketed sweep"),
    pytest.param(sweep(), id="a plain sweep"),
    pytest.param(sweep(legs_ev=(0, -2, 2), deleted=[3]), id="a whole view missing"),
    pytest.param(
        sweep(7, legs_ev=(0, -2, 2), lost=[i for i in range(21) if i % 3 and i > 2]),
        id="one view bracketed for the sun",
    ),
    pytest.param(
        sweep(6, legs_ev=(0, -2, 2), lost=[1, 2, 7, 8, 13, 14]),
        id="views told apart so that every other one is short",
    ),
    pytest.param(unplaced(7), id="a leg that the pictures could not place"),
    pytest.param(bracket(), id="a bracket"),
    pytest.param(bracket((0.0, -2.0)), id="a bracket of two"),
    pytest.param(
        bracket((-4.0, -2.0, 0.0, 2.0), lost=[1]),
        id="a bracket that lost its middle: uneven instead",
    ),
]

SPEAKS = [
    pytest.param(
        sweep(legs_ev=(0, -2, 2), lost=[4]),
        ["QMK_0420", "QMK_0422"],
        "View 2 of 7 (QMK_0420.JPG and QMK_0422.JPG) lacks the −2 EV frame that the "
        "other views have",
        id="a leg never fired or lost in mid-sweep",
    ),
    pytest.param(
        unplaced(10, lost=(7,)),
        ["QMK_0423", "QMK_0425"],
        "lacks the −2 EV frame",
        id="a leg that could not be placed completes one view, not another that lacks another leg",
    ),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), lost=[4, 5]),
        ["QMK_0420"],
        "lacks the −2 EV and +2 EV frames",
        id="two legs of one view",
    ),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), lost=[20]),
        ["QMK_0435", "QMK_0436"],
        "View 7 of 7",
        id="the last frame of the sweep",
    ),
    pytest.param(
        sweep(5, legs_ev=(0, -2, 2), lost=[14]),
        ["QMK_0429", "QMK_0430"],
        "View 5 of 5",
        id="the last of five views",
    ),
    pytest.param(
        sweep(2, legs_ev=(0, -2, 2), lost=[5]),
        ["QMK_0420", "QMK_0421"],
        "View 2 of 2",
        id="one of two views",
    ),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), lost=[4], angles=False, pictures=False),
        ["QMK_0420", "QMK_0422"],
        "−2 EV",
        id="without angles",
    ),
    pytest.param(
        bracket((0.0, -2.0, 2.0), lost=[1]),
        ["QMK_0417", "QMK_0419"],
        "inside the bracket: 1 exposure is missing",
        id="a hole in a bracket on one spot",
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


def test_each_short_view_is_a_problem_of_its_own() -> None:
    problems = ask(CHECK, sweep(legs_ev=(0, -2, 2), lost=[4, 11]))
    assert [problem.measured["ev_missing"] for problem in problems] == [[-2.0], [2.0]]
