"""Confidence grows with the chance, stays inside 0 and 1, and is lower where nothing was seen."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.group.confidence import calibrated

chances = st.floats(min_value=0.0, max_value=1.0)


@given(chances, st.booleans())
def test_stays_inside(chance: float, seen: bool) -> None:
    assert 0.0 <= calibrated(chance, seen=seen) < 1.0


@given(chances, chances, st.booleans())
def test_grows_with_the_chance(a: float, b: float, seen: bool) -> None:
    low, high = sorted((a, b))
    assert calibrated(low, seen=seen) <= calibrated(high, seen=seen)


@given(st.floats(min_value=0.4, max_value=1.0))
def test_unseen_is_less_sure(chance: float) -> None:
    assert calibrated(chance, seen=False) < calibrated(chance, seen=True)


@pytest.mark.parametrize(("chance", "confidence"), [(0.5, 0.69), (0.9, 0.975), (0.99, 0.995)])
def test_values_of_the_curve(chance: float, confidence: float) -> None:
    assert calibrated(chance, seen=True) == pytest.approx(confidence, abs=0.005)
