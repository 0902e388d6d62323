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

from testdata.rehearsal.bodies import Q5
from testdata.rehearsal.camera import (
    _displaced,
    develop,
    effective_focal_mm,
    expose,
    focal_px,
    overlap_share,
    pointing,
    rotation,
    shot_rotation,
    upright_size_px,
)
from testdata.rehearsal.marks import aperture_mark, shutter_mark
from testdata.rehearsal.records import SceneKey, Shot
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
