"""How lenses draw, against values worked by hand from the formulas of Kannala & Brandt 2006."""

from __future__ import annotations

import math

import numpy as np
import pytest

from grouper.lenses import (
    LensMapping,
    angle_of_view,
    angle_off_axis,
    focal_px_from_fov,
    image_radius,
    is_fisheye,
    mapping_by_name,
    names_no_kind,
)

MAPPINGS: tuple[LensMapping, ...] = ("rectilinear", "equisolid", "stereographic")


# Eqs. 1, 2 and 4 at 45 and 90 degrees: tan 45; 2 sin 22.5, 2 sin 45; 2 tan 22.5, 2 tan 45.
@pytest.mark.parametrize(
    ("mapping", "angle_deg", "radius"),
    [
        ("rectilinear", 45, 1.0),
        ("equisolid", 45, 0.76537),
        ("equisolid", 90, 1.41421),
        ("stereographic", 45, 0.82843),
        ("stereographic", 90, 2.0),
    ],
)
def test_where_lenses_draw(mapping: LensMapping, angle_deg: float, radius: float) -> None:
    angle = np.array(math.radians(angle_deg))
    assert float(image_radius(mapping, angle)) == pytest.approx(radius, abs=1e-5)
    assert float(angle_off_axis(mapping, np.array(radius))) == pytest.approx(float(angle), abs=1e-5)


@pytest.mark.parametrize("mapping", MAPPINGS)
def test_near_the_axis_all_lenses_draw_alike(mapping: LensMapping) -> None:
    assert float(image_radius(mapping, np.array(0.01))) == pytest.approx(0.01, rel=1e-4)


def test_nothing_is_drawn_further_out_than_half_a_turn() -> None:
    assert float(angle_off_axis("equisolid", np.array(2.5))) == pytest.approx(math.pi)


# Half sides over twice the focal length: asin(0.6) = 36.87, asin(0.4) = 23.58, asin(0.7211) =
# 46.15 degrees, times four. Such a lens is sold as one of 180 degrees across the diagonal.
@pytest.mark.parametrize(("side_mm", "angle"), [(36, 147.48), (24, 94.31), (43.267, 184.59)])
def test_a_diagonal_fisheye_sees_half_a_sphere(side_mm: float, angle: float) -> None:
    assert angle_of_view(side_mm, 15, "equisolid") == pytest.approx(angle, abs=0.01)


@pytest.mark.parametrize("mapping", MAPPINGS)
def test_the_focal_length_follows_from_the_angle_of_view(mapping: LensMapping) -> None:
    fov = angle_of_view(36, 18, mapping)
    assert focal_px_from_fov(fov, 6000, mapping) == pytest.approx(3000)


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("8-15mm f/4L FISHEYE", True),
        ("Fish-Eye 16/2.8", True),
        ("fish eye 10.5mm", True),
        ("24mm f/2.8", False),
        ("", False),
        (None, False),
    ],
)
def test_fisheyes_are_called_so(name: str | None, told: bool) -> None:
    assert is_fisheye(name) is told
    assert mapping_by_name(name) == ("equisolid" if told else "rectilinear")


@pytest.mark.parametrize(
    ("name", "told"),
    [
        (None, True),
        ("10.5 mm f/2.8", True),
        ("8-15mm F4-4.5", True),
        ("15 mm", True),
        ("Ostrel 8.8mm f/2.8", False),
        ("OS10-22mm f/3.5-4.5", False),
        ("8-15mm f/4L Fisheye", False),
    ],
)
def test_numbers_alone_tell_no_kind_of_lens(name: str | None, told: bool) -> None:
    assert names_no_kind(name) is told
