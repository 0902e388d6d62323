"""Candidate shifts: how much common ground they rest on, and what is kept for the next pair."""

from __future__ import annotations

import numpy as np
import pytest

from grouper.lenses import Lens
from grouper.sight.picture import preview, stood_up
from grouper.sight.plate import SCOUT, SEARCH, Plate, prepare
from grouper.sight.search import Candidate, Layer, Pair, candidates
from grouper.sight.sphere import View
from tests.sight.scenes import angle_deg, held, town, view

SHARE = 24 / 36
STEP_DEG = 60.0
"""Of 73.7 degrees across: a fifth of each picture is common ground."""


def plate(yaw_deg: float) -> Plate:
    shown = view(town(11), held(yaw_deg), upright=False, long_px=160)
    return prepare(preview(stood_up(np.ascontiguousarray(shown), None, 1)))


def best(pair: Pair, least_overlap: float) -> list[Candidate]:
    (found,) = candidates([Layer(pair, View(), SEARCH)], least_overlap=least_overlap, count=50)
    return found


def common(turn: np.ndarray) -> float:
    """The share of the second picture that lies in the first: pinholes of 3:2, point by point."""
    half = np.array([1.0, 2 / 3]) / 2 / SHARE
    x, y = np.meshgrid(*(np.linspace(-end, end, 200) for end in half))
    right, down, ahead = np.moveaxis(np.stack([x, y, np.ones_like(x)], axis=-1) @ turn.T, -1, 0)
    inside = (ahead > 0) & (abs(right) <= half[0] * ahead) & (abs(down) <= half[1] * ahead)
    return float(inside.mean())


def test_a_shift_with_too_little_common_ground_is_no_candidate() -> None:
    pair = Pair(plate(0.0), plate(STEP_DEG), (Lens(SHARE), Lens(SHARE)))
    assert angle_deg(best(pair, 0.07)[0].turn, held(STEP_DEG)) < 3.0
    assert not [one for one in best(pair, 0.3) if angle_deg(one.turn, held(STEP_DEG)) < 3.0]


@pytest.mark.parametrize("least_overlap", [0.07, 0.3, 0.6])
def test_every_candidate_rests_on_enough_common_ground(least_overlap: float) -> None:
    strangers = Pair(plate(0.0), plate(180.0), (Lens(SHARE), Lens(SHARE)))
    shares = [common(one.turn) for one in best(strangers, least_overlap)]
    assert len(shares) > 5
    assert min(shares) > 0.85 * least_overlap  # counted on the sphere, in whole cells


@pytest.mark.parametrize(("level", "keeps"), [(SCOUT, False), (SEARCH, True)])
def test_spectra_are_kept_of_the_level_that_is_searched_again(level: int, keeps: bool) -> None:
    pair = Pair(plate(0.0), plate(30.0), (Lens(SHARE), Lens(SHARE)))
    layers = [Layer(pair, View(), level), Layer(pair, View(25.0), level)]
    first = candidates(layers, least_overlap=0.07, count=3)
    assert [len(one.spectra) for one in (pair.a, pair.b)] == [2 * keeps] * 2
    assert candidates(layers, least_overlap=0.07, count=3) == first
    assert [len(one.spectra) for one in (pair.a, pair.b)] == [2 * keeps] * 2
