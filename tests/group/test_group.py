"""Whole strands, scripted: what a practitioner would say belongs together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from tests.group.eyes import (
    BLACK,
    PLAIN,
    Shot,
    bracket,
    everyone,
    grouped,
    numbers,
    run,
    singles,
    sweep,
)
from tests.support import frame

SEVEN = [0, 35, 70, 105, 140, 175, 210]


def amid(shots: Sequence[Shot], others: Sequence[Shot]) -> list[Shot]:
    """Others shot after the third of the shots, whose numbers and times move on by as many."""
    count = len(others)
    late = [
        replace(shot, frame=frame(4 + count + i, 15.0 + 5.0 * (i + count)))
        for i, shot in enumerate(shots[3:])
    ]
    return [*shots[:3], *others, *late]


STORIES = {
    "a sweep between singles in the same settings": (
        [*singles(1, 0, 4), *sweep(5, 200, SEVEN), *singles(12, 280, 4)],
        [("panorama", run(5, 11))],
    ),
    "singles in a sweep's rhythm are no sweep": (
        singles(1, 0, 8, pause_s=5.0),
        [],
    ),
    "a slow sweep of twenty seconds a frame": (
        [*singles(1, 0, 3), *sweep(4, 200, SEVEN, pause_s=20.0)],
        [("panorama", run(4, 10))],
    ),
    "two subjects back to back": (
        [*sweep(1, 0, SEVEN), *sweep(8, 55, SEVEN, place="lake")],
        [("panorama", run(1, 7)), ("panorama", run(8, 14))],
    ),
    "a static bracket": (
        [*singles(1, 0, 2), *bracket(3, 100, [0, -2, 2]), *singles(6, 140, 2)],
        [("bracket", [3, 4, 5])],
    ),
    "a bracket in every firing order": (
        bracket(1, 0, [2, 0, -2, 1, -1]),
        [("bracket", run(1, 5))],
    ),
    "a bracket at each view": (
        [s for i in range(5) for s in bracket(1 + 3 * i, 8.0 * i, [0, -2, 2], yaw=35.0 * i)],
        [("panorama", run(1, 15))],
    ),
    "two rows, the second running back": (
        [*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN[::-1], pitch=35)],
        [("panorama", run(1, 14))],
    ),
    "two rows, the second starting over": (
        [*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN, pitch=35)],
        [("panorama", run(1, 14))],
    ),
    "a frame lost from a sweep does not split it": (
        [s for s in sweep(1, 0, SEVEN) if s.frame.counter != 4],
        [("panorama", [1, 2, 3, 5, 6, 7])],
    ),
    "a bird amid a sweep is no part of it and does not split it": (
        amid(sweep(1, 0, SEVEN), [Shot(frame(4, 17), "bird")]),
        [("panorama", [1, 2, 3, 5, 6, 7, 8])],
    ),
    "a hand amid two sweeps of one way is no bird": (
        amid(
            sweep(1, 0, SEVEN), [Shot(frame(4, 17), "hand", glance=replace(PLAIN, sharpness=0.3))]
        ),
        [("panorama", [1, 2, 3]), ("panorama", [5, 6, 7, 8])],
    ),
    "a bracket of something else amid a sweep": (
        amid(sweep(1, 0, SEVEN), bracket(4, 16, [0, -2, 2], place="bird")),
        [("panorama", [1, 2, 3, 7, 8, 9, 10]), ("bracket", [4, 5, 6])],
    ),
    "three alike singles of one subject": (
        [Shot(frame(i, 17.0 * i * i), "gate") for i in range(1, 4)],
        [],
    ),
    "a burst": (
        [Shot(frame(i, 0.12 * i), "heron") for i in range(1, 9)],
        [("burst", run(1, 8))],
    ),
    "a panning burst": (
        [Shot(frame(i, 0.12 * i), "heron", 2.0 * i) for i in range(1, 9)],
        [("burst", run(1, 8))],
    ),
    "an interval series": (
        [Shot(frame(i, 30.0 * i), "harbour") for i in range(1, 25)],
        [("interval", run(1, 24))],
    ),
    "a focus stack with recorded distances": (
        [Shot(frame(i, 2.0 * i, focus_m=0.3 * 1.3**i), "moss") for i in range(1, 8)],
        [("focus-stack", run(1, 7))],
    ),
}


@pytest.mark.parametrize(("shots", "expected"), STORIES.values(), ids=STORIES.keys())
def test_what_belongs_together(shots: list[Shot], expected: list[tuple[str, list[int]]]) -> None:
    assert numbers(grouped(shots)) == expected


@pytest.mark.parametrize("shots", [story[0] for story in STORIES.values()], ids=STORIES.keys())
def test_no_frame_is_lost_or_doubled(shots: list[Shot]) -> None:
    assert everyone(grouped(shots)) == sorted(shot.frame.file for shot in shots)


def test_a_second_take_is_a_set_of_its_own() -> None:
    found = grouped([*sweep(1, 0, SEVEN), *sweep(8, 50, SEVEN)])
    assert numbers(found) == [("panorama", run(1, 7)), ("panorama", run(8, 14))]
    first, second = found.sets
    assert (first.takes, second.takes) == ((second.id,), (first.id,))


def test_a_sweep_repeated_at_another_exposure_is_one_set_with_legs() -> None:
    dark = [replace(s, frame=replace(s.frame, exposure_s=1 / 250)) for s in sweep(8, 45, SEVEN)]
    (found,) = grouped([*sweep(1, 0, SEVEN), *dark]).sets
    assert found.layout is not None
    assert (found.layout.views, found.layout.legs) == (7, 2)
    assert [m.leg for m in found.members] == [1] * 7 + [0] * 7


def test_a_view_shot_twice_leaves_a_spare() -> None:
    shots = sweep(1, 0, [0, 35, 70, 70, 105, 140])
    (found,) = grouped(shots).sets
    assert [m.frame.counter for m in found.members if m.spare] == [3]
    assert found.layout is not None
    assert found.layout.views == 5


def test_places_of_two_rows_are_numbered_from_the_top_left() -> None:
    shots = [*sweep(1, 0, [0, 35, 70]), *sweep(4, 20, [70, 35, 0], pitch=35)]
    (found,) = grouped(shots).sets
    assert [(m.row, m.view) for m in found.members] == [
        (1, 3), (1, 4), (1, 5), (0, 2), (0, 1), (0, 0),
    ]  # fmt: skip
    assert [round(m.pointing.yaw_deg or 0) for m in found.members] == [-35, 0, 35, 35, 0, -35]


def test_a_black_frame_divides_and_is_in_no_set() -> None:
    cap = Shot(frame(8, 40), "cap", glance=BLACK)
    found = grouped([*sweep(1, 0, SEVEN), cap, *sweep(9, 45, SEVEN, place="lake")])
    assert [f.counter for f in found.dividers] == [8]
    assert numbers(found) == [("panorama", run(1, 7)), ("panorama", run(9, 15))]


def test_a_composite_is_a_preview_of_the_nearest_panorama() -> None:
    phone = frame(
        900, 60, file="phone/P_0900.JPG", make="Ostrel", model="M2", serial="77", composite=True,
        width_px=9000, height_px=2000,
    )  # fmt: skip
    found = grouped([*sweep(1, 0, SEVEN), Shot(phone, "phone")])
    (preview,) = found.previews
    assert preview.set_id == found.sets[0].id
    assert everyone(found) == sorted([*(f"100QMARK/QMK_{i:04d}.JPG" for i in run(1, 7)),
                                      "phone/P_0900.JPG"])  # fmt: skip


def test_two_bodies_are_never_mixed() -> None:
    other = {"make": "Ostrel", "model": "M2", "serial": "77"}
    mine = sweep(1, 0, SEVEN)
    theirs = sweep(101, 1.5, SEVEN, place="lake", **other)
    found = grouped([*mine, *theirs])
    assert sorted(numbers(found)) == [("panorama", run(1, 7)), ("panorama", run(101, 107))]
    assert {s.body for s in found.sets} == {b.id for b in found.bodies}


def test_the_same_shots_in_any_order_give_the_same_sets() -> None:
    shots, _ = STORIES["a sweep between singles in the same settings"]
    assert grouped(shots) == grouped(shots[::-1])
