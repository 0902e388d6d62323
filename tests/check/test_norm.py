from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.check.norm import find_norm, median


def equal(a: int, b: int) -> bool:
    return a == b


@pytest.mark.parametrize(
    ("values", "value", "odd", "majority"),
    [
        ([1, 1, 1], 1, (), True),
        ([1, 2, 1], 1, (1,), True),
        ([2, 1, 1], 1, (0,), True),
        ([1, 2, 2, 1], 1, (1, 2), False),
        ([None, 2, None], 2, (), True),
        ([1, None, 2, 2], 2, (0,), True),
        ([1, 2, 3], 1, (1, 2), False),
    ],
)
def test_most_decide_and_ties_go_to_the_first(
    values: list[int | None], value: int, odd: tuple[int, ...], majority: bool
) -> None:
    norm = find_norm(values, equal)
    assert norm is not None
    assert (norm.value, norm.odd, norm.is_majority) == (value, odd, majority)


@pytest.mark.parametrize("values", [[], [None, None]])
def test_nothing_known_no_norm(values: list[int | None]) -> None:
    assert find_norm(values, equal) is None


@given(st.lists(st.integers(0, 3) | st.none(), min_size=1))
def test_every_known_value_is_typical_or_odd(values: list[int | None]) -> None:
    norm = find_norm(values, equal)
    known = {index for index, value in enumerate(values) if value is not None}
    if norm is None:
        assert not known
    else:
        assert set(norm.typical) | set(norm.odd) == known
        assert not set(norm.typical) & set(norm.odd)


def test_median() -> None:
    assert median([3.0, 1.0, 2.0]) == 2.0
    assert median([4.0, 1.0]) == 2.5
    with pytest.raises(ValueError, match="no values"):
        median([])
