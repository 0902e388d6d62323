"""Certainty: rises with every kind of agreement, falls with roll, and stays a probability."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from grouper.sight.align import Detail, Fit
from grouper.sight.pair import Match, pitches_after
from grouper.sight.sphere import DoubleArray, View, about_x, about_y, about_z
from grouper.sight.verdict import Evidence, certainty

MIDDLING = Evidence(
    Fit(ncc=0.55, cells=1500, overlap=0.25, move=(0.75, 0.0)),
    Detail(right=0.35, down=0.35),
    roll_rad=0.0,
    margin=1.2,
)


def test_a_clear_match_is_sure_and_a_poor_one_is_not() -> None:
    clear = replace(
        MIDDLING,
        fit=replace(MIDDLING.fit, ncc=0.9, cells=4000),
        detail=Detail(right=0.8, down=0.8),
    )
    poor = replace(MIDDLING, fit=replace(MIDDLING.fit, ncc=0.2), detail=Detail(right=0.1, down=0.1))
    assert certainty(clear) > 0.99
    assert certainty(poor) < 0.1
    assert certainty(poor) < certainty(MIDDLING) < certainty(clear)


def test_a_shared_horizon_alone_is_not_believed() -> None:
    """The pictures agree well, but only downwards."""
    horizon = replace(
        MIDDLING,
        fit=replace(MIDDLING.fit, ncc=0.6, cells=3500),
        detail=Detail(right=0.02, down=0.7),
    )
    assert certainty(horizon) < 0.3


@pytest.mark.parametrize(
    "better",
    [
        replace(MIDDLING, fit=replace(MIDDLING.fit, cells=2500)),
        replace(MIDDLING, detail=replace(MIDDLING.detail, right=0.5)),
        replace(MIDDLING, detail=replace(MIDDLING.detail, down=0.5)),
    ],
    ids=["cells", "right", "down"],
)
def test_more_agreement_is_more_certain(better: Evidence) -> None:
    assert certainty(better) > certainty(MIDDLING)


def test_roll_between_frames_is_suspect_either_way() -> None:
    rolled = [certainty(replace(MIDDLING, roll_rad=math.radians(by))) for by in (-20, 20)]
    assert rolled[0] == rolled[1]
    assert rolled[0] < certainty(MIDDLING)


@pytest.mark.parametrize("ncc", [-1.0, 0.0, 1.0])
def test_extremes_stay_probabilities(ncc: float) -> None:
    extreme = Evidence(
        Fit(ncc=ncc, cells=100_000, overlap=1.0, move=(0.0, 0.0)),
        Detail(right=ncc, down=ncc),
        roll_rad=3.0,
        margin=0.0,
    )
    assert 0.0 <= certainty(extreme) <= 1.0


def turned_at(pitch_deg: float, yaw_deg: float, roll_deg: float = 0.0) -> DoubleArray:
    """Turned about the vertical by a camera that looks so far up and is held so far rolled."""
    held = about_x(math.radians(pitch_deg)) @ about_z(math.radians(roll_deg))
    return np.asarray(held.T @ about_y(math.radians(yaw_deg)) @ held)


def turned_both_ways(up_deg: float, yaw_deg: float) -> DoubleArray:
    return about_x(math.radians(up_deg)) @ about_y(math.radians(yaw_deg))


@pytest.mark.parametrize(
    ("known", "turn", "expected"),
    [
        ((None, None), about_y(0.1), (15.0, 15.0)),
        ((None, None), about_y(0.5), (0.0, 0.0)),
        ((None, None), turned_at(22.0, 30.0), (22.0, 22.0)),
        ((None, None), turned_at(22.0, -30.0), (22.0, 22.0)),
        ((None, None), turned_at(22.0, 12.0), (22.0, 22.0)),
        ((None, None), turned_at(0.0, 30.0, roll_deg=12.0), (0.0, 0.0)),
        ((None, None), turned_at(-35.0, 30.0), (-10.0, -10.0)),
        ((None, None), turned_both_ways(30, 30), (15.0, 37.76)),
        ((None, None), about_z(0.4) @ about_y(0.1), (15.0, 15.0)),
        ((None, None), turned_both_ways(15, 30), (15.0, 25.66)),
        ((30.0, None), about_x(math.radians(-40)), (30.0, -10.0)),
        ((None, 20.0), about_x(math.radians(30)), (-10.0, 20.0)),
        ((0.0, None), about_x(math.radians(4)), (0.0, 0.0)),
    ],
    ids=[
        "too little a turn to tell",
        "level",
        "up",
        "up and back",
        "a small turn",
        "level, the camera rolled",
        "no further off than pictures match",
        "turned both ways: from the view",
        "rolled: from the view",
        "less up than across: from the view",
        "down a row",
        "backwards",
        "a wobble is no change",
    ],
)
def test_pitch_is_handed_on(
    known: tuple[float | None, float | None], turn: object, expected: tuple[float, float]
) -> None:
    match = Match(turn, MIDDLING, 0.95, View(15.0))  # type: ignore[arg-type]
    assert pitches_after(match, known) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize(("up_deg", "yaw_deg"), [(40, 0), (-40, 0), (40, 5), (-40, -8)])
def test_turned_straight_up_or_down_no_pitch_follows(up_deg: float, yaw_deg: float) -> None:
    match = Match(turned_both_ways(up_deg, yaw_deg), MIDDLING, 0.95, View(0.0))
    assert pitches_after(match, (None, None)) is None
    assert pitches_after(match, (0.0, None)) is not None
