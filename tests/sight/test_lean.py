"""The lean of a base, from horizons and from elevations, against rotated directions."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from grouper.model import Attitude, Frame, PictureSource, Pointing, Sighting, Solution
from grouper.rotations import rotation_vector
from grouper.settings import Settings
from grouper.sight.eye import open_eye
from grouper.sight.horizon import HorizonLine
from grouper.sight.lean import (
    KNOWN_DEG,
    fit_wave,
    lean_by_elevation,
    lean_by_horizon,
    may_show_horizon,
)
from tests.support import frame

Matrix = NDArray[np.float64]
YAWS = [-126.0 + 36.0 * place for place in range(8)]
SHARE = 24 / 36
Look = Callable[[int], tuple[HorizonLine, ...]]


def about(axis: Sequence[float], angle_deg: float) -> Matrix:
    """Rotation about an axis (Rodrigues)."""
    x, y, z = axis
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = math.radians(angle_deg)
    turned: Matrix = np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross
    return turned


def camera(
    yaw_deg: float, pitch_deg: float, roll_deg: float, lean_deg: float, towards_deg: float
) -> Matrix:
    """Camera to world (x right, y down, z ahead) on a base that leans up towards a yaw."""
    base = (
        about((0, 1, 0), towards_deg) @ about((1, 0, 0), lean_deg) @ about((0, 1, 0), -towards_deg)
    )
    turned: Matrix = (
        base @ about((0, 1, 0), yaw_deg) @ about((1, 0, 0), pitch_deg) @ about((0, 0, 1), roll_deg)
    )
    return turned


def line_of(held: Matrix) -> HorizonLine:
    """Where a camera sees the horizon: rays square to the world's down."""
    down = held.T @ np.array([0.0, 1.0, 0.0])
    # down . (x, drop + slope x, 1) = 0 for every x.
    return HorizonLine(
        drop=float(-down[2] / down[1]) * SHARE,
        slope=float(-down[0] / down[1]),
        support=1.0,
        rough_px=0.1,
    )


def sweep(
    lean_deg: float,
    towards_deg: float = 40.0,
    yaws: Sequence[float] = YAWS,
    pitch_deg: float = 3.0,
    roll_deg: float = 0.5,
) -> tuple[list[Pointing], list[tuple[HorizonLine, ...]]]:
    pointings = [Pointing(yaw_deg=yaw, pitch_deg=pitch_deg, roll_deg=roll_deg) for yaw in yaws]
    lines = [(line_of(camera(yaw, pitch_deg, roll_deg, lean_deg, towards_deg)),) for yaw in yaws]
    return pointings, lines


@pytest.mark.parametrize("lean_deg", [0.5, 2.0, 4.4, 8.0])
@pytest.mark.parametrize("towards_deg", [0.0, 70.0, -150.0])
@pytest.mark.parametrize("pitch_deg", [0.0, -10.0])
def test_a_lean_is_that_of_rotated_cameras(
    lean_deg: float, towards_deg: float, pitch_deg: float
) -> None:
    lean = lean_by_horizon(*spread(sweep(lean_deg, towards_deg, pitch_deg=pitch_deg)))
    assert lean is not None
    assert lean.deg == pytest.approx(lean_deg, rel=0.03, abs=0.02)
    assert lean.is_known


def spread(
    of: tuple[list[Pointing], list[tuple[HorizonLine, ...]]],
) -> tuple[list[Pointing], float, Look]:
    return of[0], SHARE, of[1].__getitem__


def test_a_true_base_is_known_to_be_one() -> None:
    lean = lean_by_horizon(*spread(sweep(0.0)))
    assert lean is not None
    assert lean.deg < 0.01
    assert lean.error_deg < KNOWN_DEG


def test_other_edges_and_hidden_views_do_not_matter() -> None:
    pointings, lines = sweep(4.0)
    stray = HorizonLine(drop=0.2, slope=0.1, support=0.9, rough_px=0.3)
    mixed = [(stray, *own) for own in lines]
    mixed[2], mixed[5] = (), (stray,)
    lean = lean_by_horizon(pointings, SHARE, mixed.__getitem__)
    assert lean is not None
    assert lean.deg == pytest.approx(4.0, rel=0.03)


def test_errors_of_a_pixel_are_within_what_is_said() -> None:
    dice = np.random.default_rng(5)
    said = []
    for _ in range(60):
        pointings, lines = sweep(3.0)
        shaken = [
            (
                replace(
                    own[0],
                    drop=own[0].drop + float(dice.normal(0, 0.4)) / 160,
                    slope=own[0].slope + float(dice.normal(0, 0.005)),
                ),
            )
            for own in lines
        ]
        lean = lean_by_horizon(pointings, SHARE, shaken.__getitem__)
        assert lean is not None
        said.append(abs(lean.deg - 3.0) / lean.error_deg)
    assert np.mean(np.asarray(said) < 2) > 0.9


def hills(seed: int) -> list[tuple[HorizonLine, ...]]:
    """Straight pieces of a skyline: as high and as steep as hills have them."""
    dice = np.random.default_rng(seed)
    return [
        tuple(
            HorizonLine(float(dice.normal(-0.03, 0.04)), float(dice.normal(0, 0.08)), 0.8, 0.3)
            for _ in range(2)
        )
        for _ in YAWS
    ]


@pytest.mark.parametrize("seed", range(30))
def test_pieces_of_a_skyline_are_no_circle(seed: int) -> None:
    assert lean_by_horizon(sweep(0.0)[0], SHARE, hills(seed).__getitem__) is None


SHORT = sweep(4.0, yaws=[-50.0 + 10.0 * place for place in range(11)])
FEW = sweep(4.0, yaws=[-80.0, -40.0, 0.0, 40.0, 80.0])
STEEP = sweep(25.0)
HIGH = sweep(0.0)


@pytest.mark.parametrize(
    ("pointings", "lines"),
    [
        pytest.param(*SHORT, id="too short a turn: a roll would look the same"),
        pytest.param(*FEW, id="too few views"),
        pytest.param(*STEEP, id="the edge of a roof"),
        pytest.param(
            HIGH[0],
            [(replace(own[0], drop=own[0].drop - 0.03),) for own in HIGH[1]],
            id="a line all round above the height of the axis: a far range",
        ),
        pytest.param(HIGH[0], [own if at < 4 else () for at, own in enumerate(HIGH[1])], id="half"),
        pytest.param([Pointing()] * 8, HIGH[1], id="no pointings"),
    ],
)
def test_not_known_on(pointings: list[Pointing], lines: list[tuple[HorizonLine, ...]]) -> None:
    assert lean_by_horizon(pointings, SHARE, lines.__getitem__) is None


def test_legs_of_a_view_count_once() -> None:
    pointings, lines = sweep(4.0, yaws=[-80.0, -40.0, 0.0, 40.0, 80.0])
    assert lean_by_horizon(pointings * 3, SHARE, (lines * 3).__getitem__) is None


def test_no_more_pictures_are_looked_at_than_can_still_tell() -> None:
    pointings, lines = sweep(4.0)
    asked: list[int] = []

    def look(at: int) -> tuple[HorizonLine, ...]:
        asked.append(at)
        return lines[at] if at > 4 else ()

    assert lean_by_horizon(pointings * 3, SHARE, look) is None
    assert asked == [0, 1, 2]


def test_it_is_only_looked_for_where_it_could_be_told() -> None:
    pointings = tuple(sweep(0.0)[0])
    wide = Solution(pointings=pointings, residual_deg=0.1, camera_roll_deg=0.0)
    assert may_show_horizon(wide)
    assert not may_show_horizon(replace(wide, camera_roll_deg=None))
    assert not may_show_horizon(replace(wide, pointings=pointings[:3]))


# --- Elevations -------------------------------------------------------------------------------


def elevations(lean_deg: float, towards_deg: float, pitch_deg: float = 0.0) -> list[float]:
    told = []
    for yaw in YAWS:
        ahead = camera(yaw, pitch_deg, 0.0, lean_deg, towards_deg)[:, 2]
        told.append(math.degrees(math.asin(-float(ahead[1]))))
    return told


def levelled(told: Sequence[float | None], sigma_deg: float = 0.5) -> list[Frame]:
    return [
        frame(number, attitude=Attitude(pitch_deg=pitch, sigma_deg=sigma_deg))
        for number, pitch in enumerate(told)
    ]


def held(pitch_deg: float = 0.0, yaws: Sequence[float] = YAWS) -> list[Pointing]:
    return [Pointing(yaw_deg=yaw, pitch_deg=pitch_deg, roll_deg=0.0) for yaw in yaws]


@pytest.mark.parametrize("lean_deg", [0.5, 2.0, 4.4, 8.0])
@pytest.mark.parametrize("towards_deg", [0.0, 70.0, -150.0])
@pytest.mark.parametrize("pitch_deg", [0.0, -10.0])
def test_elevations_agree_with_rotated_cameras(
    lean_deg: float, towards_deg: float, pitch_deg: float
) -> None:
    frames = levelled(elevations(lean_deg, towards_deg, pitch_deg))
    lean = lean_by_elevation(held(pitch_deg), frames)
    assert lean is not None
    assert lean.deg == pytest.approx(lean_deg, rel=0.03)


def test_the_error_of_a_wave_is_that_of_repeated_draws() -> None:
    dice = np.random.default_rng(3)
    told = np.asarray(elevations(4.0, 30.0))
    drawn = [fit_wave(YAWS, list(told + dice.normal(0, 0.8, 8)), 0.8) for _ in range(400)]
    deviation = float(np.std([lean.deg for lean in drawn]))
    middle = float(np.median([lean.error_deg for lean in drawn]))
    assert deviation == pytest.approx(middle, rel=0.35)


def test_rows_have_their_own_pitch_and_lean_as_one() -> None:
    told = elevations(4.0, 20.0) + [pitch + 30.0 for pitch in elevations(4.0, 20.0)]
    lean = lean_by_elevation([*held(), *held(30.0)], levelled(told))
    assert lean is not None
    assert lean.deg == pytest.approx(4.0, rel=0.03)


@pytest.mark.parametrize(
    ("pointings", "told"),
    [
        pytest.param(held(), [None] * 8, id="nothing recorded"),
        pytest.param(held()[:4], elevations(4.4, 20.0)[:4], id="too few frames"),
        pytest.param(
            held(yaws=[6.0 * place for place in range(8)]), elevations(4.4, 20.0), id="short turn"
        ),
        pytest.param([Pointing()] * 8, elevations(4.4, 20.0), id="no yaw"),
    ],
)
def test_no_lean_from(pointings: list[Pointing], told: list[float | None]) -> None:
    assert lean_by_elevation(pointings, levelled(told)) is None


def test_a_poor_level_leaves_it_unknown() -> None:
    lean = lean_by_elevation(held(), levelled(elevations(2.0, 20.0), sigma_deg=2.0))
    assert lean is not None
    assert not lean.is_known


def test_a_wave_needs_three_frames() -> None:
    with pytest.raises(ValueError, match="three frames"):
        fit_wave([0.0, 36.0], [0.0, 1.0], 0.5)


# --- With pictures ----------------------------------------------------------------------------


def write_sea(path: Path, held: Matrix) -> None:
    """Sky over sea, 400 x 600 pixels at 24 mm upright, as rays of the camera meet them."""
    x, y = (np.arange(400) - 199.5) / 400, (np.arange(600) - 299.5) / 400
    right, down = np.meshgrid(x, y)
    rise = -(held[1, 0] * right + held[1, 1] * down + held[1, 2]) * 400
    grey = 70 + 110 * np.clip(rise + 0.5, 0, 1)
    grey += np.random.default_rng(abs(int(1000 * held[0, 2]))).normal(0, 4, grey.shape)
    Image.fromarray(np.clip(grey, 0, 255).astype(np.uint8)).convert("RGB").save(path, quality=90)


def solved_at_sea(tmp_path: Path, lean_deg: float, lens: str | None) -> Solution:
    """A leaning sweep over open water, as the eye solves it."""
    cameras = [camera(yaw, 2.0, 0.0, lean_deg, 40.0) for yaw in YAWS]
    frames = []
    for number, held_so in enumerate(cameras):
        write_sea(tmp_path / f"{number}.JPG", held_so)
        source = PictureSource(kind="main", file=f"{number}.JPG")
        size = {"width_px": 400, "height_px": 600, "orientation": 1}
        one = frame(number, file=f"{number}.JPG", picture=source, sensor_from="body", **size)
        frames.append(replace(one, focal_mm=24.0, sensor_long_mm=36.0, lens=lens))
    sightings = [
        (
            at,
            at + 1,
            Sighting(
                overlap=0.3,
                certainty=1.0,
                turn_deg=tuple(np.degrees(rotation_vector(a.T @ b)).tolist()),
                score=0.9,
                margin=2.0,
            ),
        )
        for at, (a, b) in enumerate(pairwise(cameras))
    ]
    solution = open_eye(tmp_path, Settings()).solve(frames, sightings)
    assert solution is not None
    return solution


@pytest.mark.parametrize("lean_deg", [0.0, 5.0])
def test_the_eye_sees_a_lean_where_nothing_was_recorded(tmp_path: Path, lean_deg: float) -> None:
    solution = solved_at_sea(tmp_path, lean_deg, "Ostrel 24mm")
    assert solution.base_tilt_deg == pytest.approx(lean_deg, abs=0.4)


def test_a_horizon_that_a_fisheye_bends_tells_no_lean(tmp_path: Path) -> None:
    assert solved_at_sea(tmp_path, 5.0, "Fisheye").base_tilt_deg is None
