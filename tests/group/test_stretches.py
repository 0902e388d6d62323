"""Growing a stretch frame by frame, and when it is given up."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from grouper.group.stretches import FALLEN, HOPELESS, MOST_DOUBTFUL, ends_at, grow


def table(values: list[float]) -> Callable[[int], float]:
    return lambda link: values[link]


def test_every_end_is_yielded_with_its_sum() -> None:
    assert list(grow(0, 3, table([1.0, 2.0, -0.5]))) == [(1, 1.0), (2, 3.0), (3, 2.5)]


def test_a_stretch_may_start_later_and_reaches_no_further_than_told() -> None:
    assert [end for end, _ in grow(1, 3, table([9.0, 1.0, 1.0, 1.0]))] == [2, 3]
    assert [end for end, _ in grow(0, 9, table([1.0] * 9), longest=4)] == [1, 2, 3]
    assert list(grow(2, 2, table([]))) == []


def test_a_stretch_below_hope_is_given_up() -> None:
    assert list(grow(0, 3, table([HOPELESS - 0.1, 99.0, 99.0]))) == []


def test_a_stretch_that_fell_from_its_best_is_given_up_though_still_positive() -> None:
    found = list(grow(0, 3, table([20.0, -FALLEN - 0.1, 5.0])))
    assert found == [(1, 20.0)]


def test_pairs_are_asked_for_in_order_and_once() -> None:
    asked: list[int] = []

    def weight(link: int) -> float:
        asked.append(link)
        return 1.0

    assert len(list(grow(3, 7, weight))) == 4
    assert asked == [3, 4, 5, 6]


EVEN = np.ones(9)


def weak(*flags: int) -> np.ndarray:
    return np.array(flags, dtype=bool)


def test_stretches_start_and_end_only_where_a_boundary_might_be() -> None:
    starts, ends = ends_at(EVEN, weak(0, 1, 0, 0, 1, 0), 0, 6)
    assert starts == (0, 2, 5)
    assert ends == {1, 4, 6}


def test_only_the_run_asked_about_counts() -> None:
    starts, ends = ends_at(EVEN, weak(1, 1, 0, 0, 1, 1), 2, 5)
    assert starts == (2,)
    assert ends == {4, 5}
    assert ends_at(EVEN, weak(0, 0, 0), 0, 3) == ((0,), frozenset({3}))


def test_where_nothing_is_known_the_likeliest_of_every_few_pairs_may_be_a_boundary() -> None:
    weights = np.ones(5000)
    weights[[7, 2500]] = -4.0  # plain cuts stay, whatever is around
    weights[100] = 0.2
    starts, ends = ends_at(weights, weights < 2.0, 0, 5000)
    assert len(starts) <= 2 * MOST_DOUBTFUL + 12
    assert {7, 100, 2500, 5000} <= ends
    assert {8, 101, 2501} <= set(starts)


def test_few_doubtful_pairs_are_all_kept() -> None:
    weights = np.full(MOST_DOUBTFUL, 1.0)
    _, ends = ends_at(weights, weights < 2.0, 0, MOST_DOUBTFUL)
    assert ends == set(range(MOST_DOUBTFUL + 1))
