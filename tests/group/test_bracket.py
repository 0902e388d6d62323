"""Exposure brackets: numbers of legs, firing orders, repeats, by hand."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grouper.group.bracket import MOST_FRAMES, propose
from grouper.model import Set
from tests.group.eyes import (
    Shot,
    blindly,
    bracket,
    evidence_of,
    grouped,
    numbers,
    run,
    singles,
)
from tests.support import frame


def evs(legs: int, step: float = 2.0) -> list[float]:
    """Exposures of a bracket in the usual firing order: middle, dark, bright, darker ..."""
    order = [0.0]
    for k in range(1, legs):
        order.append((-1) ** k * step * ((k + 1) // 2))
    return order


def one(shots: Sequence[Shot]) -> Set:
    (found,) = grouped(shots).sets
    return found


def among(legs: Sequence[float], **changes: Any) -> list[Shot]:
    """A bracket between singles of other subjects."""
    middle = [replace(s, frame=replace(s.frame, **changes)) for s in bracket(4, 200, legs)]
    return [*singles(1, 0, 3), *middle, *singles(4 + len(legs), 280, 3)]


@pytest.mark.parametrize("legs", [3, 5, 7, 9])
@pytest.mark.parametrize("step", [1 / 3, 2 / 3, 1.0, 2.0], ids=["1/3", "2/3", "1", "2"])
def test_brackets_of_any_size_are_found(legs: int, step: float) -> None:
    found = one(among(evs(legs, step)))
    assert (found.kind, [f.counter for f in found.frames]) == ("bracket", run(4, 3 + legs))
    assert sorted(m.leg for m in found.members) == list(range(legs))
    assert not any(m.spare for m in found.members)
    by_leg = sorted(found.members, key=lambda m: m.leg)
    assert [m.ev_offset for m in by_leg] == pytest.approx(
        [step * (k - legs // 2) for k in range(legs)], abs=0.001
    )


@pytest.mark.parametrize("order", list(itertools.permutations([0.0, -2.0, 2.0])))
def test_three_legs_in_every_firing_order(order: tuple[float, ...]) -> None:
    found = one(among(order))
    assert found.kind == "bracket"
    assert [m.leg for m in found.members] == [round(ev / 2) + 1 for ev in order]


@settings(max_examples=40, deadline=None)
@given(st.sampled_from([5, 7, 9]).flatmap(lambda n: st.permutations(evs(n))))
def test_more_legs_in_any_firing_order(order: list[float]) -> None:
    found = one(among(order))
    half = len(order) // 2
    assert found.kind == "bracket"
    assert [m.leg for m in found.members] == [round(ev / 2) + half for ev in order]


def test_two_legs_of_a_body_that_says_so() -> None:
    assert numbers(grouped(among([0.0, -2.0], bracketing=True))) == [("bracket", [4, 5])]


def test_two_exposures_by_hand_are_doubted_more_than_three() -> None:
    two, three = grouped(among([0.0, -2.0])).sets, grouped(among([0.0, -2.0, 2.0])).sets
    assert (two[0].confidence if two else 0.0) < three[0].confidence


def test_two_brackets_of_one_view_are_two_takes() -> None:
    found = grouped([*bracket(1, 0, evs(3)), *bracket(4, 8, evs(3))])
    assert numbers(found) == [("bracket", [1, 2, 3]), ("bracket", [4, 5, 6])]
    first, second = found.sets
    assert (first.takes, second.takes) == ((second.id,), (first.id,))


@pytest.mark.parametrize("pause_s", [3.0, 8.0, 15.0])
def test_a_bracket_by_hand_with_long_pauses(pause_s: float) -> None:
    shots = [
        Shot(frame(4 + i, 200 + pause_s * i, exposure_s=2.0**ev / 64), "gate")
        for i, ev in enumerate([0, -2, 2, -4, 4])
    ]
    found = one([*singles(1, 0, 3), *shots, *singles(9, 400, 3)])
    assert (found.kind, [f.counter for f in found.frames]) == ("bracket", run(4, 8))


def test_a_long_exposed_bracket_counts_its_pauses_from_the_end_of_the_exposures() -> None:
    at, shots = 0.0, []
    for i, time_s in enumerate([8.0, 2.0, 30.0], 4):
        shots.append(Shot(frame(i, 200 + at, exposure_s=time_s), "gate"))
        at += time_s + 0.5
    assert numbers(grouped([*singles(1, 0, 3), *shots])) == [("bracket", [4, 5, 6])]


def test_a_bracket_by_speed_is_a_bracket() -> None:
    shots = [
        Shot(frame(4 + i, 200 + 0.5 * i, iso=iso), "gate") for i, iso in enumerate([400, 100, 1600])
    ]
    found = one([*singles(1, 0, 3), *shots])
    assert (found.kind, [m.leg for m in found.members]) == ("bracket", [1, 0, 2])


SILENT_ON: dict[str, list[Shot]] = {
    "one exposure": [Shot(frame(i, 3.0 * i), "gate") for i in range(1, 4)],
    "exposures of different subjects": [
        Shot(frame(i, 40.0 * i, exposure_s=2.0**i / 64), f"subject {i}") for i in range(1, 6)],
    "a meter that drifts": [
        Shot(frame(i, 6.0 * i, program="auto", exposure_s=t), "gate")
        for i, t in enumerate([1 / 60, 1 / 50, 1 / 60], 1)],
    "exposures not known": [
        Shot(frame(i, 0.4 * i, exposure_s=None), f"subject {i}") for i in range(1, 4)],
}  # fmt: skip


@pytest.mark.parametrize("shots", SILENT_ON.values(), ids=SILENT_ON.keys())
def test_no_bracket_is_seen_in(shots: list[Shot]) -> None:
    assert "bracket" not in {kind for kind, _ in numbers(grouped(shots))}


def test_proposals_lie_within_the_frames_asked_about() -> None:
    shots = [*bracket(1, 0, evs(5)), *bracket(6, 60, evs(5), place="lake")]
    found = list(propose(evidence_of(shots), 2, 7))
    assert found
    assert all(2 <= p.first < p.last <= 7 and p.weight > 0 for p in found)
    assert all(p.last - p.first < MOST_FRAMES for p in found)
    assert list(propose(evidence_of(shots), 3, 3)) == []


def test_reasons_name_what_was_seen() -> None:
    found = one(among(evs(3), bracketing=True))
    assert found.evidence == (
        "3 exposures over 4.0 EV", "the body recorded that it was bracketing",
        "equal exposure steps", "one view: 2 of 2 neighbours unmoved",
    )  # fmt: skip


@pytest.mark.parametrize("legs", [3, 5, 7, 9])
@pytest.mark.parametrize("flag", [True, None], ids=["flagged", "by hand"])
def test_without_pictures_a_quick_bracket_is_found_with_less_confidence(
    legs: int, flag: bool | None
) -> None:
    shots = among(evs(legs), bracketing=flag)
    unseen = [s for s in blindly(shots).sets if s.kind == "bracket"]
    assert [[f.counter for f in s.frames] for s in unseen] == [run(4, 3 + legs)]
    assert unseen[0].confidence < one(shots).confidence
