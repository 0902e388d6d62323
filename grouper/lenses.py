"""How lenses draw: rectilinear ones and fisheyes. Pure.

A lens maps the angle off its axis to a distance from the middle of the picture, here in focal
lengths: tan t of rectilinear lenses; of fisheyes mostly 2 sin(t/2), which keeps solid angles, or
2 tan(t/2), stereographic (Kannala & Brandt, *A Generic Camera Model and Calibration Method for
Conventional, Wide-Angle, and Fish-Eye Lenses*, IEEE PAMI 28(8), 2006, eqs. 1-5).
"""

from __future__ import annotations

import math
import re
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

LensMapping = Literal["rectilinear", "equisolid", "stereographic"]

_FISHEYE = re.compile(r"fish[ -]?eye", re.IGNORECASE)
"""What makers write into the names of such lenses."""
_NUMBERS = re.compile(r"[\d.,/ -]+mm( f/?[\d.,/ -]+)?", re.IGNORECASE)
"""A name that tells focal lengths and apertures alone: Exif's LensSpecification (tag A432) tells no
more, nor do some bodies."""


class Lens(NamedTuple):
    """A focal length in long sides of the full picture, and how the lens draws."""

    share: float
    mapping: LensMapping = "rectilinear"


def is_fisheye(lens_name: str | None) -> bool:
    """Whether a lens is a fisheye by its name."""
    return lens_name is not None and _FISHEYE.search(lens_name) is not None


def names_no_kind(lens_name: str | None) -> bool:
    """Whether a lens may be of any kind for all that its name tells."""
    return lens_name is None or _NUMBERS.fullmatch(lens_name.strip()) is not None


def mapping_by_name(lens_name: str | None) -> LensMapping:
    """How a lens most likely draws, by its name."""
    return "equisolid" if is_fisheye(lens_name) else "rectilinear"


def image_radius(mapping: LensMapping, angle_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distances from the middle of the picture, in focal lengths, of angles off the axis.

    Args:
        mapping: of the lens.
        angle_rad: in radians, of any shape; below a right angle for a rectilinear lens.
    """
    if mapping == "rectilinear":
        return np.asarray(np.tan(angle_rad))
    if mapping == "equisolid":
        return np.asarray(2.0 * np.sin(angle_rad / 2.0))
    return np.asarray(2.0 * np.tan(angle_rad / 2.0))


def angle_off_axis(mapping: LensMapping, radius: NDArray[np.float64]) -> NDArray[np.float64]:
    """The reverse of ``image_radius``: half a turn for all that lies further out than that."""
    if mapping == "rectilinear":
        return np.asarray(np.arctan(radius))
    if mapping == "equisolid":
        return np.asarray(2.0 * np.arcsin(np.minimum(radius / 2.0, 1.0)))
    return np.asarray(2.0 * np.arctan(radius / 2.0))


def focal_px_from_fov(fov_deg: float, side_px: float, mapping: LensMapping) -> float:
    """Focal length in pixels of a lens whose angle of view across a side is known."""
    half = image_radius(mapping, np.array(math.radians(fov_deg) / 2.0))
    return side_px / 2.0 / float(half)


def angle_of_view(side_mm: float, focal_mm: float, mapping: LensMapping) -> float:
    """Angle in degrees that a side (or diagonal) of the sensor sees, focused far away.

    ``2 atan(d / 2f)`` of a rectilinear lens (S. F. Ray, Applied Photographic Optics, 3rd ed. 2002).
    """
    half = angle_off_axis(mapping, np.array(side_mm / 2.0 / focal_mm))
    return 2.0 * math.degrees(float(half))
