"""How far the frames of a stretch reach over the picture."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from grouper.group.reach import FARTHEST, Reach
from tests.group.eyes import Shot, evidence_of
from tests.support import frame


def reaches(yaws: Sequence[float]) -> list[float]:
    """The reach after each pair of shots of one place, turned by so many degrees."""
    shots = [Shot(frame(i, 2.0 * i), "moss", yaw) for i, yaw in enumerate(yaws, 1)]
    reach = Reach(evidence_of(shots))
    return [reach.after(link) for link in range(len(shots) - 1)]


def test_what_stands_still_reaches_nowhere() -> None:
    assert reaches([0.0] * 5) == pytest.approx([0.0] * 4, abs=1e-6)


def test_a_hand_that_comes_back_reaches_no_farther_than_it_strayed() -> None:
    swaying = reaches([0.0, 1.5, 0.0, 1.5, 0.0])
    assert swaying[0] > 0
    assert swaying == pytest.approx([swaying[0]] * 4, rel=0.01)


def test_a_camera_that_turns_on_reaches_farther_with_each_frame() -> None:
    turning = reaches([2.5 * i for i in range(14)])
    assert turning == sorted(turning)
    assert turning[0] < FARTHEST < turning[-1]


@pytest.mark.parametrize(("yaw_deg", "pitch_deg"), [(-2.5, 0.0), (0.0, 2.5), (0.0, -2.5)])
def test_whichever_way_a_camera_turns_on(yaw_deg: float, pitch_deg: float) -> None:
    shots = [Shot(frame(1 + i, 2.0 * i), "moss", yaw_deg * i, pitch_deg * i) for i in range(14)]
    reach = Reach(evidence_of(shots))
    assert [reach.after(link) for link in range(13)][-1] > FARTHEST


def test_frames_that_show_nothing_in_common_are_not_reckoned() -> None:
    shots = [Shot(frame(i, 2.0 * i), f"place {i}") for i in range(1, 4)]
    reach = Reach(evidence_of(shots))
    assert [reach.after(link) for link in range(2)] == [0.0, 0.0]
