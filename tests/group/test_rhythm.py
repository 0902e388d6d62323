"""The rhythm of a day, learned from its pauses."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from grouper.group.pairs import Pairs, gather_pairs
from grouper.group.rhythm import (
    COARSE_S,
    MOST_LOG_ODDS,
    SHORTEST_S,
    drive_pauses,
    log_pauses,
    pause_log_odds,
    usual_log_odds,
)
from grouper.group.strands import build_strands
from tests.support import frame


def pairs_at(times_s: list[float], resolution_s: float = 0.01) -> Pairs:
    shots = [
        frame(i, math.floor(t) if resolution_s >= 1 else t, exposure_s=1 / 8000,
              taken_resolution_s=resolution_s)
        for i, t in enumerate(times_s, 1)
    ]  # fmt: skip
    (strand,) = build_strands(shots)
    return gather_pairs(strand)


def test_pauses_are_floored_by_what_the_stamps_tell() -> None:
    fine = log_pauses(pairs_at([0.0, 0.01, 5.0]))
    assert np.exp(fine) == pytest.approx([SHORTEST_S, 4.99], rel=1e-3)
    coarse = log_pauses(pairs_at([0.0, 0.01, 5.0], 1.0))
    assert np.exp(coarse) == pytest.approx([COARSE_S, 5.0], rel=1e-3)


def test_an_unknown_pause_says_nothing() -> None:
    (strand,) = build_strands([frame(1), frame(2, taken=None), frame(3, 9)])
    values = log_pauses(gather_pairs(strand))
    assert np.isnan(values).any()
    odds = pause_log_odds(values, np.full(2, np.nan))
    assert (odds[np.isnan(values)] == 0).all()
    assert (usual_log_odds(values)[np.isnan(values)] == 0).all()


def test_by_common_practice_short_pauses_speak_for_and_long_ones_against() -> None:
    odds = usual_log_odds(np.log([0.1, 3.0, 20.0, 150.0, 3600.0]))
    assert (np.diff(odds) < 0).all()
    assert odds[2] == pytest.approx(0.0, abs=1e-9)
    assert odds[1] == pytest.approx(math.log(9), abs=0.2)
    assert np.abs(odds).max() <= MOST_LOG_ODDS


def test_a_slow_habit_is_learned_from_what_the_pictures_say() -> None:
    # Three sweeps of 8 frames at about 25 s between subjects ten minutes apart: common practice
    # is against 25 s, the day's pictures are for it.
    rng = np.random.default_rng(5)
    pauses = np.concatenate(
        [np.append(rng.lognormal(math.log(25), 0.1, 7), 600 * rng.lognormal(0, 0.2))] * 3
    )
    seen = np.where(pauses < 100, 0.98, 0.03)
    learned = pause_log_odds(np.log(pauses), seen)
    usual = usual_log_odds(np.log(pauses))
    slow = pauses < 100
    assert usual[slow].max() < 0
    assert learned[slow].min() > 0.5
    assert learned[~slow].max() < -0.5


def test_a_brisk_and_a_slow_habit_live_on_one_card() -> None:
    rng = np.random.default_rng(7)
    pauses = np.concatenate([
        rng.lognormal(math.log(3), 0.15, 30), rng.lognormal(math.log(25), 0.1, 30),
        rng.lognormal(math.log(300), 0.3, 20),
    ])  # fmt: skip
    odds = pause_log_odds(np.log(pauses), np.where(pauses < 80, 0.98, 0.03))
    assert (odds[pauses < 80] > 0).all()
    assert (odds[pauses > 80] < 0).all()


def test_singles_shot_as_briskly_as_sweeps_make_the_pause_say_little() -> None:
    pauses = np.full(40, 5.0) * np.random.default_rng(3).lognormal(0, 0.1, 40)
    seen = np.tile([0.98, 0.03], 20)
    odds = pause_log_odds(np.log(pauses), seen)
    assert np.abs(odds).max() < 1.0 < usual_log_odds(np.log([5.0]))[0]


@pytest.mark.parametrize("count", [0, 1, 2, 11, 12, 13])
def test_any_number_of_pauses_is_weighed(count: int) -> None:
    odds = pause_log_odds(np.linspace(0, 5, count), np.full(count, np.nan))
    assert odds.shape == (count,)
    assert np.isfinite(odds).all()
    assert (np.abs(odds) <= MOST_LOG_ODDS).all()


def test_equal_pauses_need_no_mixture() -> None:
    odds = pause_log_odds(np.full(50, math.log(5.0)), np.full(50, np.nan))
    assert odds == pytest.approx(usual_log_odds(np.full(50, math.log(5.0))))


def test_the_same_pauses_give_the_same_odds() -> None:
    pauses = np.log(np.random.default_rng(1).lognormal(2, 1.5, 60))
    blind = np.full(60, np.nan)
    assert (pause_log_odds(pauses, blind) == pause_log_odds(pauses, blind)).all()


def test_a_running_drive_shows_in_fine_stamps() -> None:
    drive = drive_pauses(pairs_at([0.0, 0.1, 0.2, 8.0]))
    assert drive == pytest.approx([0.1, 0.1, 7.8], rel=0.01)


def test_a_running_drive_shows_in_whole_seconds_over_five_frames() -> None:
    # Four a second: five frames lie within two stamps.
    times = [10 + 0.25 * i for i in range(8)]
    drive = drive_pauses(pairs_at([0.0, *times, 40.0], 1.0))
    assert (drive[1:8] < 0.6).all()
    assert np.isinf(drive[0])
    assert np.isinf(drive[-1])


def test_two_frames_in_one_whole_second_are_no_drive() -> None:
    assert np.isinf(drive_pauses(pairs_at([0.0, 0.4, 12.0], 1.0))).all()
    spread = drive_pauses(pairs_at([0.0, 0.4, 12.0, 20.0, 31.0, 45.0], 1.0))
    assert (spread > 2.0).all()


def test_undated_frames_are_no_drive() -> None:
    (strand,) = build_strands([replace(frame(i), taken=None) for i in range(1, 7)])
    assert np.isinf(drive_pauses(gather_pairs(strand))).all()
