"""Focus stacks: one view, one exposure, focus moved step by step."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from grouper.group.focus_stack import FEWEST_FRAMES, propose
from grouper.model import Set
from tests.group.eyes import PLAIN, Shot, blindly, evidence_of, grouped, numbers, run, singles
from tests.support import frame


def stack(
    first: int, at_s: float, distances: Sequence[float | None], *, pause_s: float = 2.0,
    place: str = "moss",
) -> list[Shot]:  # fmt: skip
    return [
        Shot(frame(first + i, at_s + pause_s * i, focus_m=d), place)
        for i, d in enumerate(distances)
    ]


def mapped(first: int, at_s: float, count: int, *, pause_s: float = 2.0) -> list[Shot]:
    """A stack without distances: sharpness wanders from the lower to the upper half."""
    slope = np.repeat([-1.0, 1.0], 8)
    return [
        Shot(
            frame(first + i, at_s + pause_s * i),
            "moss",
            glance=replace(PLAIN, focus_map=tuple(slope * (i / (count - 1) - 0.5))),
        )
        for i in range(count)
    ]


FLAT = replace(PLAIN, focus_map=(0.0,) * 16)
NEAR = [0.3 * 1.3**i for i in range(7)]


def among(shots: list[Shot]) -> list[Shot]:
    return [*singles(1, 0, 3), *shots, *singles(4 + len(shots), 600, 3)]


def one(shots: list[Shot]) -> Set:
    (found,) = grouped(among(shots)).sets
    return found


SPEAKS_ON = {
    "near to far": stack(4, 200, NEAR),
    "far to near": stack(4, 200, NEAR[::-1]),
    "three frames": stack(4, 200, [0.4, 0.6, 1.0]),
    "a step that did not move, but for the motor's play": stack(
        4, 200, [0.30, 0.33, 0.36, 0.3597, 0.45, 0.52, 0.60]),
    "by hand, slowly": stack(4, 200, NEAR, pause_s=8.0),
    "by the body, fast": stack(4, 200, NEAR, pause_s=0.3),
    "no distances, by the pictures": mapped(4, 200, 8),
    "no distances, the body firing fast": mapped(4, 200, 8, pause_s=0.3),
    "no distances, forty steps as fast as a drive": mapped(4, 200, 40, pause_s=0.12),
    "no distances, to the clock": mapped(4, 200, 30, pause_s=2.0),
    "a rail that fires to the clock": [
        replace(s, frame=replace(s.frame, focus_m=0.3)) for s in mapped(4, 200, 30, pause_s=3.0)],
    "held by hand, the body firing fast": [
        replace(s, yaw=0.9 * (i % 2)) for i, s in enumerate(mapped(4, 200, 10, pause_s=0.2))],
    "no distances, back to front": [
        replace(s, glance=r.glance)
        for s, r in zip(mapped(4, 200, 8), mapped(4, 200, 8)[::-1], strict=True)],
}  # fmt: skip
SILENT_ON = {
    "focus held": stack(4, 200, [2.0] * 7),
    "autofocus tried again and again": stack(4, 200, [0.31, 0.24, 0.29, 0.31, 0.22]),
    "shot again by hand, sharp elsewhere each time": [
        replace(s, yaw=1.2 * (i % 2)) for i, s in enumerate(mapped(4, 200, 4, pause_s=5.0))],
    "a burst of what keeps still": [
        Shot(frame(4 + i, 200 + 0.2 * i), "moss", glance=FLAT) for i in range(12)],
    "a timer's series of what keeps still": [
        Shot(frame(4 + i, 200 + 5.0 * i), "moss", glance=FLAT) for i in range(12)],
    "a timer's series at dusk": [
        replace(s, glance=replace(s.glance, mean=0.4 - 0.02 * i))
        for i, s in enumerate(mapped(4, 200, 12, pause_s=5.0))],
    "two subjects, each sharp elsewhere": [
        replace(s, place=f"moss {i // 4}", glance=replace(PLAIN, focus_map=tuple(
            np.repeat([-1.0, 1.0], 8) * (i // 4))))
        for i, s in enumerate(mapped(4, 200, 8))],
    "two frames": stack(4, 200, [0.4, 0.6]),
    "nothing known of focus": stack(4, 200, [None] * 7),
    "focus moves on different subjects": [
        Shot(frame(4 + i, 200 + 30 * i, focus_m=d), f"subject {i}") for i, d in enumerate(NEAR)],
    "sharpness wanders while the drive follows something": [
        replace(s, yaw=3.0 * i) for i, s in enumerate(mapped(4, 200, 10, pause_s=0.2))],
    "focus moves while the camera turns": [
        Shot(frame(4 + i, 200 + 5 * i, focus_m=d), "ridge", 35.0 * i) for i, d in enumerate(NEAR)],
}  # fmt: skip


@pytest.mark.parametrize("shots", SPEAKS_ON.values(), ids=SPEAKS_ON.keys())
def test_a_stack_is_seen_in(shots: list[Shot]) -> None:
    assert numbers(grouped(among(shots))) == [("focus-stack", run(4, 3 + len(shots)))]


@pytest.mark.parametrize("shots", SILENT_ON.values(), ids=SILENT_ON.keys())
def test_no_stack_is_seen_in(shots: list[Shot]) -> None:
    assert "focus-stack" not in {kind for kind, _ in numbers(grouped(among(shots)))}


def test_steps_run_near_to_far_whichever_way_it_was_shot() -> None:
    assert [m.step for m in one(stack(4, 200, NEAR)).members] == list(range(7))
    assert [m.step for m in one(stack(4, 200, NEAR[::-1])).members] == list(range(7))[::-1]
    assert [m.step for m in one(mapped(4, 200, 8)).members] == list(range(8))


def test_two_stacks_of_one_view_are_two_takes() -> None:
    found = grouped([*stack(1, 0, NEAR), *stack(8, 25, NEAR)])
    assert numbers(found) == [("focus-stack", run(1, 7)), ("focus-stack", run(8, 14))]
    first, second = found.sets
    assert (first.takes, second.takes) == ((second.id,), (first.id,))


def test_proposals_lie_within_the_frames_asked_about() -> None:
    found = list(propose(evidence_of(stack(1, 0, NEAR)), 1, 5))
    assert found
    assert all(p.first >= 1 and p.last <= 5 for p in found)
    assert all(p.last - p.first + 1 >= FEWEST_FRAMES for p in found)


def test_a_stack_by_distances_is_found_without_pictures() -> None:
    shots = among(stack(4, 200, NEAR))
    (found,) = blindly(shots).sets
    assert (found.kind, [f.counter for f in found.frames]) == ("focus-stack", run(4, 10))
    assert found.confidence < grouped(shots).sets[0].confidence
