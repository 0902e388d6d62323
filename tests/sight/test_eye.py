"""The eye end to end: files with thumbnails in, sightings out."""

from __future__ import annotations

import hashlib
import itertools
import threading
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy.spatial.transform import Rotation

from grouper.model import Attitude, Frame, PictureSource, Sighting
from grouper.settings import Settings, SightSettings
from grouper.sight import BlindEye, open_eye
from grouper.sight.align import Detail, Fit
from grouper.sight.eye import _CLOSE_WAVE, _RECENT, _WAVE, PictureEye, _told
from grouper.sight.load import load_closer, load_pixels
from grouper.sight.pair import Match, Ways, find_matches
from grouper.sight.picture import CLOSE_SIDE_PX, ByteArray, Upright
from grouper.sight.plate import SCOUT, Plate
from grouper.sight.search import Pair
from grouper.sight.sphere import View
from grouper.sight.verdict import Evidence
from grouper.spool import Spool
from tests.sight.scenes import angle_deg, held, put, sea, sweep, town, view

SCENE = town(11)
Kind = Literal["thumbnail", "preview", "main"]


def _compare(root: Path, a: Frame, b: Frame) -> Sighting | None:
    return open_eye(root, Settings()).compare([(a, b)])[0]


def _turn(sighting: Sighting) -> np.ndarray:
    return Rotation.from_rotvec(sighting.turn_deg, degrees=True).as_matrix()


@pytest.mark.parametrize(
    ("focal_mm", "upright", "before", "after"),
    [
        (24.0, True, (0, 0, 0), (30, 0, 0)),
        (24.0, False, (10, 0, 0), (55, 0, 0)),
        (16.0, False, (0, 15, 0), (50, 15, 0)),
        (35.0, True, (0, -30, 0), (-22, -30, 0)),
        (50.0, False, (40, 0, 0), (66, 1, 1)),
        (24.0, True, (0, 0, 2), (25, 1, -1)),
        (24.0, False, (0, 0, 0), (0, 33, 0)),
        (28.0, True, (90, 0, 0), (93, -38, 0)),
        (24.0, True, (20, 0, 0), (20, 0, 0)),
    ],
    ids=["right", "across", "wide-pitched", "left-down", "tele", "hand", "up", "down", "same"],
)
def test_measures_how_the_camera_turned(
    tmp_path: Path,
    focal_mm: float,
    upright: bool,
    before: tuple[float, float, float],
    after: tuple[float, float, float],
) -> None:
    turns = [held(*before), held(*after)]
    a, b = sweep(tmp_path, SCENE, turns, focal_mm=focal_mm, upright=upright)
    seen = _compare(tmp_path, a, b)
    assert seen is not None
    assert seen.certainty > 0.9
    assert angle_deg(_turn(seen), turns[0].T @ turns[1]) < 0.8


def test_yaw_of_a_24_mm_sweep_is_good_to_a_fifth_of_a_degree(tmp_path: Path) -> None:
    turns = [held(yaw) for yaw in range(0, 240, 30)]
    frames = sweep(tmp_path, SCENE, turns)
    seen = open_eye(tmp_path, Settings()).compare(list(itertools.pairwise(frames)))
    yaws = [one.turn_deg[1] for one in seen if one is not None]
    assert len(yaws) == len(frames) - 1
    assert np.sqrt(np.mean((np.array(yaws) - 30.0) ** 2)) < 0.2


def test_agrees_with_features_on_the_full_picture(tmp_path: Path) -> None:
    """SIFT and a RANSAC homography of OpenCV on 640 px; K R K^-1 gives back the rotation."""
    turns = [held(0), held(24, 3, 2)]
    pictures = [view(SCENE, turn, seed=at) for at, turn in enumerate(turns)]
    sift = cv2.SIFT_create()
    (points_a, told_a), (points_b, told_b) = (
        sift.detectAndCompute(picture[..., 0], None) for picture in pictures
    )
    pairs = cv2.BFMatcher(cv2.NORM_L2, crossCheck=True).match(told_a, told_b)
    from_b = np.array([points_b[pair.trainIdx].pt for pair in pairs], np.float32)
    to_a = np.array([points_a[pair.queryIdx].pt for pair in pairs], np.float32)
    homography, _ = cv2.findHomography(from_b, to_a, cv2.RANSAC, 2.0)
    height, width = pictures[0].shape[:2]
    focal = 24 / 36 * 640
    k = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    rough = np.linalg.inv(k) @ homography @ k
    u, _, vt = np.linalg.svd(rough * np.sign(np.linalg.det(rough)))
    by_features = u @ vt
    a, b = (put(tmp_path, 1 + at, picture) for at, picture in enumerate(pictures))
    seen = _compare(tmp_path, a, b)
    assert seen is not None
    assert angle_deg(by_features, turns[0].T @ turns[1]) < 0.3  # the reference works
    assert angle_deg(_turn(seen), by_features) < 0.6


@pytest.mark.parametrize("step_deg", [12.0, 25.0, 35.0])
def test_overlap_and_shift_are_shares_of_the_frame(tmp_path: Path, step_deg: float) -> None:
    a, b = sweep(tmp_path, SCENE, [held(0), held(step_deg)])
    seen = _compare(tmp_path, a, b)
    assert seen is not None
    half = np.arctan(12 / 24)
    step = np.radians(step_deg)
    expected = 0.5 + np.tan(half - step) / (2 * np.tan(half))
    assert seen.overlap == pytest.approx(expected, abs=0.04)
    assert seen.shift_share[0] == pytest.approx(1 - expected, abs=0.05)
    assert seen.shift_share[1] == pytest.approx(0.0, abs=0.02)


def test_tilting_up_shifts_up(tmp_path: Path) -> None:
    a, b = sweep(tmp_path, SCENE, [held(0), held(0, 20)])
    seen = _compare(tmp_path, a, b)
    assert seen is not None
    assert seen.shift_share[1] > 0.2
    assert seen.turn_deg[0] == pytest.approx(20, abs=0.5)


@pytest.mark.parametrize("gain_ev", [-3.0, -2.0, 2.0, 3.0])
def test_exposure_legs_of_one_view_match(tmp_path: Path, gain_ev: float) -> None:
    a = put(tmp_path, 1, view(SCENE, held(0), seed=1))
    b = put(tmp_path, 2, view(SCENE, held(0), gain_ev=gain_ev, seed=2))
    seen = _compare(tmp_path, a, b)
    assert seen is not None
    assert seen.certainty > 0.9
    assert seen.overlap > 0.97
    assert np.linalg.norm(seen.turn_deg) < 0.5


def test_neighbours_match_through_a_zoom(tmp_path: Path) -> None:
    turns = [held(0), held(15)]
    a = put(tmp_path, 1, view(SCENE, turns[0], focal_mm=24), focal_mm=24.0)
    b = put(tmp_path, 2, view(SCENE, turns[1], focal_mm=35), focal_mm=35.0)
    seen = _compare(tmp_path, a, b)
    assert seen is not None
    assert seen.certainty > 0.9
    assert angle_deg(_turn(seen), turns[0].T @ turns[1]) < 0.8


def test_strangers_do_not_match(tmp_path: Path) -> None:
    """60 pairs of views without common ground, from one town and from two."""
    turns = [held(yaw) for yaw in range(0, 360, 24)]
    here = sweep(tmp_path, SCENE, turns, first=1)
    there = sweep(tmp_path, town(12), turns, first=101)
    count = len(turns)
    pairs = [(here[i], here[(i + count // 2) % count]) for i in range(count)]
    pairs += [(here[i], there[(i + k) % count]) for k in (0, 3, 7) for i in range(count)]
    seen = open_eye(tmp_path, Settings()).compare(pairs)
    certain = [one.certainty for one in seen if one is not None]
    assert len(certain) == len(pairs)
    assert max(certain) < 0.5
    assert np.mean(certain) < 0.05


@pytest.mark.parametrize("kind", ["grey", "black", "white", "noise", "sky"])
def test_plain_pictures_are_not_known(tmp_path: Path, kind: str) -> None:
    level = {"grey": 120, "black": 0, "white": 255, "noise": 120, "sky": 150}[kind]
    frames = []
    for number in (1, 2):
        rng = np.random.default_rng(number)
        picture = np.full((640, 427, 3), level, np.float64)
        if kind in ("noise", "sky"):
            picture += rng.normal(0, 3, picture.shape)
        if kind == "sky":
            picture *= np.linspace(0.85, 1.15, 640)[:, None, None]
        frames.append(put(tmp_path, number, np.clip(picture, 0, 255).astype(np.uint8)))
    plain, other = frames
    town_frame = put(tmp_path, 3, view(SCENE, held(0)))
    seen = open_eye(tmp_path, Settings()).compare([(plain, other), (plain, town_frame)])
    assert seen == [None, None]


def test_a_bare_horizon_is_no_link(tmp_path: Path) -> None:
    """Level sea all round: every yaw looks alike, so none may be claimed."""
    frames = sweep(tmp_path, sea(1), [held(0), held(20), held(180)])
    seen = open_eye(tmp_path, Settings()).compare([(frames[0], frames[1]), (frames[0], frames[2])])
    assert all(one is None or one.certainty < 0.5 for one in seen)


def test_focal_length_is_learned_where_only_assumed(tmp_path: Path) -> None:
    """24 mm on a 1.5 times smaller sensor, which the metadata takes for 36 mm."""
    turns = [held(yaw) for yaw in range(0, 160, 16)]
    frames = [
        replace(one, focal_mm=24.0, sensor_from="assumed")
        for one in sweep(tmp_path, SCENE, turns, focal_mm=36.0)
    ]
    seen = open_eye(tmp_path, Settings()).compare(list(itertools.pairwise(frames)))
    yaws = [one.turn_deg[1] for one in seen if one is not None and one.certainty > 0.5]
    assert len(yaws) == len(frames) - 1
    assert np.median(yaws) == pytest.approx(16.0, rel=0.15)


FISHEYES = [
    pytest.param("equisolid", 15.0, {"lens": "15mm Fisheye"}, id="named"),
    pytest.param("equisolid", 15.0, {"lens": None}, id="not named"),
    pytest.param("stereographic", 12.25, {"lens": "Fish-Eye"}, id="stereographic"),
    pytest.param("equisolid", 15.0, {"focal_mm": None, "lens": None}, id="not told"),
    pytest.param("stereographic", 12.25, {"focal_mm": None, "lens": None}, id="neither told"),
]


@pytest.mark.parametrize(("drawing", "focal_mm", "told"), FISHEYES)
def test_a_fisheye_is_looked_through_as_it_draws(
    tmp_path: Path, drawing: str, focal_mm: float, told: dict[str, Any]
) -> None:
    turns = [held(yaw) for yaw in range(0, 300, 50)]
    frames = [
        replace(one, **{"focal_mm": focal_mm, "focus_m": None, "sensor_from": "body", **told})
        for one in sweep(tmp_path, SCENE, turns, focal_mm=focal_mm, drawing=drawing)
    ]
    eye = open_eye(tmp_path, Settings())
    seen = eye.compare(list(itertools.pairwise(frames)))
    steps = [one.turn_deg[1] for one in seen if one is not None and one.certainty > 0.9]
    assert len(steps) == len(turns) - 1
    # What is told only by the pictures is known to a tenth.
    assert np.median(steps) == pytest.approx(50.0, rel=0.02 if told.get("lens") else 0.1)
    solution = eye.solve(frames, [(i, i + 1, one) for i, one in enumerate(seen) if one])
    assert solution is not None
    assert solution.mapping == drawing
    assert solution.focal_share == pytest.approx(focal_mm / 36.0, rel=0.15)


def test_of_a_lens_that_is_not_told_no_focal_length_is_made_up(tmp_path: Path) -> None:
    frames = [
        replace(one, focal_mm=None, lens=None) for one in sweep(tmp_path, SCENE, [held(0), held(0)])
    ]
    eye = open_eye(tmp_path, Settings())
    [seen] = eye.compare([(frames[0], frames[1])])
    assert seen is not None
    solution = eye.solve(frames, [(0, 1, seen)])
    assert solution is not None
    assert solution.focal_share is None


def test_without_a_focal_length_overlap_and_shift_are_told(tmp_path: Path) -> None:
    frames = [
        replace(one, focal_mm=None, sensor_long_mm=None)
        for one in sweep(tmp_path, SCENE, [held(0), held(18)])
    ]
    seen = _compare(tmp_path, *frames)
    assert seen is not None
    assert seen.certainty > 0.9
    assert seen.overlap == pytest.approx(0.65, abs=0.06)


def test_recorded_pitch_is_used(tmp_path: Path) -> None:
    turns = [held(0, 50), held(40, 50)]
    frames = [
        replace(one, attitude=Attitude(pitch_deg=50.0)) for one in sweep(tmp_path, SCENE, turns)
    ]
    seen = _compare(tmp_path, *frames)
    assert seen is not None
    assert angle_deg(_turn(seen), turns[0].T @ turns[1]) < 1.0


def test_missing_and_damaged_pictures_are_not_known(tmp_path: Path) -> None:
    good = put(tmp_path, 1, view(SCENE, held(0)))
    gone = replace(good, file="gone.JPG", picture=PictureSource(kind="main", file="gone.JPG"))
    (tmp_path / "bad.JPG").write_bytes(b"\xff\xd8" + b"\0" * 300)
    bad = replace(
        good,
        file="bad.JPG",
        picture=PictureSource(kind="thumbnail", file="bad.JPG", offset=100, length=9999),
    )
    eye = open_eye(tmp_path, Settings())
    assert eye.compare([(good, gone), (bad, good)]) == [None, None]
    assert eye.glance([gone, good, bad])[::2] == [None, None]
    assert eye.glance([good])[0] is not None


def test_falls_back_to_the_main_picture(tmp_path: Path) -> None:
    picture = view(SCENE, held(0), upright=False)
    cv2.imwrite(str(tmp_path / "QMK_0001.JPG"), picture)
    whole = replace(
        put(tmp_path, 2, picture),
        file="QMK_0001.JPG",
        picture=PictureSource(kind="main", file="QMK_0001.JPG"),
    )
    glance = open_eye(tmp_path, Settings()).glance([whole])[0]
    assert glance is not None
    assert glance.aspect == pytest.approx(1.5, abs=0.01)


def test_answers_do_not_depend_on_jobs_or_cache(tmp_path: Path) -> None:
    frames = sweep(tmp_path, SCENE, [held(yaw) for yaw in range(0, 150, 25)])
    pairs = [*list(itertools.pairwise(frames)), (frames[0], frames[4])]
    small = Settings(sight=SightSettings(shelved=2, kept=2, ahead=0))
    answers = [
        open_eye(tmp_path, settings, jobs=jobs).compare(pairs)
        for settings, jobs in ((Settings(), 1), (Settings(), 4), (small, 2))
    ]
    assert answers[0] == answers[1] == answers[2]


def test_photographs_are_left_as_they_were(tmp_path: Path) -> None:
    frames = sweep(tmp_path, SCENE, [held(0), held(20)])

    def state() -> list[tuple[str, str, int]]:
        return [
            (path.name, hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns)
            for path in sorted(tmp_path.iterdir())
        ]

    before = state()
    eye = open_eye(tmp_path, Settings())
    assert eye.compare([(frames[0], frames[1])])[0] is not None
    assert eye.glance(frames)[0] is not None
    assert state() == before


def test_progress_is_told(tmp_path: Path) -> None:
    frames = sweep(tmp_path, SCENE, [held(0), held(20), held(40)])
    told: list[tuple[str, int, int]] = []
    eye = open_eye(
        tmp_path, Settings(), progress=lambda what, done, total: told.append((what, done, total))
    )
    eye.compare([(frames[0], frames[1]), (frames[1], frames[2])])
    assert told == [("comparing", 1, 2), ("comparing", 2, 2)]


def test_a_blind_eye_knows_nothing(tmp_path: Path) -> None:
    a, b = sweep(tmp_path, SCENE, [held(0), held(20)])
    off = Settings(sight=SightSettings(enabled=False))
    for eye in (BlindEye(), open_eye(tmp_path, off)):
        assert eye.glance([a, b]) == [None, None]
        assert eye.compare([(a, b)]) == [None]
        assert eye.solve([a, b], [(0, 1, Sighting(overlap=0.5, certainty=1.0))]) is None


@pytest.mark.parametrize("off_deg", [0.0, 6.0])
def test_finds_a_turn_near_where_it_is_expected(tmp_path: Path, off_deg: float) -> None:
    turns = [held(0), held(33)]
    a, b = sweep(tmp_path, SCENE, turns)
    (seen,) = open_eye(tmp_path, Settings()).compare_near([(a, b)], [(0.0, 33 + off_deg, 0.0)])
    assert seen is not None
    assert seen.certainty > 0.9
    assert angle_deg(_turn(seen), turns[0].T @ turns[1]) < 0.8


@pytest.mark.parametrize("expected", [(0.0, -33.0, 0.0), (35.0, 0.0, 0.0)])
def test_finds_nothing_where_nothing_is_expected_rightly(
    tmp_path: Path, expected: tuple[float, float, float]
) -> None:
    a, b = sweep(tmp_path, SCENE, [held(0), held(33)])
    (seen,) = open_eye(tmp_path, Settings()).compare_near([(a, b)], [expected])
    assert seen is None or seen.certainty < 0.5


def test_near_looks_of_missing_pictures_are_not_known(tmp_path: Path) -> None:
    (a,) = sweep(tmp_path, SCENE, [held(0)])
    gone = replace(a, file="QMK_0002.JPG", picture=None)
    eye = open_eye(tmp_path, Settings())
    assert eye.compare_near([(a, gone)], [(0.0, 30.0, 0.0)]) == [None]
    assert BlindEye().compare_near([(a, a)], [(0.0, 30.0, 0.0)]) == [None]


@pytest.mark.parametrize("quick", [False, True])
def test_a_quick_look_sees_what_is_plain_to_see(tmp_path: Path, quick: bool) -> None:
    frames = sweep(tmp_path, SCENE, [held(0), held(30), held(180)])
    eye = open_eye(tmp_path, Settings())
    near, far = eye.compare([(frames[0], frames[1]), (frames[0], frames[2])], quick=quick)
    assert near is not None
    assert near.certainty > 0.9
    assert far is not None
    assert far.certainty < 0.1


@pytest.mark.parametrize(("yaw_deg", "roll_deg"), [(60.0, -8.0), (240.0, 8.0)])
def test_a_quick_look_misses_what_hardly_stands_out(
    tmp_path: Path, yaw_deg: float, roll_deg: float
) -> None:
    """Neighbours rolled by more than the search makes up for: found if there is time to try."""
    turns = [held(yaw_deg), held(yaw_deg + 20, 0, roll_deg)]
    pair = sweep(tmp_path, SCENE, turns, upright=False)
    quick, thorough = (
        open_eye(tmp_path, Settings()).compare([(pair[0], pair[1])], quick=quick)[0]
        for quick in (True, False)
    )
    assert quick is not None
    assert thorough is not None
    assert quick.certainty < 0.1
    assert thorough.certainty > 0.9


@pytest.mark.parametrize("roll_deg", [0.0, 6.0])
def test_the_sea_looks_alike_all_round(tmp_path: Path, roll_deg: float) -> None:
    water, town_ = (
        open_eye(tmp_path / kind, Settings()).glance(
            sweep(_made(tmp_path / kind), scene, [held(20, 4, roll_deg)])
        )[0]
        for kind, scene in (("sea", sea(3)), ("town", SCENE))
    )
    assert water is not None
    assert water.is_alike
    assert town_ is not None
    assert not town_.is_alike


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


@pytest.mark.parametrize(
    ("certainty", "is_told"), [(None, False), (0.3, False), (0.85, False), (0.93, True)]
)
def test_only_a_sure_match_is_told_of_what_looks_alike_all_round(
    certainty: float | None, is_told: bool
) -> None:
    alike = Plate((160, 107), 160.0, (), True, np.linspace(0, 1, 27, dtype=np.float32) ** 2)
    town_ = replace(alike, profile=np.zeros(0, np.float32))
    evidence = Evidence(
        Fit(ncc=0.6, cells=1500, overlap=0.4, move=(0.6, 0.0)),
        Detail(right=0.4, down=0.6),
        roll_rad=0.0,
        margin=1.5,
    )
    match = None if certainty is None else Match(np.eye(3), evidence, certainty, View())
    assert (_told(alike, alike, match) is not None) == is_told
    assert _told(alike, town_, match) is not None


def test_many_pairs_are_answered_as_one_by_one(tmp_path: Path) -> None:
    """A pitched sweep longer than what is compared at once: what is learned on the way helps."""
    turns = [held(yaw, 25) for yaw in range(0, 18 * 20, 20)]
    frames = sweep(tmp_path, SCENE, turns)
    pairs = list(itertools.pairwise(frames))
    together = open_eye(tmp_path, Settings()).compare(pairs)
    eye = open_eye(tmp_path, Settings())
    singly = [eye.compare([pair])[0] for pair in pairs]
    for one, other, before, after in zip(together, singly, turns, turns[1:], strict=False):
        assert one is not None
        assert other is not None
        assert min(one.certainty, other.certainty) > 0.9
        assert angle_deg(_turn(one), before.T @ after) < 0.8


def test_slopes_and_spectra_are_kept_of_the_last_pictures_only(tmp_path: Path) -> None:
    frames = sweep(tmp_path, SCENE, [held(yaw) for yaw in range(0, 45 * 8, 8)])
    eye = PictureEye(tmp_path, Settings())
    eye.compare(list(itertools.pairwise(frames)))
    eye.compare(list(itertools.pairwise(frames)))  # those taken down before, too
    assert len(frames) > _RECENT
    for kept in ("spectra", "_slopes"):
        assert 0 < sum(bool(getattr(plate, kept)) for plate in eye._plates.values()) <= _RECENT


def test_a_picture_is_decoded_once_for_comparing_and_for_what_it_shows(tmp_path: Path) -> None:
    frames = sweep(tmp_path, SCENE, [held(0), held(30), held(60)])
    eye = PictureEye(tmp_path, Settings(sight=SightSettings(shelved=2)))
    eye.compare(list(itertools.pairwise(frames)))
    for one in frames:
        (tmp_path / one.file).unlink()
    seen = eye.glance(frames)
    assert all(one is not None and one.sharpness > 0 for one in seen)


STEPS_DEG = [(-1) ** (at * at // 3) * (15.0 + at) for at in range(_WAVE + 6)]
"""Steps of their own for more pairs than are compared at once, to the left and to the right."""
MISSING = {2, 3, 9, _WAVE, _WAVE + 3}
"""Pairs that lack a picture."""


def _pairs_apart(folder: Path, pitch_deg: float) -> list[tuple[Frame, Frame]]:
    """A pair of pictures for every step, each by a camera of its own: none helps another."""
    turns = [held(yaw, pitch_deg) for step in STEPS_DEG for yaw in (0.0, step)]
    frames = [
        replace(one, serial=str(at // 2))
        for at, one in enumerate(sweep(folder, SCENE, turns, upright=False))
    ]
    for at in MISSING:
        (folder / frames[2 * at + 1].file).unlink()
    return list(zip(frames[::2], frames[1::2], strict=True))


def test_each_of_many_pairs_is_looked_at_as_quickly_as_asked(tmp_path: Path) -> None:
    """A pitch that nothing tells of is found by whoever has the time to try every pitch."""
    quick = [at % 5 in (0, 3) for at in range(len(STEPS_DEG))]
    seen = open_eye(tmp_path, Settings()).compare(_pairs_apart(tmp_path, 30.0), quick=quick)
    for at, (one, hasty, step) in enumerate(zip(seen, quick, STEPS_DEG, strict=True)):
        assert (one is None) == (at in MISSING)
        if one is not None and hasty:
            assert one.certainty < 0.1
        elif one is not None:
            assert one.certainty > 0.9
            assert angle_deg(_turn(one), held(0, 30).T @ held(step, 30)) < 1.0


def test_of_pairs_in_a_row_every_second_is_looked_at_everywhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it shows of the pitch the others try next; a pair that shares no frame has none."""
    looks, laid = [], []

    def watched(pairs: Sequence[Pair], ways: Sequence[Ways], **how: Sequence[bool]) -> object:
        looks.append([at for at, own in enumerate(ways) if any(lv == SCOUT for _, lv in own)])
        laid.append([any(one.across for views, _ in own for one in views) for own in ways])
        return find_matches(pairs, ways, **how)

    monkeypatch.setattr("grouper.sight.eye.find_matches", watched)
    frames = sweep(tmp_path, SCENE, [held(yaw, 30) for yaw in (0, 30, 60, 90, 120, 150, 180)])
    pairs = [*itertools.pairwise(frames[:5]), (frames[5], frames[6])]
    for one in open_eye(tmp_path, Settings()).compare(pairs):
        assert one is not None
        assert one.certainty > 0.9
        assert angle_deg(_turn(one), held(0, 30).T @ held(30, 30)) < 1.0
    assert looks == [[], [0, 2, 4], []]
    assert laid[1] == [True] * 5  # on their side all of them


def test_each_of_many_pairs_is_looked_for_near_its_own_turn(tmp_path: Path) -> None:
    expected = [(0.0, step, 0.0) for step in STEPS_DEG]
    seen = open_eye(tmp_path, Settings()).compare_near(_pairs_apart(tmp_path, 0.0), expected)
    for at, (one, step) in enumerate(zip(seen, STEPS_DEG, strict=True)):
        assert (one is None) == (at in MISSING)
        if one is not None:
            assert one.certainty > 0.9
            assert angle_deg(_turn(one), held(step)) < 1.0


def test_a_picture_that_the_shelf_has_lost_is_looked_at_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def lost(self: Spool, number: int) -> bytes:
        raise OSError("gone")

    frames = sweep(tmp_path, SCENE, [held(0), held(30), held(60)])
    pairs = list(itertools.pairwise(frames))
    expected = open_eye(tmp_path, Settings()).compare(pairs)
    monkeypatch.setattr(Spool, "get", lost)
    eye = open_eye(tmp_path, Settings(sight=SightSettings(shelved=1, kept=2)))
    assert eye.compare(pairs) == expected
    assert eye.compare(pairs) == expected


@pytest.mark.parametrize(
    ("jobs", "kind", "elsewhere"),
    [(1, "main", False), (2, "main", True), (2, "preview", True), (2, "thumbnail", False)],
)
def test_threads_decode_pictures_that_are_worth_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, jobs: int, kind: Kind, elsewhere: bool
) -> None:
    decoded_by: list[tuple[str, bool]] = []

    def load(root: Path, frame: Frame) -> ByteArray | None:
        here = threading.current_thread() is threading.main_thread()
        decoded_by.append((frame.file, not here))
        return load_pixels(root, frame)

    frames = [
        replace(one, picture=replace(one.picture, kind=kind))
        for one in sweep(tmp_path, SCENE, [held(0), held(30), held(60)])
        if one.picture is not None
    ]
    monkeypatch.setattr("grouper.sight.eye.load_pixels", load)
    open_eye(tmp_path, Settings(), jobs=jobs).compare(list(itertools.pairwise(frames)))
    assert sorted(decoded_by) == [(one.file, elsewhere) for one in frames]  # each once


FOG = 0.4 * (SCENE / SCENE.mean()) ** np.float32(0.01)
GRAVEL = 0.4 * np.exp(
    np.float32(0.006) * np.random.default_rng(5).standard_normal(SCENE.shape[:2]).astype(np.float32)
)
"""So fine and faint that a thumbnail averages it away."""


def _in_fog(
    folder: Path,
    number: int,
    yaw_deg: float,
    pitch_deg: float = 0.0,
    main_px: int = 640,
    scene: NDArray[np.float32] = FOG,
) -> Frame:
    """A frame whose thumbnail shows next to nothing, and its main picture little."""
    turn = held(yaw_deg, pitch_deg)
    shown = view(scene, turn, upright=False, seed=number, long_px=max(main_px, 640))
    small = put(folder, 1000 + number, shown)
    name = f"QMK_{number:04d}.JPG"
    small_px = (main_px, main_px * 2 // 3)
    Image.fromarray(shown).resize(small_px).save(folder / name, quality=95)
    return replace(small, file=name)


def test_a_closer_look_shows_what_a_thumbnail_is_too_plain_for(tmp_path: Path) -> None:
    a, b, far = (_in_fog(tmp_path, number, yaw) for number, yaw in ((1, 0), (2, 40), (3, 180)))
    told: list[tuple[str, int, int]] = []
    eye = open_eye(
        tmp_path, Settings(), progress=lambda what, done, total: told.append((what, done, total))
    )
    assert eye.compare([(a, b), (b, far)]) == [None, None]
    told.clear()
    near, apart = eye.compare_closely([(a, b), (b, far)])
    assert near is not None
    assert near.certainty > 0.9
    assert near.turn_deg[1] == pytest.approx(40.0, abs=1.0)
    assert apart is None or apart.certainty < 0.1
    assert told == [("looking closely", 2, 2)]


@pytest.mark.parametrize(
    ("scene", "pitch_deg"), [(FOG, 40.0), (GRAVEL, 0.0)], ids=["held up", "gravel"]
)
def test_a_closer_look_is_thorough(
    tmp_path: Path, scene: NDArray[np.float32], pitch_deg: float
) -> None:
    a, b = (
        _in_fog(tmp_path, number, yaw, pitch_deg, scene=scene) for number, yaw in ((1, 0), (2, 30))
    )
    eye = open_eye(tmp_path, Settings())
    assert eye.compare([(a, b)]) == [None]
    [seen] = eye.compare_closely([(a, b)])
    assert seen is not None
    assert seen.certainty > 0.9


def test_a_closer_look_goes_wave_by_wave_and_keeps_what_is_shared(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    frames = [_in_fog(tmp_path, number, 35.0 * number) for number in range(_CLOSE_WAVE + 3)]
    pairs = list(itertools.pairwise(frames))
    alone = [open_eye(tmp_path, Settings()).compare_closely([pair])[0] for pair in pairs]
    decoded: list[str] = []

    def load(root: Path, frame: Frame) -> Upright | None:
        decoded.append(frame.file)
        return load_closer(root, frame)

    monkeypatch.setattr("grouper.sight.eye.load_closer", load)
    seen = open_eye(tmp_path, Settings(), jobs=2).compare_closely(pairs)
    assert sorted(decoded) == [one.file for one in frames]  # each once
    assert len(seen) == len(pairs) > _CLOSE_WAVE
    assert [one is not None and one.certainty > 0.9 for one in seen] == [
        one is not None and one.certainty > 0.9 for one in alone
    ]
    assert any(one is not None and one.certainty > 0.9 for one in seen)


def test_nothing_larger_is_not_known(tmp_path: Path) -> None:
    a, b = (_in_fog(tmp_path, number, 40.0 * number) for number in (1, 2))
    small = _in_fog(tmp_path, 3, 80.0, main_px=160)
    gone = replace(a, file="QMK_0404.JPG", picture=None)
    damaged = replace(a, file="QMK_0405.JPG", picture=None)
    (tmp_path / damaged.file).write_bytes(b"\xff\xd8 no picture")
    eye = open_eye(tmp_path, Settings())
    wanted = [(b, small), (b, gone), (damaged, b)]
    assert eye.compare_closely(wanted) == [None, None, None]
    assert [load_closer(tmp_path, one) for one in (small, gone, damaged)] == [None, None, None]
    assert eye.compare_closely([]) == []
    assert BlindEye().compare_closely([(a, b)]) == [None]


def test_a_companions_picture_or_a_large_preview_will_do(tmp_path: Path) -> None:
    shown = _in_fog(tmp_path, 1, 0.0)
    picture = (tmp_path / shown.file).read_bytes()
    raw = replace(shown, file="QMK_0001.RAW")
    (tmp_path / raw.file).write_bytes(b"no picture " + picture)
    # Its thumbnail is no help: that is too small, or damaged as here.
    thumbnail = PictureSource(kind="thumbnail", file=shown.file, offset=20, length=100)
    companions = replace(raw, picture=thumbnail)
    preview = PictureSource(kind="preview", file=raw.file, offset=11, length=len(picture))
    for frame in (shown, companions, replace(raw, picture=preview)):
        closer = load_closer(tmp_path, frame)
        assert closer is not None
        assert max(closer.rgb.shape) == CLOSE_SIDE_PX


@pytest.mark.parametrize(
    ("orientation", "bright", "dark"),
    [
        (1, np.s_[:, :150], np.s_[:, -150:]),
        (6, np.s_[:150], np.s_[-150:]),
        (8, np.s_[-150:], np.s_[:150]),
    ],
)
def test_a_closer_look_stands_pictures_upright(
    tmp_path: Path, orientation: int, bright: object, dark: object
) -> None:
    frame = replace(_in_fog(tmp_path, 1, 0.0), orientation=orientation, width_px=640, height_px=480)
    stored = np.full((480, 640, 3), 60, np.uint8)
    stored[:, :320] = 180
    Image.fromarray(stored).save(tmp_path / frame.file)
    closer = load_closer(tmp_path, frame)
    assert closer is not None
    shown = np.asarray(closer.rgb)
    assert shown.shape == ((240, 320, 3) if orientation == 1 else (320, 240, 3))
    assert shown[bright].min() > 150 > 90 > shown[dark].max()  # type: ignore[index]


def test_what_begins_as_raw_files_do_is_no_main_picture(tmp_path: Path) -> None:
    name = "QMK_0009.TIF"
    Image.new("RGB", (640, 480), (90, 120, 60)).save(tmp_path / name)
    bare = replace(_in_fog(tmp_path, 1, 0.0), file=name, picture=None)
    assert load_closer(tmp_path, bare) is None
    # But where it was found to be the frame's picture it is looked at.
    chosen = replace(bare, picture=PictureSource(kind="main", file=name))
    assert load_closer(tmp_path, chosen) is not None
