"""One time line per body: ordering, clocks, counters, frames without a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.group.pairs import gather_pairs
from grouper.group.strands import Strand, build_strands, seconds
from grouper.model import Frame
from tests.group.eyes import run
from tests.support import START, frame


def only(frames: Sequence[Frame]) -> Strand:
    (strand,) = build_strands(frames)
    return strand


def counters(strand: Strand) -> list[int | None]:
    return [f.counter for f in strand.frames]


def dcf(folder_number: int, number: int, at_s: float) -> Frame:
    """A frame named after CIPA DC-009: folders 100-999, files 0001-9999."""
    folder = f"{folder_number}QMARK"
    return frame(
        number, at_s, file=f"{folder}/QMK_{number:04d}.JPG", folder=folder,
        folder_number=folder_number,
    )  # fmt: skip


# Bodies


BODIES = {
    "one body": ([{}, {}], [2]),
    "two bodies of one model by serial": ([{"serial": "1"}, {"serial": "2"}, {"serial": "1"}],
                                          [2, 1]),
    "two models": ([{}, {"model": "M2"}], [1, 1]),
    "two makers of one model name": ([{}, {"make": "Ostrel"}], [1, 1]),
    "a serial missing is adopted": ([{}, {"serial": None}], [2]),
    "nobody adopts among two numbered": ([{"serial": "1"}, {"serial": "2"}, {"serial": None}],
                                         [1, 1, 1]),
    "another model does not adopt": ([{}, {"model": "M2", "serial": None}], [1, 1]),
    "no serial at all is one body": ([{"serial": None}, {"serial": None}], [2]),
    "nothing known is a body of its own": (
        [{}, {"make": None, "model": None, "serial": None}], [1, 1]),
}  # fmt: skip


@pytest.mark.parametrize(("changes", "sizes"), BODIES.values(), ids=BODIES.keys())
def test_bodies_are_told_apart_and_never_mixed(
    changes: list[dict[str, str | None]], sizes: list[int]
) -> None:
    strands = build_strands(frame(i, 10 * i, **c) for i, c in enumerate(changes, 1))
    assert [len(s.frames) for s in strands] == sizes
    for strand in strands:
        assert {(f.make, f.model) for f in strand.frames} == {(strand.make, strand.model)}
        assert {f.serial for f in strand.frames} <= {strand.serial, None}
    ids = [s.body for s in strands]
    assert len(set(ids)) == len(ids)


@pytest.mark.parametrize(
    ("make", "model", "body"),
    [
        ("Quillmark", "Q5", "quillmark-q5"),
        ("Quillmark Optical", "QUILLMARK Q5", "quillmark-q5"),
        (None, None, "unknown-body"),
        ("../etc", "a/b\\c", "etc-a-b-c"),
        ("Q\u00fc\u0130", "\u202e", "q-i"),
    ],
)
def test_a_body_is_named_readably_whatever_it_calls_itself(
    make: str | None, model: str | None, body: str
) -> None:
    assert only([frame(make=make, model=model)]).body == body


def test_bodies_whose_names_slug_alike_keep_apart() -> None:
    strands = build_strands(
        [frame(1, serial="A 1"), frame(2, serial="A-1"), frame(3, serial="a_1")]
    )
    assert len({s.body for s in strands}) == 3


def test_no_frames_no_strands() -> None:
    assert build_strands([]) == ()


# Order


def test_time_rules_over_names() -> None:
    backwards = [
        frame(n, 10.0 * (15 - n), file=f"{n}.JPG", folder="", folder_number=None) for n in range(16)
    ]  # 15.JPG was shot first
    strand = only(backwards)
    assert counters(strand) == run(0, 15)[::-1]
    assert strand.clock_steps == ()


def test_names_given_against_time_in_a_camera_folder_keep_time_order() -> None:
    strand = only([dcf(100, n, 10.0 * (15 - n)) for n in range(1, 16)])
    assert counters(strand) == run(1, 15)[::-1]
    assert strand.clock_steps == ()


def test_the_counter_wraps_into_a_new_folder() -> None:
    # CIPA DC-009: numbers run from 0001 to 9999, then start again in the next folder.
    shots = [dcf(100, 9998, 0), dcf(100, 9999, 5), dcf(101, 1, 10), dcf(101, 2, 15)]
    strand = only(shots[::-1])
    assert counters(strand) == [9998, 9999, 1, 2]
    assert gather_pairs(strand).number_step.tolist() == [1, 1, 1]


def test_the_counter_decides_within_one_whole_second() -> None:
    shots = [replace(dcf(100, n, 5), taken_resolution_s=1.0) for n in (9, 10, 11, 2)]
    assert counters(only(shots)) == [2, 9, 10, 11]
    wrapped = [dcf(101, 1, 5), dcf(100, 9999, 5), dcf(101, 2, 5)]
    assert counters(only(wrapped)) == [9999, 1, 2]


def test_the_shutter_count_decides_before_the_counter() -> None:
    shots = [replace(dcf(100, n, 5), shutter_count=5000 - n) for n in (1, 2, 3)]
    assert counters(only(shots)) == [3, 2, 1]


def test_numbers_without_leading_zeros_are_read_as_numbers() -> None:
    names = ["s10.JPG", "s9.JPG", "s1.JPG"]
    shots = [frame(0, 5, file=n, folder="", folder_number=None, counter=None) for n in names]
    assert [f.file for f in only(shots).frames] == ["s1.JPG", "s9.JPG", "s10.JPG"]


def test_midnight_is_a_moment_like_any_other() -> None:
    eve = datetime(2026, 3, 14, 23, 59, 50)
    shots = [replace(dcf(100, n, 0), taken=eve + timedelta(seconds=5 * n)) for n in range(1, 6)]
    strand = only(shots[::-1])
    assert counters(strand) == run(1, 5)
    assert np.diff(np.array(strand.at_s, dtype=float)).tolist() == [5.0] * 4
    assert strand.clock_steps == ()


@given(st.permutations(run(1, 9)))
def test_order_does_not_depend_on_the_order_given(order: list[int]) -> None:
    shots = {n: dcf(100, n, float(n // 3)) for n in order}
    assert counters(only([shots[n] for n in order])) == run(1, 9)


# Clocks


def with_clock_step(count: int, at: int, jump_s: float) -> list[Frame]:
    """A frame every 10 s; the clock is set by ``jump_s`` before frame number ``at``."""
    return [dcf(100, n, 10.0 * n + (jump_s if n >= at else 0.0)) for n in range(1, count + 1)]


@pytest.mark.parametrize("jump_s", [-60.0, -3600.0, -86400.0, -400.0 * 86400])
def test_a_clock_set_back_is_mended_by_the_file_numbers(jump_s: float) -> None:
    strand = only(with_clock_step(30, 13, jump_s)[::-1])
    assert counters(strand) == run(1, 30)
    ((index, jump),) = strand.clock_steps
    assert index == 12
    assert jump == pytest.approx(jump_s)
    pauses = gather_pairs(strand).pause_s
    assert pauses == pytest.approx([10.0 - 1 / 60] * 29)


def test_two_steps_are_both_mended() -> None:
    shots = [
        dcf(100, n, 10.0 * n - (3600 if n >= 20 else 0) - (7200 if n >= 40 else 0))
        for n in range(1, 61)
    ]
    strand = only(shots)
    assert counters(strand) == run(1, 60)
    assert [(i, pytest.approx(j)) for i, j in strand.clock_steps] == [(19, -3600), (39, -7200)]
    assert gather_pairs(strand).pause_s.min() > 9.0


SILENT = {
    "a clock that runs on": with_clock_step(30, 13, 0.0),
    "a clock set forward is a pause": with_clock_step(30, 13, 3600.0),
    "a burst written out of order": [dcf(100, n, t) for n, t in zip(run(1, 12), [
        0, 10, 20, 31, 30, 40, 50, 60, 70, 80, 90, 100], strict=True)],
    "numbers that begin again on each of many cards": [
        replace(shot, file=f"card-{day}/{shot.file}")
        for day in range(30)
        for shot in [dcf(100, n, 86400.0 * day + 10 * n) for n in range(1, 11)]],
    "a name without a camera's number among them": [
        *with_clock_step(30, 13, -3600.0)[:29],
        replace(frame(30, 300), folder_number=None)],
}  # fmt: skip


@pytest.mark.parametrize("shots", SILENT.values(), ids=SILENT.keys())
def test_no_clock_step_is_seen_in(shots: list[Frame]) -> None:
    strand = only(shots)
    assert strand.clock_steps == ()
    times = [seconds(f) for f in strand.frames]
    assert times == sorted(t for t in times if t is not None)


# Undated frames


def test_undated_frames_follow_the_number_before_them() -> None:
    dated = [dcf(100, n, 10.0 * n) for n in (1, 2, 4, 5)]
    lost = [replace(dcf(100, n, 0), taken=None) for n in (3, 9)]
    strand = only([*lost, *dated])
    assert counters(strand) == [1, 2, 3, 4, 5, 9]
    assert [t is None for t in strand.at_s] == [False, False, True, False, False, True]


def test_undated_frames_before_every_number_or_of_another_folder_stand_at_the_end() -> None:
    dated = [dcf(100, n, 10.0 * n) for n in (5, 6)]
    lost = [replace(dcf(100, 1, 0), taken=None), replace(dcf(102, 5, 0), taken=None)]
    strand = only([*lost, *dated])
    assert [f.file for f in strand.frames] == [
        "100QMARK/QMK_0005.JPG", "100QMARK/QMK_0006.JPG",
        "100QMARK/QMK_0001.JPG", "102QMARK/QMK_0005.JPG",
    ]  # fmt: skip


def test_a_clock_step_is_found_again_among_undated_frames() -> None:
    shots = with_clock_step(30, 13, -3600.0)
    shots[4] = replace(shots[4], taken=None)
    strand = only(shots)
    assert counters(strand) == run(1, 30)
    ((index, _),) = strand.clock_steps
    assert strand.frames[index].counter == 13


def test_a_card_without_any_time_keeps_its_numbers() -> None:
    strand = only([replace(dcf(100, n, 0), taken=None) for n in (10, 9, 2, 1)])
    assert counters(strand) == [1, 2, 9, 10]
    assert strand.at_s == (None,) * 4


def test_seconds_count_on_the_bodys_own_clock() -> None:
    a, b = frame(1, 0), frame(2, 12.25)
    assert seconds(b) == pytest.approx((seconds(a) or 0) + 12.25)
    assert seconds(replace(a, taken=None)) is None
    assert seconds(replace(a, taken=START)) == seconds(a)
