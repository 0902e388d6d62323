"""A mixed day, held against the log-gap rule of Platt, Czerwinski and Field (2003)."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from grouper.model import Frame
from tests.group.eyes import (
    Shot,
    bracket,
    everyone,
    grouped,
    numbers,
    on_stops,
    run,
    singles,
    sweep,
)
from tests.support import frame

SEVEN = [0, 35, 70, 105, 140, 175, 210]


def log_gap_events(frames: Sequence[Frame]) -> list[list[int | None]]:
    """Events by "PhotoTOC: automatic clustering for browsing personal photographs" (2003).

    A new event begins where the logarithm of the gap is at least ``ln 17`` above the mean of the
    logarithms of the gaps in a window of ``d = 10`` to either side.
    """
    ordered = sorted(frames, key=lambda f: str(f.taken))
    at = [f.taken.timestamp() for f in ordered if f.taken]
    logs = np.log(np.maximum(np.diff(at), 0.01))
    events: list[list[int | None]] = [[ordered[0].counter]]
    for n, gap in enumerate(logs):
        window = logs[max(0, n - 10) : n + 11]
        if gap >= math.log(17) + window.mean():
            events.append([])
        events[-1].append(ordered[n + 1].counter)
    return events


def test_the_rule_cuts_where_its_paper_says() -> None:
    # Two outings of frames a minute apart, three hours between them.
    far = [frame(i, 60.0 * i) for i in range(1, 21)]
    far += [frame(20 + i, 12_000.0 + 60.0 * i) for i in range(1, 21)]
    assert log_gap_events(far) == [run(1, 20), run(21, 40)]
    assert log_gap_events([frame(i, 60.0 * i) for i in range(1, 21)]) == [run(1, 20)]


def mixed_day() -> tuple[list[Shot], list[tuple[str, list[int]]]]:
    """Brisk sweeps, slow ones, brackets and singles in one set of settings, back to back."""
    shots: list[Shot] = []
    sets: list[tuple[str, list[int]]] = []
    number, at = 1, 0.0

    def add(kind: str | None, made: list[Shot], wait_s: float) -> None:
        nonlocal number, at
        if kind is not None:
            sets.append((kind, run(number, number + len(made) - 1)))
        shots.extend(made)
        number += len(made)
        taken = made[-1].frame.taken
        start = frame(1).taken
        assert taken is not None
        assert start is not None
        at = (taken - start).total_seconds() + wait_s

    for hour in range(3):
        add(None, singles(number, at, 4, pause_s=37.0), 55.0)
        add("panorama", sweep(number, at, SEVEN, place=f"ridge {hour}", pause_s=3.0), 30.0)
        add("panorama", sweep(number, at, SEVEN, place=f"lake {hour}", pause_s=3.5), 60.0)
        add(None, singles(number, at, 3, pause_s=20.0), 70.0)
        add("panorama", sweep(number, at, SEVEN, place=f"night {hour}", pause_s=25.0,
                              exposure_s=8.0), 60.0)  # fmt: skip
        add("bracket", bracket(number, at, [0, -2, 2], place=f"gate {hour}"), 40.0)
        add("panorama", on_stops(number, at, SEVEN[:5], [0, -2, 2], place=f"hall {hour}"), 50.0)
        add(None, singles(number, at, 3, pause_s=25.0), 900.0)
    return shots, sets


def test_a_mixed_day_is_cut_right_where_a_rule_of_pauses_is_not() -> None:
    shots, sets = mixed_day()
    found = grouped(shots)
    assert numbers(found) == sets
    assert everyone(found) == sorted(shot.frame.file for shot in shots)
    events = log_gap_events([shot.frame for shot in shots])
    hit = sum(which in events for _, which in sets)
    assert len(sets) == 15
    assert hit <= 3


def test_sets_shot_back_to_back_are_less_sure_than_sets_apart() -> None:
    sets = grouped(mixed_day()[0]).sets
    back_to_back = {s.confidence for i, s in enumerate(sets) if i % 5 < 2}
    apart = {s.confidence for i, s in enumerate(sets) if i % 5 >= 2}
    assert min(apart) > 0.7
    assert 0.4 < max(back_to_back) < min(apart)


@pytest.mark.parametrize("start_s", [53_000.0, 53_100.0])
def test_a_day_that_runs_past_midnight_is_the_same_day(start_s: float) -> None:
    # 09:14:12 plus 53 100 s is two minutes before midnight.
    shots = sweep(1, start_s, SEVEN, pause_s=20.0)
    days = {s.frame.taken.date() for s in shots if s.frame.taken}
    assert numbers(grouped([*shots, *singles(8, start_s + 300, 3)])) == [("panorama", run(1, 7))]
    assert len(days) == (2 if start_s == 53_100.0 else 1)
