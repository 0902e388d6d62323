"""What is known of neighbours without pictures."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from grouper.group.pairs import (
    SETTINGS,
    Sightings,
    changed_names,
    gather_pairs,
    median,
    middle,
    moved_on,
)
from grouper.group.strands import build_strands
from grouper.model import Frame, Sighting
from tests.check.sets import glance
from tests.support import frame

SILENT_ON: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "nothing changed": ({}, {}),
    "a zoom read back a little off": ({"focal_mm": 24.0}, {"focal_mm": 24.4}),
    "a focal length missing": ({}, {"focal_mm": None}),
    "a lens not recorded": ({}, {"lens": None}),
    "a marked and an exact time": ({"exposure_s": 1 / 60}, {"exposure_s": 1 / 64}),
    "a marked and an exact aperture": ({"aperture_f": 11.0}, {"aperture_f": 11.3137}),
    "a marked and an exact speed": ({"iso": 125.0}, {"iso": 125.99}),
    "an exposure of nothing": ({"exposure_s": 0.0}, {}),
    "an aperture of nothing": ({"aperture_f": 0.0}, {}),
    "a speed of nothing": ({"iso": 0.0}, {}),
    "no size": ({}, {"width_px": None}),
    "white balance unknown": ({}, {"white_balance": None}),
    "flash unknown": ({}, {"flash_fired": None}),
    "both at infinity": ({"focus_m": math.inf}, {"focus_m": math.inf}),
    "focus unknown": ({"focus_m": 2.0}, {"focus_m": None}),
    "turned by the tag and by the pixels": (
        {"width_px": 6000, "height_px": 4000, "orientation": 8}, {}),
}  # fmt: skip
SPEAKS_ON: dict[str, tuple[dict[str, Any], dict[str, Any], set[str]]] = {
    "another lens": ({}, {"lens": "Quillmark 16-35mm f/4"}, {"lens"}),
    "zoomed": ({}, {"focal_mm": 35.0}, {"focal"}),
    "turned across": ({}, {"width_px": 6000, "height_px": 4000}, {"orientation"}),
    "turned across by the tag": ({}, {"orientation": 6}, {"orientation"}),
    "a smaller picture": ({}, {"width_px": 2000, "height_px": 3000}, {"size"}),
    "a third of a stop of aperture": ({}, {"aperture_f": 10.0}, {"aperture"}),
    "a third of a stop of speed": ({}, {"iso": 125.0}, {"iso"}),
    "a third of a stop of time": ({}, {"exposure_s": 1 / 50}, {"shutter"}),
    "the smallest marked third": (
        {"exposure_s": 1 / 13}, {"exposure_s": 1 / 15}, {"shutter"}),
    "white balance": ({}, {"white_balance": "auto"}, {"white_balance"}),
    "flash": ({}, {"flash_fired": True}, {"flash"}),
    "focus": ({"focus_m": 2.0}, {"focus_m": 2.2}, {"focus"}),
    "focus to infinity": ({"focus_m": 20.0}, {"focus_m": math.inf}, {"focus"}),
    "two at once, in the order reported": (
        {}, {"aperture_f": 8.0, "focal_mm": 35.0}, {"focal", "aperture"}),
}  # fmt: skip


@pytest.mark.parametrize(("a", "b"), SILENT_ON.values(), ids=SILENT_ON.keys())
def test_no_setting_changed_on(a: dict[str, Any], b: dict[str, Any]) -> None:
    assert changed_names(frame(1, **a), frame(2, **b)) == ()
    assert changed_names(frame(2, **b), frame(1, **a)) == ()


@pytest.mark.parametrize(("a", "b", "names"), SPEAKS_ON.values(), ids=SPEAKS_ON.keys())
def test_a_setting_changed_on(a: dict[str, Any], b: dict[str, Any], names: set[str]) -> None:
    expected = tuple(name for name in SETTINGS if name in names)
    assert changed_names(frame(1, **a), frame(2, **b)) == expected
    assert changed_names(frame(2, **b), frame(1, **a)) == expected


def test_arrays_say_the_same_as_names() -> None:
    shots = [frame(1), frame(2, 5, iso=400.0), frame(3, 9, iso=400.0, focal_mm=50.0)]
    pairs = gather(shots)
    told = {name: pairs.changed[name].tolist() for name in SETTINGS if pairs.changed[name].any()}
    assert told == {"iso": [True, False], "focal": [False, True]}


def gather(shots: list[Frame]) -> Any:
    (strand,) = build_strands(shots)
    return gather_pairs(strand)


def test_a_pause_counts_from_the_end_of_the_exposure() -> None:
    pairs = gather([frame(1, 0, exposure_s=20.0), frame(2, 25.5, exposure_s=1 / 60)])
    assert pairs.pause_s == pytest.approx([5.5])
    assert pairs.pause_slack_s.tolist() == [0.01]


def test_the_coarser_stamp_of_two_rules_the_slack() -> None:
    pairs = gather([frame(1), frame(2, 5, taken_resolution_s=1.0), frame(3, 9)])
    assert pairs.pause_slack_s.tolist() == [1.0, 1.0]


def test_what_is_not_known_is_not_a_number() -> None:
    shots = [frame(1, exposure_s=None), frame(2, 5), frame(3, taken=None)]
    pairs = gather(shots)
    assert pairs.pause_s[0] == pytest.approx(5.0)
    assert math.isnan(pairs.pause_s[1])
    assert np.isnan(pairs.light).tolist() == [True, False, False]
    assert np.isnan(pairs.moved_m).all()


def test_one_frame_has_no_pairs() -> None:
    pairs = gather([frame(1)])
    assert len(pairs.pause_s) == len(pairs.pause_slack_s) == len(pairs.number_step) == 0
    assert len(pairs.light) == len(pairs.frames) == 1
    assert pairs.seen(0, 1) is None


def test_light_grows_with_what_the_sensor_got() -> None:
    shots = [
        frame(1, 0), frame(2, 1, exposure_s=1 / 30), frame(3, 2, iso=200.0),
        frame(4, 3, aperture_f=11.0 * math.sqrt(2)),
    ]  # fmt: skip
    assert np.round(gather(shots).light - gather(shots).light[0], 6).tolist() == [0, 1, 1, -1]


NUMBERS: dict[str, tuple[dict[str, Any], dict[str, Any], float]] = {
    "the next": ({"counter": 7}, {"counter": 8}, 1.0),
    "two lost": ({"counter": 7}, {"counter": 10}, 3.0),
    "wrapped into a new folder": (
        {"counter": 9999}, {"counter": 1, "folder_number": 101, "folder": "101QMARK"}, 1.0),
    "wrapped with one lost": (
        {"counter": 9998}, {"counter": 1, "folder_number": 101, "folder": "101QMARK"}, 2.0),
    "a new folder, the count goes on": (
        {"counter": 7}, {"counter": 8, "folder_number": 101, "folder": "101QMARK"}, 1.0),
    "no number": ({"counter": 7}, {"counter": None}, math.nan),
    "numbers by hand in two folders": (
        {"counter": 7, "folder_number": None, "folder": "a"},
        {"counter": 8, "folder_number": None, "folder": "b"}, math.nan),
    "numbers by hand in one folder": (
        {"counter": 7, "folder_number": None, "folder": "a"},
        {"counter": 9, "folder_number": None, "folder": "a"}, 2.0),
}  # fmt: skip


@pytest.mark.parametrize(("a", "b", "step"), NUMBERS.values(), ids=NUMBERS.keys())
def test_how_far_the_file_number_moved(a: dict[str, Any], b: dict[str, Any], step: float) -> None:
    pairs = gather([frame(1, 0, **a), replace(frame(2, 5, **b), file="b.JPG")])
    assert pairs.number_step == pytest.approx([step], nan_ok=True)


# Geographical miles: 1 852 m is one minute of arc of latitude by definition of old (SI Brochure).
MOVES = {
    "a minute of latitude": ((47.0, 11.0), (47.0 + 1 / 60, 11.0), 1852.0),
    "a minute of longitude at the equator": ((0.0, 11.0), (0.0, 11.0 + 1 / 60), 1852.0),
    "a minute of longitude at 60 degrees": ((60.0, 11.0), (60.0, 11.0 + 1 / 60), 926.0),
    "nowhere": ((47.0, 11.0), (47.0, 11.0), 0.0),
}


@pytest.mark.parametrize(("a", "b", "metres"), MOVES.values(), ids=MOVES.keys())
def test_how_far_the_position_moved(
    a: tuple[float, float], b: tuple[float, float], metres: float
) -> None:
    shots = [
        frame(1 + i, 5 * i, latitude_deg=lat, longitude_deg=lon)
        for i, (lat, lon) in enumerate((a, b))
    ]
    assert gather(shots).moved_m == pytest.approx([metres], rel=0.003, abs=1e-6)


def test_a_short_way_over_the_date_line_is_short() -> None:
    shots = [
        frame(1, 0, latitude_deg=0.0, longitude_deg=179.9999),
        frame(2, 5, latitude_deg=0.0, longitude_deg=-179.9999),
    ]
    assert gather(shots).moved_m[0] < 100.0


def test_the_median_leaves_out_what_is_not_known() -> None:
    assert median([1.0, math.nan, 5.0, math.inf, 3.0]) == 3.0
    assert median([math.nan]) is None
    assert median([]) is None


@pytest.mark.parametrize("count", [1, 2, 3, 8, 9])
def test_the_middle_is_the_median(count: int) -> None:
    values = np.random.default_rng(count).normal(size=count)
    assert middle(values) == float(np.median(values))


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 8, 9])
def test_the_lower_quarter_of_the_moves_speaks_for_all(count: int) -> None:
    rng = np.random.default_rng(count)
    for _ in range(20):
        moved_m = rng.uniform(0, 20, count)
        told = float(np.quantile(moved_m, 0.25, method="lower"))
        assert moved_on(np.append(moved_m, math.nan)) == (told > 10.0)


def test_sightings_are_found_by_the_frames_they_lie_between() -> None:
    sightings = Sightings()
    seen = Sighting(overlap=0.3, certainty=0.9)
    for pair in [(0, 1), (1, 2), (2, 3), (0, 3), (1, 3), (3, 4), (1, 4), (0, 1)]:
        sightings[pair] = seen
    sightings[1, 2] = None
    del sightings[1, 3]
    within = {(i, j): one for i, j, one in sightings.within(1, 4)}
    assert within == {(1, 2): None, (2, 3): seen, (3, 4): seen, (1, 4): seen}
    assert len(list(sightings.within(0, 4))) == len(sightings) == 6
    assert list(sightings.within(4, 4)) == []


def test_frames_alone_are_as_if_the_others_had_not_been_shot() -> None:
    (strand,) = build_strands([frame(i, 5.0 * i, exposure_s=1.0) for i in range(1, 6)])
    glances = tuple(glance(mean=0.1 * i) for i in range(5))
    pairs = replace(gather_pairs(replace(strand, clock_steps=((4, 9.0),))), glances=glances)
    seen = Sighting(overlap=0.3, certainty=0.9)
    for pair in [(0, 1), (1, 2), (1, 3), (3, 4)]:
        pairs.sightings[pair] = seen
    pairs.sightings[0, 3] = None
    rest = pairs.only([0, 1, 3])
    assert rest.frames == tuple(pairs.frames[i] for i in (0, 1, 3))
    assert rest.pause_s == pytest.approx([4.0, 9.0])
    assert rest.number_step.tolist() == [1.0, 2.0]
    assert dict(rest.sightings) == {(0, 1): seen, (1, 2): seen, (0, 2): None}
    assert rest.glances == tuple(glances[i] for i in (0, 1, 3))
    assert rest.strand.clock_steps == ()  # indexes of other frames
    assert replace(pairs, glances=()).only([2]).glances == ()
    assert len(pairs.sightings) == 5
