"""Every situation is there, plays the same from the same seed, and tells a whole truth."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from datetime import timedelta
from functools import cache
from itertools import pairwise

import pytest

from grouper.settings import settings_from
from testdata.rehearsal.cards import (
    GUARD_SEEDS,
    REPORT_SEEDS,
    TUNE_SEEDS,
    day_card,
    situation_card,
)
from testdata.rehearsal.records import Card
from testdata.rehearsal.render import truth_table
from testdata.rehearsal.situations import SITUATIONS, situation

# What a panorama photographer's card may hold, line by line; each must have its situation.
WANTED = [
    "sweep-upright",
    "sweep-across",
    "sweep-16mm",
    "sweep-200mm",
    "overlap-thin",
    "overlap-ample",
    "slow-beside-singles",
    "brisk-beside-singles",
    "handheld",
    "rows-serpentine",
    "rows-returning",
    "full-circle",
    "zenith-nadir",
    "fisheye-upright",
    "fisheye-across",
    "fisheye-circle",
    "fisheye-untold",
    "up-and-down",
    "pitched",
    "tilted-base",
    "rolled-camera",
    "long-exposures",
    "bracket-3",
    "bracket-5",
    "bracket-7",
    "bracket-9",
    "bracketed-by-view",
    "bracketed-by-sweep",
    "focus-steps-at-views",
    "two-takes",
    "two-subjects",
    "spare-frame",
    "interrupted",
    "missing-counted",
    "missing-never-fired",
    "missing-at-end",
    "missing-in-bracket",
    "missing-in-stack",
    "mixed-focal-length",
    "mixed-orientation",
    "mixed-lens",
    "mixed-size",
    "mixed-aperture",
    "mixed-iso",
    "mixed-shutter",
    "mixed-focus",
    "mixed-white-balance",
    "mixed-flash",
    "auto-exposure",
    "auto-white-balance",
    "auto-focus",
    "singles",
    "near-duplicates",
    "burst-still",
    "burst-panning",
    "interval",
    "walk-round",
    "flight-lines",
    "dividers",
    "phone-preview",
    "raw-companions",
    "two-bodies",
    "two-bodies-all-day",
    "clock-set-back",
    "over-midnight",
    "summer-time",
    "no-sub-seconds",
    "counter-wraps",
    "no-thumbnails",
    "no-serial",
    "renamed",
    "duplicated",
    "truncated",
    "empty",
    "undated",
    "foreign",
    "focus-stack",
    "focus-steps-by-eye",
    "focus-stack-driven",
    "focus-stack-deep",
    "focus-stack-by-hand",
    "focus-stack-timed",
    "burst-tripod",
    "burst-close-up",
    "refocused",
    "interval-still",
    "uneven-bracket",
    "drifting-row",
    "soft-frame",
    "rig-test",
    "strolling",
    "no-sensor-size",
    "truncated-in-sweep",
    "open-sea-tilted",
    "open-sea-level",
    "moved-subject",
    "passers-by",
    "over-exposed",
    "under-exposed",
    "shallow-focus",
    "near-things",
    "left-automatic",
    "briefed",
    "interval-lost",
]

NAMES = tuple(part.name for part in SITUATIONS)
FAULTY = ("empty", "truncated", "foreign")


@cache
def card(name: str, seed: int = 11) -> Card:
    return day_card(seed) if name == "day" else situation_card(name, seed)


def test_every_wanted_situation_is_registered_once() -> None:
    assert Counter(NAMES) == Counter(WANTED)


def test_unknown_situation() -> None:
    with pytest.raises(KeyError):
        situation("no-such-thing")


def test_seed_ranges_are_apart() -> None:
    ranges = (TUNE_SEEDS, GUARD_SEEDS, REPORT_SEEDS)
    assert len(set().union(*ranges)) == sum(len(seeds) for seeds in ranges)


@pytest.mark.parametrize("name", [*NAMES, "day"])
def test_every_frame_has_one_truth(name: str) -> None:
    made = card(name)
    copies = dict(made.copies)
    told = [place.file for item in made.sets for place in item.places]
    told += [file for file, _ in made.singles]
    told += [file for file in made.either if file not in copies]
    told += [*made.dividers, *(file for file, _ in made.previews)]
    taken = [shot.file for shot in made.shots if shot.fault not in FAULTY]
    assert Counter(told) == Counter(taken)
    bad = {shot.file for shot in made.shots if shot.fault in FAULTY}
    assert bad == {file for file, _ in made.unread}


@pytest.mark.parametrize("name", [*NAMES, "day"])
def test_findings_name_files_of_the_card(name: str) -> None:
    made = card(name)
    files = {shot.file for shot in made.shots} | set(dict(made.copies))
    told = [*made.findings, *(finding for item in made.sets for finding in item.findings)]
    assert all(set(finding.frames) <= files for finding in told)


@pytest.mark.parametrize("name", ["handheld", "rows-serpentine", "interval", "day"])
def test_same_seed_same_card(name: str) -> None:
    made = day_card(11) if name == "day" else situation_card(name, 11)
    assert made == card(name)
    assert made != (day_card(12) if name == "day" else situation_card(name, 12))


@pytest.mark.parametrize("name", [*NAMES, "day"])
def test_a_body_takes_one_frame_after_the_other(name: str) -> None:
    if name == "renamed":
        pytest.skip("its names no longer tell the order")
    for body in {shot.body.key for shot in card(name).shots}:
        own = [shot for shot in card(name).shots if shot.body.key == body]
        for a, b in pairwise(own):
            ended = a.moment_s + 2.0**-a.shutter
            assert b.moment_s >= ended - 0.02
            if a.body.naming == "counter":
                assert (b.counter - a.counter) % 9999 >= 1


@pytest.mark.parametrize("name", [*NAMES, "day"])
def test_names_are_those_of_a_camera(name: str) -> None:
    # DCF: NNNAAAAA/AAAANNNN.JPG; a phone names by time, an import as it likes.
    for shot in card(name).shots:
        if name == "renamed":
            assert re.fullmatch(r"Tavrin-\d{3}\.JPG", shot.file)
        elif shot.body.naming == "time":
            assert re.fullmatch(r"\d{3}[A-Z0-9_]{5}/NRB_\d{8}_\d{9}\.JPG", shot.file)
        else:
            assert re.fullmatch(r"[1-9]\d{2}[A-Z0-9_]{5}/[A-Z0-9_]{4}\d{4}\.JPG", shot.file)


def shares(name: str) -> list[float]:
    return [
        pair.share
        for seed in range(11, 15)
        for item in situation_card(name, seed).sets
        for pair in item.overlaps
        if item.situation == name
    ]


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("overlap-thin", 0.03, 0.2),
        ("sweep-upright", 0.2, 0.47),
        ("overlap-ample", 0.42, 0.7),
        ("handheld", 0.2, 0.7),
        ("fisheye-upright", 0.4, 0.65),
        ("fisheye-across", 0.5, 0.7),
        ("fisheye-circle", 0.35, 0.5),
        ("fisheye-untold", 0.4, 0.55),
    ],
)
def test_neighbours_overlap_as_the_name_says(name: str, low: float, high: float) -> None:
    assert low < min(shares(name))
    assert max(shares(name)) < high


def codes(name: str) -> set[str]:
    made = card(name)
    told = [*made.findings, *(finding for item in made.sets for finding in item.findings)]
    return {finding.code for finding in told if finding.required}


@pytest.mark.parametrize(
    ("name", "code"),
    [
        *((name, name) for name in NAMES if name.startswith("mixed-")),
        ("auto-exposure", "auto-exposure"),
        ("auto-exposure", "mixed-shutter"),
        ("auto-white-balance", "auto-white-balance"),
        ("overlap-thin", "thin-overlap"),
        ("missing-counted", "missing-frame"),
        ("missing-never-fired", "missing-frame"),
        ("truncated-in-sweep", "missing-frame"),
        ("missing-in-bracket", "short-bracket"),
        ("missing-in-stack", "short-stack"),
        ("spare-frame", "spare-take"),
        ("uneven-bracket", "uneven-bracket"),
        ("tilted-base", "tilted-base"),
        ("rolled-camera", "rolled-camera"),
        ("drifting-row", "drifting-row"),
        ("soft-frame", "soft-frame"),
        ("raw-companions", "lone-companion"),
        ("clock-set-back", "clock-jump"),
        ("duplicated", "duplicate-frame"),
        ("empty", "unreadable-file"),
        ("undated", "no-capture-time"),
    ],
)
def test_what_is_planted_is_expected(name: str, code: str) -> None:
    assert code in codes(name)


def test_clean_sweeps_expect_nothing() -> None:
    for name in ("sweep-upright", "full-circle", "rows-returning", "long-exposures"):
        assert codes(name) <= {"too-wide"}  # follows from the span


def test_over_midnight_and_over_9999() -> None:
    taken = [shot.taken for shot in card("over-midnight").shots]
    assert len({at.date() for at in taken}) == 2
    made = card("counter-wraps")
    inside = [place.file for place in made.sets[0].places]
    assert len({file.split("/")[0] for file in inside}) == 2


def test_clock_goes_back_while_the_counter_goes_on() -> None:
    shots = card("clock-set-back").shots
    steps = [b.taken - a.taken for a, b in pairwise(shots)]
    assert min(steps) < timedelta(minutes=-30)
    assert all(b.counter > a.counter for a, b in pairwise(shots))


def test_days_mix() -> None:
    made = [day_card(seed) for seed in (21, 22, 23)]
    assert all(150 < len(item.shots) < 500 for item in made)
    assert all(len(item.singles) > 30 for item in made)
    assert all(len({truth.situation for truth in item.sets}) >= 6 for item in made)


def test_truth_table_has_the_form_of_the_real_cards() -> None:
    table = truth_table(card("rows-serpentine"))
    assert {"name", "sets", "singles", "either", "frames"} <= set(table)
    first = table["sets"][0]
    files = [file for view in first["views"] for file in view]
    assert files == [file for row in first["rows"] for view in row for file in view]
    assert set(files) <= set(table["frames"])
    assert len(first["rows"]) == first["layout"]["rows"]


def test_only_a_sweep_one_view_short_of_a_turn_may_be_told_as_an_open_one() -> None:
    seams: dict[bool, list[float]] = {True: [], False: []}
    for seed in range(11, 16):
        for name in ("pitched", "sweep-16mm", "sweep-upright"):
            for item in situation_card(name, seed).sets:
                yaws = sorted(place.yaw_deg or 0.0 for place in item.places)
                steps = [b - a for a, b in pairwise(yaws)]
                told = [one for one in item.findings if one.code == "open-circle"]
                assert all(not one.required for one in told)
                seam = 360 - (yaws[-1] - yaws[0])
                seams[bool(told)].append(seam / sorted(steps)[len(steps) // 2])
    assert seams[True]
    assert max(seams[True]) < min(seams[False])


@pytest.mark.parametrize(
    ("name", "step", "across"),
    [
        # Angles of view by hand: 4 asin(d / 4f) of an equisolid lens of 15 mm, d = 24 and 36 mm.
        # Steps set by eye are off by a fiftieth at either end.
        ("fisheye-upright", (40, 66), 94.3),
        ("fisheye-across", (53, 67), 147.5),
        ("fisheye-circle", (59, 61), None),
        ("fisheye-untold", (59, 61), None),
    ],
)
def test_fisheyes_sweep_in_large_steps(
    name: str, step: tuple[float, float], across: float | None
) -> None:
    for seed in (11, 12):
        for item in situation_card(name, seed).sets:
            yaws = sorted(place.yaw_deg or 0.0 for place in item.places if place.row == 0)
            steps = [b - a for a, b in pairwise(yaws)]
            assert step[0] < min(steps) <= max(steps) < step[1]
            assert item.closed is (across is None)
            turned = yaws[-1] - yaws[0]
            assert item.span_deg == pytest.approx(360 if across is None else turned + across, abs=1)


def test_singles_with_a_fisheye_lie_beside_its_sweeps() -> None:
    for name in NAMES:
        made = card(name)
        bent = {shot.file for shot in made.shots if shot.projection != "rectilinear"}
        swept = {place.file for item in made.sets for place in item.places}
        assert bool(bent) is name.startswith("fisheye-")
        assert swept <= bent if bent else True
        assert len({file for file, _ in made.singles} & bent) >= (3 if bent else 0)


def test_the_brief_can_be_read() -> None:
    settings = settings_from(tomllib.loads(card("briefed").settings))
    assert settings.brief.asks
    assert card("sweep-upright").settings == ""


def test_pictures_of_places_take_the_stead_of_painted_ones() -> None:
    pictures = ("/places/hall.jpg", "/places/park.jpg")
    card = day_card(31, pictures)
    scenes = {shot.scene for shot in card.shots if shot.scene is not None}
    # A close-up stays painted: it has a depth to focus on.
    scenes = {scene for scene in scenes if scene.kind != "tabletop"}
    assert {scene.picture for scene in scenes} == set(pictures)
    assert {scene.kind for scene in scenes} == {"picture"}
    assert card.sets
    close = situation_card("focus-stack", 31, pictures)
    kinds = {shot.scene.kind for shot in close.shots if shot.scene is not None}
    assert "tabletop" in kinds  # what has a depth to focus on
