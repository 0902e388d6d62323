"""Interval series: a timer's beat, kept for long."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from grouper.group.interval import FEWEST_FRAMES, clockwork, propose
from tests.group.eyes import (
    BLACK,
    PLAIN,
    Shot,
    blindly,
    evidence_of,
    grouped,
    numbers,
    run,
    singles,
)
from tests.support import frame


def timer(
    first: int, at_s: float, count: int, every_s: float, *, whole: bool = False, **changes: Any
) -> list[Shot]:
    return [
        Shot(
            frame(
                first + i,
                math.floor(at_s + i * every_s) if whole else at_s + i * every_s,
                taken_resolution_s=1.0 if whole else 0.01,
                **changes,
            ),
            "harbour",
        )
        for i in range(count)
    ]


def without(shots: list[Shot], *lost: int) -> list[Shot]:
    return [s for s in shots if s.frame.counter not in lost]


FOG = replace(PLAIN, spread=BLACK.spread)
SPEAKS_ON = {
    "pictures that show nothing": [
        replace(s, glance=FOG) for s in timer(4, 200, 20, 1.0)],
    "pictures that show nothing, in whole seconds": [
        replace(s, glance=FOG) for s in timer(4, 200, 20, 2.0, whole=True)],
    "every 2 s": timer(4, 200, 30, 2.0),
    "every 30 s": timer(4, 200, 24, 30.0),
    "every 10 minutes": timer(4, 200, 12, 600.0),
    "whole-second stamps": timer(4, 200, 30, 5.0, whole=True),
    "an odd interval in whole seconds": timer(4, 200, 30, 7.3, whole=True),
    "exposures nearly as long as the interval": timer(4, 200, 20, 30.0, exposure_s=25.0),
    "standing still by its positions": timer(
        4, 200, 30, 2.0, latitude_deg=47.0, longitude_deg=11.0),
    "a frame lost": without(timer(4, 200, 24, 30.0), 12),
    "the meter follows the dusk": [
        replace(s, frame=replace(s.frame, program="aperture", exposure_s=2.0 ** (i / 6) / 60))
        for i, s in enumerate(timer(4, 200, 24, 30.0))],
}  # fmt: skip
SILENT_ON = {
    "four even frames": timer(4, 200, 4, 30.0),
    "a drive": timer(4, 200, 30, 0.2),
    "a hand at a subject": [
        Shot(frame(4 + i, 200 + t), "harbour")
        for i, t in enumerate(np.cumsum(np.random.default_rng(2).lognormal(3, 0.5, 12)))],
    "an even sweep": [Shot(frame(4 + i, 200 + 5.0 * i), "ridge", 35.0 * i) for i in range(8)],
    "flown from frame to frame": [
        replace(s, frame=replace(s.frame, latitude_deg=47.0 + 2e-4 * i, longitude_deg=11.0))
        for i, s in enumerate(timer(4, 200, 30, 2.0))],
    "undated": [
        Shot(frame(4 + i, taken=None), "harbour") for i in range(12)],
}  # fmt: skip


def among(shots: list[Shot]) -> list[Shot]:
    last = max(s.frame.taken for s in shots if s.frame.taken) if shots[0].frame.taken else None
    start = frame(1).taken
    assert start is not None
    after = 900 + ((last - start).total_seconds() if last else 0.0)
    return [*singles(1, 0, 3), *shots, *singles(60, after, 3)]


def test_another_beat_begins_another_series() -> None:
    shots = [*timer(4, 200, 20, 2.0), *timer(24, 400, 20, 1.0)]
    found = numbers(grouped(among(shots)))
    assert found == [("interval", list(range(4, 24))), ("interval", list(range(24, 44)))]


@pytest.mark.parametrize("spread", [0.2, 0.3])
def test_a_hand_is_no_clockwork(spread: float) -> None:
    pauses = 2.0 * np.exp(np.random.default_rng(5).normal(0, spread, 19))
    at_s = [200.0, *(200 + np.cumsum(pauses))]
    by_hand = [Shot(frame(4 + i, float(t)), "moss", glance=FOG) for i, t in enumerate(at_s)]
    assert clockwork(evidence_of(by_hand), 0, 19) == 0
    assert clockwork(evidence_of(timer(4, 200, 20, 2.0)), 0, 19) > 20
    assert clockwork(evidence_of(timer(4, 200, 5, 2.0)), 0, 4) == 0  # too few


@pytest.mark.parametrize("shots", SPEAKS_ON.values(), ids=SPEAKS_ON.keys())
def test_a_series_is_seen_in(shots: list[Shot]) -> None:
    found = numbers(grouped(among(shots)))
    assert found == [("interval", [s.frame.counter for s in shots])]


@pytest.mark.parametrize("shots", SILENT_ON.values(), ids=SILENT_ON.keys())
def test_no_series_is_seen_in(shots: list[Shot]) -> None:
    assert "interval" not in {kind for kind, _ in numbers(grouped(among(shots)))}


def test_two_series_with_different_beats_are_two() -> None:
    shots = [*timer(1, 0, 15, 5.0), *timer(16, 400, 15, 20.0)]
    found = numbers(grouped(shots))
    assert found == [("interval", run(1, 15)), ("interval", run(16, 30))]


def test_a_single_at_a_multiple_of_the_beat_is_no_skipped_frame() -> None:
    shots = [*timer(1, 0, 20, 2.0), *singles(21, 38 + 60, 3, pause_s=60.0)]
    assert numbers(grouped(shots)) == [("interval", run(1, 20))]
    last = [*timer(1, 0, 20, 2.0), *singles(21, 38 + 60, 1)]
    assert numbers(grouped(last)) == [("interval", run(1, 20))]


@pytest.mark.parametrize("lost", [(6,), (6, 7), (6, 9, 14), (23,), (10, 12)])
def test_frames_thrown_away_do_not_end_a_series(lost: tuple[int, ...]) -> None:
    shots = without(timer(1, 0, 24, 30.0), *lost)
    assert numbers(grouped(shots)) == [("interval", [s.frame.counter for s in shots])]


def test_the_reason_tells_the_interval() -> None:
    (found,) = grouped(timer(1, 0, 24, 30.0)).sets
    assert found.evidence == ("24 frames every 30.0 s",)
    assert found.layout is None


def test_proposals_lie_within_the_frames_asked_about() -> None:
    found = list(propose(evidence_of(timer(1, 0, 24, 30.0)), 3, 15))
    assert found
    assert all(p.first >= 3 and p.last <= 15 for p in found)
    assert all(p.last - p.first + 1 >= FEWEST_FRAMES for p in found)
    assert list(propose(evidence_of(timer(1, 0, 24, 30.0)), 3, 3 + FEWEST_FRAMES - 2)) == []


def test_a_long_series_is_found_by_its_beat_alone() -> None:
    shots = timer(1, 0, 40, 30.0)
    (found,) = blindly(shots).sets
    assert (found.kind, len(found.members)) == ("interval", 40)
