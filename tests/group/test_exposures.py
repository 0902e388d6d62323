"""Exposure levels against the exact series behind the marks of ISO 516."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.group.exposures import (
    FLAGGED,
    LADDER,
    REPEATED_LEVEL,
    exposure_levels,
    is_even_ladder,
    is_tried_out,
    ladder_reasons,
    ladder_weight,
    level_values,
)
from grouper.optics import light_ev
from tests.support import frame

MARKED = [
    *(30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 0.8, 0.6, 0.5, 0.4, 0.3),
    *(1 / n for n in (4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200)),
    *(1 / n for n in (250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000)),
    *(1 / n for n in (5000, 6400, 8000)),
]
"""Shutter times as marked in thirds of a stop (ISO 516), longest first."""
EXACT = [2.0 ** (5 - k / 3) for k in range(len(MARKED))]
"""The powers of two behind them, from 32 s (marked 30) downwards."""


def light(times_s: list[float]) -> np.ndarray:
    return np.array([light_ev(t, 8.0, 100.0) for t in times_s])


def test_the_series_ends_where_it_should() -> None:
    assert MARKED[-1] == 1 / 8000
    assert EXACT[-1] == pytest.approx(1 / 8192)


@pytest.mark.parametrize("step", [1, 2, 3, 6], ids=["1/3", "2/3", "1", "2"])
def test_marked_ladders_have_as_many_levels_as_shots(step: int) -> None:
    for start in range(len(MARKED) - 4 * step):
        times = MARKED[start : start + 4 * step + 1 : step]
        assert exposure_levels(light(times)) == (4, 3, 2, 1, 0), times


def test_a_marked_and_an_exact_value_of_one_setting_are_one_level() -> None:
    for marked, exact in zip(MARKED, EXACT, strict=True):
        assert exposure_levels(light([marked, exact])) == (0, 0), (marked, exact)


@pytest.mark.parametrize("step", [3, 6, 9], ids=["1 EV", "2 EV", "3 EV"])
@pytest.mark.parametrize("legs", [3, 5, 7])
def test_marked_ladders_of_whole_stops_are_even(step: int, legs: int) -> None:
    for start in range(len(MARKED) - (legs - 1) * step):
        assert is_even_ladder(light(MARKED[start : start + (legs - 1) * step + 1 : step]))


@given(st.permutations(range(7)), st.sampled_from([1 / 3, 2 / 3, 1.0, 2.0]))
def test_levels_run_dark_to_light_in_any_firing_order(order: list[int], step: float) -> None:
    evs = np.array([step * k for k in order])
    assert exposure_levels(evs) == tuple(order)
    assert level_values(evs) == pytest.approx(sorted(evs))
    assert is_even_ladder(evs)


def test_frames_of_one_exposure_share_their_level() -> None:
    evs = np.array([0.0, 2.0, 0.1, -2.0, 1.95])
    assert exposure_levels(evs) == (1, 2, 1, 0, 2)
    assert level_values(evs) == pytest.approx([-2.0, 0.05, 1.975])


@pytest.mark.parametrize(
    "evs", [[], [math.nan], [0.0, math.nan, 2.0], [math.inf, 0.0], [-math.inf]]
)
def test_levels_are_not_known_where_an_exposure_is_not(evs: list[float]) -> None:
    assert exposure_levels(np.array(evs)) is None
    assert len(level_values(np.array(evs))) == 0
    assert not is_even_ladder(np.array(evs))


UNEVEN = {
    "one level": [0, 0, 0],
    "two levels have no spacing to compare": [0, 2],
    "a leg missing": [-2, 0, 4],
    "a stop and two": [0, 1, 3],
}


@pytest.mark.parametrize("evs", UNEVEN.values(), ids=UNEVEN.keys())
def test_no_even_ladder_is_seen_in(evs: list[float]) -> None:
    assert not is_even_ladder(np.array(evs, dtype=float))


WEIGHTS = {
    "even": ([-2, 0, 2], False, LADDER),
    "even and flagged": ([-2, 0, 2], True, LADDER + FLAGGED),
    "uneven": ([-2, 0, 1], False, 0.0),
    "two legs": ([0, 2], False, 0.0),
    "a repeated level": ([0, -2, 2, 0], False, LADDER + REPEATED_LEVEL),
    "two brackets in one": ([0, -2, 2, 0, -2, 2], False, LADDER + 3 * REPEATED_LEVEL),
}


@pytest.mark.parametrize(("evs", "flagged", "weight"), WEIGHTS.values(), ids=WEIGHTS.keys())
def test_the_weight_of_a_ladder(evs: list[float], flagged: bool, weight: float) -> None:
    frames = [frame(i, bracketing=flagged) for i in range(len(evs))]
    light = np.array(evs, dtype=float)
    assert ladder_weight(frames, light) == pytest.approx(weight)
    reasons = ladder_reasons(frames, light)
    assert f"{len(set(evs))} exposures over {max(evs) - min(evs):.1f} EV" in reasons
    assert ("the body recorded that it was bracketing" in reasons) == flagged


@pytest.mark.parametrize("evs", [[0.0, 0.0, 0.0], [0.0, math.nan], [0.0, 0.1]])
def test_no_ladder_no_reason(evs: list[float]) -> None:
    frames = [frame(i) for i in range(len(evs))]
    assert ladder_weight(frames, np.array(evs)) is None
    assert ladder_reasons(frames, np.array(evs)) == ()


def test_the_weight_does_not_depend_on_the_firing_order() -> None:
    frames = [frame(i) for i in range(5)]
    found = {
        round(ladder_weight(frames, np.array(order, dtype=float)) or 0.0, 9)
        for order in itertools.permutations([-4, -2, 0, 2, 4])
    }
    assert found == {LADDER}


TRIED_OUT = [
    # exposures, that behind, whether the body bracketed, tried out
    ([1.0, -0.33, 0.0], 0.0, False, True),
    ([1.0, 0.0], 0.0, False, True),
    ([1.0, -0.33, 0.0], 0.1, False, True),
    ([1.0, -0.33, 0.0], 0.33, False, False),
    ([1.0, -0.33, 0.0], math.nan, False, False),
    ([1.0, -0.33, 0.0], 0.0, True, False),
    ([-1.0, 1.0, 0.0], 0.0, False, False),
    ([1.0, 0.0, 0.1], 0.1, False, False),
    ([math.nan, 0.0], 0.0, False, False),
]


@pytest.mark.parametrize(("evs", "after", "flagged", "tried"), TRIED_OUT)
def test_exposures_are_tried_out_until_one_is_gone_on_with(
    evs: list[float], after: float, flagged: bool, tried: bool
) -> None:
    frames = [frame(i, bracketing=flagged or None) for i in range(len(evs))]
    assert is_tried_out(frames, np.array(evs), after) == tried
