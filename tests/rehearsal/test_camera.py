"""The rendering camera against closed forms and against feature matching on its pictures."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from testdata.rehearsal.bodies import Q3, Q5
from testdata.rehearsal.camera import (
    _displaced,
    angle_of_view_deg,
    cast,
    develop,
    effective_focal_mm,
    expose,
    focal_px,
    image_radius,
    off_axis_rad,
    overlap_share,
    pointing,
    project,
    rotation,
    shot_rotation,
    upright_size_px,
)
from testdata.rehearsal.marks import aperture_mark, shutter_mark
from testdata.rehearsal.records import Body, Projection, SceneKey, Shot
from testdata.rehearsal.scene import USUAL_EV, paint_scene
from testdata.rehearsal.stage import fov, step_for

HALL = SceneKey(kind="hall", seed=5, tall_deg=120.0)


def shot(**changes: object) -> Shot:
    scene = changes.get("scene", HALL)
    ev = USUAL_EV[scene.kind] if isinstance(scene, SceneKey) else 8
    base = Shot(
        file="100QMARK/QMK_0001.JPG",
        body=Q5,
        counter=1,
        taken=datetime(2026, 3, 14, 9, 0),
        scene=HALL,
        aperture=6.0,
        shutter=ev - 6.0,
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def closed_form(angle_deg: float, step_deg: float) -> float:
    half, step = math.radians(angle_deg) / 2, math.radians(step_deg)
    return 0.5 + math.tan(half - step) / (2 * math.tan(half))


@pytest.mark.parametrize(
    ("focal", "upright", "step", "share"),
    [
        # Angle 2 atan(d / 2f) on 36 x 24 mm, rectilinear share 1/2 + tan(a/2 - s)/(2 tan(a/2));
        # worked by hand from the pinhole model.
        pytest.param(24, True, 30, 0.440, id="24 mm upright, 30 degrees"),
        pytest.param(24, False, 30, 0.580, id="24 mm across, 30 degrees"),
        pytest.param(16, True, 45, 0.405, id="16 mm upright, 45 degrees"),
        pytest.param(50, True, 20, 0.262, id="50 mm upright, 20 degrees"),
        pytest.param(35, False, 36, 0.350, id="35 mm across, 36 degrees"),
    ],
)
def test_overlap_on_the_horizon_is_the_closed_form(
    focal: float, upright: bool, step: float, share: float
) -> None:
    # A sensor that is only a slit sees the horizon alone.
    width = 24.0 if upright else 36.0
    slit = replace(Q5, sensor_mm=(width, 0.001))
    a = shot(body=slit, focal_mm=focal, upright=False)
    b = replace(a, yaw_deg=step, body=replace(Q5, sensor_mm=(width, 20.0)))
    assert overlap_share(a, b, grid=2000) == pytest.approx(share, abs=0.001)
    assert closed_form(fov(Q5, focal, upright)[0], step) == pytest.approx(share, abs=0.0006)


@given(st.floats(0.05, 0.95), st.floats(8, 110))
def test_step_for_an_overlap_inverts_the_closed_form(share: float, angle: float) -> None:
    assert closed_form(angle, step_for(share, angle)) == pytest.approx(share, abs=1e-9)


@given(st.floats(-170, 170), st.floats(-80, 80), st.floats(-60, 60))
def test_pointing_reads_a_rotation_back(yaw: float, pitch: float, roll: float) -> None:
    assert pointing(rotation(yaw, pitch, roll)) == pytest.approx((yaw, pitch, roll), abs=1e-6)


def test_signs_of_the_angles() -> None:
    # Right, down, forward: turning right sends the optical axis to +x, tilting up to -y, and a
    # camera rolled clockwise carries its own up (-y) over to the right.
    assert rotation(30)[:, 2] == pytest.approx([0.5, 0, math.sqrt(0.75)])
    assert rotation(0, 30)[:, 2] == pytest.approx([0, -0.5, math.sqrt(0.75)])
    assert rotation(0, 0, 30) @ [0, -1, 0] == pytest.approx([0.5, -math.sqrt(0.75), 0])


@pytest.mark.parametrize("yaw", [-120, -40, 0, 75, 160])
def test_tilted_base_leaves_pitch_and_roll_on_a_circle(yaw: float) -> None:
    # Rotation geometry: sin pitch = sin t cos(l - l0), sin roll cos pitch = -+ sin t sin(l - l0).
    _, pitch, roll = (math.radians(v) for v in pointing(rotation(yaw, 0, 0, 3.0, 20.0)))
    tilt, along = math.radians(3.0), math.radians(yaw - 20)
    assert math.sin(pitch) == pytest.approx(math.sin(tilt) * math.cos(along), abs=1e-9)
    assert abs(math.sin(roll) * math.cos(pitch)) == pytest.approx(
        abs(math.sin(tilt) * math.sin(along)), abs=1e-9
    )


@pytest.fixture(scope="module")
def half_sphere(tmp_path_factory: pytest.TempPathFactory) -> SceneKey:
    """A picture that is bright above the horizon and dark below it."""
    picture = np.full((900, 1800, 3), 40, np.uint8)
    picture[:450] = 200
    path = tmp_path_factory.mktemp("picture") / "horizon.png"
    cv2.imwrite(str(path), picture)
    return SceneKey(kind="picture", seed=1, picture=str(path))


def horizon_row(frame: Shot) -> float:
    """Row of the horizon in the middle column, from the picture's middle, pixels down."""
    light = expose(frame, paint_scene(frame.scene))  # type: ignore[arg-type]
    column = light[:, light.shape[1] // 2, 1]
    middle = (column.max() + column.min()) / 2
    first = int(np.argmax(column < middle))
    before, after = column[first - 1], column[first]
    return first - 1 + (before - middle) / (before - after) - (column.size - 1) / 2


@pytest.mark.parametrize("yaw", [-150, -90, -30, 0, 45, 100])
def test_horizon_of_a_tilted_base_is_a_sinusoid(half_sphere: SceneKey, yaw: float) -> None:
    # y = f tan t cos(l - l0) on the cylinder of the tilted axis (rotation geometry).
    frame = shot(scene=half_sphere, yaw_deg=yaw, base_tilt_deg=4.0, base_tilt_to_deg=25.0)
    expected = focal_px(frame) * math.tan(math.radians(4)) * math.cos(math.radians(yaw - 25))
    assert horizon_row(frame) == pytest.approx(expected, abs=0.8)


def matched_homography(a: Shot, b: Shot) -> tuple[np.ndarray, int]:
    """The homography of two rendered pictures by SIFT features, and how many agree."""
    greys = []
    for frame in (a, b):
        assert frame.scene is not None
        picture = develop(expose(frame, paint_scene(frame.scene)), frame)
        greys.append(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY))
    sift = cv2.SIFT_create(2000)
    (points_a, words_a), (points_b, words_b) = (sift.detectAndCompute(grey, None) for grey in greys)
    pairs = cv2.BFMatcher().knnMatch(words_a, words_b, k=2)
    good = [first for first, second in pairs if first.distance < 0.75 * second.distance]
    if len(good) < 8:
        return np.eye(3), 0
    matrix, inside = cv2.findHomography(
        np.float32([points_a[m.queryIdx].pt for m in good]),
        np.float32([points_b[m.trainIdx].pt for m in good]),
        cv2.RANSAC,
        2.0,
    )
    return matrix, int(inside.sum())


def camera_matrix(frame: Shot) -> np.ndarray:
    width, height = upright_size_px(frame)
    focal = focal_px(frame)
    return np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])


@pytest.mark.parametrize("kind", ["hall", "woodland", "ridges", "market"])
def test_feature_matching_finds_the_turn_that_was_rendered(kind: str) -> None:
    # Two views from one place are related by H = K R_b' R_a K^-1 (Hartley & Zisserman 2004).
    scene = SceneKey(kind=kind, seed=31, tall_deg=120.0)  # type: ignore[arg-type]
    a = shot(scene=scene, yaw_deg=-8, pitch_deg=2, shutter=USUAL_EV[kind] - 6, seed=1)
    b = replace(a, yaw_deg=14, pitch_deg=-1, roll_deg=2.5, seed=2)
    matrix, agreeing = matched_homography(a, b)
    assert agreeing >= 25
    turn = np.linalg.inv(camera_matrix(b)) @ matrix @ camera_matrix(a)
    turn /= np.cbrt(np.linalg.det(turn))
    found = pointing(shot_rotation(a) @ turn.T)
    # Waving leaves move by a pixel or two between frames: a few tenths of a degree.
    assert found == pytest.approx((14, -1, 2.5), abs=0.5)


def test_unrelated_places_do_not_match() -> None:
    agreeing = []
    for kind in ("hall", "woodland", "ridges", "market", "lake"):
        frames = [
            shot(scene=SceneKey(kind=kind, seed=seed, tall_deg=120.0), shutter=USUAL_EV[kind] - 6)  # type: ignore[arg-type]
            for seed in (41, 42)
        ]
        agreeing.append(matched_homography(*frames)[1])
    assert max(agreeing) < 15


def test_rolled_camera_climbs_a_staircase() -> None:
    # The next frame's middle lies at atan2(dy, dx) = roll (rotation geometry): a camera rolled
    # clockwise sees the way to the right going up.
    a = shot(roll_deg=4.0, seed=1)
    b = replace(a, yaw_deg=20, seed=2)
    matrix, agreeing = matched_homography(b, a)
    assert agreeing >= 25
    middle = camera_matrix(a)[:2, 2]
    x, y, w = matrix @ [*middle, 1]
    right, down = x / w - middle[0], y / w - middle[1]
    assert right > 0
    assert math.degrees(math.atan2(-down, right)) == pytest.approx(4.0, abs=0.4)


def test_parallax_is_baseline_over_distance() -> None:
    # A pupil moved sideways by b sees a thing at D shifted by b / D radians: 51.76 mm (100 mm
    # off the axis, 30 degree step, b = 2 e sin(s/2)) at 2 m is 0.02588.
    ahead = np.array([[[0.0, 0.0, 1.0]]], np.float32)
    seen = _displaced(ahead, np.array([0.05176, 0, 0], np.float32), 2.0)[0, 0]
    assert math.atan2(seen[0], seen[2]) == pytest.approx(0.02588, abs=1e-5)


def test_one_stop_more_is_twice_the_light() -> None:
    scene = paint_scene(HALL)
    once, twice = expose(shot(), scene), expose(shot(shutter=shot().shutter - 1), scene)
    assert np.allclose(twice, 2 * once, rtol=1e-5)


def test_brackets_clip_and_block() -> None:
    scene = paint_scene(HALL)
    dark, bright = (
        develop(expose(frame, scene), frame)
        for frame in (shot(shutter=shot().shutter + 4), shot(shutter=shot().shutter - 4))
    )
    assert (bright == 255).mean() > 0.3
    assert (dark < 20).mean() > 0.5
    assert dark.max() > 200  # the windows still hold something


def test_focusing_close_breathes_by_a_few_per_cent() -> None:
    far, near = shot(focal_mm=90.0, focus_m=0.52), shot(focal_mm=90.0, focus_m=0.18)
    assert 1.02 < effective_focal_mm(near) / effective_focal_mm(far) < 1.3


@settings(max_examples=60)
@given(st.integers(-15, 39))
def test_shutter_marks_lie_near_the_exact_series(third: int) -> None:
    # ISO 516 marks against 2**(-k/3): the worst third-stop mark is off by a ninth of a stop.
    exact = 2.0 ** (-third / 3)
    assert abs(math.log2(float(shutter_mark(third / 3)) / exact)) < 0.12


@given(st.integers(0, 27))
def test_aperture_marks_lie_near_the_exact_series(third: int) -> None:
    # ISO 517 marks: f/1.2 for 1.26 and f/22 for 22.6 are the furthest off.
    exact = 2.0 ** (third / 6)
    assert abs(2 * math.log2(float(aperture_mark(third / 3)) / exact)) < 0.163


def test_a_picture_by_path_must_be_there() -> None:
    with pytest.raises(FileNotFoundError):
        paint_scene(SceneKey(kind="picture", seed=1, picture=str(Path("/nowhere/at/all.png"))))


def test_who_passes_by_hides_what_is_behind_and_nothing_else() -> None:
    scene = paint_scene(HALL)
    still, passed = expose(shot(), scene), expose(shot(passer=(0.3, 0.3)), scene)
    differs = np.abs(still - passed).max(axis=2) > 1e-6
    assert 0.1 < differs.mean() < 0.3
    columns = np.flatnonzero(differs.any(axis=0)) / differs.shape[1]
    assert columns.min() == pytest.approx(0.15, abs=0.02)
    assert columns.max() == pytest.approx(0.45, abs=0.02)


def test_strollers_stand_elsewhere_in_every_frame() -> None:
    scene = paint_scene(HALL)
    empty, again = (expose(shot(seed=seed), scene) for seed in (3, 3))
    assert np.array_equal(empty, again)
    covered = []
    for seed in (3, 4):
        alone, with_them = (expose(shot(seed=seed, strollers=n), scene) for n in (0, 4))
        covered.append(np.abs(with_them - alone).max(axis=2) > 0.02)
        assert 0.005 < covered[-1].mean() < 0.5
    both = (covered[0] & covered[1]).sum()
    assert both < 0.5 * min(one.sum() for one in covered)


FISHEYES: tuple[Projection, ...] = ("equisolid", "stereographic")


@pytest.mark.parametrize(
    ("projection", "angle_deg", "radius"),
    [
        # In focal lengths, by hand: tan t; 2 sin(t/2); 2 tan(t/2).
        ("rectilinear", 45, 1.0),
        ("equisolid", 45, 0.76537),
        ("equisolid", 90, 1.41421),
        ("stereographic", 45, 0.82843),
        ("stereographic", 90, 2.0),
    ],
)
def test_how_far_out_a_ray_lands(projection: Projection, angle_deg: float, radius: float) -> None:
    angle = np.array([math.radians(angle_deg)])
    assert image_radius(angle, 15.0, projection) == pytest.approx(15 * radius, abs=1e-3)
    assert off_axis_rad(np.array([15 * radius]), 15.0, projection) == pytest.approx(angle, abs=1e-5)


@pytest.mark.parametrize(
    ("projection", "focal", "side", "angle"),
    [
        # 4 asin(d / 4f) and 4 atan(d / 4f), by hand; 15 mm reaches 184.6 degrees from corner to
        # corner of 36 x 24 mm, of which it sees 180.
        ("equisolid", 15.0, 24.0, 94.31),
        ("equisolid", 15.0, 36.0, 147.48),
        ("equisolid", 15.0, 43.2666, 180.0),
        ("equisolid", 10.5, 15.6, 87.21),
        ("stereographic", 8.0, 15.6, 103.97),
        ("stereographic", 8.0, 23.5, 145.17),
        ("rectilinear", 24.0, 36.0, 73.74),
    ],
)
def test_angles_of_view(projection: Projection, focal: float, side: float, angle: float) -> None:
    assert angle_of_view_deg(side, focal, projection) == pytest.approx(angle, abs=0.02)


@pytest.mark.parametrize("projection", ["rectilinear", *FISHEYES])
def test_casting_undoes_projecting(projection: Projection) -> None:
    x, y = np.meshgrid(np.linspace(-9, 9, 7), np.linspace(-6, 6, 5))
    rays = cast(x, y, 10.5, projection)
    found = project(rays, 10.5, projection)
    assert np.allclose(found, (x, y), atol=1e-9)
    assert np.isnan(project(-rays, 10.5, projection)).all()


@pytest.mark.parametrize("projection", FISHEYES)
def test_small_frames_of_fisheyes_are_like_any(projection: Projection) -> None:
    # Within a few degrees of the axis all of them draw f t.
    tiny = replace(Q5, sensor_mm=(3.6, 2.4))
    straight = overlap_share(*(shot(body=tiny, yaw_deg=yaw, focal_mm=35) for yaw in (0, 1.5)))
    bent = overlap_share(
        *(shot(body=tiny, yaw_deg=yaw, focal_mm=35, projection=projection) for yaw in (0, 1.5))
    )
    assert bent == pytest.approx(straight, abs=0.01)


@pytest.mark.parametrize(
    ("projection", "focal", "body", "step", "share"),
    [
        # On the horizon the frames have w - s in common, which ends at r(w/2 - s) left of the
        # middle: share = 1/2 + r(w/2 - s) / d, worked by hand for upright frames.
        ("equisolid", 15.0, Q5, 60, 0.3602),
        ("equisolid", 15.0, Q5, 45, 0.5235),
        ("equisolid", 10.5, Q3, 60, 0.3081),
        ("stereographic", 8.0, Q3, 60, 0.4281),
    ],
)
def test_overlap_of_fisheyes_on_the_horizon(
    projection: Projection, focal: float, body: Body, step: float, share: float
) -> None:
    width = body.sensor_mm[1]
    slit = replace(body, sensor_mm=(width, 0.001))
    a = shot(body=slit, focal_mm=focal, upright=False, projection=projection)
    b = replace(a, yaw_deg=step, body=replace(body, sensor_mm=(width, 20.0)))
    assert overlap_share(a, b, grid=2000) == pytest.approx(share, abs=0.001)


@pytest.mark.parametrize("projection", FISHEYES)
@pytest.mark.parametrize("pitch", [-35, -10, 20, 40])
def test_horizon_through_a_fisheye_lies_at_its_radius(
    half_sphere: SceneKey, projection: Projection, pitch: float
) -> None:
    frame = shot(scene=half_sphere, pitch_deg=pitch, focal_mm=15.0, projection=projection)
    angle = np.array([math.radians(abs(pitch))])
    expected = math.copysign(float(image_radius(angle, focal_px(frame), projection)[0]), pitch)
    assert horizon_row(frame) == pytest.approx(expected, abs=0.8)


def test_a_fisheye_bends_the_horizon_and_a_plain_lens_does_not(half_sphere: SceneKey) -> None:
    # Looking 25 degrees up, the ends of the horizon curl towards the middle.
    rows = {}
    for projection in ("rectilinear", "equisolid"):
        frame = shot(
            scene=half_sphere, pitch_deg=25, focal_mm=15.0, upright=False, projection=projection
        )
        light = expose(frame, paint_scene(half_sphere))[..., 1]
        # Brightness falls off outwards: each column has a threshold of its own.
        half = (light.max(axis=0) + light.min(axis=0)) / 2
        rows[projection] = np.argmax(light < half, axis=0)[[100, 320, 540]]
    assert np.ptp(rows["rectilinear"]) <= 2
    left, middle, right = rows["equisolid"]
    assert abs(left - right) <= 2
    assert middle - left > 10


def test_corners_beyond_the_field_of_a_fisheye_are_black() -> None:
    frame = shot(focal_mm=15.0, projection="equisolid")
    light = expose(frame, paint_scene(HALL)).max(axis=2)
    height, width = light.shape
    x, y = np.meshgrid(np.arange(width) - (width - 1) / 2, np.arange(height) - (height - 1) / 2)
    outside = np.hypot(x, y) > math.sqrt(2) * focal_px(frame)  # 2 f sin 45
    assert 0 < outside.mean() < 0.01
    assert light[outside].max() == 0
    assert light[~outside].min() > 0


def test_a_person_stands_where_the_lens_draws_the_place() -> None:
    # The same people, seen through two lenses, leave marks at the same directions.
    scene = paint_scene(SceneKey(kind="market", seed=31))
    empty = replace(scene, people=0)
    towards = []
    for projection in ("rectilinear", "equisolid"):
        frame = shot(scene=scene.key, focal_mm=15.0, upright=False, projection=projection)
        differs = np.abs(expose(frame, scene) - expose(frame, empty)).max(axis=2) > 1e-6
        down, across = np.nonzero(differs)
        height, width = differs.shape
        rays = cast(
            across - (width - 1) / 2, down - (height - 1) / 2, focal_px(frame), frame.projection
        )
        yaws = np.degrees(np.arctan2(rays[:, 0], rays[:, 2]))
        towards.append({round(yaw / 2) for yaw in yaws if abs(yaw) < 35})
    assert len(towards[0]) >= 3
    assert len(towards[0] ^ towards[1]) <= 0.35 * len(towards[0] | towards[1])
