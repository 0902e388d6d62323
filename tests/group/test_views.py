"""Frames sorted into rows, views, legs and steps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.group.views import (
    WORSE_SHARPNESS,
    Places,
    ev_offsets,
    members,
    place_panorama,
    place_still,
    same_place,
)
from grouper.model import Glance, Pointing
from tests.group.eyes import FOV, PLAIN
from tests.support import frame

BLURRED = replace(PLAIN, sharpness=WORSE_SHARPNESS * 0.9)


def placed(
    looks: Sequence[tuple[float, float]],
    evs: Sequence[float] | None = None,
    *,
    same: Sequence[bool] | None = None,
    glances: Sequence[Glance | None] | None = None,
    changes: Sequence[dict[str, Any]] | None = None,
) -> Places:
    count = len(looks)
    frames = [frame(i, 5.0 * i, **(changes[i] if changes else {})) for i in range(count)]
    if same is None:
        same = [i > 0 and looks[i] == looks[i - 1] for i in range(count)]
    return place_panorama(
        frames,
        np.array(evs if evs is not None else [0.0] * count, dtype=float),
        [Pointing(yaw_deg=y, pitch_deg=p, roll_deg=0.0) for y, p in looks],
        same,
        FOV,
        glances or [PLAIN] * count,
    )


def row(yaws: Sequence[float], pitch: float = 0.0) -> list[tuple[float, float]]:
    return [(yaw, pitch) for yaw in yaws]


# Rows and views

ORDERS = {
    "left to right": (row([0, 35, 70]), (0, 0, 0), (0, 1, 2)),
    "right to left": (row([70, 35, 0]), (0, 0, 0), (2, 1, 0)),
    "two rows, serpentine": (
        [*row([0, 35, 70]), *row([70, 35, 0], 30)], (1, 1, 1, 0, 0, 0), (3, 4, 5, 2, 1, 0)),
    "two rows, returning": (
        [*row([0, 35, 70]), *row([0, 35, 70], -30)], (0, 0, 0, 1, 1, 1), (0, 1, 2, 3, 4, 5)),
    "three rows from the middle": (
        [*row([0, 35]), *row([0, 35], 30), *row([0, 35], -30)],
        (1, 1, 0, 0, 2, 2), (2, 3, 0, 1, 4, 5)),
    "a hand that wavers by a tenth of the height": (
        [(0, 0), (35, 7), (70, -7)], (0, 0, 0), (0, 1, 2)),
    "up and down in columns": (
        [(0, 0), (0, 30), (35, 30), (35, 0), (70, 0), (70, 30)],
        (1, 0, 0, 1, 1, 0), (3, 0, 1, 4, 5, 2)),
    "a slanting sweep": ([(-12, -24), (0, -4), (12, 16)], (0, 0, 0), (0, 1, 2)),
    "one column": ([(0, -30), (0, 0), (0, 30)], (2, 1, 0), (2, 1, 0)),
    "a head that settles": ([(0, 0), (0.3, 0.2), (35, 0), (35.2, -0.1)],
                            (0, 0, 0, 0), (0, 0, 1, 1)),
}  # fmt: skip


@pytest.mark.parametrize(("looks", "rows", "views"), ORDERS.values(), ids=ORDERS.keys())
def test_rows_from_the_top_views_by_yaw(
    looks: list[tuple[float, float]], rows: tuple[int, ...], views: tuple[int, ...]
) -> None:
    places = placed(looks)
    assert (places.row, places.view) == (rows, views)


@given(
    st.permutations([-30.0, 0.0, 30.0]),
    st.lists(st.sampled_from([1, -1]), min_size=3, max_size=3),
)
def test_rows_may_be_shot_in_any_order_and_either_way(
    pitches: list[float], ways: list[int]
) -> None:
    looks = [
        look
        for pitch, way in zip(pitches, ways, strict=True)
        for look in row([0.0, 35.0, 70.0, 105.0][::way], pitch)
    ]
    places = placed(looks)
    expected = sorted(looks, key=lambda look: (-look[1], look[0]))
    assert [expected[v] for v in places.view] == looks
    assert [1 - round(look[1] / 30) for look in looks] == list(places.row)
    assert not any(places.spare)


def test_a_full_turn_is_one_row_and_its_back_is_one_view() -> None:
    looks = row([-135, -90, -45, 0, 45, 90, 135, 179.9, -179.9])
    places = placed(looks, same=[False] * 8 + [True])
    assert set(places.row) == {0}
    assert places.view[7] == places.view[8]
    assert len(set(places.view)) == 8


def test_views_near_the_zenith_do_not_merge_by_yaw_alone() -> None:
    looks = [(0.0, 60.0), (120.0, 60.0), (240.0 - 360, 60.0), (0.0, 89.0), (180.0, 89.0)]
    places = placed(looks)
    assert len(set(places.view)) == 4
    assert places.view[3] == places.view[4]


def test_frames_whose_pointing_is_not_known_follow_the_frame_before() -> None:
    frames = [frame(i) for i in range(4)]
    known = Pointing(yaw_deg=0.0, pitch_deg=0.0, roll_deg=0.0)
    other = Pointing(yaw_deg=35.0, pitch_deg=0.0, roll_deg=0.0)
    places = place_panorama(
        frames, np.zeros(4), [known, Pointing(), other, Pointing()],
        [False, True, False, False], FOV, [None] * 4,
    )  # fmt: skip
    assert places.view == (0, 0, 1, 2)
    assert places.spare == (True, False, False, False)


UNSEEN_ROWS = {
    "the third row, upwards": ([*row([0, 35, 70]), *row([0, 35, 70], 30)], 3, (2, 1, 0)),
    "the third row, downwards": ([*row([0, 35, 70]), *row([0, 35, 70], -30)], 3, (0, 1, 2)),
    "two rows at once": ([*row([0, 35]), *row([0, 35], 30)], 4, (3, 2, 1, 0)),
    "the top of a column": ([(0, 0), (0, 30)], 1, (2, 1, 0)),
    "not as many": ([*row([0, 35, 70]), *row([0, 35, 70], 30)], 2, (1, 0)),
    "after a single row": (row([0, 35, 70]), 3, (0,)),
}


@pytest.mark.parametrize(("known", "unseen", "rows"), UNSEEN_ROWS.values(), ids=UNSEEN_ROWS.keys())
def test_as_many_views_as_a_row_that_nothing_ties_are_the_next_row(
    known: list[tuple[float, float]], unseen: int, rows: tuple[int, ...]
) -> None:
    count = len(known) + unseen
    places = place_panorama(
        [frame(i, 5.0 * i) for i in range(count)],
        np.zeros(count),
        [*(Pointing(yaw_deg=y, pitch_deg=p, roll_deg=0.0) for y, p in known),
         *[Pointing()] * unseen],
        [False] * count,
        FOV,
        [PLAIN] * count,
    )  # fmt: skip
    assert tuple(dict.fromkeys(places.row)) == rows
    assert len(set(places.view)) == count


def test_the_first_row_may_be_the_one_that_nothing_ties() -> None:
    looks = [*row([0, 35]), *row([0, 35], 30)]
    places = place_panorama(
        [frame(i, 5.0 * i) for i in range(6)],
        np.zeros(6),
        [*[Pointing()] * 2, *(Pointing(yaw_deg=y, pitch_deg=p, roll_deg=0.0) for y, p in looks)],
        [False] * 6,
        FOV,
        [PLAIN] * 6,
    )
    assert places.row == (2, 2, 1, 1, 0, 0)
    assert places.view == (4, 5, 2, 3, 0, 1)


def test_a_first_leg_that_matches_nothing_is_of_the_view_of_its_stop() -> None:
    unknown, first, second = (
        Pointing(),
        Pointing(yaw_deg=0, pitch_deg=0, roll_deg=0),
        Pointing(yaw_deg=35, pitch_deg=0, roll_deg=0),
    )
    places = place_panorama(
        [frame(i, float(i)) for i in range(6)],
        np.array([4.0, 0.0, 2.0] * 2),
        [unknown, first, first, unknown, second, second],
        [False, True, True] * 2,
        FOV,
        [PLAIN] * 6,
    )
    assert places.view == (0, 0, 0, 1, 1, 1)
    assert places.leg == (2, 0, 1, 2, 0, 1)


def test_nothing_known_keeps_shooting_order() -> None:
    places = place_panorama(
        [frame(i) for i in range(3)], np.full(3, np.nan), [Pointing()] * 3,
        [False, False, False], None, [None] * 3,
    )  # fmt: skip
    assert places.view == (0, 1, 2)
    assert places.row == places.leg == places.step == (0, 0, 0)


# Legs


@pytest.mark.parametrize("order", [[0, -2, 2], [-2, 0, 2], [2, 0, -2], [0, 2, -2]])
def test_legs_at_each_view_run_dark_to_light_in_any_firing_order(order: list[float]) -> None:
    looks = [look for look in row([0, 35, 70]) for _ in order]
    places = placed(looks, order * 3)
    assert places.leg == tuple(round(ev / 2) + 1 for ev in order) * 3
    assert places.view == (0, 0, 0, 1, 1, 1, 2, 2, 2)
    assert not any(places.spare)


def test_legs_may_be_whole_sweeps_there_and_back() -> None:
    looks = [*row([0, 35, 70]), *row([70, 35, 0]), *row([0, 35, 70])]
    places = placed(looks, [0] * 3 + [-2] * 3 + [2] * 3, same=[False] * 9)
    assert places.leg == (1, 1, 1, 0, 0, 0, 2, 2, 2)
    assert places.view == (0, 1, 2, 2, 1, 0, 0, 1, 2)


def test_a_missing_leg_leaves_the_others_their_numbers() -> None:
    looks = [look for look in row([0, 35, 70]) for _ in range(3)]
    evs = [0.0, -2.0, 2.0] * 3
    del looks[4], evs[4]  # the dark leg of the middle view
    assert placed(looks, evs).leg == (1, 0, 2, 1, 2, 1, 0, 2)


def test_the_ladder_floats_with_the_metering_of_each_view() -> None:
    looks = [look for look in row([0, 35, 70]) for _ in range(3)]
    evs = [ev + drift for drift in (0.0, 1.0, 1.7) for ev in (0.0, -2.0, 2.0)]
    assert placed(looks, evs).leg == (1, 0, 2) * 3


def test_a_meter_that_wanders_from_view_to_view_makes_no_legs() -> None:
    assert placed(row([0, 35, 70, 105]), [0, 0.7, 1.3, 2.0]).leg == (0, 0, 0, 0)


def test_an_unknown_exposure_is_no_leg() -> None:
    assert placed(row([0, 35]), [math.nan, 2.0]).leg == (0, 0)


# Steps


def test_steps_at_each_view_run_near_to_far() -> None:
    looks = [look for look in row([0, 35, 70]) for _ in range(3)]
    near = [{"focus_m": d} for d in (0.5, 1.0, 2.0)] * 3
    far = [{"focus_m": d} for d in (math.inf, 4.0, 1.0)] * 3
    assert placed(looks, changes=near).step == (0, 1, 2) * 3
    assert placed(looks, changes=far).step == (2, 1, 0) * 3


def test_steps_without_distances_count_in_shooting_order() -> None:
    looks = [look for look in row([0, 35, 70]) for _ in range(3)]
    places = placed(looks)
    assert places.step == (0, 1, 2) * 3
    assert not any(places.spare)


def test_one_view_doubled_is_a_spare_not_a_stack() -> None:
    places = placed(row([0, 35, 35, 70]))
    assert places.step == (0, 0, 0, 0)
    assert places.spare == (False, True, False, False)


# Spares

SPARES: dict[str, tuple[list[Glance | None], tuple[bool, ...]]] = {
    "the later one is used": ([PLAIN, PLAIN, PLAIN, PLAIN], (False, True, False, False)),
    "even a little less sharp": (
        [PLAIN, PLAIN, replace(PLAIN, sharpness=0.8), PLAIN], (False, True, False, False)),
    "unless it is worse": ([PLAIN, PLAIN, BLURRED, PLAIN], (False, False, True, False)),
    "a worse earlier one is not kept": ([PLAIN, BLURRED, PLAIN, PLAIN],
                                        (False, True, False, False)),
    "nothing known of the pictures": ([None] * 4, (False, True, False, False)),
    "only the later one is known": ([None, None, BLURRED, None], (False, True, False, False)),
}  # fmt: skip


@pytest.mark.parametrize(("glances", "spare"), SPARES.values(), ids=SPARES.keys())
def test_of_two_frames_of_a_view(glances: list[Glance | None], spare: tuple[bool, ...]) -> None:
    assert placed(row([0, 35, 35, 70]), glances=glances).spare == spare


def test_of_three_frames_of_a_view_one_is_used() -> None:
    looks = row([0, 35, 35, 35, 70, 105, 140])
    good = placed(looks).spare
    best_first = placed(looks, glances=[PLAIN, PLAIN, BLURRED, BLURRED, *[PLAIN] * 3]).spare
    assert good[1:4] == (True, True, False)
    assert best_first[1:4] == (False, True, True)


@given(
    st.lists(
        st.tuples(st.integers(0, 3), st.integers(0, 1), st.sampled_from([-2.0, 0.0, 2.0])),
        min_size=1, max_size=16,
    )
)  # fmt: skip
def test_every_filled_place_has_one_frame_that_is_used(
    shots: list[tuple[int, int, float]],
) -> None:
    places = placed([(35.0 * a, 30.0 * b) for a, b, _ in shots], [ev for _, _, ev in shots])
    spots = list(zip(places.view, places.leg, places.step, strict=True))
    used = [spot for spot, spare in zip(spots, places.spare, strict=True) if not spare]
    assert sorted(used) == sorted(set(spots))
    assert sorted(set(places.view)) == list(range(max(places.view) + 1))
    assert sorted(set(places.row)) == list(range(max(places.row) + 1))
    numbers = same_place(places)
    assert [spots[i] == spots[0] for i in range(len(spots))] == (numbers == numbers[0]).tolist()


# One view


@given(st.permutations([-4.0, -2.0, 0.0, 2.0, 4.0]))
def test_a_brackets_legs_in_any_firing_order(evs: list[float]) -> None:
    frames = [frame(i) for i in range(5)]
    places = place_still("bracket", frames, np.array(evs), [PLAIN] * 5)
    assert places.leg == tuple(round(ev / 2) + 2 for ev in evs)
    assert not any(places.spare)


def test_a_bracket_that_repeats_a_leg_has_a_spare() -> None:
    places = place_still("bracket", [frame(i) for i in range(4)], np.array([0, -2, 2, 0.0]),
                         [PLAIN] * 4)  # fmt: skip
    assert places.leg == (1, 0, 2, 1)
    assert places.spare == (True, False, False, False)


STACKS: dict[str, tuple[list[float | None], tuple[int, ...]]] = {
    "near to far": ([0.3, 0.4, 0.6, 1.0], (0, 1, 2, 3)),
    "far to near": ([1.0, 0.6, 0.4, 0.3], (3, 2, 1, 0)),
    "to infinity": ([2.0, 8.0, math.inf], (0, 1, 2)),
    "from infinity": ([math.inf, 8.0, 2.0], (2, 1, 0)),
    "a distance missing": ([1.0, None, 0.4], (0, 1, 2)),
    "distances too coarse to tell": ([1.0, 1.0, 0.4], (0, 1, 2)),
}


@pytest.mark.parametrize(("distances", "steps"), STACKS.values(), ids=STACKS.keys())
def test_a_stacks_steps_run_near_to_far(
    distances: list[float | None], steps: tuple[int, ...]
) -> None:
    frames = [frame(i, focus_m=d) for i, d in enumerate(distances)]
    places = place_still("focus-stack", frames, np.zeros(len(frames)), [None] * len(frames))
    assert places.step == steps
    assert not any(places.spare)


@pytest.mark.parametrize("kind", ["burst", "interval"])
def test_bursts_and_series_have_no_places(kind: Any) -> None:
    places = place_still(kind, [frame(i) for i in range(3)], np.array([0, 1, 2.0]), [None] * 3)
    assert places == Places(
        row=(0,) * 3, view=(0,) * 3, leg=(0,) * 3, step=(0,) * 3, spare=(False,) * 3
    )


# Members

OFFSETS = {
    "a bracket of three": ([0, -2, 2], (0.0, -2.0, 2.0)),
    "one level": ([5, 5.05], (-0.025, 0.025)),
    "two levels count from the lighter": ([0, 2], (-2.0, 0.0)),
    "one odd frame among many": ([0, 0, 0, 0.68, 0], (0.0, 0.0, 0.0, 0.68, 0.0)),
    "an exposure missing": ([0, math.nan, 2, -2], (0.0, 0.0, 2.0, -2.0)),
    "none known": ([math.nan, math.nan], (0.0, 0.0)),
    "none at all": ([], ()),
}


@pytest.mark.parametrize(("evs", "expected"), OFFSETS.values(), ids=OFFSETS.keys())
def test_light_against_the_middle_leg(evs: list[float], expected: tuple[float, ...]) -> None:
    assert ev_offsets(np.array(evs, dtype=float)) == pytest.approx(expected)


def test_members_carry_their_places() -> None:
    looks = row([0, 35])
    frames = [frame(i, 5.0 * i) for i in range(2)]
    pointings = [Pointing(yaw_deg=y, pitch_deg=p) for y, p in looks]
    found = members(frames, placed(looks), np.array([0.0, 0.0]), pointings, [PLAIN, None])
    assert [(m.frame, m.row, m.view, m.leg, m.step, m.spare, m.glance) for m in found] == [
        (frames[0], 0, 0, 0, 0, False, PLAIN), (frames[1], 0, 1, 0, 0, False, None),
    ]  # fmt: skip
    assert [m.pointing for m in found] == pointings
