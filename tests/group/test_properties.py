"""What holds for any card: nothing lost, no order, no chance, no hostile name breaks it."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from grouper.model import Frame, Glance, Grouping
from tests.group.eyes import (
    BLACK,
    PLAIN,
    Shot,
    blindly,
    bracket,
    everyone,
    grouped,
    numbers,
    on_stops,
    run,
    singles,
    sweep,
)
from tests.support import START, frame

SEVEN = [0, 35, 70, 105, 140, 175, 210]

PAUSES = st.sampled_from([0.0, 0.1, 0.5, 2.0, 5.0, 5.0, 5.0, 25.0, 90.0, 4000.0, -3600.0])
ODD_FLOATS = st.sampled_from([0.0, -1.0, 1e-9, 1e9])
GLANCES = st.sampled_from([
    PLAIN, PLAIN, PLAIN, BLACK, replace(PLAIN, sharpness=0.0), replace(PLAIN, spread=0.0, mean=1.0),
    replace(PLAIN, focus_map=tuple(float(i) for i in range(-8, 8))),
    replace(PLAIN, focus_map=(0.0,) * 16),
])  # fmt: skip


@st.composite
def frames(draw: st.DrawFn, number: int, at_s: float) -> Frame:
    """A frame of which anything may be missing or absurd."""
    maybe = draw(st.sampled_from(["plain", "plain", "plain", "odd"]))
    base = frame(number, at_s, exposure_s=draw(st.sampled_from([1 / 60, 1 / 60, 1 / 250, 1 / 15])))
    if maybe == "plain":
        return base
    return replace(
        base,
        make=draw(st.sampled_from(["Quillmark", None])),
        model=draw(st.sampled_from(["Q5", None, ""])),
        serial=draw(st.sampled_from(["5005001", None, "2"])),
        taken=draw(st.sampled_from([base.taken, None, START])),
        taken_resolution_s=draw(st.sampled_from([0.01, 1.0])),
        exposure_s=draw(st.one_of(st.none(), ODD_FLOATS)),
        aperture_f=draw(st.one_of(st.none(), ODD_FLOATS)),
        iso=draw(st.one_of(st.none(), ODD_FLOATS)),
        bias_ev=draw(st.sampled_from([None, 0.0, -2.0])),
        program=draw(st.sampled_from(["manual", "auto", None])),
        bracketing=draw(st.sampled_from([None, True, False])),
        focal_mm=draw(st.one_of(st.none(), ODD_FLOATS)),
        sensor_long_mm=draw(st.sampled_from([None, 36.0, 0.0])),
        focus_m=draw(st.sampled_from([None, 0.0, 1.5, math.inf])),
        width_px=draw(st.sampled_from([None, 4000, 0, 9000])),
        height_px=draw(st.sampled_from([None, 6000, 0])),
        orientation=draw(st.sampled_from([1, 6, 8])),
        composite=draw(st.booleans()),
        counter=draw(st.sampled_from([number, None, 9999, 1])),
        folder_number=draw(st.sampled_from([100, None, 101])),
        latitude_deg=draw(st.sampled_from([None, 47.0, 90.0])),
        longitude_deg=draw(st.sampled_from([None, 11.0, 180.0])),
    )


@st.composite
def cards(draw: st.DrawFn) -> list[Shot]:
    """Strands of any frames, most of them looking where a sweep would look next."""
    shots, at_s, yaw = [], 0.0, 0.0
    for number in range(1, draw(st.integers(0, 14)) + 1):
        at_s += draw(PAUSES)
        yaw += draw(st.sampled_from([35.0, 35.0, 0.0, -35.0, 1.0]))
        place = draw(st.sampled_from(["ridge", "ridge", "ridge", "lake"]))
        pitch = draw(st.sampled_from([0.0, 0.0, 35.0]))
        shots.append(Shot(draw(frames(number, at_s)), place, yaw, pitch, draw(GLANCES)))
    return shots


def check_nothing_lost(shots: Sequence[Shot], found: Grouping) -> None:
    assert everyone(found) == sorted(shot.frame.file for shot in shots)
    assert sum(body.frames for body in found.bodies) == len(shots) - len(found.previews)
    assert sorted(file for line in found.order for file in line) == sorted(
        set(everyone(found)) - {p.file for p in found.previews}
    )
    ids = [s.id for s in found.sets]
    assert len(set(ids)) == len(ids)
    for group in found.sets:
        assert 0.0 <= group.confidence <= 1.0
        assert len(group.members) >= 2
        assert set(group.takes) <= set(ids) - {group.id}
        assert all(math.isfinite(m.ev_offset) for m in group.members)
        assert (group.layout is None) == (group.kind != "panorama")
        assert group.body in {body.id for body in found.bodies}


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(cards())
def test_no_frame_is_lost_with_pictures(shots: list[Shot]) -> None:
    check_nothing_lost(shots, grouped(shots))


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(cards())
def test_no_frame_is_lost_without_pictures(shots: list[Shot]) -> None:
    check_nothing_lost(shots, blindly(shots))


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(cards(), st.randoms(use_true_random=False))
def test_the_order_of_reading_does_not_matter(shots: list[Shot], chance: object) -> None:
    mixed = list(shots)
    chance.shuffle(mixed)  # type: ignore[attr-defined]
    assert grouped(mixed) == grouped(shots)


def day() -> list[Shot]:
    return [
        *singles(1, 0, 3), *sweep(4, 200, SEVEN), *bracket(11, 300, [0, -2, 2], place="gate"),
        *on_stops(14, 400, SEVEN[:4], [0, -2, 2], place="hall"), *singles(26, 600, 3),
    ]  # fmt: skip


DAY = [("panorama", run(4, 10)), ("bracket", run(11, 13)), ("panorama", run(14, 25))]


def test_the_day_is_grouped_as_told() -> None:
    assert numbers(grouped(day())) == DAY


ADDED = {
    "a single at the end": Shot(frame(30, 2000), "other"),
    "a frame of another body": Shot(frame(1, 215, file="p/1.JPG", model="M2", serial="7"), "x"),
    "an undated frame of another body": Shot(
        frame(1, file="p/1.JPG", model="M2", serial="7", taken=None), "x"),
    "a composite": Shot(
        frame(1, 240, file="p/1.JPG", model="M2", serial="7", composite=True), "x"),
    "a copy of a single in another folder": Shot(
        frame(27, 645, file="copy/QMK_0027.JPG", folder="copy", folder_number=None), "subject 27"),
}  # fmt: skip


@pytest.mark.parametrize("shot", ADDED.values(), ids=ADDED.keys())
def test_sets_and_ids_are_stable_when_an_unrelated_frame_is_added(shot: Shot) -> None:
    before, after = grouped(day()), grouped([*day(), shot])
    assert numbers(after) == DAY
    assert [s.id for s in after.sets] == [s.id for s in before.sets]
    assert [s.members for s in after.sets] == [s.members for s in before.sets]


def test_a_card_shot_an_hour_later_is_grouped_alike() -> None:
    later = [
        replace(s, frame=replace(s.frame, taken=s.frame.taken + timedelta(hours=1)))
        for s in day() if s.frame.taken
    ]  # fmt: skip
    assert numbers(grouped(later)) == DAY
    assert [s.confidence for s in grouped(later).sets] == pytest.approx(
        [s.confidence for s in grouped(day()).sets]
    )


HOSTILE = ["../../x.JPG", "a/..", "a/\u202egpj.exe", "a/CON", "a/.", "\n", "a/<script>.JPG", "a/" +
           "w" * 4000]  # fmt: skip


def test_ids_of_hostile_names_are_safe_path_parts() -> None:
    for name in HOSTILE:
        shots = sweep(4, 200, SEVEN)
        shots[0] = replace(shots[0], frame=replace(shots[0].frame, file=name))
        (found,) = grouped(shots).sets
        assert re.fullmatch(r"[a-z0-9][a-z0-9-]{0,79}", found.id), name


def test_a_clock_set_back_in_a_sweep_does_not_split_it() -> None:
    shots = [*singles(1, 0, 8), *sweep(9, 500, SEVEN), *singles(16, 700, 8)]
    back = [
        replace(s, frame=replace(s.frame, taken=s.frame.taken - timedelta(hours=1)))
        if (s.frame.counter or 0) >= 12 and s.frame.taken else s
        for s in shots
    ]  # fmt: skip
    found = grouped(back)
    assert numbers(found) == [("panorama", run(9, 15))]
    ((_, after, jump),) = found.clock_steps
    assert after.endswith("QMK_0012.JPG")
    # Less the pause before the frame, which nothing records: the usual one is taken.
    assert jump == pytest.approx(-3600.0, abs=45.0)


def test_undated_frames_of_a_sweep_stay_in_it() -> None:
    shots = sweep(1, 0, SEVEN)
    shots[3] = replace(shots[3], frame=replace(shots[3].frame, taken=None))
    assert numbers(grouped([*shots, *singles(8, 200, 3)])) == [("panorama", run(1, 7))]


@pytest.mark.parametrize("glance", [PLAIN, BLACK])
@pytest.mark.parametrize("count", [0, 1, 2])
def test_the_smallest_cards(count: int, glance: Glance) -> None:
    shots = [replace(s, glance=glance) for s in singles(1, 0, count)]
    found = grouped(shots)
    assert found.sets == ()
    assert everyone(found) == sorted(s.frame.file for s in shots)
