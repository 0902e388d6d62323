"""Neighbours found in doubt, held against what earlier frames say of them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grouper.group.crosscheck import SAME_TURN_DEG, cross_check
from grouper.group.pairs import Pairs
from grouper.model import Sighting
from tests.group.eyes import pairs_of, sweep


def turned(yaw_deg: float, certainty: float, *, pitch_deg: float = 0.0) -> Sighting:
    return Sighting(
        overlap=0.4,
        certainty=certainty,
        turn_deg=(pitch_deg, yaw_deg, 0.0),
        shift_share=(yaw_deg / 53.0, pitch_deg / 73.0),
    )


def doubtful(turn_deg: float, certainty: float = 0.7) -> Pairs:
    """Three frames 35 degrees apart, of which the last two are found in doubt."""
    pairs = pairs_of(sweep(1, 0, [0.0, 20.0, 40.0]))
    pairs.sightings[1, 2] = turned(turn_deg, certainty)
    return pairs


def certainty_of(pairs: Pairs, i: int, j: int) -> float:
    seen = pairs.seen(i, j)
    assert seen is not None
    return seen.certainty


def test_what_an_earlier_frame_confirms_is_sure() -> None:
    pairs = doubtful(20.0 + SAME_TURN_DEG - 1.0)
    pairs.sightings[0, 2] = turned(40.0, 0.97)
    cross_check(pairs)
    assert certainty_of(pairs, 1, 2) == 0.97


@pytest.mark.parametrize("found_deg", [-20.0, 35.0, 20.0 + SAME_TURN_DEG + 1.0])
def test_what_an_earlier_frame_contradicts_is_dropped(found_deg: float) -> None:
    pairs = doubtful(found_deg)
    pairs.sightings[0, 2] = turned(40.0, 0.97)
    cross_check(pairs)
    assert certainty_of(pairs, 1, 2) == pytest.approx(0.03)


@pytest.mark.parametrize("certainty", [0.3, 0.95])
def test_what_is_settled_or_not_believed_stays(certainty: float) -> None:
    pairs = doubtful(-20.0, certainty)
    pairs.sightings[0, 2] = turned(40.0, 0.97)
    cross_check(pairs)
    assert certainty_of(pairs, 1, 2) == certainty


def test_the_surest_tie_decides() -> None:
    pairs = pairs_of(sweep(1, 0, [0.0, 20.0, 40.0, 60.0]))
    pairs.sightings[2, 3] = turned(20.0, 0.7)
    pairs.sightings[0, 3] = turned(10.0, 0.92)
    pairs.sightings[1, 3] = turned(40.0, 0.98)
    cross_check(pairs)
    assert certainty_of(pairs, 2, 3) == 0.98


def test_a_tie_in_doubt_proves_nothing() -> None:
    pairs = doubtful(-20.0)
    pairs.sightings[0, 2] = turned(40.0, 0.8)
    cross_check(pairs)
    assert certainty_of(pairs, 1, 2) == 0.7


def test_a_tie_proves_nothing_where_the_way_to_it_is_in_doubt() -> None:
    pairs = doubtful(-20.0)
    pairs.sightings[0, 1] = turned(20.0, 0.6)
    pairs.sightings[0, 2] = turned(40.0, 0.97)
    cross_check(pairs)
    assert certainty_of(pairs, 1, 2) == 0.7
    # The frame before is not told by itself either.
    assert certainty_of(pairs, 0, 1) == 0.6


def test_turns_about_different_axes_are_put_together() -> None:
    """A quarter turn to the right and one up is not one up and then to the right."""
    pairs = doubtful(0.0)
    pairs.sightings[0, 1] = turned(90.0, 0.97)
    pairs.sightings[1, 2] = turned(0.0, 0.7, pitch_deg=90.0)
    # A third of a turn about the room's diagonal, (1, 1, 1): first right, then up.
    third = 120.0 / 3.0**0.5
    tie = replace(turned(third, 0.98, pitch_deg=third), turn_deg=(third, third, -third))
    pairs.sightings[0, 2] = tie
    cross_check(pairs)
    right_then_up = certainty_of(pairs, 1, 2)
    pairs.sightings[1, 2] = turned(0.0, 0.7, pitch_deg=90.0)
    pairs.sightings[0, 2] = replace(tie, turn_deg=(third, third, third))
    cross_check(pairs)
    assert sorted([right_then_up, certainty_of(pairs, 1, 2)]) == pytest.approx([0.02, 0.98])
