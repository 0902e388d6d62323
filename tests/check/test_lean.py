from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from grouper.check.lean import find_lean, fit_lean
from grouper.model import Attitude, Set
from tests.check.sets import sweep

YAWS = [-126.0 + 36.0 * place for place in range(8)]


def elevations(lean_deg: float, towards_deg: float, pitch_deg: float = 0.0) -> list[float]:
    """Elevations of a camera turned about a leaning axis, by rotating its direction."""
    lean, towards = math.radians(lean_deg), math.radians(towards_deg)
    # x right, y forward at yaw 0, z up; leaning the axis lowers what lies towards it.
    around = np.array([math.cos(towards), -math.sin(towards), 0.0])
    cross = np.array(
        [
            [0.0, -around[2], around[1]],
            [around[2], 0.0, -around[0]],
            [-around[1], around[0], 0.0],
        ]
    )
    turn = np.eye(3) + math.sin(lean) * cross + (1 - math.cos(lean)) * cross @ cross
    told = []
    for yaw_deg in YAWS:
        yaw, pitch = math.radians(yaw_deg), math.radians(pitch_deg)
        looks = turn @ np.array(
            [math.sin(yaw) * math.cos(pitch), math.cos(yaw) * math.cos(pitch), math.sin(pitch)]
        )
        told.append(math.degrees(math.asin(float(looks[2]))))
    return told


def levelled(found: Set, pitches_deg: list[float], sigma_deg: float = 0.5) -> Set:
    members = tuple(
        replace(
            member,
            frame=replace(member.frame, attitude=Attitude(pitch_deg=pitch, sigma_deg=sigma_deg)),
        )
        for member, pitch in zip(found.members, pitches_deg, strict=False)
    )
    return replace(found, members=members)


@pytest.mark.parametrize("lean_deg", [0.5, 2.0, 4.4, 8.0])
@pytest.mark.parametrize("towards_deg", [0.0, 70.0, -150.0])
@pytest.mark.parametrize("pitch_deg", [0.0, -10.0])
def test_it_agrees_with_rotated_directions(
    lean_deg: float, towards_deg: float, pitch_deg: float
) -> None:
    lean = fit_lean(YAWS, elevations(lean_deg, towards_deg, pitch_deg), 0.5)
    assert lean.deg == pytest.approx(lean_deg, rel=0.03)


def test_its_error_is_that_of_repeated_draws() -> None:
    dice = np.random.default_rng(3)
    told = np.asarray(elevations(4.0, 30.0))
    drawn = [fit_lean(YAWS, list(told + dice.normal(0, 0.8, 8)), 0.8) for _ in range(400)]
    spread = float(np.std([lean.deg for lean in drawn]))
    assert spread == pytest.approx(float(np.median([lean.error_deg for lean in drawn])), rel=0.35)


def test_a_lean_is_found_where_elevations_were_recorded() -> None:
    lean = find_lean(levelled(sweep(8), elevations(4.4, 20.0)))
    assert lean is not None
    assert lean.deg == pytest.approx(4.4, rel=0.03)


def test_rows_have_their_own_pitch_and_lean_as_one() -> None:
    found = sweep(8, pitches_deg=(0.0, 30.0))
    told = elevations(4.0, 20.0) + [pitch + 30.0 for pitch in elevations(4.0, 20.0)]
    lean = find_lean(levelled(found, told))
    assert lean is not None
    assert lean.deg == pytest.approx(4.0, rel=0.03)


SILENT = [
    pytest.param(
        levelled(sweep(8, pitches_deg=(0.0, 30.0), skipped=[8, 9, 10, 11]), [0.0] * 8 + [30.0] * 4),
        id="half a second row",
    ),
    pytest.param(sweep(8), id="nothing recorded"),
    pytest.param(levelled(sweep(8), [0.4, -0.3, 0.2, -0.5, 0.1, 0.3, -0.2, 0.0]), id="level"),
    pytest.param(levelled(sweep(8), elevations(2.0, 20.0), 2.0), id="a poor level"),
    pytest.param(levelled(sweep(4), elevations(4.4, 20.0)), id="too few frames"),
    pytest.param(levelled(sweep(8, 6.0), elevations(4.4, 20.0)), id="too short a turn"),
    pytest.param(levelled(sweep(8, angles=False), elevations(4.4, 20.0)), id="no yaw"),
    pytest.param(levelled(sweep(8), [-10.0] * 8), id="pitched, not leaning"),
]


@pytest.mark.parametrize("found", SILENT)
def test_nothing_is_found_on(found: Set) -> None:
    assert find_lean(found) is None


def test_a_wave_needs_three_frames() -> None:
    with pytest.raises(ValueError, match="three frames"):
        fit_lean([0.0, 36.0], [0.0, 1.0], 0.5)
