"""Stops of a head: which frames were shot without turning the camera."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from grouper.group.evidence import weigh
from grouper.group.looking import ask
from grouper.group.stops import LONGEST_LEG_PAUSE_S, Stops, find_stops
from tests.group.eyes import (
    BLACK,
    Shot,
    UnknowingEye,
    bracket,
    evidence_of,
    knowing,
    on_stops,
    pairs_of,
    singles,
    sweep,
)
from tests.support import frame


def begins(stops: Stops) -> list[int]:
    """Frames (by index) that begin a new stop."""
    return [int(k) + 1 for k in np.flatnonzero(stops.begins)]


STOPS = {
    "a sweep": (sweep(1, 0, [0, 35, 70]), [1, 2]),
    "a bracket": (bracket(1, 0, [0, -2, 2]), []),
    "a bracket at each view": (on_stops(1, 0, [0, 35, 70], [0, -2, 2]), [3, 6]),
    "a view shot twice": (sweep(1, 0, [0, 35, 35, 70]), [1, 3]),
    "singles": (singles(1, 0, 3), [1, 2]),
    "one frame": (singles(1, 0, 1), []),
}


@pytest.mark.parametrize(("shots", "expected"), STOPS.values(), ids=STOPS.keys())
def test_new_stops_begin_at(shots: list[Shot], expected: list[int]) -> None:
    assert begins(find_stops(evidence_of(shots))) == expected


def test_each_pair_is_still_turned_or_a_gap_when_looked_at() -> None:
    shots = [*on_stops(1, 0, [0, 35], [0, -2, 2]), Shot(frame(7, 60), "lake")]
    stops = find_stops(evidence_of(shots))
    assert stops.still.tolist() == [True, True, False, True, True, False]
    assert stops.turned.tolist() == [False, False, True, False, False, False]
    assert stops.gap.tolist() == [False] * 5 + [True]
    assert np.isnan(stops.overlap).tolist() == [False] * 5 + [True]
    assert stops.heading[2] == pytest.approx(0.0)


def test_a_leg_that_cannot_be_compared_with_its_neighbour_is_held_against_the_stop() -> None:
    # Dark, black (shows nothing), bright: the bright leg matches the first one.
    shots = [
        Shot(frame(1, 0)),
        Shot(frame(2, 20, exposure_s=1 / 4000), glance=BLACK),
        Shot(frame(3, 40, exposure_s=1 / 4)),
    ]
    pairs = pairs_of(shots)
    unseen = find_stops(weigh(pairs))
    assert begins(unseen) == [1, 2]  # by hand and slow: nothing says that they belong together
    quick = [
        Shot(frame(1, 0)),
        Shot(frame(2, 1, exposure_s=1 / 4000), glance=BLACK),
        Shot(frame(3, 40, exposure_s=1 / 4)),
    ]
    pairs = pairs_of(quick)
    ask(pairs, knowing(quick), [(0, 2)])
    assert begins(find_stops(weigh(pairs))) == []


LEGS: dict[str, tuple[list[dict[str, Any]], list[float], list[int]]] = {
    "quick legs": ([{"exposure_s": 1 / 250}, {"exposure_s": 1 / 15}], [1, 2], []),
    "slow legs": ([{"exposure_s": 1 / 250}], [LONGEST_LEG_PAUSE_S + 1], [1]),
    "slow legs of a body that says it brackets": (
        [{"exposure_s": 1 / 250, "bracketing": True}], [LONGEST_LEG_PAUSE_S + 1], []),
    "the first exposure again": ([{"exposure_s": 1 / 250}, {}], [1, 2], [1, 2]),
    "an odd frame of a sweep": ([{"exposure_s": 1 / 250}, {}, {}], [4, 8, 12], [1, 2, 3]),
    "what is left of a bracket beside a full one": (
        [{"exposure_s": 1 / 250}, {"exposure_s": 1 / 15}, {}, {"exposure_s": 1 / 15}],
        [1, 2, 4, 5], [3]),
    "the first exposure again while it brackets": (
        [{"exposure_s": 1 / 250, "bracketing": True}, {"bracketing": True}], [1, 2], [2]),
    "the aperture moved": ([{"exposure_s": 1 / 250, "aperture_f": 8.0}], [1], [1]),
    "the same exposure": ([{}], [1], [1]),
    "an unknown exposure": ([{"exposure_s": None}], [1], [1]),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "at", "expected"), LEGS.values(), ids=LEGS.keys())
def test_unseen_frames_are_legs_by_their_exposure(
    changes: list[dict[str, Any]], at: list[float], expected: list[int]
) -> None:
    flagged = any("bracketing" in c for c in changes)
    shots = [Shot(frame(1, 0, bracketing=flagged))]
    shots += [Shot(frame(i, t, **c)) for i, (t, c) in enumerate(zip(at, changes, strict=True), 2)]
    stops = find_stops(evidence_of(shots, UnknowingEye()))
    assert begins(stops) == expected
    assert not stops.gap.any()
    assert not stops.still.any()
