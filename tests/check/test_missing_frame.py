from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from grouper.check.missing_frame import CHECK
from grouper.model import Pointing, Set
from tests.check.sets import (
    ask,
    blind,
    burst,
    change,
    column,
    glance,
    halves,
    interval,
    names,
    regard,
    renumbered,
    sweep,
    tangled,
    unmatched,
)


def restarted(found: Set, place: int, pause_s: float) -> Set:
    """The even series with a pause before the frame at a place."""
    first, second = (member.frame.taken for member in found.members[:2])
    assert first is not None
    assert second is not None
    later = timedelta(seconds=pause_s) - (second - first)
    members = []
    for number, member in enumerate(found.members):
        assert member.frame.taken is not None
        taken = member.frame.taken + (later if number >= place else timedelta())
        members.append(replace(member, frame=replace(member.frame, taken=taken)))
    return replace(found, members=tuple(members))


def flown(found: Set, turn_at: int | None = None) -> Set:
    """A series along a meridian, 20 m every 10 s, or turned into the next line at a place."""
    members = []
    began = found.members[0].frame.taken
    for number, member in enumerate(found.members):
        assert member.frame.taken is not None
        assert began is not None
        north_m = 2.0 * (member.frame.taken - began).total_seconds()
        turned = turn_at is not None and number >= turn_at
        if turned:
            north_m = 20.0 * (2 * (turn_at or 0) - 1 - number)
        places = {
            "latitude_deg": 46.5 + north_m / 111_195.0,
            "longitude_deg": 9.8 + (0.0003 if turned else 0.0),
        }
        members.append(replace(member, frame=replace(member.frame, **places)))
    return replace(found, members=tuple(members))


def handheld() -> Set:
    return sweep(yaws_deg=[0, 30, 72, 102, 144, 174, 219])


SILENT = [
    pytest.param(sweep(), id="a whole sweep"),
    pytest.param(sweep(yaws_deg=[0, 30, 68, 98, 136, 170]), id="a hand-held sweep of uneven steps"),
    pytest.param(sweep(angles=False, pictures=False), id="a sweep by its numbers only"),
    pytest.param(sweep(8, 18.0, deleted=[3]), id="a number used up where the neighbours meet"),
    pytest.param(
        sweep(yaws_deg=[0, 36, 72, 72.001, 108, 144], deleted=[2]),
        id="a view shot again and the first one deleted",
    ),
    pytest.param(
        sweep(angles=False, pictures=False, odd={i: {"counter": 91412 + 5 * i} for i in range(7)}),
        id="renamed files whose numbers are times",
    ),
    pytest.param(
        sweep(angles=False, pictures=False, first=9997), id="numbers that run on past 9999"
    ),
    pytest.param(sweep(10, 36.0, closed=True), id="a full circle of ten"),
    pytest.param(sweep(9, 36.0), id="a full circle one frame short at its end"),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), lost=[4], angles=False, pictures=False),
        id="a leg missing in one view",
    ),
    pytest.param(sweep(5, pitches_deg=(0.0, 45.0), serpentine=True), id="two rows shot to and fro"),
    pytest.param(
        sweep(yaws_deg=[0, 50, 100, 150], pitches_deg=(45.0,)), id="a higher row with wider steps"
    ),
    pytest.param(
        sweep(5, pitches_deg=(0.0, 45.0), odd={i: {"counter": 418 + i} for i in range(5, 10)}),
        id="a hole at the change of two equal rows",
    ),
    pytest.param(sweep(step_deg=48.0), id="a thin but even sweep"),
    pytest.param(sweep(pictures=False), id="one pair that could not be judged, with angles to say"),
    pytest.param(unmatched(halves(sweep(), 3), 3, score=0.55), id="one pair that matches weakly"),
    pytest.param(
        unmatched(halves(sweep(), 3), 3, certainty=0.6),
        id="one pair that matches likelier than not",
    ),
    pytest.param(
        regard(blind(sweep(), 3), [3], glance=glance(spread=0.01)),
        id="featureless sky between matching neighbours",
    ),
    pytest.param(
        blind(sweep(), 0), id="the first pair unmatched, whose first frame matches nothing"
    ),
    pytest.param(blind(sweep(), 5), id="the last pair unmatched, whose last frame matches nothing"),
    pytest.param(blind(sweep(), 2, 4), id="one pair unmatched among several unmatched"),
    pytest.param(sweep(2), id="two views only"),
    pytest.param(
        sweep(5, 20.0, pitches_deg=(0.0, 15.0), deleted=[6, 7, 8]),
        id="a hole in a row that another row covers",
    ),
    pytest.param(renumbered(sweep(), 0, 3), id="a view numbered out of order"),
    pytest.param(interval(), id="an even interval series"),
    pytest.param(
        interval(every_s=1.0, lost=[4], taken_resolution_s=1.0),
        id="an interval series every second, kept in whole seconds",
    ),
    pytest.param(
        flown(restarted(interval(), 5, 40.0), turn_at=5),
        id="a survey flight's turn into its next line",
    ),
    pytest.param(
        unmatched(halves(sweep(), 3), 3, score=0.6, certainty=0.28),
        id="one pair of an even sweep that agrees better than half as well as the others",
    ),
    pytest.param(
        unmatched(halves(handheld(), 3), 3, score=0.45, certainty=0.05),
        id="one pair of an uneven sweep that hardly matches",
    ),
    pytest.param(
        unmatched(halves(sweep(4), 1), 1, score=0.45, certainty=0.05),
        id="one pair that hardly matches, with few others to show the rest is even",
    ),
    pytest.param(change(burst(), [5], counter=430), id="a burst with a number left out"),
]

SPEAKS = [
    pytest.param(
        sweep(deleted=[3]),
        ["QMK_0419", "QMK_0421"],
        "Gap of 72° between QMK_0419.JPG and QMK_0421.JPG with no overlap left, where "
        "the other steps are 36°: 1 view is missing",
        id="a frame deleted in mid-sweep",
    ),
    pytest.param(
        sweep(skipped=[3]), ["QMK_0419", "QMK_0420"], "1 view is missing", id="a frame never fired"
    ),
    pytest.param(
        sweep(9, deleted=[3, 4]),
        ["QMK_0419", "QMK_0422"],
        "2 views are missing",
        id="two views on end",
    ),
    pytest.param(
        sweep(deleted=[3], angles=False, pictures=False),
        ["QMK_0419", "QMK_0421"],
        "leave out a place between QMK_0419.JPG and QMK_0421.JPG",
        id="by the numbers alone",
    ),
    pytest.param(
        sweep(deleted=[3], angles=False, pictures=False, first=9997),
        ["QMK_9999", "QMK_0002"],
        "leave out a place",
        id="across the change from 9999",
    ),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), deleted=[3]),
        ["QMK_0425", "QMK_0429"],
        "1 view of 3 frames is missing",
        id="a whole bracket",
    ),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), deleted=[3], angles=False, pictures=False),
        ["QMK_0425", "QMK_0429"],
        "1 view of 3 frames is missing",
        id="a whole bracket, by the numbers alone",
    ),
    pytest.param(
        sweep(5, pitches_deg=(0.0, 45.0), deleted=[7]),
        ["QMK_0423", "QMK_0425"],
        "Gap of 72°",
        id="in the upper of two rows",
    ),
    pytest.param(
        sweep(9, 22.0, deleted=[4]),
        ["QMK_0420", "QMK_0422"],
        "17 % overlap left",
        id="beside a view that overlaps much",
    ),
    pytest.param(
        blind(sweep(), 3),
        ["QMK_0420", "QMK_0421"],
        "show no common ground",
        id="no common ground in the pictures, angles unknown",
    ),
    pytest.param(
        unmatched(halves(sweep(), 3), 3, score=0.39, certainty=0.32),
        ["QMK_0420", "QMK_0421"],
        "no common ground although all other neighbours overlap",
        id="one pair whose best fit is likelier chance",
    ),
    pytest.param(
        halves(sweep(), 3),
        ["QMK_0420", "QMK_0421"],
        "show no common ground",
        id="no common ground between two halves whose angles are known",
    ),
    pytest.param(
        tangled(sweep()),
        ["QMK_0418", "QMK_0420"],
        "Gap of 72°",
        id="past two views that changed places by a hair",
    ),
    pytest.param(
        regard(tangled(sweep(pictures=False)), [6], pointing=Pointing()),
        ["QMK_0419", "QMK_0420"],
        "Gap of 72°",
        id="once, with a view of unknown angle and two out of order",
    ),
    pytest.param(
        sweep(10, 36.0, skipped=[4]),
        ["QMK_0420", "QMK_0421"],
        "Gap of 72°",
        id="within a full circle, wherever it was begun",
    ),
    pytest.param(
        column(deleted=[2]), ["QMK_0418", "QMK_0420"], "Gap of 80°", id="an up-and-down sweep"
    ),
    pytest.param(
        sweep(yaws_deg=[0, 30, 68, 98, 136, 170, 200], deleted=[3]),
        ["QMK_0419", "QMK_0421"],
        "no overlap left",
        id="a hand-held sweep with a gap",
    ),
    pytest.param(
        unmatched(halves(sweep(), 3), 3, score=0.45, certainty=0.05),
        ["QMK_0420", "QMK_0421"],
        "no common ground",
        id="one pair of an even sweep whose best fit is hardly believed",
    ),
    pytest.param(
        unmatched(halves(sweep(), 3), 3, score=0.45, certainty=0.28),
        ["QMK_0420", "QMK_0421"],
        "no common ground",
        id="one pair of an even sweep that agrees half as well as the others",
    ),
    pytest.param(
        flown(restarted(interval(), 5, 40.0)),
        ["QMK_0421", "QMK_0422"],
        "3 frames are missing",
        id="frames lost along a survey's line",
    ),
    pytest.param(
        restarted(interval(), 5, 34.0),
        ["QMK_0421", "QMK_0422"],
        "34 s lie between",
        id="a series that went on off its beat: the jump shows all the same",
    ),
    pytest.param(
        interval(lost=[4]),
        ["QMK_0420", "QMK_0422"],
        "20 s lie between QMK_0420.JPG and QMK_0422.JPG in a series that runs every 10 "
        "s: 1 frame is missing",
        id="an interval left out",
    ),
]


@pytest.mark.parametrize("found", SILENT)
def test_stays_silent_on(found: Set) -> None:
    assert ask(CHECK, found) == []


@pytest.mark.parametrize(("found", "frames", "says"), SPEAKS)
def test_speaks_on(found: Set, frames: list[str], says: str) -> None:
    (problem,) = ask(CHECK, found)
    assert names(problem.frames) == frames
    assert says in problem.message
    assert problem.advice.endswith(".")


def test_each_gap_is_a_problem_of_its_own() -> None:
    problems = ask(CHECK, sweep(9, deleted=[2, 5]))
    assert [names(problem.frames) for problem in problems] == [
        ["QMK_0418", "QMK_0420"],
        ["QMK_0421", "QMK_0423"],
    ]


def test_measured_numbers_are_given() -> None:
    (problem,) = ask(CHECK, sweep(deleted=[3]))
    assert problem.measured["gap_deg"] == 72.0
    assert problem.measured["usual_deg"] == [36.0, 36.0]
    assert problem.measured["views_missing"] == 1
