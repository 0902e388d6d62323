"""The shape of a panorama, against closed forms worked by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from grouper.group.layout import build_layout, field_of_view_deg
from grouper.model import Layout, Link, Member, Pointing, Sighting, Solution
from tests.support import frame

# 2 atan(side / (2 focal)), the angle of view of a rectilinear lens (Ray, Applied Photographic
# Optics), worked with a pocket calculator.
ANGLES: dict[str, tuple[dict[str, Any], tuple[float, float] | None]] = {
    "24 mm upright": ({}, (53.13, 73.74)),
    "24 mm across": ({"width_px": 6000, "height_px": 4000}, (73.74, 53.13)),
    "24 mm turned by the tag": ({"orientation": 6}, (73.74, 53.13)),
    "50 mm upright": ({"focal_mm": 50.0}, (26.99, 39.60)),
    "a crop sensor": ({"focal_mm": 16.0, "sensor_long_mm": 24.0}, (53.13, 73.74)),
    # 4 asin(side / (4 focal)), of a fisheye that keeps solid angles (Kannala & Brandt 2006, eq. 4).
    "a fisheye": ({"focal_mm": 15.0, "lens": "15mm Fisheye"}, (94.31, 147.48)),
    "no focal length": ({"focal_mm": None}, None),
    "a focal length of nothing": ({"focal_mm": 0.0}, None),
    "no sensor": ({"sensor_long_mm": None}, None),
    "no size": ({"height_px": None}, None),
    "a size of nothing": ({"height_px": 0}, None),
}


@pytest.mark.parametrize(("changes", "angles"), ANGLES.values(), ids=ANGLES.keys())
def test_the_angle_of_view(changes: dict[str, Any], angles: tuple[float, float] | None) -> None:
    found = field_of_view_deg(frame(**changes))
    assert found == (angles if angles is None else pytest.approx(angles, abs=0.01))


def test_the_lens_is_the_one_that_the_pictures_showed() -> None:
    """Upright, 2 to 3: across a long side of one, 4 asin(1 / (4 share)) (see above)."""
    told_nothing = frame(focal_mm=None, sensor_long_mm=None, lens=None)
    assert field_of_view_deg(told_nothing, solved()) is None
    seen = solved(focal_share=15 / 36, mapping="equisolid")
    for one in (told_nothing, frame()):
        assert field_of_view_deg(one, seen) == pytest.approx((94.31, 147.48), abs=0.01)
    closed = replace(seen, focal_share=30 / 36, focal_scale=0.5)
    assert field_of_view_deg(told_nothing, closed) == pytest.approx((94.31, 147.48), abs=0.01)
    shape = layout(looking([(0.0, 0.0), (60.0, 0.0)]), seen)
    assert shape.mapping == "equisolid"
    assert shape.span_deg == pytest.approx((154.31, 147.48), abs=0.01)
    # 4,000 pixels across 94.31 degrees: f is 2,500 of them, half of the long side's 6,000 on 15/36.
    assert shape.size_px is not None
    assert shape.size_px[0] == pytest.approx(math.radians(154.31) * 2500, abs=2)


def looking(looks: Sequence[tuple[float | None, float | None]], **changes: Any) -> list[Member]:
    return [
        Member(
            frame=frame(i, 5 * i, **changes),
            view=i,
            pointing=Pointing(yaw_deg=yaw, pitch_deg=pitch),
        )
        for i, (yaw, pitch) in enumerate(looks)
    ]


def solved(**changes: Any) -> Solution:
    return Solution(pointings=(), residual_deg=0.1, **changes)


def layout(
    members: Sequence[Member], solution: Solution | None = None, overlaps: Sequence[float] = ()
) -> Layout:
    links = [
        Link(a="a", b="b", sighting=Sighting(overlap=share, certainty=0.9)) for share in overlaps
    ]
    return build_layout(members, solution, links, "pictures" if solution else "assumed")


def test_the_span_reaches_from_edge_to_edge() -> None:
    found = layout(looking([(-35, 0), (0, 0), (35, 0)]), solved())
    assert found.span_deg == pytest.approx((123.13, 73.74), abs=0.01)
    assert found.fov_deg == pytest.approx((53.13, 73.74), abs=0.01)
    assert (found.rows, found.views, found.legs, found.steps) == (1, 3, 1, 1)


def test_a_closed_circle_spans_a_full_turn_and_no_more() -> None:
    ring = looking([(float(yaw), 0) for yaw in range(-180, 180, 30)])
    assert layout(ring, solved(closed=True)).span_deg == pytest.approx((360, 73.74), abs=0.01)
    few = looking([(-120, 0), (0, 0), (120, 0)])
    assert layout(few, solved(closed=True)).span_deg == pytest.approx((360, 73.74), abs=0.01)
    wide = looking([(float(yaw), 0) for yaw in range(-170, 171, 34)])
    assert layout(wide, solved()).span_deg == pytest.approx((360, 73.74), abs=0.01)
    assert not layout(wide, solved()).closed


def test_a_corrected_focal_length_corrects_the_angles() -> None:
    # Twice the focal length: 48 mm on 24 x 36.
    found = layout(looking([(0, 0), (20, 0)]), solved(focal_scale=2.0))
    expected = [math.degrees(2 * math.atan(side / 96)) for side in (24, 36)]
    assert found.fov_deg == pytest.approx(expected, abs=0.01)


WAYS = {
    "right": ([(0, 0), (30, 0), (60, 1)], "right"),
    "left": ([(60, 0), (30, 0), (0, 0)], "left"),
    "up": ([(0, 0), (0, 30), (1, 60)], "up"),
    "down": ([(0, 60), (0, 30), (0, 0)], "down"),
    "there and back": ([(0, 0), (30, 0), (60, 0), (60, 30), (30, 30), (0, 30)], "mixed"),
    "mostly right": ([(30 * i, 0) for i in range(5)] + [(45, 0)], "right"),
    "not known": ([(None, None), (None, None)], "mixed"),
}


@pytest.mark.parametrize(("looks", "way"), WAYS.values(), ids=WAYS.keys())
def test_which_way_the_sweep_ran(looks: list[Any], way: str) -> None:
    assert layout(looking(looks), solved()).direction == way


def test_overlaps_are_those_of_neighbours_with_pictures() -> None:
    found = layout(looking([(0, 0), (30, 0)]), solved(), [0.4, 0.2, 0.3])
    assert (found.overlap_min, found.overlap_median) == (0.2, 0.3)
    bare = build_layout(looking([(0, 0)]), solved(), [Link(a="a", b="b")], "pictures")
    assert (bare.overlap_min, bare.overlap_median) == (None, None)


def test_a_row_that_climbs_loses_height() -> None:
    climbing = layout(looking([(0, 0), (35, 3), (70, 7.374)]), solved())
    assert climbing.crop_loss == pytest.approx(0.10, abs=0.001)
    assert layout(looking([(0, 0), (35, 0)]), solved()).crop_loss == 0.0
    rolled = layout(looking([(0, 0), (35, 0), (70, 0)]), solved(camera_roll_deg=3.0))
    assert rolled.crop_loss is not None
    assert rolled.crop_loss > 0.01
    assert rolled.camera_roll_deg == 3.0


def test_loss_is_not_said_of_two_rows_or_without_pointings() -> None:
    upper = [Member(frame=frame(9), row=1, view=9, pointing=Pointing(yaw_deg=0, pitch_deg=30))]
    assert layout([*looking([(0, 0), (35, 0)]), *upper], solved()).crop_loss is None
    assert layout(looking([(0, 0), (35, 0)])).crop_loss is None
    assert layout(looking([(None, None), (0, 0)]), solved()).crop_loss is None


def test_nothing_known_is_said_to_be_not_known() -> None:
    found = layout(looking([(None, None)] * 3, focal_mm=None, width_px=None))
    assert found.views == 3
    unknown = (found.span_deg, found.fov_deg, found.size_px, found.projection, found.base_tilt_deg)
    assert unknown == (None,) * 5
    assert found.pointing_from == "assumed"


def test_the_size_of_a_full_turn_is_its_circumference_in_pixels() -> None:
    # focal length in pixels: 24 mm / 24 mm * 4000 px = 4000; circumference 2 pi f.
    ring = looking([(float(yaw), 0) for yaw in range(-180, 180, 30)])
    size = layout(ring, solved(closed=True)).size_px
    assert size is not None
    assert size[0] == pytest.approx(2 * math.pi * 4000, rel=1e-3)


def test_an_overlap_that_is_hardly_believed_is_none() -> None:
    """Over a gap something is always matched best, however badly."""
    links = [
        Link(a="a", b="b", sighting=Sighting(overlap=share, certainty=sure))
        for share, sure in ((0.43, 0.98), (0.36, 0.009), (0.45, 0.97))
    ]
    found = build_layout(looking([(0, 0)]), solved(), links, "pictures")
    assert (found.overlap_min, found.overlap_median) == (0.43, 0.45)
