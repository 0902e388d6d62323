from __future__ import annotations

from dataclasses import replace

import pytest

from grouper.check.too_wide import CHECK
from grouper.model import Pointing, Set
from tests.check.sets import ask, column, names, sweep


def parted(views: int, lost: int) -> Set:
    """A sweep of which nothing ties the last views to the rest."""
    whole = sweep(views, 36.0, layout={"span_deg": (53.0 + 36.0 * (views - lost - 1), 74.0)})
    tied = len(whole.members) - lost
    members = [
        member if place < tied else replace(member, pointing=Pointing())
        for place, member in enumerate(whole.members)
    ]
    return replace(whole, members=tuple(members))


SILENT = [
    pytest.param(sweep(2), id="a hundred degrees"),
    pytest.param(parted(2, 1), id="a part beyond a gap that adds little"),
    pytest.param(sweep(4, layout={"span_deg": None}), id="four views whose span is not known"),
    pytest.param(sweep(layout={"span_deg": None, "fov_deg": None}), id="nor the lens"),
    pytest.param(sweep(layout={"span_deg": None, "rows": 2}), id="in two rows"),
    pytest.param(
        replace(sweep(layout={"span_deg": None}), confidence=0.4),
        id="views that are likelier singles, and no span known",
    ),
]

SPEAKS = [
    pytest.param(
        sweep(),
        [],
        "The span of 269° across outgrows a flat picture, whose edges stretch 4 times at 120°.",
        id="a wide sweep",
    ),
    pytest.param(
        parted(6, 4),
        [],
        "The span of about 233° across, with what lies beyond the gap, outgrows",
        id="half of the sweep lies beyond a gap of unknown width",
    ),
    pytest.param(
        sweep(layout={"span_deg": None}),
        [],
        "The span of at least 181° across, judged by the number of views, outgrows",
        id="so many views that they span more however much they overlap",
    ),
    pytest.param(column(3, 66.0), [], "The span of 206° upwards", id="tall"),
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
