"""Takes: the same thing shot again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from grouper.group.takes import LONGEST_WAIT_S, second_take_starts
from grouper.group.views import Places
from grouper.model import Grouping
from tests.group.eyes import (
    Shot,
    UnknowingEye,
    bracket,
    grouped,
    numbers,
    run,
    singles,
    sweep,
)
from tests.support import frame

SEVEN = [0, 35, 70, 105, 140, 175, 210]


def places(view: Sequence[int], leg: Sequence[int] | None = None) -> Places:
    zeros = (0,) * len(view)
    return Places(
        row=zeros, view=tuple(view), leg=tuple(leg or zeros), step=zeros, spare=(False,) * len(view)
    )


CUTS: dict[str, tuple[Places, int | None]] = {
    "one sweep": (places([0, 1, 2, 3]), None),
    "nothing twice but a spare": (places([0, 1, 1, 2, 3]), None),
    "twice the same way": (places([0, 1, 2, 3, 0, 1, 2, 3]), 4),
    "there and back": (places([0, 1, 2, 3, 3, 2, 1, 0]), 4),
    "the second breaks off late": (places([0, 1, 2, 3, 4, 0, 1, 2]), 5),
    "the second breaks off early": (places([0, 1, 2, 3, 4, 0, 1]), None),
    "a full turn and a bit more": (places([*range(10), 0, 1]), None),
    "the second from the far end": (places([0, 1, 2, 4, 3, 2, 1, 0]), 3),
    "the first broke off": (places([0, 1, 2, 0, 1, 2, 3, 4]), 3),
    "legs sweep by sweep": (places([0, 1, 2, 0, 1, 2], [0, 0, 0, 1, 1, 1]), None),
    "legs there and back": (places([0, 1, 2, 2, 1, 0], [0, 0, 0, 1, 1, 1]), None),
    "a bracketed sweep twice": (places([0, 0, 1, 1, 2, 2] * 2, [0, 1] * 6), 6),
    "one view": (places([0, 0, 0]), None),
}


@pytest.mark.parametrize(("where", "cut"), CUTS.values(), ids=CUTS.keys())
def test_where_a_second_take_starts(where: Places, cut: int | None) -> None:
    assert second_take_starts(where) == cut


def chains(grouping: Grouping) -> list[list[int]]:
    """For every set, which sets it knows as its takes, by position."""
    position = {s.id: i for i, s in enumerate(grouping.sets)}
    return [[position[t] for t in s.takes] for s in grouping.sets]


TAKEN = {
    "the same way": [*sweep(1, 0, SEVEN), *sweep(8, 50, SEVEN)],
    "there and back": [*sweep(1, 0, SEVEN), *sweep(8, 50, SEVEN[::-1])],
    "two brackets of one view": [*bracket(1, 0, [0, -2, 2]), *bracket(4, 20, [0, -2, 2])],
    "bracketed sweeps": [
        *(s for i, y in enumerate(SEVEN) for s in bracket(1 + 3 * i, 8.0 * i, [0, -2, 2], yaw=y)),
        *(s for i, y in enumerate(SEVEN)
          for s in bracket(22 + 3 * i, 80 + 8.0 * i, [0, -2, 2], yaw=y)),
    ],
}  # fmt: skip
NOT_TAKEN = {
    "another place": [*sweep(1, 0, SEVEN), *sweep(8, 50, SEVEN, place="lake")],
    "another part of the place": [*sweep(1, 0, SEVEN[:4]), *singles(5, 30, 3),
                                  *sweep(8, 120, [200, 235, 270, 305])],
    "hours later": [*sweep(1, 0, SEVEN), *sweep(8, 3 * LONGEST_WAIT_S, SEVEN)],
    "another focal length": [*sweep(1, 0, SEVEN), *sweep(8, 80, SEVEN, focal_mm=50.0)],
    "a bracket of another view": [*bracket(1, 0, [0, -2, 2]),
                                  *bracket(4, 60, [0, -2, 2], place="lake")],
    "a bracket after a sweep": [*sweep(1, 0, SEVEN), *bracket(8, 90, [0, -2, 2], yaw=210)],
}  # fmt: skip


@pytest.mark.parametrize("shots", TAKEN.values(), ids=TAKEN.keys())
def test_takes_know_of_each_other(shots: list[Shot]) -> None:
    found = grouped(shots)
    assert chains(found) == [[1], [0]]
    assert sum(len(s.members) for s in found.sets) == len(shots)


@pytest.mark.parametrize("shots", NOT_TAKEN.values(), ids=NOT_TAKEN.keys())
def test_no_takes_are_seen_in(shots: list[Shot]) -> None:
    assert chains(grouped(shots)) == [[], []]


def test_three_takes_all_know_of_each_other() -> None:
    found = grouped([s for i in range(3) for s in sweep(1 + 7 * i, 50.0 * i, SEVEN)])
    assert chains(found) == [[1, 2], [0, 2], [0, 1]]


def test_a_broken_off_first_go_is_a_set_of_its_own() -> None:
    found = grouped([*sweep(1, 0, SEVEN[:5]), *sweep(6, 40, SEVEN)])
    assert numbers(found) == [("panorama", run(1, 5)), ("panorama", run(6, 12))]


def test_without_pictures_nothing_is_said_of_takes() -> None:
    found = grouped([*bracket(1, 0, [0, -2, 2]), *bracket(4, 60, [0, -2, 2])], UnknowingEye())
    assert [s.takes for s in found.sets] == [(), ()]


def test_takes_are_not_looked_for_across_an_undated_end() -> None:
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 60, SEVEN, place="lake")]
    shots[6] = replace(shots[6], frame=replace(frame(7), taken=None))
    assert all(s.takes == () for s in grouped(shots).sets)
