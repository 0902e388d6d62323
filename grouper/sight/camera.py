"""What is believed of a frame's camera before its pictures are compared. Pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

from grouper.model import Frame

_WIDEST, _LONGEST = 0.3, 60.0
"""Focal lengths in long sides of the picture that a lens can have: below 0.3 (118 degrees)
no rectilinear lens is made; 60 is 2000 mm on 36 mm."""
_UNKNOWN_SHARES = (0.75, 1.2, 2.0, 4.0)
"""27, 43, 72, 144 mm on a 36 mm side: with nothing known the pictures choose, and between
neighbours in this row a match still holds."""
_ASSUMED_SCALES = (1.0, 1.55, 2.7, 5.0)
"""A sensor assumed to be 36 mm long may be APS-C (1.53, 1.61), 4/3 (2.1), 1 inch (2.7) or a
compact camera's (5)."""
_SUSPECT_SHARE = 3.0
"""Focal-plane resolution left unchanged by resizing shows a sensor that is too small and so
a lens that is too long: beyond 108 mm equivalent the other reading is tried as well."""

CameraKey = tuple[str | None, str | None, str | None, float | None, tuple[int, int] | None]


@dataclass(frozen=True, slots=True)
class CameraBelief:
    """A key that frames of one camera at one focal length share, and what that may be.

    ``shares`` are possible focal lengths in long sides of the picture, the likeliest first;
    ``known`` tells whether the first comes from the metadata at all.
    """

    key: CameraKey
    shares: tuple[float, ...]
    known: bool
    pitch_deg: float | None


def camera_of(frame: Frame) -> CameraBelief:
    """What the metadata says of the camera that took a frame."""
    size = frame.upright_px
    long_side = None if size is None else (max(size), min(size))
    focal = None if frame.focal_mm is None else round(frame.focal_mm, 2)
    key = (frame.make, frame.model, frame.serial, focal, long_side)
    attitude = frame.attitude
    pitch = None if attitude is None else attitude.pitch_deg
    share = _share(frame)
    if share is None:
        return CameraBelief(key, _UNKNOWN_SHARES, False, pitch)
    if frame.sensor_from == "assumed":
        shares = tuple(share * scale for scale in _ASSUMED_SCALES)
    elif frame.sensor_from == "focal-plane" and share > _SUSPECT_SHARE:
        shares = (share, share / 2.0, share / 4.0)
    else:
        shares = (share,)
    return CameraBelief(key, tuple(round(one, 4) for one in shares), True, pitch)


def _share(frame: Frame) -> float | None:
    if not frame.focal_mm or not frame.sensor_long_mm:
        return None
    share = frame.focal_mm / frame.sensor_long_mm
    if frame.focus_m is not None and 0 < frame.focus_m < math.inf:
        # Thin lens: focused near, the picture lies behind the focal plane by f / (1 - f/d).
        near = frame.focal_mm / 1000.0 / frame.focus_m
        share /= 1.0 - min(near, 0.5)
    return share if _WIDEST <= share <= _LONGEST else None
