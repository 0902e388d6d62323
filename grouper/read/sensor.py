"""How long the sensor area behind a picture's long side is: from tags, bodies, or a guess.

Every angle grouper computes before it has looked at the pictures rests on this length, so
its origin is kept beside it. Pure.
"""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final, Literal, NamedTuple

from grouper.model import Frame

SensorFrom = Literal["equivalent", "focal-plane", "body", "assumed"]

FULL_FRAME_DIAGONAL_MM: Final = math.hypot(36.0, 24.0)
"""43.267 mm: the diagonal that "35 mm equivalent" refers to (CIPA DC-008)."""

LEAST_MM, MOST_MM = 4.0, 60.0
"""Sensors in cameras run from about 4 mm (old phones) to 54 mm (medium format); a focal-plane
resolution that says otherwise was left behind by resizing. Common practice, no source."""

LEAST_EQUIVALENT_MM: Final = 1.5
"""An equivalent focal length counts digital zoom, so the part of the sensor used may be far
smaller than any sensor: 8 times zoom on a 12 mm sensor."""

AGREES: Final = 0.15
"""Relative difference up to which a focal-plane resolution agrees with what is known of the
body: area trimmed for other aspects changes the long side by up to 12 % (4:3 against 16:9
on one image circle), resizing by far more."""

_INCH_MM, _CM_MM, _MM_MM, _UM_MM = 25.4, 10.0, 1.0, 0.001
_UNITS: Final = {1: _INCH_MM, 2: _INCH_MM, 3: _CM_MM, 4: _MM_MM, 5: _UM_MM}
"""FocalPlaneResolutionUnit; 2 and 3 are Exif's, inch the default, 4 and 5 seen in the wild."""


class Sensor(NamedTuple):
    """Length in millimetres, and where it comes from."""

    long_mm: float
    origin: SensorFrom


_BODIES: Final[Sequence[tuple[str, float]]] = (
    # Sensor lengths in mm by body name, from memory; first match wins, so the exceptions of
    # a line come before the line. Names as in Exif Model, blanks single.
    (r"EOS[- ]1D X|EOS[- ]1Ds|EOS (5D|6D|R[1356]?|RP|R[56] Mark|R8|Ra)\b", 36.0),
    (r"EOS[- ]1D\b", 28.1),
    (r"EOS (M|R\d|R\d\d|R100|D30|D60|\d{1,4}D|DIGITAL|Kiss|Rebel|REBEL)", 22.3),
    (r"PowerShot (G1 X Mark III)", 22.3),
    (r"PowerShot (G1 X)", 18.7),
    (r"PowerShot (G[3579] X)", 13.2),
    (r"PowerShot (G|S[3-9]0|S9|S1[0-2]0|Pro)", 7.3),
    (r"NIKON Z ?(30|50|fc)", 23.5),
    (r"NIKON (D3|D3S|D3X|D4|D4S|D5|D6|D600|D610|D7[05]0|D8[015]0|D780|Df)$|NIKON Z ?[5-9f]", 36.0),
    (r"NIKON D\d+", 23.6),
    (r"NIKON 1 ", 13.2),
    (r"^(ILCE-[179]|ILME|SLT-A99|ILCA-99|DSLR-A[89]|DSC-RX1R?\b)", 35.8),
    (r"^(ILCE-|NEX-|SLT-|ILCA-|DSLR-A|ZV-E10)", 23.5),
    (r"^DSC-RX10|^ZV-1|^DSC-RX0", 13.2),
    (r"^DSC-R1\b", 21.5),
    (r"^(DMC-G[MFXH1-9]|DC-G|DC-BGH|E-\d|E-[MP]|OM-\d|PEN-F|DMC-L[1]|DMC-L10)", 17.3),
    (r"^DC-S\d", 35.6),
    (r"^GFX", 43.8),
    (r"^X-[ADEHMPST]|^X-Pro|^X100|^X70\b", 23.5),
    (r"^FinePix ?S\d ?Pro", 23.0),
    (r"PENTAX K-1\b", 35.9),
    (r"PENTAX 645", 43.8),
    (r"PENTAX (K|\*ist)", 23.5),
    (r"LEICA (M8)", 27.0),
    (r"LEICA (M|Q|SL)", 36.0),
    (r"LEICA (CL|T|X)\b", 23.6),
    (r"RICOH GR|^GR (III|II)?|^GXR A12", 23.5),
    (r"SIGMA (SD9|SD10|SD14|DP1|DP2)\b", 20.7),
    (r"^FC(300|330|6310|350)|^HERO\d", 6.17),
    (r"^FC220|^FC7303|^FC2204", 6.17),
    (r"^L1D-20c|^FC3411", 13.2),
)
_BODY_LIST: Final = tuple((re.compile(pattern), length) for pattern, length in _BODIES)

_COMPACT: Final = re.compile(
    r"PowerShot|IXUS|IXY|COOLPIX|^E\d{3,4}$|FinePix|^DSC-|CYBERSHOT|^DMC-|^EX-|^QV-|"
    r"EASYSHARE|KODAK|Optio|DiMAGE|Caplio|^u\d|^C\d|^FE\d|^SP\d|^S[PX]?\d"
)
COMPACT_MM: Final = 6.0
"""Typical compact camera: between 5.75 mm (1/2.5 inch type) and 6.17 mm (1/2.3 inch type), the
two commonest sensor types of its time. From memory."""

SHORT_FOCAL_MM: Final = 8.0
"""No ordinary lens for an interchangeable-lens body is shorter than this (fisheyes begin at
8 mm), so a shorter one sits on a small sensor: on 36 mm it would see 150 degrees."""

TYPICAL_EQUIVALENT_MM: Final = 26.0
"""A short lens is that of a phone (24-29 mm equivalent) or drone (20-28 mm), or a compact's wide
end (24-35 mm): 26 mm is wrong by a factor of 1.35 at most, 36 mm of sensor by five. From memory."""

SMALL_MM: Final = (4.5, 9.8)
"""Range of phone and compact sensors: 1/3.2 inch to 1/1.3 inch type. From memory."""


def sensor_of(
    *,
    model: str | None,
    focal_mm: float | None,
    focal_35mm: float | None,
    plane_per_unit: tuple[float | None, float | None],
    plane_unit: int | None,
    camera_px: tuple[int, int] | None,
    zoom: float = 1.0,
    lens: str | None = None,
) -> Sensor:
    """Length of the sensor area that the picture's long side was taken from.

    Args:
        model: body name.
        focal_mm: true focal length.
        focal_35mm: 35 mm equivalent (by the diagonal), digital zoom included.
        plane_per_unit: focal-plane resolution across and down, pixels per unit.
        plane_unit: Exif FocalPlaneResolutionUnit.
        camera_px: width and height as the camera stored them; a resized file's own size
            would shrink the sensor with it.
        zoom: digital zoom ratio, at least 1.
        lens: lens name; a named lens hints at an interchangeable one.

    Returns:
        The first that is believable of: equivalent focal length, focal-plane resolution (in
        keeping with the body where that is known), the body's own sensor, an assumption.
    """
    aspect = _aspect(camera_px)
    by_equivalent = _from_equivalent(focal_mm, focal_35mm, aspect)
    if by_equivalent is not None:
        return Sensor(by_equivalent, "equivalent")
    body = body_length(model)
    by_plane = _from_plane(plane_per_unit, plane_unit, camera_px)
    if by_plane is not None and (body is None or abs(by_plane / body - 1.0) <= AGREES):
        return Sensor(by_plane / zoom, "focal-plane")
    if body is not None:
        return Sensor(body / zoom, "body")
    return Sensor(assumed_length(model, focal_mm, lens) / zoom, "assumed")


@lru_cache(maxsize=256)
def body_length(model: str | None) -> float | None:
    """The sensor's long side of a body known by name, in mm."""
    name = " ".join((model or "").split())
    return next((length for pattern, length in _BODY_LIST if pattern.search(name)), None)


def assumed_length(model: str | None, focal_mm: float | None, lens: str | None = None) -> float:
    """A sensor length for a body that nothing is known of, in mm: small or full frame."""
    if model and _COMPACT.search(" ".join(model.split())):
        return COMPACT_MM
    named = lens is not None and "camera" not in lens.lower()
    if focal_mm is None or focal_mm >= SHORT_FOCAL_MM or named:
        return 36.0
    return min(max(focal_mm * 36.0 / TYPICAL_EQUIVALENT_MM, SMALL_MM[0]), SMALL_MM[1])


def _aspect(camera_px: tuple[int, int] | None) -> float:
    """Long over short side; 3:2, the shape "35 mm" has, where it is not known."""
    if camera_px is None or min(camera_px) <= 0:
        return 1.5
    return max(camera_px) / min(camera_px)


def _from_equivalent(
    focal_mm: float | None, focal_35mm: float | None, aspect: float
) -> float | None:
    if not focal_mm or not focal_35mm:
        return None
    diagonal = FULL_FRAME_DIAGONAL_MM * focal_mm / focal_35mm
    length = diagonal * aspect / math.hypot(aspect, 1.0)
    return length if LEAST_EQUIVALENT_MM <= length <= MOST_MM else None


def _from_plane(
    per_unit: tuple[float | None, float | None],
    unit: int | None,
    camera_px: tuple[int, int] | None,
) -> float | None:
    if camera_px is None:
        return None
    across, down = per_unit
    wide = camera_px[0] >= camera_px[1]
    resolution = (across or down) if wide else (down or across)
    # Unit 1 ("none") is written by bodies that mean inches.
    scale = _UNITS.get(unit if unit is not None else 2)
    if not resolution or scale is None:
        return None
    length = max(camera_px) / resolution * scale
    return length if LEAST_MM <= length <= MOST_MM else None


def agree_sensors(frames: Iterable[Frame]) -> list[Frame]:
    """Let frames of one body that had to be assumed follow its other frames.

    A body has one sensor: where some of its frames say how long it is, so do the others; else
    its shortest focal length shows whether it is a small one (a compact zoomed to 18 mm is
    told by its frames at 6 mm).
    """
    frames = list(frames)
    by_body: dict[tuple[str | None, str | None], list[Frame]] = {}
    for frame in frames:
        by_body.setdefault((frame.make, frame.model), []).append(frame)
    lengths = {body: _common(group) for body, group in by_body.items() if body[1] is not None}
    return [_follow(frame, lengths.get((frame.make, frame.model))) for frame in frames]


def _common(group: Sequence[Frame]) -> Sensor | None:
    measured = [frame for frame in group if frame.sensor_from in ("equivalent", "focal-plane")]
    known = [frame.sensor_long_mm for frame in measured if frame.sensor_long_mm]
    if known:
        return Sensor(statistics.median(known), measured[0].sensor_from)
    focals = [frame.focal_mm for frame in group if frame.focal_mm]
    if not focals:
        return None
    shortest = min(focals)
    lens = next((frame.lens for frame in group if frame.focal_mm == shortest), None)
    return Sensor(assumed_length(group[0].model, shortest, lens), "assumed")


def _follow(frame: Frame, sensor: Sensor | None) -> Frame:
    if frame.sensor_from != "assumed" or sensor is None or frame.sensor_long_mm == sensor.long_mm:
        return frame
    return replace(frame, sensor_long_mm=sensor.long_mm, sensor_from=sensor.origin)
