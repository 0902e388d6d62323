"""Scenes must look like photographs as far as statistics go, and each like itself only."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from testdata.rehearsal.camera import expose
from testdata.rehearsal.records import SceneKey, SceneKind
from testdata.rehearsal.scene import USUAL_EV, paint_scene
from tests.rehearsal.test_camera import shot

KINDS: tuple[SceneKind, ...] = (
    "ridges", "lake", "hall", "woodland", "sea", "night", "market", "meadow",
)  # fmt: skip


@cache
def light(kind: SceneKind, seed: int) -> np.ndarray:
    key = SceneKey(kind=kind, seed=seed, tall_deg=110.0)
    frames = [
        expose(shot(scene=key, yaw_deg=yaw, shutter=USUAL_EV[kind] - 6), paint_scene(key))
        for yaw in (-90.0, 60.0)
    ]
    return np.stack(frames).mean(axis=-1)


@pytest.mark.parametrize("kind", KINDS)
def test_spectrum_falls_like_that_of_photographs(kind: SceneKind) -> None:
    # Field 1987; Ruderman & Bialek 1994: amplitude ~ 1/f, slopes of -0.8 to -1.5 by picture.
    slopes = []
    for picture in light(kind, 3):
        part = np.log(np.maximum(picture[100:500, 10:410], 1e-4))
        window = np.hanning(400)
        part = (part - part.mean()) * window[:, None] * window[None, :]
        power = np.abs(np.fft.fft2(part))
        radius = np.hypot(*np.meshgrid(np.fft.fftfreq(400), np.fft.fftfreq(400))) * 400
        bands = np.geomspace(4, 120, 12)
        levels = [
            np.log(power[(radius >= low) & (radius < high)].mean())
            for low, high in itertools.pairwise(bands)
        ]
        slopes.append(np.polyfit(np.log(bands[:-1]), levels, 1)[0])
    assert -2.2 < np.mean(slopes) < -0.6


@pytest.mark.parametrize("kind", KINDS)
def test_edges_are_rarer_and_stronger_than_in_noise(kind: SceneKind) -> None:
    # Gradients of photographs have heavy tails (kurtosis well above the Gaussian's 3).
    step = np.diff(np.log(np.maximum(light(kind, 3), 1e-4)), axis=-1)
    kurtosis = ((step - step.mean()) ** 4).mean() / step.var() ** 2
    assert kurtosis > 5


@pytest.mark.parametrize("kind", KINDS)
def test_light_spans_stops(kind: SceneKind) -> None:
    low, high = np.percentile(np.log2(np.maximum(light(kind, 3), 1e-4)), [2, 98])
    assert 2.0 < high - low < 11
    # Middle grey is 0.18; a night is exposed for its lamps and mostly dark.
    assert (-7 if kind == "night" else -4.5) < np.log2(np.median(light(kind, 3))) < 0.5


@pytest.mark.parametrize("kind", KINDS)
def test_same_key_same_scene_other_seed_other_scene(kind: SceneKind) -> None:
    key = SceneKey(kind=kind, seed=12, px_per_deg=2.0)
    again = SceneKey(kind=kind, seed=12, px_per_deg=2.0)
    first = paint_scene(key).far[0]
    paint_scene.cache_clear()
    assert np.array_equal(first, paint_scene(again).far[0])
    other = paint_scene(replace(key, seed=13)).far[0]
    assert np.abs(first - other).mean() > 0.02 * first.mean()


def test_only_the_window_is_painted() -> None:
    scene = paint_scene(
        SceneKey(kind="ridges", seed=2, span_deg=60.0, tall_deg=30.0, px_per_deg=20)
    )
    height, width = scene.far[0].shape[:2]
    assert width / 60 == pytest.approx(20, rel=0.02)
    assert height / 30 == pytest.approx(20, rel=0.02)


def test_close_up_has_depth() -> None:
    scene = paint_scene(SceneKey(kind="tabletop", seed=2, span_deg=40.0, tall_deg=30.0))
    assert scene.depth is not None
    assert scene.depth.min() < 0.25
    assert scene.depth.max() > 1.0


def test_level_ground_gives_a_place_depth_below_its_horizon() -> None:
    key = SceneKey(kind="woodland", seed=3, span_deg=120.0, tall_deg=110.0, is_bare=False)
    scene = paint_scene(key)
    base = shot(scene=key, upright=False, focal_mm=24.0, pitch_deg=-15.0, shutter=3.0, seed=5)
    foot, head = slice(330, 420), slice(20, 120)

    def detail(focus_m: float, eye_m: float | None) -> tuple[float, float]:
        grey = expose(replace(base, focus_m=focus_m, eye_m=eye_m), scene).mean(axis=-1)
        change = np.abs(np.diff(np.log(grey + 1e-3), axis=1))
        return float(change[foot].mean()), float(change[head].mean())

    whole, near, far = detail(50.0, None), detail(0.7, 0.5), detail(50.0, 0.5)
    assert near[0] > 1.1 * far[0]
    assert far[1] > 1.1 * near[1]
    assert far[1] == pytest.approx(whole[1], rel=0.05)


def test_a_focus_stack_is_sharp_here_then_there() -> None:
    key = SceneKey(kind="tabletop", seed=2, span_deg=40.0, tall_deg=34.0, px_per_deg=26)
    scene = paint_scene(key)
    assert scene.depth is not None
    base = shot(scene=key, upright=False, focal_mm=90.0, aperture=4.0, shutter=3.0)
    near, far = (expose(replace(base, focus_m=metres), scene) for metres in (0.18, 0.5))
    # The foot of the picture is near, its upper middle far.
    foot, head = slice(330, 420), slice(60, 200)

    def detail(picture: np.ndarray, rows: slice) -> float:
        return float(np.abs(np.diff(np.log(picture[rows].mean(axis=-1) + 1e-3), axis=0)).mean())

    assert detail(near, foot) > 1.2 * detail(far, foot)
    assert detail(far, head) > 1.2 * detail(near, head)
