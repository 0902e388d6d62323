"""Frames of something else amid a sweep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pytest

from grouper.group.interruptions import find_interruptions
from grouper.model import Sighting
from tests.group.eyes import BLACK, PLAIN, KnowingEye, Shot, knowing, pairs_of
from tests.support import frame


def shots_at(views: Sequence[float | str | None]) -> list[Shot]:
    """Shots five seconds apart: at a yaw in degrees, of another place, or blank."""
    return [
        Shot(
            frame(i + 1, 5.0 * i),
            view if isinstance(view, str) else "ridge",
            0.0 if isinstance(view, str) else view or 0.0,
            glance=BLACK if view is None else PLAIN,
        )
        for i, view in enumerate(views)
    ]


@pytest.mark.parametrize(
    ("views", "expected"),
    [
        ([0, 30, "bird", 60, 90], [range(2, 3)]),
        ([0, 30, "bird", "fly", 60, 90], [range(2, 4)]),
        ([0, 30, "bird", "fly", "moth", 60, 90], [range(2, 5)]),
        ([0, 30, "bird", 60, 90, "fly", 120, 150], [range(2, 3), range(5, 6)]),
        ([0, 30, 60, "bird", "bird", 90, 120], [range(3, 5)]),
        ([0, 30, None, 60, 90], [range(2, 3)]),  # too plain to tell, but no view is left out
        ([0, 30, "bird", None, 60, 90], [range(2, 4)]),
        ([0, 30, None, "bird", 60, 90], [range(2, 4)]),
    ],
)
def test_a_sweep_that_goes_on_was_interrupted(
    views: list[float | str | None], expected: list[range]
) -> None:
    assert find_interruptions(pairs_of(shots_at(views))) == tuple(expected)


@pytest.mark.parametrize(
    "views",
    [
        [0, 20, "not matched", 60, 80],  # two steps on: it is the view between
        [0, 30, "bird", 0, 30],  # another go
        [0, 30, "bird", 30, 60],  # shot again, not a step
        ["gate", 30, "bird", 60, 90],  # not a sweep yet
        [0, 30, "bird", 60, "gate"],  # not a sweep any more
        [0, 30, None, 90, 120],  # it may be the view between
        [0, 30, 60, 90, 120],
        [0, 30, "1", "2", "3", "4", 60, 90],  # left for another subject
        [0, 40, "bird", 60, 80],  # the steps before, beside or over it are of another sweep
        [0, 20, "bird", 40, 80],
        [0, 40, "bird", 60, 100],
        [0, 30, 85, 86, "bird", 60, 90],  # a view further on, shot twice
    ],
)
def test_what_is_no_interruption(views: list[float | str | None]) -> None:
    assert find_interruptions(pairs_of(shots_at(views))) == ()


def test_the_way_is_the_same_on_either_side_of_a_half_turn() -> None:
    shots = shots_at([0, -30, "bird", -60, -90])
    unsteady = [replace(shot, pitch=float(at % 2)) for at, shot in enumerate(shots)]
    assert find_interruptions(pairs_of(unsteady)) == (range(2, 3),)


@dataclass(frozen=True)
class Doubting(KnowingEye):
    """Is not sure of what lies on either side of the third frame."""

    certainty: float = 0.0

    def _see(self, a: Shot, b: Shot) -> Sighting | None:
        seen = super()._see(a, b)
        if seen is None or (a.frame.counter, b.frame.counter) != (2, 4):
            return seen
        return replace(seen, certainty=self.certainty)


@pytest.mark.parametrize(("certainty", "expected"), [(0.7, ()), (0.9, (range(2, 3),))])
def test_the_step_over_it_leaves_no_doubt(certainty: float, expected: tuple[range, ...]) -> None:
    shots = shots_at([0, 30, "bird", 60, 90])
    eye = Doubting(knowing(shots).shots, certainty=certainty)
    assert find_interruptions(pairs_of(shots, eye)) == expected


def test_a_divider_is_no_interruption() -> None:
    pairs = pairs_of(shots_at([0, 30, "hand", 60, 90]))
    assert find_interruptions(pairs, frozenset({2})) == ()
