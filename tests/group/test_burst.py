"""Bursts: the drive running on something that moves."""

from __future__ import annotations

import math
from typing import Any

import pytest

from grouper.group.burst import propose
from tests.group.eyes import Shot, blindly, evidence_of, grouped, numbers, run, singles
from tests.support import frame


def drive(
    first: int, at_s: float, count: int, *, rate: float = 8.0, pan: float = 0.0,
    whole: bool = False, place: str = "heron", **changes: Any,
) -> list[Shot]:  # fmt: skip
    """Frames of one subject at ``rate`` a second, panned by ``pan`` degrees a frame."""
    return [
        Shot(
            frame(
                first + i,
                math.floor(at_s + i / rate) if whole else at_s + i / rate,
                exposure_s=1 / 1000,
                taken_resolution_s=1.0 if whole else 0.01,
                **changes,
            ),
            place,
            pan * i,
        )
        for i in range(count)
    ]


SPEAKS_ON = {
    "eight frames a second": drive(4, 200, 8),
    "twenty frames a second": drive(4, 200, 20, rate=20.0),
    "three frames": drive(4, 200, 3),
    "panning with the subject": drive(4, 200, 9, pan=2.0),
    "whole-second stamps": drive(4, 200, 16, whole=True),
    "whole-second stamps, panning": drive(4, 200, 16, whole=True, pan=2.0),
    "the meter follows": [
        Shot(frame(4 + i, 200 + 0.12 * i, program="auto", exposure_s=t), "heron")
        for i, t in enumerate([1 / 1000, 1 / 1000, 1 / 1250, 1 / 1250, 1 / 1000])],
}  # fmt: skip
SILENT_ON = {
    "two frames": drive(4, 200, 2),
    "singles": singles(4, 200, 6),
    "a brisk sweep": [Shot(frame(4 + i, 200 + 2.0 * i), "ridge", 35.0 * i) for i in range(6)],
    "a bracket fired by the drive": [
        Shot(frame(4 + i, 200 + 0.15 * i, exposure_s=2.0**ev / 64), "gate")
        for i, ev in enumerate([0, -2, 2, -4, 4])],
    "one subject every ten seconds": [
        Shot(frame(4 + i, 200 + 10.0 * i), "heron") for i in range(5)],
}  # fmt: skip


def among(shots: list[Shot]) -> list[Shot]:
    return [*singles(1, 0, 3), *shots, *singles(4 + len(shots), 600, 3)]


@pytest.mark.parametrize("shots", SPEAKS_ON.values(), ids=SPEAKS_ON.keys())
def test_a_burst_is_seen_in(shots: list[Shot]) -> None:
    found = numbers(grouped(among(shots)))
    assert found == [("burst", run(4, 3 + len(shots)))]


@pytest.mark.parametrize("shots", SILENT_ON.values(), ids=SILENT_ON.keys())
def test_no_burst_is_seen_in(shots: list[Shot]) -> None:
    assert "burst" not in {kind for kind, _ in numbers(grouped(among(shots)))}


@pytest.mark.parametrize("wait_s", [4.0, 12.0, 60.0])
def test_bursts_of_two_subjects_are_two(wait_s: float) -> None:
    found = numbers(grouped([*drive(1, 0, 8), *drive(9, wait_s, 8, place="otter")]))
    assert found == [("burst", run(1, 8)), ("burst", run(9, 16))]


def test_members_of_a_burst_have_no_places_and_are_not_spare() -> None:
    (found,) = grouped(drive(1, 0, 8)).sets
    assert {(m.view, m.leg, m.step, m.spare) for m in found.members} == {(0, 0, 0, False)}
    assert found.layout is None
    assert found.evidence == ("8 frames at about 8 a second",)


def test_proposals_lie_within_the_frames_asked_about() -> None:
    found = list(propose(evidence_of(drive(1, 0, 10)), 2, 6))
    assert found
    assert all(p.first >= 2 and p.last <= 6 and p.last - p.first >= 2 for p in found)


def test_a_burst_is_found_by_its_pauses_alone() -> None:
    shots = among(drive(4, 200, 10))
    (found,) = blindly(shots).sets
    assert (found.kind, [f.counter for f in found.frames]) == ("burst", run(4, 13))
    assert found.confidence < grouped(shots).sets[0].confidence
