"""Comparing many pairs at once: whatever else is asked along with it, a pair is answered alike."""

from __future__ import annotations

import itertools
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from grouper.lenses import Lens
from grouper.settings import Settings
from grouper.sight import open_eye
from grouper.sight.pair import LEVEL, Match, _search, find_matches, other_ways, ways_near
from grouper.sight.picture import preview, stood_up
from grouper.sight.plate import SCOUT, SEARCH, Plate, prepare
from grouper.sight.search import Pair, views_for
from grouper.sight.sphere import View
from tests.sight.scenes import angle_deg, held, town, view

SCENE = town(11)
LYING, STANDING = False, True


@lru_cache
def plate(yaw_deg: float, upright: bool, focal_mm: float = 24.0, cut: int = 160) -> Plate:
    """A prepared picture of the scene, its long side cut to so many pixels."""
    shown = view(SCENE, held(yaw_deg), focal_mm=focal_mm, upright=upright, long_px=160)
    return prepare(preview(stood_up(np.ascontiguousarray(shown[:cut, :cut]), None, 1)))


def peopled(yaw_deg: float, seed: int) -> Plate:
    """A standing picture of the scene, its contrasts soft, before which five people stand."""
    shown = np.ascontiguousarray(view(SCENE**0.3, held(yaw_deg), long_px=160))
    rng = np.random.default_rng(seed)
    for across in rng.uniform(0, shown.shape[1], 5):
        foot, tall = rng.uniform(90, 160), rng.uniform(35, 60)
        coat = rng.uniform(5, 40, 3).tolist()
        middle = (round(across), round(foot - 0.45 * tall))
        cv2.ellipse(shown, middle, (round(0.14 * tall), round(0.4 * tall)), 0, 0, 360, coat, -1)
        cv2.circle(shown, (round(across), round(foot - 0.9 * tall)), round(0.09 * tall), coat, -1)
    return prepare(preview(stood_up(shown, None, 1)))


def pair(
    yaws: tuple[float, float], uprights: tuple[bool, bool], focals_mm: tuple[float, float]
) -> Pair:
    a, b = (plate(*each) for each in zip(yaws, uprights, focals_mm, strict=True))
    return Pair(a, b, (Lens(focals_mm[0] / 36), Lens(focals_mm[1] / 36)))


MIXED = {
    "lying": pair((0, 30), (LYING, LYING), (24.0, 24.0)),
    "lying-too": pair((30, 60), (LYING, LYING), (24.0, 24.0)),
    "standing": pair((0, 25), (STANDING, STANDING), (24.0, 24.0)),
    "turned-between": pair((0, 20), (LYING, STANDING), (24.0, 24.0)),
    "zoomed-between": pair((0, 10), (LYING, LYING), (24.0, 35.0)),
    "back": pair((30, 0), (LYING, LYING), (24.0, 24.0)),
    "itself": pair((30, 30), (LYING, LYING), (24.0, 24.0)),
    "strangers": pair((0, 180), (LYING, LYING), (24.0, 24.0)),
}
"""One plate stands in several of them, on either side."""
TURNS_DEG = dict(zip(MIXED, (30, 30, 25, 20, 10, -30, 0, None), strict=True))


@pytest.mark.parametrize("turn", [10, 20])
def test_people_who_moved_hide_no_common_ground(turn: int) -> None:
    """Where many stand in the common ground of two frames, the whole set tells."""
    pairs = [
        Pair(peopled(yaw, yaw), peopled(yaw + turn, yaw + 1), (Lens(24 / 36), Lens(24 / 36)))
        for yaw in range(0, 360, 30)
    ]
    matches = find_matches(pairs, [LEVEL] * len(pairs))
    sure = [match for match in matches if match is not None and match.certainty > 0.9]
    assert len(sure) >= 9
    assert all(angle_deg(match.turn, held(turn)) < 2.0 for match in sure)


def test_the_same_people_elsewhere_are_no_common_ground() -> None:
    pairs = [
        Pair(peopled(yaw, yaw), peopled(yaw + 180, yaw), (Lens(24 / 36), Lens(24 / 36)))
        for yaw in range(0, 180, 15)
    ]
    matches = find_matches(pairs, [LEVEL] * len(pairs))
    assert all(match is None or match.certainty < 0.5 for match in matches)


@pytest.mark.parametrize("near", [False, True], ids=["anywhere", "near"])
def test_a_mixed_lot_is_answered_as_each_by_itself(near: bool) -> None:
    pairs = list(MIXED.values())
    ways = [ways_near(0.0) if near else LEVEL] * len(pairs)
    turns = [held(turn or 0.0) for turn in TURNS_DEG.values()] if near else None
    together = find_matches(pairs, ways, turns)
    for at, (name, match) in enumerate(zip(MIXED, together, strict=True)):
        expected = None if turns is None else [turns[at]]
        [alone] = find_matches([pairs[at]], [ways[at]], expected)
        assert (match is None) == (alone is None), name
        if match is not None and alone is not None:
            assert angle_deg(match.turn, alone.turn) < 1e-3, name
            assert match.certainty == pytest.approx(alone.certainty, abs=1e-4), name
            assert match.view == alone.view, name


@pytest.mark.parametrize("name", [name for name in MIXED if TURNS_DEG[name] is not None])
def test_each_of_the_lot_is_right(name: str) -> None:
    match = _found(find_matches(list(MIXED.values()), [LEVEL] * len(MIXED))[[*MIXED].index(name)])
    assert match.certainty > 0.9
    turn = Rotation.from_euler("Y", TURNS_DEG[name] or 0.0, degrees=True).as_matrix()
    assert angle_deg(match.turn, turn) < 0.8


def test_a_stranger_in_the_lot_is_none() -> None:
    match = find_matches(list(MIXED.values()), [LEVEL] * len(MIXED))[[*MIXED].index("strangers")]
    assert match is None or match.certainty < 0.5


@pytest.mark.parametrize("quick", [False, True])
def test_a_quick_look_gives_up_where_little_stands_out(quick: bool) -> None:
    """These two strangers' best shift stands out by 5.3: enough to be tried, if there is time."""
    strangers = pair((150, 300), (LYING, LYING), (24.0, 24.0))
    begun = _search([strangers, MIXED["lying"]], [LEVEL, LEVEL], None, [quick, quick])
    assert [bool(some) for some in begun] == [not quick, True]
    begun = _search([MIXED["lying"], strangers], [LEVEL, LEVEL], None, [not quick, quick])
    assert [bool(some) for some in begun] == [True, not quick]  # each as it was asked


def test_a_picture_covers_itself() -> None:
    match = _found(find_matches([MIXED["itself"]], [LEVEL])[0])
    assert match.evidence.fit.overlap == pytest.approx(1.0, abs=0.001)
    assert match.evidence.fit.ncc == pytest.approx(1.0, abs=0.001)


def test_nothing_asked_nothing_told(tmp_path: Path) -> None:
    eye = open_eye(tmp_path, Settings())
    assert find_matches([], []) == []
    assert eye.compare([]) == eye.compare_near([], []) == []


@pytest.mark.parametrize("shares", [(0.75, 60.0), (60.0, 0.75), (0.3, 60.0), (60.0, 60.0)])
def test_the_longest_lenses_are_no_trouble(shares: tuple[float, float]) -> None:
    """A picture of 2,000 mm covers less than a cell of a wide one's: there is nothing to find."""
    for upright_a, upright_b in itertools.product((LYING, STANDING), repeat=2):
        # A standing one of 9:16 is the narrowest that cameras write.
        far = Pair(
            plate(0, upright_a, cut=90), plate(170, upright_b), (Lens(shares[0]), Lens(shares[1]))
        )
        steep = [((View(25.0),), SEARCH), *ways_near(60.0)]
        everywhere = other_ways(
            far, (None, None), frozenset({View()}), on_side=True, everywhere=True
        )
        for match in find_matches([far] * 3, [LEVEL, steep, everywhere]):
            assert match is None or match.certainty < 0.5


@pytest.mark.parametrize(
    ("pitches", "habit", "on_side", "everywhere", "searched", "scouts"),
    [
        ((None, None), None, False, False, [], False),
        ((None, None), 30.0, False, False, [View(30.0)], False),
        ((None, None), 4.0, False, False, [], False),  # as near as tried already
        ((20.0, None), 40.0, False, False, [View(20.0)], False),  # what is known goes before habit
        ((None, -20.0), None, True, True, [View(-20.0), View(0.0, across=True)], False),
        ((None, None), 30.0, True, True, [View(30.0), View(0.0, across=True)], True),
        ((None, None), None, True, True, [View(0.0, across=True)], True),
        ((None, None), None, True, False, [View(0.0, across=True)], False),
        ((None, None), None, False, True, [], True),
    ],
)
def test_the_likeliest_ways_come_next(
    pitches: tuple[float | None, float | None],
    habit: float | None,
    on_side: bool,
    everywhere: bool,
    searched: list[View],
    scouts: bool,
) -> None:
    """After a level look at a pair of wide pictures."""
    tried = frozenset({View()})
    ways = other_ways(
        MIXED["lying"], pitches, tried, habit_deg=habit, on_side=on_side, everywhere=everywhere
    )
    assert [view for views, level in ways if level == SEARCH for view in views] == searched
    assert any(level == SCOUT for _, level in ways) == scouts


@pytest.mark.parametrize("half_rad", [0.0, 0.004, 0.1, 0.6, 1.0])
def test_no_pitch_is_missed(half_rad: float) -> None:
    """Sines of the pitches tried are no further apart than what still matches, both ways up."""
    usual, steep = views_for(half_rad, half_rad)
    sines = sorted(np.sin(np.radians([one.pitch_deg for one in usual + steep if not one.across])))
    assert sines[0] == pytest.approx(-sines[-1])
    apart = min(0.8, 0.1222 / half_rad) if half_rad else 0.8
    assert np.diff(sines).max() <= apart + 0.002


def _found(match: Match | None) -> Match:
    assert match is not None
    return match
