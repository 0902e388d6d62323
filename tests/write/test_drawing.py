from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from grouper.model import Member, Pointing, Set
from grouper.write.drawing import WIDTH, Drawing, card_drawing, exposure, set_drawing
from tests.support import START, frame
from tests.write.results import bracket, layout, panorama, result


def sweep(*yaws: float, pitch: float = 0.0, fov: tuple[float, float] = (50.0, 70.0)) -> Set:
    members = tuple(
        Member(frame=frame(n), view=n, pointing=Pointing(yaw_deg=yaw, pitch_deg=pitch))
        for n, yaw in enumerate(yaws)
    )
    return panorama(members=members, layout=layout(fov_deg=fov), findings=())


def drawn(one: Set) -> Drawing:
    drawing = set_drawing(one)
    assert drawing is not None
    return drawing


def test_frames_stand_at_their_angles() -> None:
    boxes = drawn(sweep(-40.0, 0.0, 40.0)).boxes
    per_degree = boxes[0].width / 50
    assert boxes[1].x - boxes[0].x == pytest.approx(40 * per_degree, abs=0.2)
    assert boxes[0].height == pytest.approx(70 * per_degree, abs=0.2)
    assert boxes[0].x + boxes[0].width > boxes[1].x  # they overlap


@pytest.mark.parametrize(
    ("yaws", "gaps"), [((-40, 0, 40), []), ((-40, 0, 80), ["gap 30°"]), ((0,), [])]
)
def test_gaps(yaws: tuple[float, ...], gaps: list[str]) -> None:
    boxes = drawn(sweep(*yaws)).boxes
    assert [box.label for box in boxes if box.look == "gap"] == gaps


def test_a_frame_near_the_pole_covers_more_yaw() -> None:
    """A small circle at pitch p is cos(p) of the equator (spherical geometry)."""
    level, high = drawn(sweep(0.0, 40.0)), drawn(sweep(0.0, 40.0, pitch=60.0, fov=(50.0, 20.0)))
    ratio = [d.boxes[0].width / (d.boxes[1].x - d.boxes[0].x) * 40 for d in (level, high)]
    assert ratio == pytest.approx([50, 100], rel=0.01)


@pytest.mark.parametrize(
    "one",
    [
        sweep(0.0),
        sweep(*range(-180, 180, 30)),
        sweep(0.0, 1.0, fov=(1.2, 0.8)),
        sweep(0.0, pitch=90.0),
        bracket(),
        panorama(layout=layout(fov_deg=None)),
    ],
    ids=["one", "round", "long", "zenith", "bracket", "no fov"],
)
def test_everything_lies_within_the_drawing(one: Set) -> None:
    drawing = drawn(one)
    assert drawing.boxes
    for box in drawing.boxes:
        assert 0 <= box.x <= box.x + box.width <= WIDTH
        assert 0 <= box.y <= box.y + box.height <= drawing.ruler_y + 0.1
    assert all(0 <= tick.x <= WIDTH for tick in drawing.ticks)
    assert 1 <= len(drawing.ticks) <= 13


def test_a_leg_per_view_is_enough() -> None:
    one = sweep(0.0, 40.0)
    members = [
        replace(m, leg=leg, ev_offset=float(leg - 1)) for m in one.members for leg in range(3)
    ]
    assert len(drawn(replace(one, members=tuple(members))).boxes) == 2


def test_unknown_pointing_and_time_draw_nothing() -> None:
    member = Member(frame=frame(taken=None))
    assert set_drawing(bracket(members=(member,))) is None


def test_long_pauses_of_the_card_are_cut_short() -> None:
    first, second = bracket(), bracket(id="later")
    later = tuple(
        replace(m, frame=replace(m.frame, taken=START + timedelta(days=2, seconds=n)))
        for n, m in enumerate(second.members)
    )
    of = result(first, replace(second, members=later))
    drawing = card_drawing(of)
    assert drawing is not None
    assert max(box.x + box.width for box in drawing.boxes) <= WIDTH
    labels = [tick.label for tick in drawing.ticks]
    assert labels == ["14 Mar 09:24", "14 Mar 09:29", "16 Mar 09:14"]


@pytest.mark.parametrize(
    ("seconds", "text"), [(1 / 60, "1/60 s"), (0.25, "1/4 s"), (0.5, "0.5 s"), (30.0, "30 s")]
)
def test_exposure(seconds: float, text: str) -> None:
    assert exposure(seconds) == text
