"""Formulas against published tables, worked examples and independent numeric checks.

Tables marked "own derivation" are compared here with a direct simulation of rays, not with
the formula under test.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest

from grouper import optics
from grouper.lenses import angle_of_view, focal_px_from_fov


# 36 x 24 mm, from the definition of the angle of view (Ray 2002); the usual lens tables.
@pytest.mark.parametrize(
    ("focal_mm", "long", "short", "diagonal"),
    [
        (12, 112.62, 90.00, 121.97),
        (16, 96.73, 73.74, 107.03),
        (24, 73.74, 53.13, 84.06),
        (35, 54.43, 37.85, 63.44),
        (50, 39.60, 26.99, 46.79),
        (85, 23.91, 16.07, 28.56),
        (200, 10.29, 6.87, 12.35),
    ],
)
def test_angles_of_view_match_the_lens_tables(
    focal_mm: float, long: float, short: float, diagonal: float
) -> None:
    assert angle_of_view(36, focal_mm, "rectilinear") == pytest.approx(long, abs=0.006)
    assert angle_of_view(24, focal_mm, "rectilinear") == pytest.approx(short, abs=0.006)
    assert angle_of_view(optics.FULL_FRAME_DIAGONAL_MM, focal_mm, "rectilinear") == pytest.approx(
        diagonal, abs=0.006
    )


def test_focal_length_in_pixels() -> None:
    assert optics.focal_px(24, 36, 6000) == pytest.approx(4000)
    assert focal_px_from_fov(73.7398, 6000, "rectilinear") == pytest.approx(4000, abs=0.01)


# Typical sensor sizes; factors are arithmetic on the diagonal (CIPA DCG-001).
@pytest.mark.parametrize(
    ("width_mm", "height_mm", "focal_mm"),
    [
        (36, 24, 24.0),
        (23.5, 15.6, 15.65),
        (17.3, 13.0, 12.0),
        (13.2, 8.8, 8.8),
        (43.8, 32.9, 30.39),
    ],
)
def test_these_lenses_all_equal_24_mm(width_mm: float, height_mm: float, focal_mm: float) -> None:
    assert optics.equivalent_focal_mm(focal_mm, width_mm, height_mm) == pytest.approx(24, abs=0.01)


def counted_overlap(step_deg: float, fov_deg: float) -> float:
    """Overlap by brute force: pixels of one frame whose ray falls inside the next."""
    edge = math.tan(math.radians(fov_deg) / 2)
    x = np.linspace(-edge, edge, 200_001)
    angle = np.arctan(x) - math.radians(step_deg)
    return float(np.mean(np.abs(angle) <= math.radians(fov_deg) / 2))


@pytest.mark.parametrize("fov_deg", [20.41, 53.13, 73.74, 96.73])
@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.67, 0.9])
def test_overlap_agrees_with_counted_pixels(fov_deg: float, share: float) -> None:
    step_deg = share * fov_deg
    assert optics.overlap_rectilinear(step_deg, fov_deg) == pytest.approx(
        counted_overlap(step_deg, fov_deg), abs=1e-4
    )


# Own derivation (pinhole), verified above: overlap in percent, rectilinear and angular.
@pytest.mark.parametrize(
    ("fov_deg", "step_deg", "rectilinear", "angular"),
    [
        (53.13, 30, 44.0, 43.5),
        (73.74, 45, 40.5, 39.0),
        (96.73, 60, 40.8, 38.0),
        (26.99, 24, 11.4, 11.1),
    ],
)
def test_worked_overlaps(
    fov_deg: float, step_deg: float, rectilinear: float, angular: float
) -> None:
    assert 100 * optics.overlap_rectilinear(step_deg, fov_deg) == pytest.approx(
        rectilinear, abs=0.06
    )
    assert 100 * optics.overlap_angular(step_deg, fov_deg) == pytest.approx(angular, abs=0.06)


@pytest.mark.parametrize("overlap", [0.0, 0.2, 0.33, 0.5, 0.8, 1.0])
def test_step_for_overlap_is_the_inverse(overlap: float) -> None:
    step_deg = optics.step_for_overlap(overlap, 53.13)
    assert optics.overlap_rectilinear(step_deg, 53.13) == pytest.approx(overlap, abs=1e-9)


@pytest.mark.parametrize(
    "overlap", [optics.overlap_rectilinear, optics.overlap_angular], ids=["flat", "angular"]
)
def test_frames_a_whole_field_apart_share_nothing(overlap: Callable[[float, float], float]) -> None:
    assert overlap(53.13, 53.13) == pytest.approx(0.0, abs=1e-12)
    assert overlap(80.0, 53.13) == 0.0
    assert overlap(-30.0, 53.13) == overlap(30.0, 53.13)


# Arithmetic from the definition; the counts agree with published rotator tables in kind.
@pytest.mark.parametrize(
    ("fov_deg", "overlap", "frames"),
    [
        (53.13, 0.30, 10),
        (73.74, 0.33, 8),
        (90.0, 0.20, 5),
        (37.85, 0.25, 13),
        (10.2855, 0.50, 71),
        (60.0, 0.50, 12),
    ],
)
def test_frames_for_a_full_turn(fov_deg: float, overlap: float, frames: int) -> None:
    assert optics.frames_for_ring(fov_deg, overlap) == frames


@pytest.mark.parametrize(
    ("span_deg", "fov_deg", "frames"),
    [(60, 53.13, 2), (60, 73.74, 1), (180, 53.13, 5), (270, 26.99, 14), (300, 39.60, 11)],
)
def test_frames_for_an_open_span_at_30_percent(
    span_deg: float, fov_deg: float, frames: int
) -> None:
    assert optics.frames_for_span(span_deg, fov_deg, 0.30) == frames


def traced_yaw(fov_h_deg: float, fov_v_deg: float, pitch_deg: float, height_share: float) -> float:
    """Yaw of the ray through a frame's right edge, by rotating the ray."""
    ray = np.array(
        [
            math.tan(math.radians(fov_h_deg) / 2),
            height_share * math.tan(math.radians(fov_v_deg) / 2),
            1.0,
        ]
    )
    p = math.radians(pitch_deg)
    up = np.array([[1, 0, 0], [0, math.cos(p), math.sin(p)], [0, -math.sin(p), math.cos(p)]])
    x, _, z = up @ ray
    return math.degrees(math.atan2(x, z))


@pytest.mark.parametrize("pitch_deg", [0, 15, 30, 45, 60, 75])
@pytest.mark.parametrize("height_share", [-1.0, 0.0, 1.0])
def test_yaw_half_width_agrees_with_traced_rays(pitch_deg: float, height_share: float) -> None:
    assert optics.yaw_half_width(53.13, pitch_deg, 73.74, height_share) == pytest.approx(
        traced_yaw(53.13, 73.74, pitch_deg, height_share), abs=1e-9
    )


def test_a_fisheye_may_see_behind_itself() -> None:
    # Level, half of 200 degrees; looking up by 60, the tangent of 100 over the cosine of 60:
    # atan2(0.9848, -0.1736 * 0.5) = 95.04 degrees.
    assert optics.yaw_half_width(200.0, 0.0) == pytest.approx(100.0)
    assert optics.yaw_half_width(200.0, 60.0) == pytest.approx(95.04, abs=0.01)


def test_a_pitched_frame_is_narrower_at_the_edge_nearest_the_horizon() -> None:
    # Spherical geometry, own derivation: 24 mm upright frame at 45 degrees.
    assert optics.yaw_half_width(53.13, 45, 73.74, -1.0) == pytest.approx(22.00, abs=0.01)
    assert optics.yaw_half_width(53.13, 45) == pytest.approx(35.26, abs=0.01)


# Szeliski 2010, ch. 9: arcs on cylinder and sphere, tangents on the plane.
@pytest.mark.parametrize(
    ("projection", "span_h", "span_v", "f_px", "size"),
    [
        ("cylindrical", 360, 73.7398, 4000, (25133, 6000)),
        ("cylindrical", 180, 73.7398, 4000, (12566, 6000)),
        ("spherical", 360, 180, 4000, (25133, 12566)),
        ("spherical", 120, 73.7398, 4000, (8378, 5148)),
        ("flat", 90, 60, 4000, (8000, 4619)),
        ("flat", 120, 60, 4000, (13856, 4619)),
    ],
)
def test_size_of_the_joined_picture(
    projection: optics.Projection,
    span_h: float,
    span_v: float,
    f_px: float,
    size: tuple[int, int],
) -> None:
    assert optics.panorama_size_px(projection, span_h, span_v, f_px) == size


@pytest.mark.parametrize(
    ("projection", "span_h", "span_v"),
    [("flat", 180.0, 60.0), ("flat", 60.0, 200.0), ("cylindrical", 360.0, 180.0)],
)
def test_a_side_that_no_plane_can_hold_has_no_size(
    projection: optics.Projection, span_h: float, span_v: float
) -> None:
    with pytest.raises(ValueError, match="180"):
        optics.panorama_size_px(projection, span_h, span_v, 4000)


def test_stretch_doubles_and_fourfolds_where_it_should() -> None:
    assert optics.stretch("flat", 45) == pytest.approx(2.0)
    assert optics.stretch("cylindrical", 60) == pytest.approx(4.0)
    assert optics.stretch("spherical", 60) == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("span_h", "span_v", "projection"),
    [(90, 60, "flat"), (121, 60, "cylindrical"), (360, 74, "cylindrical"), (360, 150, "spherical")],
)
def test_the_plainest_projection_that_holds_the_span(
    span_h: float, span_v: float, projection: str
) -> None:
    assert optics.projection_for(span_h, span_v) == projection


# APEX (ASA PH2.5-1960; CIPA DC-008 annex).
def test_apex_values() -> None:
    assert optics.aperture_value(8) == pytest.approx(6)
    assert optics.time_value(1 / 128) == pytest.approx(7)
    assert optics.time_value(30) == pytest.approx(-4.907, abs=0.001)
    assert optics.speed_value(100) == pytest.approx(5)
    assert optics.exposure_value(1 / 128, 8) == pytest.approx(13)


@pytest.mark.parametrize(
    ("brighter", "darker", "stops"),
    [
        ((1 / 64, 8.0, 100.0), (1 / 256, 8.0, 100.0), 2.0),
        ((1 / 64, 8.0, 400.0), (1 / 64, 8.0, 100.0), 2.0),
        ((1 / 64, 8.0, 100.0), (1 / 64, 16.0, 100.0), 2.0),
        ((1 / 64, None, None), (1 / 128, None, None), 1.0),
        ((1 / 64, 8.0, None), (1 / 128, 8.0, None), 1.0),
    ],
    ids=["shutter", "iso", "aperture", "manual lens", "no iso"],
)
def test_light_recorded_grows_with_brightness(
    brighter: tuple[float, float | None, float | None],
    darker: tuple[float, float | None, float | None],
    stops: float,
) -> None:
    more, less = optics.light_ev(*brighter), optics.light_ev(*darker)
    assert more is not None
    assert less is not None
    assert more - less == pytest.approx(stops)


@pytest.mark.parametrize("exposure_s", [None, 0.0, -1.0])
def test_no_exposure_time_no_light_known(exposure_s: float | None) -> None:
    assert optics.light_ev(exposure_s, 8.0, 100.0) is None


# Marks of ISO 516, ISO 517 and ISO 12232 against exact powers of two.
@pytest.mark.parametrize(
    ("snap", "mark", "grid", "exact"),
    [
        (optics.snap_shutter, 30, "third", 32),
        (optics.snap_shutter, 20, "third", 20.16),
        (optics.snap_shutter, 20, "half", 22.63),
        (optics.snap_shutter, 1 / 15, "third", 1 / 16),
        (optics.snap_shutter, 1 / 60, "third", 1 / 64),
        (optics.snap_shutter, 1 / 8000, "third", 1 / 8192),
        (optics.snap_shutter, 0.3, "third", 0.315),
        (optics.snap_shutter, 0.3, "half", 0.35355),
        (optics.snap_shutter, 1 / 350, "half", 1 / 362.04),
        (optics.snap_aperture, 1.2, "third", 1.26),
        (optics.snap_aperture, 1.2, "half", 1.189),
        (optics.snap_aperture, 11, "third", 11.314),
        (optics.snap_aperture, 13, "third", 12.70),
        (optics.snap_aperture, 13, "half", 13.454),
        (optics.snap_aperture, 22, "third", 22.627),
        (optics.snap_iso, 125, "third", 125.99),
        (optics.snap_iso, 32, "third", 31.498),
        (optics.snap_iso, 12800, "third", 12800),
        (optics.snap_iso, 1100, "half", 1131.37),
    ],
)
def test_marks_snap_to_the_exact_series(
    snap: Callable[[float, optics.Grid], float], mark: float, grid: optics.Grid, exact: float
) -> None:
    assert snap(mark, grid) == pytest.approx(exact, rel=2e-4)


@pytest.mark.parametrize("value", [1 / 127.0, 1 / 64, 1 / 33.0, 0.0, 7.3])
def test_values_that_are_no_marks_stay(value: float) -> None:
    assert optics.snap_shutter(value) == value


THIRD_MARKS_S = (
    *(30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 0.8, 0.6, 0.5, 0.4, 0.3),
    *(1 / m for m in (4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200)),
    *(1 / m for m in (250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000)),
    *(1 / m for m in (5000, 6400, 8000)),
)


def test_every_third_mark_is_one_exact_third_from_the_next() -> None:
    snapped = [optics.snap_shutter(mark) for mark in THIRD_MARKS_S]
    steps = [math.log2(a / b) for a, b in itertools.pairwise(snapped)]
    assert steps == pytest.approx([1 / 3] * len(steps), abs=1e-9)


def test_raw_marks_mislead_by_0_163_ev_at_most_and_snapped_ones_not() -> None:
    raw, snapped = [], []
    for i, slow in enumerate(THIRD_MARKS_S):
        for j, fast in enumerate(THIRD_MARKS_S[i : i + 10]):
            raw.append(abs(math.log2(slow / fast) - j / 3))
            exact = math.log2(optics.snap_shutter(slow) / optics.snap_shutter(fast))
            snapped.append(abs(exact - j / 3))
    assert max(raw) == pytest.approx(0.163, abs=0.001)
    assert max(snapped) < 1e-9


@pytest.mark.parametrize(
    ("exposures_s", "grid"),
    [
        ([1 / 60, 1 / 90, 1 / 125], "half"),
        ([1 / 60, 1 / 80, 1 / 125], "third"),
        ([1 / 60, 1 / 125, None], "third"),
        ([], "third"),
        ([0.7, 1.5, 1 / 20], "half"),
    ],
)
def test_grid_is_told_by_the_marks_only_it_has(exposures_s: list[float | None], grid: str) -> None:
    assert optics.recognise_grid(exposures_s) == grid


def test_snapped_light_of_a_marked_bracket_is_exact() -> None:
    lights = [optics.snapped_light_ev(t, 11.0, 100.0) for t in (1 / 250, 1 / 60, 1 / 15)]
    dark, middle, bright = (light for light in lights if light is not None)
    assert (middle - dark, bright - middle) == pytest.approx((2.0, 2.0))


def traced_shift_px(e_m: float, step_deg: float, near_m: float, far_m: float, f_px: float) -> float:
    """Parallax by tracing: both frames look at points on the mean direction."""
    shift = 0.0
    half = math.radians(step_deg) / 2
    for sign in (-1, 1):
        pupil = np.array([e_m * math.sin(sign * half), e_m * math.cos(half)])
        seen = []
        for distance in (near_m, far_m):
            z = e_m * math.cos(half) + min(distance, 1e9)
            seen.append(math.atan2(-pupil[0], z - pupil[1]))
        shift += sign * -(seen[0] - seen[1])
    return f_px * abs(shift)


@pytest.mark.parametrize(
    ("e_mm", "step_deg", "near_m", "far_m", "px"),
    [
        (100, 30, 2, math.inf, 103.53),
        (100, 30, 2, 20, 93.17),
        (50, 30, 2, math.inf, 51.76),
        (10, 30, 2, math.inf, 10.35),
        (50, 36, 1, math.inf, 123.61),
        (100, 45, 2, math.inf, 153.07),
    ],
)
def test_parallax_agrees_with_traced_rays(
    e_mm: float, step_deg: float, near_m: float, far_m: float, px: float
) -> None:
    baseline = optics.pupil_baseline_m(e_mm / 1000, step_deg)
    shift = optics.parallax_shift_px(4000, baseline, near_m, far_m)
    assert shift == pytest.approx(px, abs=0.01)
    assert shift == pytest.approx(
        traced_shift_px(e_mm / 1000, step_deg, near_m, far_m, 4000), abs=0.03
    )


# Worked from the same geometry (Littlefield 2006): 3 pixels, background at infinity.
@pytest.mark.parametrize(
    ("f_px", "e_mm", "near_m"),
    [(4000, 100, 69.02), (4000, 10, 6.90), (2666.7, 5, 2.30), (8333.3, 50, 71.89)],
)
def test_nearest_safe_distance(f_px: float, e_mm: float, near_m: float) -> None:
    baseline = optics.pupil_baseline_m(e_mm / 1000, 30)
    nearest = optics.nearest_safe_m(f_px, baseline, 3.0)
    assert nearest == pytest.approx(near_m, abs=0.01)
    assert optics.parallax_shift_px(f_px, baseline, nearest) == pytest.approx(3.0)


def simulated_horizon_swing(tilt_deg: float, sweep_deg: float, node: bool) -> float:
    """Peak to peak of the horizon's tangent on a tilted cylinder, by rotating directions."""
    yaw = np.radians(np.linspace(-sweep_deg / 2, sweep_deg / 2, 20_001))
    phase = np.pi / 2 if node else 0.0
    # Directions on the true horizon, seen from an axis leaning by the tilt towards `phase`.
    tilt = math.radians(tilt_deg)
    axis = np.array(
        [math.sin(tilt) * math.cos(phase), math.sin(tilt) * math.sin(phase), math.cos(tilt)]
    )
    azimuth = np.linspace(-np.pi, np.pi, 400_001)
    rays = np.stack([np.cos(azimuth), np.sin(azimuth), np.zeros_like(azimuth)])
    height = axis @ rays
    flat = rays - np.outer(axis, height)
    east = np.array([1.0, 0.0, 0.0]) - axis * axis[0]
    east /= np.linalg.norm(east)
    north = np.cross(axis, east)
    own_yaw = np.arctan2(north @ flat, east @ flat)
    tangent = height / np.linalg.norm(flat, axis=0)
    inside = tangent[(own_yaw >= yaw[0]) & (own_yaw <= yaw[-1])]
    return float(inside.max() - inside.min())


@pytest.mark.parametrize(
    ("tilt_deg", "sweep_deg", "worst", "swing_px"),
    [(1, 360, True, 139.6), (2, 120, True, 241.9), (2, 120, False, 69.8), (3, 360, True, 419.3)],
)
def test_horizon_swing_agrees_with_rotated_directions(
    tilt_deg: float, sweep_deg: float, worst: bool, swing_px: float
) -> None:
    swing = optics.tilt_swing_px(tilt_deg, sweep_deg, 4000, worst=worst)
    assert swing == pytest.approx(swing_px, abs=0.1)
    assert swing == pytest.approx(
        4000 * simulated_horizon_swing(tilt_deg, sweep_deg, worst), rel=0.003
    )


# Own derivation; the second figure is the exact loss by brute force.
@pytest.mark.parametrize(
    ("tilt", "sweep", "worst", "fov_v", "projection", "formula", "exact"),
    [
        (1, 360, True, 73.74, "cylindrical", 3.64, 3.59),
        (2, 120, True, 73.74, "cylindrical", 6.30, 6.18),
        (2, 120, False, 73.74, "cylindrical", 1.82, 1.74),
        (3, 360, True, 73.74, "cylindrical", 10.92, 10.51),
        (1, 120, True, 39.60, "spherical", 4.37, 4.38),
        (1, 180, True, 96.73, "spherical", 2.07, 2.07),
    ],
)
def test_height_lost_to_a_leaning_base(
    tilt: float,
    sweep: float,
    worst: bool,
    fov_v: float,
    projection: optics.Projection,
    formula: float,
    exact: float,
) -> None:
    loss = 100 * optics.tilt_crop_loss(tilt, sweep, fov_v, projection, worst=worst)
    assert loss == pytest.approx(formula, abs=0.01)
    assert loss == pytest.approx(exact, abs=0.5)


# Own derivation; staircase in pixels, loss by formula, exact loss by brute force.
@pytest.mark.parametrize(
    ("roll", "step", "fov_v", "f_px", "stairs_px", "loss", "exact"),
    [
        (1, 30, 73.74, 4000, 36.6, 0.61, 0.61),
        (2, 45, 53.13, 4000, 109.7, 2.74, 2.83),
        (0.5, 20, 39.60, 8333.3, 25.4, 0.42, 0.42),
        (3, 30, 73.74, 4000, 109.8, 1.83, 1.74),
    ],
)
def test_staircase_of_a_rolled_camera(
    roll: float, step: float, fov_v: float, f_px: float, stairs_px: float, loss: float, exact: float
) -> None:
    assert optics.roll_staircase_px(roll, step, f_px) == pytest.approx(stairs_px, abs=0.06)
    computed = 100 * optics.roll_crop_loss(roll, step, fov_v)
    assert computed == pytest.approx(loss, abs=0.01)
    assert computed == pytest.approx(exact, abs=0.15)


# Greenleaf 1950; Ray 2002: c = 0.030 mm.
@pytest.mark.parametrize(
    ("focal_mm", "aperture_f", "hyperfocal", "near_2", "far_2"),
    [
        (16, 8, 1.083, 0.70, math.inf),
        (16, 11, 0.792, 0.56, math.inf),
        (24, 8, 2.424, 1.10, 11.32),
        (24, 16, 1.224, 0.76, math.inf),
        (35, 8, 5.139, 1.44, 3.25),
        (35, 11, 3.747, 1.31, 4.25),
        (35, 16, 2.587, 1.13, 8.69),
    ],
)
def test_depth_of_field_focused_at_two_metres(
    focal_mm: float, aperture_f: float, hyperfocal: float, near_2: float, far_2: float
) -> None:
    assert optics.hyperfocal_m(focal_mm, aperture_f) == pytest.approx(hyperfocal, abs=0.001)
    assert optics.near_limit_m(2.0, focal_mm, aperture_f) == pytest.approx(near_2, abs=0.006)
    assert optics.far_limit_m(2.0, focal_mm, aperture_f) == pytest.approx(far_2, abs=0.006)


def blur_mm(subject_m: float, focus_m: float, focal_mm: float, aperture_f: float) -> float:
    """Blur disc by tracing the thin lens: image distances, then similar triangles."""
    image = 1 / (1 / focal_mm - 1 / (1000 * focus_m))
    subject = 1 / (1 / focal_mm - 1 / (1000 * subject_m))
    return focal_mm / aperture_f * abs(subject - image) / subject


@pytest.mark.parametrize("focus_m", [1.0, 3.0])
def test_blur_at_both_limits_is_the_circle_of_confusion(focus_m: float) -> None:
    for limit in (optics.near_limit_m, optics.far_limit_m):
        assert blur_mm(limit(focus_m, 35, 8), focus_m, 35, 8) == pytest.approx(0.030, rel=1e-9)


def test_focused_at_infinity_sharpness_begins_at_the_hyperfocal_distance() -> None:
    assert optics.near_limit_m(math.inf, 24, 8) == pytest.approx(optics.hyperfocal_m(24, 8) - 0.024)


def test_focus_steps_in_dioptres() -> None:
    assert optics.focus_step_dioptres(24, 8) == pytest.approx(0.833, abs=0.001)
    assert optics.focus_step_dioptres(100, 8) == pytest.approx(0.048, abs=0.001)
    # One such step on: the near limit of the farther setting meets the far limit of the nearer.
    far_m = 1 / (1 / 3.0 - optics.focus_step_dioptres(35, 8))
    assert optics.near_limit_m(far_m, 35, 8) == pytest.approx(
        optics.far_limit_m(3.0, 35, 8), rel=0.02
    )


# CIPA DC-009: 0001 to 9999, the next file after 9999 is 0001.
@pytest.mark.parametrize(
    ("a", "b", "distance"),
    [
        (417, 418, 1),
        (9998, 9999, 1),
        (9999, 1, 1),
        (9998, 2, 3),
        (3, 1, 9997),
        (5, 5, 0),
        (20260314, 20260316, 2),
        (20260316, 20260314, -2),
    ],
)
def test_counter_distance_wraps(a: int, b: int, distance: int) -> None:
    assert optics.counter_distance(a, b) == distance


def test_next_counter_wraps() -> None:
    assert [optics.next_counter(n) for n in (1, 9998, 9999)] == [2, 9999, 1]


def test_a_degree_of_latitude_on_the_ground() -> None:
    # A sixtieth of it was the international nautical mile before 1929 fixed it at 1852 m; on the
    # sphere of mean radius it is 1853.2 m (2 pi R / 21600).
    assert optics.ground_distance_m(47.0, 11.0, 48.0, 11.0) == pytest.approx(60 * 1853.25, rel=1e-5)


def test_the_ground_between_two_towns_as_by_the_haversine() -> None:
    """Haversine: Sinnott, Virtues of the Haversine, Sky and Telescope 68, 1984."""
    a, b = (48.8566, 2.3522), (48.8049, 2.1204)
    phi, lam = np.radians([a[0], b[0]]), np.radians([a[1], b[1]])
    half = np.sin(np.diff(phi) / 2) ** 2 + np.prod(np.cos(phi)) * np.sin(np.diff(lam) / 2) ** 2
    expected = 2 * optics.EARTH_M * float(np.arcsin(np.sqrt(half))[0])
    assert optics.ground_distance_m(*a, *b) == pytest.approx(expected, rel=1e-4)


def test_the_short_way_over_the_date_line_and_what_is_not_known() -> None:
    over = optics.ground_distance_m(0.0, 179.9995, 0.0, -179.9995)
    assert over == pytest.approx(0.001 * math.pi / 180 * optics.EARTH_M, rel=1e-6)
    assert optics.ground_distance_m(0.0, None, 0.0, 1.0) is None


@pytest.mark.parametrize(
    ("angle_deg", "expected"),
    [(0.0, 0.0), (179.0, 179.0), (180.0, -180.0), (190.0, -170.0), (-190.0, 170.0), (725.0, 5.0)],
)
def test_an_angle_is_told_by_the_short_way_round(angle_deg: float, expected: float) -> None:
    assert optics.within_half_turn(angle_deg) == pytest.approx(expected)
