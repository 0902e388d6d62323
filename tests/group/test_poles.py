"""Frames straight up and down that close a sphere after a full turn."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from grouper.group.poles import closing_frames
from grouper.model import Layout, Pointing
from tests.group.eyes import Shot, grouped, numbers, pairs_of, run, singles, sweep
from tests.support import frame

TALL: dict[str, Any] = {"focal_mm": 16.0}
"""97 degrees tall on 36 mm upright: 2 atan(18 / 16)."""
RING = [i * 36.0 for i in range(10)]
ROUND = Layout(
    rows=1, views=10, legs=1, steps=1, closed=True, direction="right", span_deg=(360.0, 97.0),
    fov_deg=(74.0, 97.0), overlap_min=0.3, overlap_median=0.3, base_tilt_deg=None,
    camera_roll_deg=None, crop_loss=None, projection="spherical", size_px=None,
    pointing_from="pictures",
)  # fmt: skip


def after_ring(*more: Shot, **ring: Any) -> list[Shot]:
    return [*sweep(1, 0, RING, **{**TALL, **ring}), *more]


def pole(number: int, at_s: float, **changes: Any) -> Shot:
    return Shot(frame(number, at_s, **{**TALL, **changes}), f"pole {number}", pitch=90.0)


SPEAKS_ON = {
    "zenith and nadir": ([pole(11, 52), pole(12, 60)], [10, 11]),
    "zenith only": ([pole(11, 52)], [10]),
    "singles long after": ([pole(11, 52), *singles(12, 400, 3)], [10]),
    "another lens after": ([pole(11, 52), pole(12, 57, focal_mm=85.0)], [10]),
}
SILENT_ON = {
    "nothing after": [],
    "a long pause": [pole(11, 300)],
    "another exposure": [pole(11, 52, exposure_s=1 / 250)],
    "another lens": [pole(11, 52, focal_mm=85.0)],
    "a third frame in the rhythm": [pole(11, 52), pole(12, 58), pole(13, 63)],
}


@pytest.mark.parametrize(("more", "expected"), SPEAKS_ON.values(), ids=SPEAKS_ON.keys())
def test_frames_that_close_a_sphere(more: list[Shot], expected: list[int]) -> None:
    pairs = pairs_of(after_ring(*more))
    assert list(closing_frames(pairs, ROUND, 0, 9, set(range(10)))) == expected


@pytest.mark.parametrize("more", SILENT_ON.values(), ids=SILENT_ON.keys())
def test_no_frame_closes_the_sphere_with(more: list[Shot]) -> None:
    pairs = pairs_of(after_ring(*more))
    assert list(closing_frames(pairs, ROUND, 0, 9, set(range(10)))) == []


def test_undated_frames_have_no_rhythm_in_which_another_may_follow() -> None:
    undated = [replace(s, frame=replace(s.frame, taken=None)) for s in after_ring(pole(11, 52))]
    assert list(closing_frames(pairs_of(undated), ROUND, 0, 9, set(range(10)))) == []
    assert numbers(grouped(undated)) == [("panorama", run(1, 10))]


def open_ring(**changes: Any) -> Layout:
    from dataclasses import replace

    return replace(ROUND, **changes)


@pytest.mark.parametrize(
    "layout",
    [
        None,
        open_ring(closed=False),
        open_ring(span_deg=None),
        open_ring(span_deg=(360.0, 60.0)),
    ],
    ids=["no layout", "not closed", "no span", "a low ring"],
)
def test_only_a_closed_tall_ring_has_poles(layout: Layout | None) -> None:
    pairs = pairs_of(after_ring(pole(11, 52)))
    assert list(closing_frames(pairs, layout, 0, 9, set(range(10)))) == []


def test_frames_of_another_set_are_left_alone() -> None:
    pairs = pairs_of(after_ring(pole(11, 52), pole(12, 60)))
    assert list(closing_frames(pairs, ROUND, 0, 9, set(range(12)))) == []
    assert list(closing_frames(pairs, ROUND, 0, 9, {*range(10), 11})) == [10]


def test_zenith_and_nadir_join_the_closed_ring_as_views_of_their_own() -> None:
    found = grouped(after_ring(pole(11, 52), pole(12, 60)))
    assert numbers(found) == [("panorama", run(1, 12))]
    (ring,) = found.sets
    assert ring.layout is not None
    assert (ring.layout.closed, ring.layout.views) == (True, 12)
    assert [m.view for m in ring.members[-2:]] == [10, 11]
    assert [m.pointing for m in ring.members[-2:]] == [Pointing(), Pointing()]
    assert found.singles == ()
