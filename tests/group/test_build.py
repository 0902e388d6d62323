"""A chosen stretch becomes a set, or its takes; recorded attitudes where nothing was seen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from grouper.contracts import Eye
from grouper.group.build import build_sets, with_poles
from grouper.group.choose import Choice, Proposal
from grouper.group.confidence import calibrated
from grouper.group.evidence import weigh
from grouper.group.stops import find_stops
from grouper.group.takes import Built
from grouper.model import Attitude, Pointing, SetKind
from tests.group.eyes import (
    Shot,
    UnknowingEye,
    bracket,
    knowing,
    on_stops,
    pairs_of,
    run,
    sweep,
)
from tests.support import frame

SEVEN = [0, 35, 70, 105, 140, 175, 210]


def built(shots: Sequence[Shot], kind: SetKind = "panorama", eye: Eye | None = None) -> list[Built]:
    """All shots as one chosen stretch."""
    eye = eye or knowing(shots)
    pairs = pairs_of(shots, eye)
    proposal = Proposal(kind=kind, first=0, last=len(shots) - 1, weight=9.0, evidence=("a reason",))
    choice = Choice(proposal=proposal, chance=0.9)
    return build_sets(pairs, find_stops(weigh(pairs)), eye, choice, "quillmark-q5")


def counters(item: Built) -> list[int | None]:
    return [f.counter for f in item.group.frames]


@pytest.mark.parametrize("kind", ["bracket", "focus-stack", "burst", "interval"])
def test_a_set_of_one_view_has_no_layout_and_its_neighbours_linked(kind: SetKind) -> None:
    (item,) = built(bracket(1, 0, [0, -2, 2]), kind)
    group = item.group
    assert (group.kind, group.layout, item.first, item.last) == (kind, None, 0, 2)
    assert (group.evidence, group.body) == (("a reason",), "quillmark-q5")
    assert group.confidence == calibrated(0.9, seen=True)
    assert [(link.a[-8:], link.b[-8:]) for link in group.links] == [
        ("0001.JPG", "0002.JPG"), ("0002.JPG", "0003.JPG"),
    ]  # fmt: skip
    assert [link.changed for link in group.links] == [("shutter",), ("shutter",)]
    assert all(link.sighting is not None for link in group.links)


def test_a_sweep_points_from_its_middle() -> None:
    (item,) = built(sweep(1, 0, SEVEN))
    assert [m.pointing.yaw_deg for m in item.group.members] == [y - 105 for y in SEVEN]
    assert item.group.layout is not None
    assert item.group.layout.pointing_from == "pictures"
    assert [link.pause_s for link in item.group.links] == [pytest.approx(4.983, abs=1e-3)] * 6


def test_neighbours_are_linked_leg_by_leg_and_within_each_view() -> None:
    (item,) = built(on_stops(1, 0, [0, 35, 70], [0, -2, 2]))
    links = [(int(link.a[-8:-4]), int(link.b[-8:-4])) for link in item.group.links]
    beside, within = links[:2], links[2:]
    legs = {m.frame.counter: m.leg for m in item.group.members}
    assert all(legs[a] == legs[b] or b == a + 1 for a, b in beside)
    assert within == [(1, 2), (2, 3), (4, 5), (5, 6), (7, 8), (8, 9)]


def test_a_stretch_that_holds_two_goes_becomes_two_sets() -> None:
    items = built([*sweep(1, 0, SEVEN), *sweep(8, 50, SEVEN[::-1])])
    assert [counters(item) for item in items] == [run(1, 7), run(8, 14)]
    assert [(item.first, item.last) for item in items] == [(0, 6), (7, 13)]
    assert not any(m.spare for item in items for m in item.group.members)


def test_three_goes_become_three_sets() -> None:
    items = built([s for k in range(3) for s in sweep(1 + 7 * k, 50.0 * k, SEVEN)])
    assert [counters(item) for item in items] == [run(1, 7), run(8, 14), run(15, 21)]


def test_without_pictures_recorded_attitudes_point() -> None:
    shots = [
        replace(s, frame=replace(s.frame, attitude=Attitude(yaw_deg=s.yaw, pitch_deg=0.0)))
        for s in sweep(1, 0, SEVEN)
    ]
    (item,) = built(shots, eye=UnknowingEye())
    assert item.group.layout is not None
    assert item.group.layout.pointing_from == "metadata"
    assert [m.view for m in item.group.members] == list(range(7))
    assert [m.pointing.yaw_deg for m in item.group.members] == SEVEN


def test_without_anything_views_are_counted_by_stops() -> None:
    (item,) = built(on_stops(1, 0, [0, 35, 70], [0, -2, 2]), eye=UnknowingEye())
    assert [m.view for m in item.group.members] == [0, 0, 0, 1, 1, 1, 2, 2, 2]
    assert [m.leg for m in item.group.members] == [1, 0, 2] * 3
    assert item.group.layout is not None
    assert item.group.layout.pointing_from == "assumed"
    assert {m.pointing for m in item.group.members} == {Pointing()}


def test_poles_are_added_as_views_on_rows_of_their_own() -> None:
    shots = [*sweep(1, 0, [36.0 * i for i in range(10)]), Shot(frame(11, 52), "sky")]
    eye = knowing(shots)
    pairs = pairs_of(shots, eye)
    choice = Choice(proposal=Proposal(kind="panorama", first=0, last=9, weight=9.0), chance=0.9)
    (ring,) = build_sets(pairs, find_stops(weigh(pairs)), eye, choice, "q")
    whole = with_poles(pairs, ring, [10])
    assert counters(whole) == run(1, 11)
    assert whole.group.members[-1].view == 10
    assert whole.group.layout is not None
    assert whole.group.layout.views == 11
    assert whole.group.layout.rows == 2
    assert [member.row for member in whole.group.members] == [*[0] * 10, 1]
    assert whole.last == 10
    assert whole.group.evidence == ("1 frame follows that closes the sphere",)
