"""Focus that moves one way on one view, by distances or by where the pictures are sharp."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from grouper.group.focusing import focus_of, focus_weight
from tests.group.eyes import PLAIN, Shot, evidence_of
from tests.support import frame


def stack(distances: Sequence[float | None]) -> list[Shot]:
    return [Shot(frame(i, 2.0 * i, focus_m=d)) for i, d in enumerate(distances, 1)]


def mapped(maps: Sequence[Sequence[float]]) -> list[Shot]:
    """Shots without distances whose fields are as sharp as told."""
    return [
        Shot(frame(i, 2.0 * i), glance=replace(PLAIN, focus_map=tuple(m)))
        for i, m in enumerate(maps, 1)
    ]


def strayed() -> list[list[float]]:
    """Three maps of which the middle one strays, by more than what the others say of one way."""
    checks = np.array([(-1.0) ** (i + j) for i in range(4) for j in range(4)])
    stripes = np.tile([1.0, -1.0, -1.0, 1.0], 4)
    return [list(-0.5 * checks), list(0.8 * stripes), list(0.5 * checks)]


def wandering(count: int, swing: float = 1.0) -> list[list[float]]:
    """16 fields; the near half blurs while the far half grows sharp."""
    slope = np.repeat([-1.0, 1.0], 8)
    return [list(slope * swing * (i / (count - 1) - 0.5)) for i in range(count)]


def noise(count: int, size: float) -> list[list[float]]:
    rng = np.random.default_rng(11)
    return [list(row - row.mean()) for row in rng.normal(0, size, (count, 16))]


def blurring(count: int, swing: float = 0.5) -> list[list[float]]:
    """16 fields that grow sharp together."""
    return [[swing * (i / (count - 1) - 0.5)] * 16 for i in range(count)]


def through(count: int) -> list[list[float]]:
    """All grows sharp as the plane comes to the thick of the subject, and blurs again behind it."""
    thick = [1.2 * (1 - (2 * i / (count - 1) - 1) ** 2) for i in range(count)]
    return [list(np.add(row, all_of)) for row, all_of in zip(wandering(count), thick, strict=True)]


def with_noise(maps: list[list[float]], size: float) -> list[list[float]]:
    return [list(np.add(a, b)) for a, b in zip(maps, noise(len(maps), size), strict=True)]


def shaken(shots: list[Shot]) -> list[Shot]:
    """The same by hand."""
    return [replace(s, yaw=0.9 * (i % 2)) for i, s in enumerate(shots)]


def weight(shots: list[Shot]) -> float | None:
    found = focus_of(evidence_of(shots), 0, len(shots) - 1)
    return None if found is None else found.weight


def with_distances(shots: list[Shot], distances: Sequence[float | None]) -> list[Shot]:
    return [
        replace(s, frame=replace(s.frame, focus_m=d)) for s, d in zip(shots, distances, strict=True)
    ]


FOR = {
    "near to far": stack([0.3, 0.4, 0.55, 0.8, 1.3]),
    "far to near": stack([1.3, 0.8, 0.55, 0.4, 0.3]),
    "out to infinity": stack([1.0, 3.0, math.inf]),
    "in from infinity": stack([math.inf, 3.0, 1.0]),
    "sharpness wanders, no distances": mapped(wandering(6)),
    "sharpness wanders back to front": mapped(wandering(6)[::-1]),
    "a stack in fine steps": stack([0.2 * 1.01**i for i in range(12)]),
    "distances told coarsely": stack([0.3, 0.3, 0.4, 0.4, 0.5, 0.5]),
    "three far apart": stack([1.2, 2.5, 12.0]),
    "a rail: distances held, sharpness wanders": with_distances(mapped(wandering(8)), [0.3] * 8),
    "sharpness wanders in noise": mapped(with_noise(wandering(8), 0.05)),
    "the whole picture grows sharp": mapped(blurring(8)),
    "the whole picture blurs": mapped(blurring(8)[::-1]),
    "through the thick of the subject": mapped(through(9)),
    "small steps in noise, from a tripod": mapped(with_noise(wandering(6, 0.2), 0.04)),
}
AGAINST = {
    "focus held": stack([2.0] * 5),
    "autofocus that tries again": stack([2.0, 2.04, 1.98, 2.03, 2.0]),
    "autofocus that wanders": stack([8.0, 11.0, 6.5, 9.0, 7.0]),
    "two distances in turn": stack([0.5, 2.0, 0.5, 2.0]),
    "the same parts are sharp": mapped([[0.5] * 8 + [-0.5] * 8] * 5),
    "hardly any change": mapped(noise(5, 0.01)),
    "a subject that moves": mapped(noise(8, 0.5)),
    "a subject that moves while focus drifts": mapped(with_noise(wandering(8), 0.4)),
    "small steps in noise, by hand": shaken(mapped(with_noise(wandering(6, 0.2), 0.04))),
    "all grows sharp and blurs again": mapped([*blurring(5), *blurring(5)[::-1]]),
    "three, of which one strays": mapped(strayed()),
    "there and back again": mapped([*wandering(4), *wandering(4)[::-1]]),
}
UNKNOWN: dict[str, list[Shot]] = {
    "no distances, no maps": stack([None] * 4),
    "two maps are too few": mapped(wandering(2)),
    "the light fades": [
        replace(s, glance=replace(s.glance, mean=0.4 - 0.02 * i))
        for i, s in enumerate(mapped(wandering(6)))],
    "a map missing": [*mapped(wandering(4)), Shot(frame(5, 10.0))],
    "nothing could be matched": [
        replace(s, glance=replace(s.glance, spread=0.0)) for s in mapped(wandering(4))],
    "a distance missing, no maps": stack([0.3, None, 0.5, 0.8]),
}  # fmt: skip


@pytest.mark.parametrize("shots", FOR.values(), ids=FOR.keys())
def test_focus_is_seen_to_run_one_way_in(shots: list[Shot]) -> None:
    found = weight(shots)
    assert found is not None
    assert found > 1.0


@pytest.mark.parametrize("shots", AGAINST.values(), ids=AGAINST.keys())
def test_focus_is_seen_not_to_run_one_way_in(shots: list[Shot]) -> None:
    found = weight(shots)
    assert found is not None
    assert found < -1.0


@pytest.mark.parametrize("shots", UNKNOWN.values(), ids=UNKNOWN.keys())
def test_nothing_is_known_of_focus_in(shots: list[Shot]) -> None:
    assert weight(shots) is None


def test_more_frames_in_order_say_more() -> None:
    """Three frames in any order run one way in one case of three, eight in one of 20 000."""
    for made in (lambda n: mapped(wandering(n)), lambda n: stack([0.3 * 1.3**i for i in range(n)])):
        few, many = weight(made(3)), weight(made(8))
        assert few is not None
        assert many is not None
        assert 0 < few <= many


def test_distances_and_pictures_add_up() -> None:
    distances = [0.3 * 1.3**i for i in range(6)]
    alone = weight(stack(distances))
    seen = weight(with_distances(mapped(wandering(6)), distances))
    unseen = weight(with_distances(mapped([[0.5] * 8 + [-0.5] * 8] * 6), distances))
    assert alone is not None
    assert seen is not None
    assert unseen is not None
    assert 0 < unseen < alone < seen


def test_a_stack_by_hand_says_less_and_says_so() -> None:
    shots = mapped(wandering(6))
    shaken = [replace(s, yaw=0.9 * (i % 2)) for i, s in enumerate(shots)]
    found = focus_of(evidence_of(shaken), 0, 5)
    still = focus_of(evidence_of(shots), 0, 5)
    assert found is not None
    assert still is not None
    assert still.stood
    assert not found.stood
    assert 1.5 < found.weight < still.weight


def test_focus_that_jumps_back_weighs_less_than_one_run() -> None:
    one, two = weight(stack([0.3, 0.5, 0.9, 1.5])), weight(stack([0.3, 0.9, 0.3, 0.9]))
    assert one is not None
    assert two is not None
    assert one - two > 4.0


@pytest.mark.parametrize(
    ("shots", "words"),
    [(FOR["near to far"], "focus runs from 0.30 to 1.30 m"),
     (FOR["in from infinity"], "focus runs from inf to 1.00 m"),
     (FOR["sharpness wanders, no distances"], "sharpness wanders through the picture"),
     (AGAINST["the same parts are sharp"], "the same parts are sharp throughout")],
)  # fmt: skip
def test_the_reason_says_what_was_seen(shots: list[Shot], words: Any) -> None:
    found = focus_of(evidence_of(shots), 0, len(shots) - 1)
    assert found is not None
    assert found.reason == words


AT_A_VIEW = {
    "distances that run one way": (stack([0.4, 0.7, 1.5]), True),
    "sharpness that wanders": (mapped(wandering(5)), True),
    "focus held": (stack([2.0] * 3), False),
    "sharp in the same parts": (mapped([[0.5] * 8 + [-0.5] * 8] * 4), False),
    "shot again by hand, fields shifted": (
        [replace(s, yaw=1.2 * (i % 2)) for i, s in enumerate(mapped(wandering(6)))], False),
}  # fmt: skip


@pytest.mark.parametrize(("shots", "speaks"), AT_A_VIEW.values(), ids=AT_A_VIEW.keys())
def test_at_a_view_of_a_sweep_focus_speaks_for_steps_or_not_at_all(
    shots: list[Shot], speaks: bool
) -> None:
    found = focus_weight(evidence_of(shots), 0, len(shots) - 1)
    if speaks:
        assert found is not None
        assert found[0] > 0
    else:
        assert found is None


def test_only_the_frames_asked_about_count() -> None:
    shots = stack([5.0, 5.0, 0.3, 0.5, 0.9, 5.0])
    inner = focus_of(evidence_of(shots), 2, 4)
    whole = focus_of(evidence_of(shots), 0, 5)
    assert inner is not None
    assert whole is not None
    assert inner.weight > whole.weight
