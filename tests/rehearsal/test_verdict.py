"""The fit of the weights of certainty: on numbers whose weights are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from testdata.verdict import RIGHT_ODDS, Sample, fitted, judged, report, weights_of


def _samples(count: int = 4000) -> list[Sample]:
    """Right by a logistic curve over the first of two numbers; the second tells nothing."""
    rng = np.random.default_rng(8)
    numbers = rng.normal(0.0, 1.5, (count, 2))
    right = rng.random(count) < 1 / (1 + np.exp(-(2.0 * numbers[:, 0] - 0.5)))
    return [
        Sample(
            "neighbour" if is_right else "stranger", f"card-{at % 16}", False, bool(is_right), pair
        )
        for at, (pair, is_right) in enumerate(
            zip(map(tuple, numbers.tolist()), right.tolist(), strict=True)
        )
    ]


def test_known_weights_are_found_again() -> None:
    first, second, _ = fitted(_samples())
    assert first == pytest.approx(2.0, abs=0.25)
    assert second == pytest.approx(0.0, abs=0.15)


def test_each_is_judged_by_others() -> None:
    some = _samples()
    before = judged(some)
    # What is said of one card does not change with what is right on it.
    lied = [
        replace(one, is_right=one.card == "card-3") if one.card == "card-3" else one for one in some
    ]
    own = np.array([one.card == "card-3" for one in some])
    assert judged(lied)[own] == pytest.approx(before[own])
    is_right = np.array([one.is_right for one in some])
    assert before[is_right].mean() > before[~is_right].mean() + 0.3


def test_kinds_weigh_the_same_however_many_there_are() -> None:
    some = _samples()
    few = [one for at, one in enumerate(some) if one.is_right or at % 7 == 0]
    for these in (some, few):
        weights = weights_of(these)
        right = np.array([one.is_right for one in these])
        assert weights.sum() == pytest.approx(len(these))
        assert weights[right].sum() / weights[~right].sum() == pytest.approx(RIGHT_ODDS)


def test_the_report_counts_every_kind() -> None:
    some = [
        Sample("neighbour", "a", True, True, (1.0,)),
        Sample("neighbour", "a", True, True, (0.5,)),
        Sample("stranger", "b", False, False, (0.0,)),
    ]
    lines = list(report(some, np.array([0.95, 0.6, 0.2])))
    assert [line.split() for line in lines[1:3]] == [
        ["neighbour,", "photographed", "2", "2", "1"],
        ["stranger,", "rendered", "1", "0", "0"],
    ]
