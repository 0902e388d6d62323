"""Panoramas: rows, circles, legs in either order, and what only looks like one."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grouper.group.panorama import LOST_MORE, LOST_ONE, NEVER_FIRED, _Judge, link_weights, propose
from grouper.group.stops import find_stops
from grouper.model import Layout, Set, Sighting
from tests.group.eyes import (
    BLACK,
    PLAIN,
    KnowingEye,
    Shot,
    blindly,
    bracket,
    evidence_of,
    grouped,
    numbers,
    on_stops,
    run,
    singles,
    sweep,
)
from tests.support import frame

FOG = replace(PLAIN, spread=BLACK.spread, mean=0.6)
SEVEN = [0, 35, 70, 105, 140, 175, 210]
RING = [36.0 * i for i in range(10)]


def among(shots: Sequence[Shot]) -> list[Shot]:
    """A set before singles in the same settings, shot when something offered itself."""
    later = [1500.0, 1562.0, 1590.0, 1700.0, 1738.0]
    return [*shots, *(s for i, t in enumerate(later) for s in singles(951 + i, t, 1))]


def one(shots: Sequence[Shot]) -> tuple[Set, Layout]:
    (found,) = grouped(among(shots)).sets
    assert found.kind == "panorama"
    assert [f.counter for f in found.frames] == [s.frame.counter for s in shots]
    assert found.layout is not None
    return found, found.layout


def rows(pitches: Sequence[float], *, back: bool) -> list[Shot]:
    """Rows of seven, every other one backwards where ``back``."""
    return [
        shot
        for k, pitch in enumerate(pitches)
        for shot in sweep(
            1 + 7 * k, 40.0 * k, SEVEN[::-1] if back and k % 2 else SEVEN, pitch=pitch
        )
    ]


def columns(count: int) -> list[Shot]:
    """A sweep up, one step across, down, and so on."""
    looks = [
        (35.0 * i, pitch) for i in range(count) for pitch in ([0, 35, 70] if i % 2 == 0 else
                                                              [70, 35, 0])
    ]  # fmt: skip
    return [Shot(frame(1 + k, 5.0 * k), "ridge", y, p) for k, (y, p) in enumerate(looks)]


def leg_major(evs: Sequence[float], *, back: bool = False, lost: Sequence[int] = ()) -> list[Shot]:
    """Whole sweeps, one per exposure."""
    shots = [
        shot
        for k, ev in enumerate(evs)
        for shot in sweep(
            1 + 7 * k, 40.0 * k, SEVEN[::-1] if back and k % 2 else SEVEN,
            exposure_s=2.0**ev / 64,
        )
    ]  # fmt: skip
    return [s for s in shots if s.frame.counter not in lost]


SHAPES: dict[str, tuple[list[Shot], tuple[int, int, int, bool]]] = {
    # rows, views, legs, closed
    "one row": (sweep(1, 0, SEVEN), (1, 7, 1, False)),
    "one row leftwards": (sweep(1, 0, SEVEN[::-1]), (1, 7, 1, False)),
    "two views": (sweep(1, 0, [0, 40]), (1, 2, 1, False)),
    "a brisk hand": (sweep(1, 0, SEVEN, pause_s=1.5), (1, 7, 1, False)),
    "twenty-five seconds a view": (sweep(1, 0, SEVEN, pause_s=25.0), (1, 7, 1, False)),
    "exposures of twenty seconds": (
        sweep(1, 0, SEVEN, pause_s=24.0, exposure_s=20.0), (1, 7, 1, False)),
    "a full turn": (sweep(1, 0, RING), (1, 10, 1, True)),
    "two rows, serpentine": (rows([0, 35], back=True), (2, 14, 1, False)),
    "two rows, returning": (rows([0, 35], back=False), (2, 14, 1, False)),
    "three rows, serpentine": (rows([0, 35, -35], back=True), (3, 21, 1, False)),
    "three rows, returning": (rows([0, 35, -35], back=False), (3, 21, 1, False)),
    "one column": (
        [Shot(frame(1 + i, 5 * i), "mast", 0.0, 35.0 * i) for i in range(3)], (3, 3, 1, False)),
    "up and down": (columns(4), (3, 12, 1, False)),
    "a bracket at each view": (on_stops(1, 0, SEVEN, [0, -2, 2]), (1, 7, 3, False)),
    "a bracket of five at each view": (on_stops(1, 0, SEVEN, [0, -1, 1, -2, 2]), (1, 7, 5, False)),
    "a bracketed full turn": (on_stops(1, 0, RING, [0, -2, 2]), (1, 10, 3, True)),
    "a sweep per exposure": (leg_major([0, -2, 2]), (1, 7, 3, False)),
    "a sweep per exposure, there and back": (leg_major([0, -2, 2], back=True), (1, 7, 3, False)),
    "a sweep per exposure, a frame lost": (leg_major([0, -2, 2], lost=[10]), (1, 7, 3, False)),
    "a sweep per exposure, one ends early": (leg_major([0, -2, 2], lost=[14]), (1, 7, 3, False)),
    "whole-second stamps": (
        sweep(1, 0, SEVEN, taken_resolution_s=1.0), (1, 7, 1, False)),
    "numbers that wrap": (
        [replace(s, frame=replace(s.frame, folder_number=100 + (i > 2),
                                  folder=f"{100 + (i > 2)}QMARK",
                                  file=f"{100 + (i > 2)}QMARK/QMK_{n:04d}.JPG", counter=n))
         for i, (s, n) in enumerate(zip(sweep(1, 0, SEVEN), [9997, 9998, 9999, 1, 2, 3, 4],
                                        strict=True))], (1, 7, 1, False)),
}  # fmt: skip


@pytest.mark.parametrize(("shots", "shape"), SHAPES.values(), ids=SHAPES.keys())
def test_the_shape_of(shots: list[Shot], shape: tuple[int, int, int, bool]) -> None:
    found, layout = one(shots)
    assert (layout.rows, layout.views, layout.legs, layout.closed) == shape
    assert layout.steps == 1
    assert not any(m.spare for m in found.members)
    places = {(m.view, m.leg) for m in found.members}
    assert len(places) == len(shots)


@pytest.mark.parametrize("order", list(itertools.permutations([0.0, -2.0, 2.0])))
def test_legs_at_each_view_in_every_firing_order(order: tuple[float, ...]) -> None:
    found, _ = one(on_stops(1, 0, SEVEN, order))
    assert [m.leg for m in found.members] == [round(ev / 2) + 1 for ev in order] * 7


@settings(max_examples=15, deadline=None)
@given(st.permutations([-2.0, 0.0, 2.0]), st.booleans())
def test_legs_sweep_by_sweep_in_any_order(order: list[float], back: bool) -> None:
    found, _ = one(leg_major(order, back=back))
    assert [m.leg for m in found.members] == [
        round(ev / 2) + 1 for ev in order for _ in range(7)
    ]  # fmt: skip


@pytest.mark.parametrize("lost", [4, 11, 20])
def test_a_leg_lost_at_a_view_leaves_the_others_their_places(lost: int) -> None:
    whole = on_stops(1, 0, SEVEN, [0, -2, 2])
    before, _ = one(whole)
    after, layout = one([s for s in whole if s.frame.counter != lost])
    assert (layout.views, layout.legs) == (7, 3)
    kept = {m.frame.file: (m.view, m.leg) for m in before.members}
    assert all(kept[m.frame.file] == (m.view, m.leg) for m in after.members)


LOST = {
    "one frame": [3],
    "two frames apart": [3, 6],
    "two frames together": [4, 5],
}


@pytest.mark.parametrize("lost", LOST.values(), ids=LOST.keys())
def test_lost_frames_do_not_split_a_sweep(lost: list[int]) -> None:
    shots = [s for s in sweep(1, 0, [*SEVEN, 245, 280]) if s.frame.counter not in lost]
    _, layout = one(shots)
    assert layout.views == len(shots)


def test_a_frame_never_fired_does_not_split_a_sweep() -> None:
    # The counter does not jump, only the angle does.
    found, layout = one(sweep(1, 0, [0, 25, 50, 100, 125, 150]))
    assert layout.views == 6
    assert layout.overlap_min is not None
    assert layout.overlap_min > 0.4  # of the steps that overlap; the gap is no overlap
    assert found.confidence > 0.5


NOT_ONE: dict[str, list[Shot]] = {
    "singles in a sweep's rhythm": singles(1, 0, 8, pause_s=5.0),
    "one view again and again": [Shot(frame(i, 9.0 * i), "gate") for i in range(1, 5)],
    "a panning burst": [Shot(frame(i, 0.12 * i), "heron", 2.0 * i) for i in range(1, 9)],
    "a panning burst by quarters of the frame": [
        Shot(frame(i, 0.22 * i), "heron", 13.0 * i) for i in range(1, 10)],
    "a bracket": bracket(1, 0, [0, -2, 2]),
    "one subject, hardly shifted": [
        Shot(frame(i, 6.0 * i), "gate", yaw) for i, yaw in enumerate([0, 3, 1, 4], start=1)],
    "a flight line": [
        Shot(frame(i, 6.0 * i, latitude_deg=47.0 + 4e-4 * i, longitude_deg=11.0), "field",
             25.0 * i) for i in range(1, 9)],
}  # fmt: skip


@pytest.mark.parametrize("shots", NOT_ONE.values(), ids=NOT_ONE.keys())
def test_no_panorama_is_seen_in(shots: list[Shot]) -> None:
    assert "panorama" not in {kind for kind, _ in numbers(grouped(among(shots)))}


def test_the_same_line_standing_still_is_a_panorama() -> None:
    still = [
        replace(s, frame=replace(s.frame, latitude_deg=47.0, longitude_deg=11.0))
        for s in NOT_ONE["a flight line"]
    ]
    assert numbers(grouped(among(still))) == [("panorama", run(1, 8))]


def weight_of(yaws: Sequence[float], **changes: Any) -> float:
    """Weight of a panorama of all these views; ``changes`` are lists, a value per view."""
    shots = [
        Shot(frame(i, 6.0 * i, **{name: every[i] for name, every in changes.items()}), "gate", yaw)
        for i, yaw in enumerate(yaws)
    ]
    last = len(shots) - 1
    return max(
        (p.weight for p in propose(evidence_of(shots), 0, last) if (p.first, p.last) == (0, last)),
        default=0.0,
    )


def test_going_on_speaks_for_a_sweep_and_going_back_against() -> None:
    on, back = weight_of([0, 25, 50, 75]), weight_of([0, 25, 0, 25])
    assert on > weight_of([0, 25, 50]) > 0
    assert back < on - 4


def test_how_far_a_sweep_reaches_counts_over_all_its_steps() -> None:
    near, ample = sweep(4, 200, [0, 4, 0, 5, 1]), sweep(4, 200, [0, 8, 16, 24, 32])

    def reach(shots: list[Shot]) -> float:
        evidence = evidence_of(shots)
        stops = find_stops(evidence)
        judge = _Judge(evidence, stops, link_weights(evidence, stops))
        return judge._reach_weight(0, len(shots) - 1)

    assert reach(near) < -4
    assert reach(ample) == 0
    assert reach(sweep(4, 200, [0, 30])) == 0


def further_lost(shots: list[Shot]) -> float:
    """How many further views must be lost in a row than are accounted for."""
    evidence = evidence_of(shots)
    stops = find_stops(evidence)
    judge = _Judge(evidence, stops, link_weights(evidence, stops))
    return judge._lost_weight(0, len(shots) - 1) / LOST_MORE


AMPLE, ROOMY = [0, 14, 28, 42], [0, 20, 40, 60]
"""Steps on a frame of 53 degrees: it takes three views in a row to part neighbours, or two."""


@pytest.mark.parametrize(
    ("shots", "further"),
    [
        (sweep(4, 200, [*AMPLE, 56]), 0),
        # Numbers that run on tell of no loss: one view may never have been fired.
        (sweep(4, 200, [*AMPLE, 140, 154, 168, 182]), 2),
        (sweep(4, 200, [*ROOMY, 140, 160, 180, 200]), 1),
        ([*sweep(3, 200, AMPLE), *sweep(8, 220, [140, 154, 168, 182])], 2),
        ([*sweep(2, 200, AMPLE), *sweep(8, 220, [140, 154, 168, 182])], 1),
        ([*sweep(1, 200, AMPLE), *sweep(8, 220, [140, 154, 168, 182])], 0),
        # More than is asked for does not make up for another gap.
        (
            [
                *sweep(1, 200, ROOMY),
                *sweep(8, 220, [140, 160, 180, 200]),
                *sweep(12, 240, [280, 300]),
            ],
            1,
        ),
        # So many are no lost views.
        ([*sweep(1, 200, AMPLE), *sweep(9, 220, [140, 154, 168, 182])], 2),
        ([*sweep(9, 200, AMPLE), *sweep(1, 220, [140, 154, 168, 182])], 2),
        # Steps of 35: one lost view parts them, so nothing further is asked for.
        (sweep(4, 200, [0, 35, 105, 140]), 0),
        # Another row is tied to what it overlaps, though not to the frame before it.
        (
            [*sweep(4, 200, [*AMPLE, 56, 70]), *sweep(10, 230, [*AMPLE, 56, 70], pitch=45)],
            0,
        ),
    ],
)
def test_a_gap_that_takes_several_lost_views_in_a_row_speaks_against_one_sweep(
    shots: list[Shot], further: int
) -> None:
    assert further_lost(shots) == pytest.approx(further)


@pytest.mark.parametrize(
    ("jump", "told"),
    [(1, NEVER_FIRED), (2, LOST_ONE), (4, LOST_ONE), (5, 0.0), (-3, 0.0)],
)
def test_a_gap_of_few_file_numbers_tells_of_lost_frames(jump: int, told: float) -> None:
    def gap_weight(number: int) -> float:
        evidence = evidence_of([*sweep(50, 200, AMPLE), *sweep(number, 220, [140, 154])])
        return float(link_weights(evidence, find_stops(evidence))[3])

    assert gap_weight(53 + jump) - gap_weight(53 + 20) == pytest.approx(told)


def test_two_ample_sweeps_of_one_place_in_one_rhythm_are_two_sets() -> None:
    one_, other = range(0, 71, 14), range(140, 211, 14)
    shots = [*sweep(1, 0, list(one_)), *sweep(7, 34, list(other))]
    assert numbers(grouped(shots)) == [("panorama", run(1, 6)), ("panorama", run(7, 12))]


def test_another_aperture_at_every_view_speaks_against_a_sweep_more_than_the_shutter() -> None:
    yaws = [0, 25, 50, 75, 100]
    apertures = weight_of(yaws, aperture_f=[4.0, 5.6, 8.0, 11.0, 16.0])
    shutters = weight_of(yaws, exposure_s=[1 / 60, 1 / 80, 1 / 100, 1 / 125, 1 / 160])
    assert apertures < shutters - 4 < weight_of(yaws) - 4


FIRST_IS_PARTED = [-60, *SEVEN]
"""The first view overlaps nothing: 60 degrees are more than the frame is wide."""


def test_a_view_that_overlaps_nothing_is_the_sweeps_where_nothing_else_is_near() -> None:
    before = [
        Shot(frame(1 + i, 60.0 * i, focal_mm=70.0, aperture_f=4.0), f"subject {i}")
        for i in range(3)
    ]
    after = [Shot(frame(12 + i, 900 + 70.0 * i, focal_mm=70.0), f"wall {i}") for i in range(3)]
    found = grouped([*before, *sweep(4, 600, FIRST_IS_PARTED), *after])
    assert numbers(found) == [("panorama", run(4, 11))]


def test_a_row_of_sky_belongs_to_the_row_below_it() -> None:
    before = [Shot(frame(i, 60.0 * i, focal_mm=70.0, aperture_f=4.0), f"wall {i}") for i in (1, 2)]
    sky = [replace(s, glance=FOG) for s in sweep(10, 645, SEVEN, pitch=40)]
    after = [Shot(frame(17, 900, focal_mm=70.0, aperture_f=4.0), "wall 3")]
    shots = [*before, *sweep(3, 600, SEVEN), *sky, *after]
    assert numbers(grouped(shots)) == [("panorama", run(3, 16))]


def test_a_bracket_of_its_own_before_a_bracketed_sweep_stays_one() -> None:
    before = [Shot(frame(i, 60.0 * i, focal_mm=70.0, aperture_f=4.0), f"wall {i}") for i in (1, 2)]
    gate = bracket(3, 600, [0, -2, 2], place="gate")
    hall = on_stops(6, 640, SEVEN[:5], [0, -2, 2], place="hall")
    assert numbers(grouped([*before, *gate, *hall])) == [
        ("bracket", run(3, 5)), ("panorama", run(6, 20))]  # fmt: skip


def test_a_view_that_overlaps_nothing_is_a_single_beside_others_like_it() -> None:
    shots = [*singles(1, 0, 4, pause_s=5.0), *sweep(5, 20, SEVEN), *singles(12, 55, 4, pause_s=5.0)]
    assert numbers(grouped(shots)) == [("panorama", run(5, 11))]


def test_views_that_show_nothing_are_singles_beside_others_like_them() -> None:
    before, after = singles(1, 0, 4, pause_s=5.0), singles(12, 55, 4, pause_s=5.0)
    before[-1], after[0] = replace(before[-1], glance=FOG), replace(after[0], glance=FOG)
    found = grouped([*before, *sweep(5, 20, SEVEN), *after])
    assert numbers(found) == [("panorama", run(5, 11))]


@pytest.mark.parametrize("wait_s", [8.0, 30.0, 90.0])
def test_two_subjects_back_to_back_are_two_sets(wait_s: float) -> None:
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 30 + wait_s, SEVEN, place="lake")]
    assert numbers(grouped(shots)) == [("panorama", run(1, 7)), ("panorama", run(8, 14))]


def test_two_subjects_with_another_lens_are_two_sets() -> None:
    other: dict[str, Any] = {"focal_mm": 50.0, "lens": "Quillmark 50mm f/1.8"}
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 60, SEVEN, **other)]
    assert numbers(grouped(shots)) == [("panorama", run(1, 7)), ("panorama", run(8, 14))]


def test_slow_and_brisk_sweeps_of_one_day_are_all_found() -> None:
    slow = [
        s for k in range(3)
        for s in sweep(1 + 10 * k, 900.0 * k, SEVEN, pause_s=25.0, place=f"slow {k}")
    ]  # fmt: skip
    brisk = [
        s for k in range(3)
        for s in sweep(41 + 10 * k, 4000 + 200.0 * k, SEVEN, pause_s=2.5, place=f"brisk {k}")
    ]  # fmt: skip
    between = [s for k in range(3) for s in singles(8 + 10 * k, 250 + 900.0 * k, 3, pause_s=90.0)]
    expected = [("panorama", run(1 + 10 * k, 7 + 10 * k)) for k in (0, 1, 2, 4, 5, 6)]
    assert numbers(grouped([*slow, *brisk, *between])) == expected


def test_a_view_shot_again_is_a_spare_and_the_later_one_is_used() -> None:
    found, layout = one(sweep(1, 0, [0, 35, 70, 70, 105, 140]))
    assert [m.spare for m in found.members] == [False, False, True, False, False, False]
    assert layout.views == 5


def test_a_blurred_second_try_is_the_spare() -> None:
    shots = sweep(1, 0, [0, 35, 70, 70, 105, 140])
    shots[3] = replace(shots[3], glance=replace(shots[3].glance, sharpness=0.3))
    found, _ = one(shots)
    assert [m.spare for m in found.members] == [False, False, False, True, False, False]


def test_proposals_lie_within_the_frames_asked_about() -> None:
    seen = evidence_of([*sweep(1, 0, SEVEN), *sweep(8, 60, SEVEN, place="lake")])
    found = list(propose(seen, 2, 9))
    assert found
    assert all(2 <= p.first < p.last <= 9 and p.weight > 0 for p in found)


def test_a_stretch_weighs_the_same_whatever_was_weighed_before() -> None:
    shots = [*on_stops(1, 0, SEVEN[:3], (0.0, -2.0, 2.0)), *sweep(10, 300, SEVEN[:4], pitch=30)]
    seen = evidence_of(shots)
    stops = find_stops(seen)
    weights = link_weights(seen, stops)
    busy = _Judge(seen, stops, weights)
    stretches = list(itertools.combinations(range(len(shots)), 2))
    found = [busy.weight(start, end, 0.0) for start, end in stretches]
    assert sum(one is not None for one in found) > 20
    for stretch, weight in zip(stretches, found, strict=True):
        assert (
            _Judge(seen, stops, weights).weight(*stretch, 0.0)
            == weight
            == busy.weight(*stretch, 0.0)
        )


def test_neighbours_are_linked_side_by_side() -> None:
    found, layout = one(rows([0, 35], back=True))
    names = {f.file: f.counter for f in found.frames}
    assert [(names[k.a], names[k.b]) for k in found.links[:6]] == [
        (13, 14), (12, 13), (11, 12), (10, 11), (9, 10), (8, 9)]  # fmt: skip
    assert layout.overlap_median == pytest.approx(layout.overlap_min)
    assert all(k.sighting is not None for k in found.links)


def test_reasons_name_what_was_seen() -> None:
    found, _ = one(sweep(1, 0, SEVEN))
    assert found.evidence[0].startswith("6 of 6 neighbours overlap by ")
    assert found.evidence[1] == "pauses 5.0 s"


def test_without_pictures_a_bracketed_sweep_is_found_with_less_confidence() -> None:
    shots = among([
        replace(s, frame=replace(s.frame, bracketing=True))
        for s in on_stops(1, 0, SEVEN, [0, -2, 2])
    ])  # fmt: skip
    seen = grouped(shots)
    unseen = blindly(shots)
    assert numbers(seen) == [("panorama", run(1, 21))]
    assert all(
        kind in ("panorama", "bracket") and set(which) <= set(run(1, 21))
        for kind, which in numbers(unseen)
    )
    assert unseen.sets
    assert max(s.confidence for s in unseen.sets) < seen.sets[0].confidence


def test_without_pictures_pointings_are_said_to_be_assumed() -> None:
    for found in blindly(sweep(1, 0, SEVEN)).sets:
        assert found.layout is None or found.layout.pointing_from == "assumed"
        assert {m.pointing.yaw_deg for m in found.members} == {None}


@dataclass(frozen=True)
class PitchedEye(KnowingEye):
    """Sees the roll that turning a pitched camera brings, and nothing in common between rows."""

    def _see(self, a: Shot, b: Shot) -> Sighting | None:
        seen = KnowingEye._see(self, replace(a, pitch=0.0), replace(b, pitch=0.0))
        if seen is None or a.pitch != b.pitch:
            return Sighting(overlap=0.0, certainty=0.02)
        pitch = math.radians(a.pitch)
        _, turn, _ = seen.turn_deg
        return replace(seen, turn_deg=(0.0, turn * math.cos(pitch), -turn * math.sin(pitch)))


@pytest.mark.parametrize(
    ("pitches", "sets"),
    [
        ([0.0, 40.0], [14]),
        ([-30.0, 0.0], [14]),
        ([0.0, 10.0], [7, 7]),  # a base that leans
        ([0.0, 40.0, -40.0], [21]),
    ],
)
def test_sweeps_at_other_heights_soon_after_are_rows(pitches: list[float], sets: list[int]) -> None:
    shots = [
        replace(shot, pitch=pitch + 0.01 * k)  # no two are one row
        for k, pitch in enumerate(pitches)
        for shot in sweep(1 + 7 * k, 46.0 * k, [7.0 * k + yaw for yaw in SEVEN])
    ]
    eye = PitchedEye({shot.frame.file: shot for shot in among(shots)})
    found = grouped(among(shots), eye).sets
    assert [len(one.frames) for one in found] == sets


def test_a_row_at_another_height_may_begin_anywhere() -> None:
    """Neither which way it runs tells against it, nor how closely its frames overlap."""
    sure = []
    for step_deg, way in ((35.0, 1), (35.0, -1), (20.0, 1)):
        yaws = [step_deg * i for i in range(7)]
        upper = [replace(shot, pitch=40.0) for shot in sweep(8, 46.0, yaws[::way])]
        shots = among([*sweep(1, 0, yaws), *upper])
        [found] = grouped(shots, PitchedEye({shot.frame.file: shot for shot in shots})).sets
        assert len(found.frames) == 14
        sure.append(found.confidence)
    assert sure == pytest.approx([sure[0]] * 3, abs=0.01)


@pytest.mark.parametrize(
    ("turn_deg", "pitch_deg"),
    [
        # Turned by 40 degrees about the vertical, looking up or down by 30 (cos, sin of 30).
        ((0.0, 34.64, -20.0), 30.0),
        ((0.0, -34.64, 20.0), 30.0),
        ((0.0, 34.64, 20.0), -30.0),
        ((0.0, 40.0, 0.0), 0.0),
        ((0.0, 10.0, -6.0), None),  # too little to tell
        ((30.0, 30.0, 0.0), None),  # about no vertical
        ((40.0, 0.0, 0.0), None),
    ],
)
def test_a_turn_about_the_vertical_tells_the_pitch(
    turn_deg: tuple[float, float, float], pitch_deg: float | None
) -> None:
    shots = sweep(1, 0, [0, 35])
    evidence = evidence_of(shots)
    seen = evidence.pairs.seen(0, 1)
    assert seen is not None
    evidence.pairs.sightings[0, 1] = replace(seen, turn_deg=turn_deg)
    [pitch] = find_stops(replace(evidence, looked=evidence.looked)).pitch
    assert math.isnan(pitch) if pitch_deg is None else pitch == pytest.approx(pitch_deg, abs=0.01)
