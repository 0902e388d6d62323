"""Tries: one thing shot again and again is no set, whatever it looks like."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from grouper.group.tries import propose
from tests.group.eyes import Shot, evidence_of, grouped, numbers, singles, sweep
from tests.support import frame

PAUSES = (3.1, 5.9, 2.2, 7.4, 4.6, 3.0, 6.8)


def tries(yaws: Sequence[float], *, pauses: Sequence[float] = PAUSES) -> list[Shot]:
    at_s = [200 + sum(pauses[:i]) for i in range(len(yaws))]
    return [Shot(frame(4 + i, at_s[i]), "moss", yaw) for i, yaw in enumerate(yaws)]


def exposed(evs: Sequence[float], *, pause_s: float = 9.0, **changes: Any) -> list[Shot]:
    """Exposures tried on one view by a photographer who looks at each."""
    return [
        Shot(frame(4 + i, 200 + pause_s * i, exposure_s=2.0**ev / 60, **changes), "moss", 0.3 * i)
        for i, ev in enumerate(evs)
    ]


def gone_on_with(shots: list[Shot], ev: float = 0.0) -> list[Shot]:
    """The sweep behind, at this exposure."""
    after = 200 + 9.0 * len(shots) + 20
    return [*shots, *sweep(20, after, [0, 35, 70, 105, 140], exposure_s=2.0**ev / 60)]


SPEAKS_ON = {
    "from a tripod": tries([0.0] * 6),
    "a swaying hand": tries([0.0, 5.0, -1.0, 6.0, 1.0, 4.0]),
    "once more": tries([0.0, 2.0]),
}
SILENT_ON = {
    "a sweep": sweep(4, 200, [0, 30, 60, 90, 120]),
    "an ample sweep": sweep(4, 200, [12.0 * i for i in range(8)]),
    "a bracket": [
        Shot(frame(4 + i, 200 + 0.5 * i, exposure_s=2.0**ev / 60), "moss")
        for i, ev in enumerate([0, -2, 2])],
    "a burst": [Shot(frame(4 + i, 200 + 0.1 * i), "moss") for i in range(12)],
    "a timer": [Shot(frame(4 + i, 200 + 2.0 * i), "moss") for i in range(12)],
}  # fmt: skip


def among(shots: list[Shot]) -> list[Shot]:
    return [*singles(1, 0, 3), *shots, *singles(60, 1200, 3)]


@pytest.mark.parametrize("shots", SPEAKS_ON.values(), ids=SPEAKS_ON.keys())
def test_tries_are_proposed_and_stay_singles(shots: list[Shot]) -> None:
    proposed = propose(evidence_of(shots), 0, len(shots) - 1)
    assert (0, len(shots) - 1) in {(p.first, p.last) for p in proposed}
    assert grouped(among(shots)).sets == ()


@pytest.mark.parametrize("shots", SILENT_ON.values(), ids=SILENT_ON.keys())
def test_what_is_a_set_stays_one(shots: list[Shot]) -> None:
    found = [files for _, files in numbers(grouped(among(shots)))]
    assert found == [[shot.frame.counter for shot in shots]]


def test_a_sweep_is_never_proposed_whole() -> None:
    shots = SILENT_ON["an ample sweep"]
    proposed = list(propose(evidence_of(shots), 0, len(shots) - 1))
    assert all(p.last - p.first < 3 for p in proposed)


TRIED_OUT = {"down and up again": [1.0, -0.33, 0.0], "once": [1.0, 0.0]}


@pytest.mark.parametrize("evs", TRIED_OUT.values(), ids=TRIED_OUT.keys())
def test_exposures_tried_out_before_a_sweep_are_singles(evs: list[float]) -> None:
    (found,) = numbers(grouped(among(gone_on_with(exposed(evs)))))
    assert found[0] == "panorama"
    assert found[1][-5:] == [20, 21, 22, 23, 24]


BRACKETED = {
    "even": (exposed([-2.0, 2.0, 0.0]), 0.0),
    "uneven, but gone on with another": (exposed([0.0, 1.0, -2.0]), 0.0),
    "said to be one by the body": (exposed([1.0, -0.33, 0.0], bracketing=True), 0.0),
}


@pytest.mark.parametrize(("shots", "ev"), BRACKETED.values(), ids=BRACKETED.keys())
def test_a_bracket_before_a_sweep_stays_one(shots: list[Shot], ev: float) -> None:
    found = numbers(grouped(among(gone_on_with(shots, ev))))
    assert found[0] == ("bracket", [4, 5, 6])


def test_exposures_are_tried_out_only_with_something_behind_them() -> None:
    alone = exposed([1.0, -0.33, 0.0])
    assert list(propose(evidence_of(alone), 0, 2)) == []
    behind = gone_on_with(alone)
    tried = {(p.first, p.last) for p in propose(evidence_of(behind), 0, len(behind) - 1)}
    assert (0, 2) in tried
    other = gone_on_with(alone, 1.0)
    assert not any(p.last < 3 for p in propose(evidence_of(other), 0, len(other) - 1))
