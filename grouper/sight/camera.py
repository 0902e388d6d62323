"""What is believed of a frame's camera before its pictures are compared. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from grouper.lenses import Lens, is_fisheye, names_no_kind
from grouper.model import Frame

_WIDEST, _LONGEST = 0.3, 60.0
"""Focal lengths in long sides of the picture that a lens can have: below 0.3 (118 degrees)
no rectilinear lens is made; 60 is 2000 mm on 36 mm."""
_WIDEST_FISHEYE = 0.15
"""The same of a fisheye: circular ones are made from 0.19 (common practice, no source)."""
_FISHEYES = (Lens(0.42, "equisolid"), Lens(0.34, "stereographic"))
"""15 mm on 36 mm, as diagonal fisheyes are, and 8 mm on APS-C, the usual one that tells the body
nothing (common practice, no source)."""
_UNKNOWN = (Lens(0.75), Lens(1.2), Lens(2.0), Lens(4.0), *_FISHEYES)
"""27, 43, 72, 144 mm on a 36 mm side: with nothing known the pictures choose, and between
neighbours in this row a match still holds."""
_MAYBE_FISHEYE = 0.5
"""18 mm on 36 mm: shorter than this either kind of lens is made, longer no fisheye (common
practice, no source)."""
_ASSUMED_SCALES = (1.0, 1.55, 2.7, 5.0)
"""A sensor assumed to be 36 mm long may be APS-C (1.53, 1.61), 4/3 (2.1), 1 inch (2.7) or a
compact camera's (5)."""
_SUSPECT_SHARE = 3.0
"""Focal-plane resolution left unchanged by resizing shows a sensor that is too small and so
a lens that is too long: beyond 108 mm equivalent the other reading is tried as well."""

CameraKey = tuple[
    str | None, str | None, str | None, str | None, float | None, tuple[int, int] | None
]


@dataclass(frozen=True, slots=True)
class CameraBelief:
    """A key that frames of one camera at one focal length share, and what that may be.

    ``lenses`` are those it may have had, the likeliest first; ``known`` tells whether the first
    comes from the metadata at all.
    """

    key: CameraKey
    lenses: tuple[Lens, ...]
    known: bool
    pitch_deg: float | None


def camera_of(frame: Frame) -> CameraBelief:
    """What the metadata says of the camera that took a frame."""
    size = frame.upright_px
    long_side = None if size is None else (max(size), min(size))
    focal = None if frame.focal_mm is None else round(frame.focal_mm, 2)
    key = (frame.make, frame.model, frame.serial, frame.lens, focal, long_side)
    attitude = frame.attitude
    pitch = None if attitude is None else attitude.pitch_deg
    share = _share(frame)
    fisheye = is_fisheye(frame.lens)
    if share is None or share < (_WIDEST_FISHEYE if fisheye else _WIDEST):
        return CameraBelief(key, _FISHEYES if fisheye else _UNKNOWN, False, pitch)
    if frame.sensor_from == "assumed":
        shares = tuple(share * scale for scale in _ASSUMED_SCALES)
    elif frame.sensor_from == "focal-plane" and share > _SUSPECT_SHARE:
        shares = (share, share / 2.0, share / 4.0)
    else:
        shares = (share,)
    return CameraBelief(key, tuple(_lenses(shares, frame.lens)), True, pitch)


def _lenses(shares: Sequence[float], name: str | None) -> Iterator[Lens]:
    """What lenses of these focal lengths may be, by the name of the lens."""
    fisheye = is_fisheye(name)
    for share in shares:
        if not fisheye:
            yield Lens(round(share, 4))
        if fisheye or (names_no_kind(name) and share < _MAYBE_FISHEYE):
            yield Lens(round(share, 4), "equisolid")
            yield Lens(round(share, 4), "stereographic")


def _share(frame: Frame) -> float | None:
    if not frame.focal_mm or not frame.sensor_long_mm:
        return None
    share = frame.focal_mm / frame.sensor_long_mm
    if frame.focus_m is not None and 0 < frame.focus_m < math.inf:
        # Thin lens: focused near, the picture lies behind the focal plane by f / (1 - f/d).
        near = frame.focal_mm / 1000.0 / frame.focus_m
        share /= 1.0 - min(near, 0.5)
    return share if share <= _LONGEST else None
