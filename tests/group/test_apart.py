"""Frames that join no set: dividers and previews."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from grouper.group.apart import (
    attach_previews,
    find_dividers,
    is_blank,
    split_previews,
)
from grouper.model import Frame, Glance, Member, Set
from grouper.settings import GroupSettings
from tests.group.eyes import (
    BLACK,
    PLAIN,
    Shot,
    UnknowingEye,
    grouped,
    numbers,
    on_stops,
    pairs_of,
    run,
)
from tests.group.eyes import sweep as _sweep
from tests.support import frame

WITHIN_S = GroupSettings().preview_within_s

SEVEN = [0, 35, 70, 105, 140, 175, 210]
WHITE = replace(BLACK, mean=0.97, blocked_share=0.0, clipped_share=1.0)
HAND = replace(PLAIN, sharpness=0.3)


def between(shot: Shot | None, **after: Any) -> list[Shot]:
    """Two sweeps of different places with a frame between them."""
    first, second = _sweep(1, 0, SEVEN), _sweep(9, 45, SEVEN, place="lake", **after)
    return [*first, *([shot] if shot else []), *second]


def legs(evs: list[float], blank: int, glance: Glance) -> list[Shot]:
    """A bracket at each view, one leg of which shows nothing."""
    return [
        replace(s, glance=glance) if i % len(evs) == blank else s
        for i, s in enumerate(on_stops(1, 0, SEVEN, evs))
    ]


SPEAKS_ON = {
    "a lens cap": between(Shot(frame(8, 40), "cap", glance=BLACK)),
    "a lens cap longer exposed": between(Shot(frame(8, 40, exposure_s=1.0), "cap", glance=BLACK)),
    "a hand out of focus": between(Shot(frame(8, 40), "hand", glance=HAND)),
    "the sky after a wait": [
        *_sweep(1, 0, SEVEN),
        Shot(frame(8, 60), "sky", glance=WHITE),
        *_sweep(9, 66, SEVEN, place="lake"),
    ],
    "a hand that the meter saw": between(
        Shot(frame(8, 40, program="aperture", exposure_s=1 / 8), "hand", glance=HAND),
        program="aperture",
    ),
}
SILENT_ON = {
    "nothing between": between(None),
    "an ordinary single": between(Shot(frame(8, 40), "gate")),
    "blank sky in a sweep": [
        s if s.frame.counter != 4 else replace(s, glance=WHITE) for s in _sweep(1, 0, SEVEN)],
    "a dark exposure among even darker ones": [
        *_sweep(1, 0, [0, 35]), Shot(frame(3, 12, exposure_s=1 / 2000), "x", glance=BLACK)],
    "black dark legs at each view": legs([0, -8, 2], 1, BLACK),
    "blown bright legs at each view": legs([0, -2, 4], 2, WHITE),
    "blown legs of a body that brackets by itself": [
        replace(s, frame=replace(s.frame, program="aperture", bracketing=True))
        for s in legs([0, -2, 4], 2, WHITE)],
    "every frame is dark": [replace(s, glance=BLACK) for s in _sweep(1, 0, SEVEN)],
    "a soft frame of a sweep": [
        s if s.frame.counter != 4 else replace(s, glance=HAND) for s in _sweep(1, 0, SEVEN)],
    "a soft single with another lens on": between(
        Shot(frame(8, 40, lens="Quillmark 85mm f/1.8", focal_mm=85.0), "face", glance=HAND)),
    "a soft single that no sweep follows": [
        *_sweep(1, 0, SEVEN), Shot(frame(8, 40), "hand", glance=HAND),
        Shot(frame(9, 60), "a"), Shot(frame(10, 90), "b")],
}  # fmt: skip


@pytest.mark.parametrize("shots", SPEAKS_ON.values(), ids=SPEAKS_ON.keys())
def test_a_divider_is_seen_in(shots: list[Shot]) -> None:
    assert find_dividers(pairs_of(shots)) == {7}
    found = grouped(shots)
    assert [f.counter for f in found.dividers] == [8]
    assert numbers(found) == [("panorama", run(1, 7)), ("panorama", run(9, 15))]


@pytest.mark.parametrize("shots", SILENT_ON.values(), ids=SILENT_ON.keys())
def test_no_divider_is_seen_in(shots: list[Shot]) -> None:
    assert find_dividers(pairs_of(shots)) == frozenset()


def test_several_caps_are_all_dividers() -> None:
    caps = [Shot(frame(n, 35 + n), "cap", glance=BLACK) for n in (8, 9)]
    shots = [*_sweep(1, 0, SEVEN), *caps, *_sweep(10, 60, SEVEN, place="lake")]
    assert find_dividers(pairs_of(shots)) == {7, 8}


def test_a_cap_cuts_one_sweep_in_two() -> None:
    shots = [*_sweep(1, 0, SEVEN[:4]), Shot(frame(5, 20), glance=BLACK), *_sweep(6, 25, SEVEN[3:])]
    found = grouped(shots)
    assert [f.counter for f in found.dividers] == [5]
    assert numbers(found) == [("panorama", run(1, 4)), ("panorama", run(6, 9))]


def test_without_pictures_no_divider_is_seen() -> None:
    shots = SPEAKS_ON["a lens cap"]
    assert find_dividers(pairs_of(shots, UnknowingEye())) == frozenset()


@pytest.mark.parametrize(
    ("glance", "blank"), [(None, False), (PLAIN, False), (BLACK, True), (WHITE, True)]
)
def test_a_blank_picture_shows_nothing(glance: Glance | None, blank: bool) -> None:
    assert is_blank(glance) == blank


# Previews

WIDE = {"width_px": 9000, "height_px": 2000}
PHONE = {"make": "Ostrel", "model": "M2", "serial": "77"}


def ordinary(count: int, **changes: Any) -> list[Frame]:
    return [frame(i, 5 * i, **changes) for i in range(1, count + 1)]


PREVIEWS: dict[str, tuple[list[Frame], list[int]]] = {
    "a flagged composite": ([*ordinary(5), frame(9, 60, composite=True)], [9]),
    "wide beyond any sensor": ([*ordinary(5), frame(9, 60, **WIDE)], [9]),
    "tall beyond any sensor": (
        [*ordinary(5), frame(9, 60, width_px=1500, height_px=6000)], [9]),
    "a crop to 16:9": ([*ordinary(5), frame(9, 60, width_px=6000, height_px=3375)], []),
    "a phone that flags everything": (ordinary(6, composite=True), []),
    "a phone that flags everything, and made a panorama": (
        [*ordinary(6, composite=True), frame(9, 60, composite=True, **WIDE)], [9]),
    "another body's flags are its own": (
        [*ordinary(6, composite=True), frame(9, 60, composite=True, **PHONE),
         frame(10, 70, **PHONE), frame(11, 70, **PHONE)], [9]),
    "a body set to a wide crop": (ordinary(6, width_px=6000, height_px=2216), []),
    "the only frame of its body": ([*ordinary(5), frame(9, 60, composite=True, **PHONE)], [9]),
    "sizes of nothing": ([*ordinary(5), frame(9, 60, width_px=100, height_px=0),
                          frame(10, 60, width_px=None)], []),
    "no frames": ([], []),
}  # fmt: skip


@pytest.mark.parametrize(("frames", "expected"), PREVIEWS.values(), ids=PREVIEWS.keys())
def test_previews_are_set_apart(frames: list[Frame], expected: list[int]) -> None:
    rest, previews = split_previews(frames)
    assert [f.counter for f in previews] == expected
    assert sorted([*rest, *previews], key=lambda f: f.file) == sorted(frames, key=lambda f: f.file)


def panorama(name: str, *at_s: float) -> Set:
    shots = tuple(Member(frame=frame(i, t)) for i, t in enumerate(at_s))
    return Set(id=name, kind="panorama", body="q", members=shots, confidence=1.0)


NEAREST: dict[str, tuple[dict[str, Any], str | None]] = {
    "during the first": ({"at_s": 10}, "first"),
    "just before the second": ({"at_s": 580}, "second"),
    "just after the second": ({"at_s": 700}, "second"),
    "much later": ({"at_s": 650 + WITHIN_S + 1}, None),
    "undated": ({"taken": None}, None),
}


@pytest.mark.parametrize(("changes", "nearest"), NEAREST.values(), ids=NEAREST.keys())
def test_a_preview_belongs_to_the_nearest_panorama(
    changes: dict[str, Any], nearest: str | None
) -> None:
    sets = [panorama("first", 0, 20), panorama("second", 600, 650)]
    closer = replace(panorama("bracket", 690, 700), kind="bracket")
    (found,) = attach_previews([frame(9, **changes)], [*sets, closer], WITHIN_S)
    assert found.set_id == nearest


def test_previews_without_any_panorama_stand_alone_in_order() -> None:
    found = attach_previews([frame(9), frame(2)], [], WITHIN_S)
    assert [p.file for p in found] == ["100QMARK/QMK_0002.JPG", "100QMARK/QMK_0009.JPG"]
    assert {p.set_id for p in found} == {None}
