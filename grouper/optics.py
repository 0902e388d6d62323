"""Field of view, overlap, exposure values, depth of field, parallax, levelling, file numbers.

Pure formulas with their sources; no records, no I/O. Angles are degrees, lengths carry their
unit in the name. The camera is a pinhole looking through a rectilinear lens unless said (Hartley
and Zisserman, Multiple View Geometry, 2nd ed. 2004, ch. 6; see ``lenses``); cylinder and sphere
as in Szeliski, Computer Vision: Algorithms and Applications, 2010, ch. 9.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Literal

Grid = Literal["third", "half"]
Projection = Literal["flat", "cylindrical", "spherical"]

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)

FLAT_LIMIT_DEG = 120.0
"""A flat picture stretches its edge 4 times at 120 degrees (1/cos² of 60); common practice
stops there at the latest."""
CYLINDER_LIMIT_DEG = 120.0
"""A cylinder stretches upwards by 1/cos² of the elevation: 4 times at ±60 degrees."""
EARTH_M = 6_371_008.8
"""Mean radius of the Earth (Moritz, Geodetic Reference System 1980, Journal of Geodesy 74, 2000)
(from memory)."""


# --- Field of view ------------------------------------------------------------------------


def within_half_turn(angle_deg: float) -> float:
    """The same angle from -180 up to, but not, 180 degrees: the short way round."""
    return (angle_deg + 180.0) % 360.0 - 180.0


def focal_px(focal_mm: float, side_mm: float, side_px: float) -> float:
    """Focal length in pixels: ``f W_px / w_mm`` (Hartley and Zisserman 2004, ch. 6)."""
    return focal_mm * side_px / side_mm


def equivalent_focal_mm(focal_mm: float, width_mm: float, height_mm: float) -> float:
    """Focal length with the same diagonal angle on 36 x 24 mm (CIPA DCG-001)."""
    return focal_mm * FULL_FRAME_DIAGONAL_MM / math.hypot(width_mm, height_mm)


# --- Overlap and counts -------------------------------------------------------------------


def overlap_rectilinear(step_deg: float, fov_deg: float) -> float:
    """Share of the frame's width, on the horizon row, that the next frame shows again.

    ``1/2 + tan(a/2 - step) / (2 tan(a/2))``, 0 from ``step == a`` on. Own derivation from the
    pinhole model, verified by counting pixels.
    """
    step = abs(step_deg)
    if step >= fov_deg:
        return 0.0
    half = math.radians(fov_deg) / 2.0
    return 0.5 + math.tan(half - math.radians(step)) / (2.0 * math.tan(half))


def overlap_angular(step_deg: float, fov_deg: float) -> float:
    """Share of the frame's angle that the next frame shows again: ``1 - step / a``, from 0."""
    return max(0.0, 1.0 - abs(step_deg) / fov_deg)


def step_for_overlap(overlap: float, fov_deg: float) -> float:
    """Yaw step in degrees that leaves ``overlap`` of the frame's width.

    The inverse of :func:`overlap_rectilinear`.
    """
    half = math.radians(fov_deg) / 2.0
    return math.degrees(half + math.atan((1.0 - 2.0 * overlap) * math.tan(half)))


def frames_for_ring(fov_deg: float, overlap: float) -> int:
    """Fewest frames of a full turn with at least this angular overlap (0..1, below 1)."""
    return _ceil(360.0 / (fov_deg * (1.0 - overlap)))


def frames_for_span(span_deg: float, fov_deg: float, overlap: float) -> int:
    """Fewest frames that cover ``span_deg`` with at least this angular overlap."""
    if span_deg <= fov_deg:
        return 1
    return 1 + _ceil((span_deg - fov_deg) / (fov_deg * (1.0 - overlap)))


def _ceil(value: float) -> int:
    # 12.000000000000002 is twelve frames, not thirteen.
    return math.ceil(value - 1e-9)


def yaw_half_width(
    fov_h_deg: float, pitch_deg: float = 0.0, fov_v_deg: float = 0.0, height_share: float = 0.0
) -> float:
    """Yaw from the centre to the side edge of a frame pitched by ``pitch_deg``.

    ``height_share`` says where: -1 the bottom edge, 0 the middle, 1 the top edge (then
    ``fov_v_deg`` is needed). ``atan2(w/2, f cos p - y sin p)``; in the middle this is
    ``tan(a/2) / cos p``, at the edge nearest the horizon it is *less* than for a level
    camera. Own derivation (spherical geometry), verified numerically.
    """
    pitch, half = math.radians(pitch_deg), math.radians(fov_h_deg) / 2.0
    up = height_share * math.tan(math.radians(fov_v_deg) / 2.0)
    # The tangent's two parts, for a fisheye may see behind itself.
    ahead = math.cos(half) * (math.cos(pitch) - up * math.sin(pitch))
    return math.degrees(math.atan2(math.sin(half), ahead))


# --- Size and stretch of the result -------------------------------------------------------


def panorama_size_px(
    projection: Projection, span_h_deg: float, span_v_deg: float, focal_length_px: float
) -> tuple[int, int]:
    """Width and height of the joined picture when frame centres keep their scale.

    Flat ``2 f tan(S/2)`` both ways, cylinder ``f S`` by ``2 f tan(V/2)``, sphere ``f S`` by
    ``f V`` (Szeliski 2010, ch. 9).

    Raises:
        ValueError: a flat side or a cylinder's height of 180 degrees or more has no size.
    """
    flat = (
        span_h_deg if projection == "flat" else 0.0,
        span_v_deg if projection != "spherical" else 0.0,
    )
    if max(flat) >= 180.0:
        raise ValueError(f"{projection} pictures end short of 180 degrees, not {max(flat)}")
    arc = (math.radians(span_h_deg), math.radians(span_v_deg))
    width = 2.0 * math.tan(arc[0] / 2.0) if projection == "flat" else arc[0]
    height = arc[1] if projection == "spherical" else 2.0 * math.tan(arc[1] / 2.0)
    return round(focal_length_px * width), round(focal_length_px * height)


def stretch(projection: Projection, angle_deg: float) -> float:
    """How many times larger things are drawn ``angle_deg`` off the centre.

    Flat: along the radius, ``1/cos²``; cylinder: upwards at that elevation, ``1/cos²``;
    sphere: sideways at that elevation, ``1/cos``. Own derivation, verified numerically.
    """
    cosine = math.cos(math.radians(angle_deg))
    return 1.0 / cosine if projection == "spherical" else 1.0 / cosine**2


def projection_for(span_h_deg: float, span_v_deg: float) -> Projection:
    """The plainest projection that holds a span without stretching its edge fourfold."""
    if span_h_deg <= FLAT_LIMIT_DEG and span_v_deg <= FLAT_LIMIT_DEG:
        return "flat"
    return "cylindrical" if span_v_deg <= CYLINDER_LIMIT_DEG else "spherical"


# --- Exposure -----------------------------------------------------------------------------


def aperture_value(aperture_f: float) -> float:
    """Av, ``2 log2 N`` (APEX; CIPA DC-008 annex)."""
    return 2.0 * math.log2(aperture_f)


def time_value(exposure_s: float) -> float:
    """Tv, ``-log2 t`` (APEX; CIPA DC-008 annex)."""
    return -math.log2(exposure_s)


def speed_value(iso: float) -> float:
    """Sv, ``log2(S / 3.125)`` (APEX; CIPA DC-008 annex)."""
    return math.log2(iso / 3.125)


def exposure_value(exposure_s: float, aperture_f: float) -> float:
    """Ev = Av + Tv: larger lets in less light (APEX; CIPA DC-008 annex)."""
    return aperture_value(aperture_f) + time_value(exposure_s)


def light_ev(
    exposure_s: float | None, aperture_f: float | None = None, iso: float | None = None
) -> float | None:
    """Light recorded, in EV: brighter is larger. Only differences mean anything.

    ``Sv - Tv - Av`` (APEX). A missing aperture or ISO counts as one that did not change; so
    compare frames of one body and lens. ``None`` without an exposure time.
    """
    if exposure_s is None or exposure_s <= 0.0:
        return None
    light = -time_value(exposure_s)
    if aperture_f is not None and aperture_f > 0.0:
        light -= aperture_value(aperture_f)
    if iso is not None and iso > 0.0:
        light += speed_value(iso)
    return light


# Marks engraved or displayed, against the exact powers of two that bodies aim at (ISO 516
# shutter marks, ISO 517 aperture marks, ISO 12232 speeds; the lists as bodies report them).
_SHUTTER_THIRD_SLOW = (
    *(30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3),
    *(1, 0.8, 0.6, 0.5, 0.4, 0.3),
)
_SHUTTER_THIRD_FAST = (
    *(4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400),
    *(500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000),
    *(10000, 12800, 16000, 20000, 25600, 32000),
)
_SHUTTER_HALF_SLOW = (30, 20, 15, 10, 8, 6, 4, 3, 2, 1.5, 1, 0.7, 0.5, 0.3)
_SHUTTER_HALF_FAST = (
    *(4, 6, 8, 10, 15, 20, 30, 45, 60, 90, 125, 180, 250, 350, 500, 750, 1000, 1500, 2000),
    *(3000, 4000, 6000, 8000),
)
_APERTURE_THIRD = (
    *(1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1),
    *(8, 9, 10, 11, 13, 14, 16, 18, 20, 22, 25, 29, 32, 36, 40, 45, 51, 57, 64),
)
_APERTURE_HALF = (
    *(1.0, 1.2, 1.4, 1.7, 2.0, 2.4, 2.8, 3.3, 4.0, 4.8, 5.6, 6.7, 8, 9.5, 11, 13, 16, 19, 22),
    *(27, 32, 38, 45, 54, 64),
)
_ISO_THIRD = (
    *(25, 32, 40, 50, 64, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250),
    *(1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000, 10000, 12800, 16000, 20000, 25600),
    *(32000, 40000, 51200, 64000, 80000, 102400, 128000, 160000, 204800, 256000, 320000, 409600),
)
_ISO_HALF = (
    *(50, 70, 100, 140, 200, 280, 400, 560, 800, 1100, 1600, 2200, 3200, 4500, 6400, 9000),
    *(12800, 18000, 25600, 36000, 51200),
)

_HALF_ONLY_S = (
    *(0.7, 1.5, 3.0),
    *(1 / mark for mark in (45, 90, 180, 350, 750, 1500, 3000, 6000)),
)
_THIRD_ONLY_S = (
    *(25, 13, 5, 3.2, 2.5, 1.6, 1.3, 0.8, 0.6, 0.4),
    *(1 / mark for mark in (5, 13, 25, 40, 50, 80, 100, 160, 200, 320, 400, 640, 800)),
    *(1 / mark for mark in (1250, 1600, 2500, 3200, 5000, 6400)),
)

_MARK_TOLERANCE_EV = 0.007
"""A value within 0.5 % of a mark is that mark: recorded rationals such as 10/601 round so."""


def _table(marks: Iterable[float], exact_step_log2: float) -> tuple[tuple[float, float], ...]:
    """Pairs (mark, exact value): the nearest 2**(k * step)."""
    return tuple(
        (float(mark), 2.0 ** (round(math.log2(mark) / exact_step_log2) * exact_step_log2))
        for mark in marks
    )


def _half_shutter() -> tuple[tuple[float, float], ...]:
    # 20, 10, 1/10 and 1/20 s lie nearer a third than their half step: count them off instead.
    marks = [*map(float, _SHUTTER_HALF_SLOW), *(1.0 / mark for mark in _SHUTTER_HALF_FAST)]
    return tuple((mark, 2.0 ** (5.0 - index / 2.0)) for index, mark in enumerate(marks))


_SHUTTER: dict[Grid, tuple[tuple[float, float], ...]] = {
    "third": _table((*_SHUTTER_THIRD_SLOW, *(1 / mark for mark in _SHUTTER_THIRD_FAST)), 1 / 3),
    "half": _half_shutter(),
}
_APERTURE: dict[Grid, tuple[tuple[float, float], ...]] = {
    "third": _table(_APERTURE_THIRD, 1 / 6),
    "half": _table(_APERTURE_HALF, 1 / 4),
}
_ISO: dict[Grid, tuple[tuple[float, float], ...]] = {
    "third": tuple(
        (mark, 100 * exact)
        for (_, exact), mark in zip(
            _table((mark / 100 for mark in _ISO_THIRD), 1 / 3), _ISO_THIRD, strict=True
        )
    ),
    "half": tuple(
        (mark, 100 * exact)
        for (_, exact), mark in zip(
            _table((mark / 100 for mark in _ISO_HALF), 1 / 2), _ISO_HALF, strict=True
        )
    ),
}


def snap_shutter(exposure_s: float, grid: Grid = "third") -> float:
    """The exact time behind a marked one (1/60 stands for 1/64); others stay as they are.

    Source of the exact series: powers of two in thirds or halves of a stop; marks of ISO 516.
    """
    return _snap(exposure_s, _SHUTTER[grid])


def snap_aperture(aperture_f: float, grid: Grid = "third") -> float:
    """The exact f-number behind a marked one (f/11 stands for 11.31). Marks of ISO 517."""
    return _snap(aperture_f, _APERTURE[grid])


def snap_iso(iso: float, grid: Grid = "third") -> float:
    """The exact speed behind a marked one (ISO 125 stands for 125.99). Marks of ISO 12232."""
    return _snap(iso, _ISO[grid])


def _snap(value: float, table: tuple[tuple[float, float], ...]) -> float:
    if value <= 0.0:
        return value
    for mark, exact in table:
        if abs(math.log2(value / mark)) <= _MARK_TOLERANCE_EV:
            return exact
    return value


def recognise_grid(exposures_s: Iterable[float | None]) -> Grid:
    """Whether a body is set to third or to half stops, told by marks only one of them has.

    Decide from all frames of a body: 1/6, 1/10, 1/20, 10 and 20 s stand in both series with
    different meanings. Thirds where nothing tells (the setting bodies leave the works with:
    common practice, no source).
    """
    halves = thirds = 0
    for exposure_s in exposures_s:
        if exposure_s is None or exposure_s <= 0.0:
            continue
        halves += _is_mark(exposure_s, _HALF_ONLY_S)
        thirds += _is_mark(exposure_s, _THIRD_ONLY_S)
    return "half" if halves > thirds else "third"


def _is_mark(value: float, marks: Iterable[float]) -> bool:
    return any(abs(math.log2(value / mark)) <= _MARK_TOLERANCE_EV for mark in marks)


def snapped_light_ev(
    exposure_s: float | None,
    aperture_f: float | None = None,
    iso: float | None = None,
    grid: Grid = "third",
) -> float | None:
    """:func:`light_ev` of the exact values behind the marks: differences come out exact.

    Raw marks are off by up to 0.163 EV in a shutter step (brute force over the third-stop
    marks), too much to tell a third from a half step.
    """
    return light_ev(
        None if exposure_s is None else snap_shutter(exposure_s, grid),
        None if aperture_f is None else snap_aperture(aperture_f, grid),
        None if iso is None else snap_iso(iso, grid),
    )


# --- Parallax -----------------------------------------------------------------------------
# The camera must turn about its entrance pupil: R. Littlefield, Theory of the "No-Parallax"
# Point in Panorama Photography, 2006. Formulas: own derivation, compared with traced rays.


def pupil_baseline_m(offset_m: float, step_deg: float) -> float:
    """How far the entrance pupil moves in one step: ``2 e sin(step / 2)``.

    ``offset_m`` is the distance from the turning axis to the entrance pupil.
    """
    return 2.0 * abs(offset_m) * math.sin(math.radians(abs(step_deg)) / 2.0)


def parallax_shift_px(
    focal_length_px: float, baseline_m: float, near_m: float, far_m: float = math.inf
) -> float:
    """How far a near thing moves against a far one, in pixels on the cylinder.

    Distances from the mean pupil position. In the unwarped frames it is about
    ``1 / cos²(step / 2)`` times as much.
    """
    return focal_length_px * baseline_m * (1.0 / near_m - 1.0 / far_m)


def nearest_safe_m(
    focal_length_px: float, baseline_m: float, tolerance_px: float, far_m: float = math.inf
) -> float:
    """Nearest distance whose shift against ``far_m`` stays within ``tolerance_px``."""
    reach = focal_length_px * baseline_m
    return reach / (tolerance_px + reach / far_m)


def rail_mark_mm(focal_mm: float, marks_mm: Sequence[tuple[float, float]]) -> float | None:
    """The rail mark that puts the entrance pupil of a zoom over the turning axis.

    ``marks_mm`` are measured pairs (focal length, mark), by focal length. Piecewise linear
    between them, for the curve need not be monotonic; ``None`` beyond the outer marks, where
    nothing was measured (common practice, no source). Focal lengths are recorded in whole
    millimetres or worse, so half a millimetre beyond an outer mark still is that mark.
    """
    if not marks_mm:
        return None
    first, last = marks_mm[0], marks_mm[-1]
    if not first[0] - _SAME_FOCAL_MM <= focal_mm <= last[0] + _SAME_FOCAL_MM:
        return None
    for (low, at_low), (high, at_high) in pairwise(marks_mm):
        if low <= focal_mm <= high:
            return at_low + (at_high - at_low) * (focal_mm - low) / (high - low)
    return first[1] if focal_mm <= first[0] else last[1]


def is_at_mark(focal_mm: float, marks_mm: Sequence[tuple[float, float]]) -> bool:
    """Whether a focal length is one that was measured, within half a millimetre."""
    return any(abs(focal_mm - mark) <= _SAME_FOCAL_MM for mark, _ in marks_mm)


_SAME_FOCAL_MM = 0.5
"""Rounding of a focal length recorded in whole millimetres (Exif allows more, most bodies
round)."""


# --- Levelling ----------------------------------------------------------------------------
# Own derivation from rotations, verified numerically against rotated directions.


def tilt_swing_share(sweep_deg: float, *, worst: bool = True) -> float:
    """Share of the full swing of a leaning base that a sweep of ``sweep_deg`` shows.

    ``sin(S/2)`` with the level point in mid-sweep (worst, 1 from a half turn on),
    ``(1 - cos(S/2)) / 2`` with the crest there (best).
    """
    half = math.radians(min(sweep_deg, 360.0)) / 2.0
    if worst:
        return 1.0 if sweep_deg >= 180.0 else math.sin(half)
    return (1.0 - math.cos(half)) / 2.0


def tilt_swing_px(
    tilt_deg: float, sweep_deg: float, focal_length_px: float, *, worst: bool = True
) -> float:
    """Peak to peak of the horizon on a cylinder whose axis leans by ``tilt_deg``."""
    share = tilt_swing_share(sweep_deg, worst=worst)
    return 2.0 * focal_length_px * math.tan(math.radians(abs(tilt_deg))) * share


def tilt_crop_loss(
    tilt_deg: float,
    sweep_deg: float,
    fov_v_deg: float,
    projection: Projection = "cylindrical",
    *,
    worst: bool = True,
) -> float:
    """Share of the height lost when a sweep on a leaning base is straightened and cropped.

    Cylinder ``2 tan(t) k / sin V``, sphere ``2 t k / V``; within half a percentage point of
    brute force up to 3 degrees.
    """
    share = tilt_swing_share(sweep_deg, worst=worst)
    tilt, height = math.radians(abs(tilt_deg)), math.radians(fov_v_deg)
    if projection == "spherical":
        return min(1.0, 2.0 * tilt * share / height)
    return min(1.0, 2.0 * math.tan(tilt) * share / math.sin(min(height, math.pi / 2.0)))


def roll_staircase_px(roll_deg: float, step_deg: float, focal_length_px: float) -> float:
    """How far each frame climbs against the last when the camera is rolled on a level base."""
    step_px = focal_length_px * math.radians(abs(step_deg))
    return step_px * math.tan(math.radians(abs(roll_deg)))


def roll_crop_loss(roll_deg: float, step_deg: float, fov_v_deg: float) -> float:
    """Share of the height lost when a sweep with a rolled camera is straightened.

    ``(s / h) tan(roll)`` with ``s`` the used width and ``h`` the height of a frame.
    """
    height = 2.0 * math.tan(math.radians(fov_v_deg) / 2.0)
    return min(1.0, math.radians(abs(step_deg)) / height * math.tan(math.radians(abs(roll_deg))))


# --- Depth of field -----------------------------------------------------------------------
# A. R. Greenleaf, Photographic Optics, 1950; S. F. Ray, Applied Photographic Optics, 2002.


def circle_of_confusion_mm(sensor_long_mm: float = 36.0) -> float:
    """Largest blur that still counts as sharp.

    0.030 mm on a long side of 36 mm, in proportion on others (0.030 from memory, about the
    diagonal over 1442).
    """
    return 0.030 * sensor_long_mm / 36.0


def hyperfocal_m(focal_mm: float, aperture_f: float, circle_mm: float = 0.030) -> float:
    """Focus distance that is sharp to infinity: ``f² / (N c) + f``."""
    return (focal_mm**2 / (aperture_f * circle_mm) + focal_mm) / 1000.0


def near_limit_m(
    focus_m: float, focal_mm: float, aperture_f: float, circle_mm: float = 0.030
) -> float:
    """Nearest distance still sharp: ``s (H - f) / (H + s - 2 f)``."""
    far = hyperfocal_m(focal_mm, aperture_f, circle_mm)
    focal = focal_mm / 1000.0
    if math.isinf(focus_m):
        return far - focal
    return focus_m * (far - focal) / (far + focus_m - 2.0 * focal)


def far_limit_m(
    focus_m: float, focal_mm: float, aperture_f: float, circle_mm: float = 0.030
) -> float:
    """Farthest distance still sharp: ``s (H - f) / (H - s)``, infinite from ``s = H`` on."""
    far = hyperfocal_m(focal_mm, aperture_f, circle_mm)
    if focus_m >= far:
        return math.inf
    return focus_m * (far - focal_mm / 1000.0) / (far - focus_m)


def dioptres(focus_m: float) -> float:
    """Focus distance as 1/m; infinity is 0."""
    return 0.0 if math.isinf(focus_m) else 1.0 / focus_m


def focus_step_dioptres(focal_mm: float, aperture_f: float, circle_mm: float = 0.030) -> float:
    """Largest step between focus settings that leaves no gap: ``2 N c / f²``, in dioptres.

    From the near limit of one setting meeting the far limit of the next (own derivation).
    """
    return 2.0 * aperture_f * circle_mm / focal_mm**2 * 1000.0


# --- File numbers -------------------------------------------------------------------------

COUNTER_LAST = 9999
"""DCF file numbers run from 0001 to 9999 (CIPA DC-009)."""


def next_counter(number: int) -> int:
    """The number of the next file: 9999 is followed by 0001 (CIPA DC-009)."""
    return number % COUNTER_LAST + 1


def counter_distance(a: int, b: int) -> int:
    """How many files after ``a`` the file ``b`` comes, the wrap from 9999 to 0001 included.

    0 when they are equal; a ``b`` numbered below ``a`` counts on through the wrap, so large
    distances mean that the numbering went back. Numbers beyond 9999 are no DCF numbers and
    are subtracted plainly.
    """
    if max(a, b) > COUNTER_LAST or min(a, b) < 1:
        return b - a
    return (b - a) % COUNTER_LAST


# --- On the ground ------------------------------------------------------------------------


def ground_distance_m(
    lat_a_deg: float | None,
    lon_a_deg: float | None,
    lat_b_deg: float | None,
    lon_b_deg: float | None,
) -> float | None:
    """Metres between two positions, the short way over the date line; ``None`` if one is unknown.

    On a sphere, taking the ground between them for flat: good to a thousandth within tens of
    kilometres, away from the poles. Source: Snyder, Map Projections, USGS Professional Paper
    1395, 1987, ch. 12 (equidistant cylindrical).
    """
    if lat_a_deg is None or lon_a_deg is None or lat_b_deg is None or lon_b_deg is None:
        return None
    north = math.radians(lat_b_deg - lat_a_deg)
    east = math.remainder(math.radians(lon_b_deg - lon_a_deg), 2.0 * math.pi)
    middle = math.radians((lat_a_deg + lat_b_deg) / 2.0)
    return EARTH_M * math.hypot(north, east * math.cos(middle))
