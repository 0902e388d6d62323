"""Choosing a cut, held against every possible cut counted out one by one."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.group.choose import Proposal, choose


def proposal(first: int, last: int, weight: float) -> Proposal:
    return Proposal(kind="panorama", first=first, last=last, weight=weight)


@st.composite
def cards(draw: st.DrawFn) -> tuple[int, list[Proposal]]:
    count = draw(st.integers(0, 7))
    proposals = []
    for _ in range(draw(st.integers(0, 9)) if count >= 2 else 0):
        first = draw(st.integers(0, count - 2))
        last = draw(st.integers(first + 1, count - 1))
        weight = draw(st.floats(-6, 30, allow_nan=False))
        proposals.append(proposal(first, last, weight))
    return count, proposals


def every_cut(proposals: Sequence[Proposal], count: int, first: int = 0) -> Iterator[list[int]]:
    """Every way to cut the frames from ``first`` on: lists of indexes into ``proposals``."""
    if first >= count:
        yield []
        return
    yield from every_cut(proposals, count, first + 1)
    for i, p in enumerate(proposals):
        if p.first == first:
            for rest in every_cut(proposals, count, p.last + 1):
                yield [i, *rest]


@given(cards())
def test_the_choice_is_the_best_of_all_cuts(card: tuple[int, list[Proposal]]) -> None:
    count, proposals = card
    best = max(sum(proposals[i].weight for i in cut) for cut in every_cut(proposals, count))
    chosen = [c.proposal for c in choose(proposals, count)]
    assert sum(p.weight for p in chosen) == pytest.approx(best, abs=1e-9)
    assert all(a.last < b.first for a, b in itertools.pairwise(chosen))


@given(cards(), st.sampled_from([1.0, 2.0, 3.7]))
def test_chances_are_shares_of_all_cuts(card: tuple[int, list[Proposal]], temper: float) -> None:
    count, proposals = card
    worth = [
        (cut, math.exp(sum(proposals[i].weight for i in cut) / temper))
        for cut in every_cut(proposals, count)
    ]
    total = sum(w for _, w in worth)
    for choice in choose(proposals, count, temper):
        index = next(i for i, p in enumerate(proposals) if p is choice.proposal)
        share = sum(w for cut, w in worth if index in cut) / total
        assert choice.chance == pytest.approx(share, rel=1e-6)
        assert 0.0 <= choice.chance <= 1.0


@given(cards())
def test_the_order_of_proposals_does_not_move_the_worth(card: tuple[int, list[Proposal]]) -> None:
    count, proposals = card
    there = choose(proposals, count)
    back = choose(proposals[::-1], count)
    assert sum(c.proposal.weight for c in there) == pytest.approx(
        sum(c.proposal.weight for c in back)
    )


def test_nothing_proposed_nothing_chosen() -> None:
    assert choose([], 5) == ()
    assert choose([], 0) == ()
    assert choose([proposal(0, 3, -0.1)], 5) == ()


def test_equal_rivals_share_the_chance() -> None:
    (one,) = choose([proposal(0, 4, 20.0), proposal(1, 5, 20.0)], 6)
    assert one.chance == pytest.approx(0.5, abs=1e-6)


def test_temper_draws_a_chance_towards_doubt_without_moving_the_choice() -> None:
    rivals = [proposal(0, 4, 12.0), proposal(0, 5, 10.0)]
    (sure,) = choose(rivals, 6)
    (doubtful,) = choose(rivals, 6, temper=4.0)
    assert sure.proposal == doubtful.proposal == rivals[0]
    assert 0.5 < doubtful.chance < sure.chance < 1.0


def test_great_weights_do_not_overflow() -> None:
    (found,) = choose([proposal(0, 1999, 40_000.0)], 2000)
    assert found.chance == pytest.approx(1.0)
