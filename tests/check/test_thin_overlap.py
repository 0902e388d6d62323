from __future__ import annotations

import pytest

from grouper.check.thin_overlap import CHECK
from grouper.model import Set
from tests.check.sets import ask, blind, column, names, seen, sweep, unmatched

SILENT = [
    pytest.param(sweep(), id="a sweep with a third"),
    pytest.param(sweep(step_deg=42.0), id="just above a fifth"),
    pytest.param(sweep(deleted=[3]), id="a gap, which is no thin overlap"),
    pytest.param(sweep(angles=False, pictures=False), id="no angles and no pictures"),
    pytest.param(sweep(5, pitches_deg=(0.0, 45.0)), id="two rows"),
    pytest.param(sweep(4, step_deg=55.0, pitches_deg=(45.0,)), id="a wide step high up"),
    pytest.param(
        seen(sweep(step_deg=46.0), 0.30), id="angles that say thin, pictures that say enough"
    ),
]

SPEAKS = [
    pytest.param(
        sweep(yaws_deg=[0, 36, 72, 117, 153]),
        ["QMK_0419", "QMK_0420"],
        "1 of 4 pairs of neighbours overlaps by less than 20 %: QMK_0419.JPG and "
        "QMK_0420.JPG (15 %)",
        id="one long step",
    ),
    pytest.param(
        sweep(4, step_deg=45.0),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420"],
        "3 of 3 pairs of neighbours overlap by less than 20 %",
        id="a whole sweep",
    ),
    pytest.param(
        seen(blind(sweep(4)), 0.12),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420"],
        "(12 %)",
        id="the pictures say so, angles unknown",
    ),
    pytest.param(
        unmatched(seen(blind(sweep(5)), 0.12), 2),
        ["QMK_0417", "QMK_0418", "QMK_0419", "QMK_0420", "QMK_0421"],
        "QMK_0419.JPG and QMK_0420.JPG (nothing seen)",
        id="one pair that shows nothing in a thin sweep",
    ),
    pytest.param(
        column(3, 66.0),
        ["QMK_0417", "QMK_0418", "QMK_0419"],
        "2 of 2 pairs",
        id="an up-and-down sweep",
    ),
    pytest.param(
        sweep(3, 45.0, legs_ev=(0, -2, 2)),
        ["QMK_0419", "QMK_0420", "QMK_0422", "QMK_0423"],
        "2 of 2 pairs",
        id="a bracketed sweep",
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


def test_a_gap_beside_thin_pairs_is_not_counted_among_them() -> None:
    (problem,) = ask(CHECK, sweep(yaws_deg=[0, 36, 72, 144, 180, 224, 260]))
    assert names(problem.frames) == ["QMK_0421", "QMK_0422"]
    assert problem.measured["least_overlap"] == pytest.approx(0.172, abs=0.001)
