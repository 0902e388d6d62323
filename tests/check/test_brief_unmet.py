from __future__ import annotations

import re
import tomllib
from dataclasses import fields, replace
from typing import Any

import pytest

from grouper.check import find_all, page
from grouper.check.brief import judge_brief
from grouper.check.brief_unmet import CHECK
from grouper.errors import BadSettings
from grouper.model import BriefLine, Pointing, Set
from grouper.settings import _BRIEF, BriefSettings, Settings, settings_from, settings_table
from tests.check.sets import bracket, card, change, names, regard, sweep


def brief(**rules: Any) -> Settings:
    return settings_from({"brief": rules})


def lines(found: Set, **rules: Any) -> list[BriefLine]:
    return list(judge_brief(found, brief(**rules)))


MET = [
    pytest.param(sweep(aperture_f=11.3), {"aperture_f": [8, 11]}, "f/11.3", id="f/11 is f/11.3"),
    pytest.param(sweep(aperture_f=8.0), {"aperture_f": 8}, "f/8", id="one aperture"),
    pytest.param(sweep(iso=100), {"iso_most": 100}, "ISO 100", id="at the ceiling"),
    pytest.param(sweep(exposure_s=1 / 60), {"slowest_s": "1/60"}, "1/60 s", id="at the floor"),
    pytest.param(sweep(exposure_s=1 / 60), {"slowest_s": 1 / 64}, "1/60 s", id="marks"),
    pytest.param(sweep(focal_mm=24.0), {"focal_mm": [24, 35]}, "24 mm", id="a focal length"),
    pytest.param(sweep(), {"orientation": "upright"}, "upright", id="upright"),
    pytest.param(
        regard(
            change(sweep(), [3], orientation=1, width_px=6000, height_px=4000),
            [3],
            pointing=Pointing(yaw_deg=0.0, pitch_deg=88.0),
        ),
        {"orientation": "upright"},
        "upright",
        id="a frame of the zenith",
    ),
    pytest.param(sweep(7), {"views": 7}, "7 views", id="views"),
    pytest.param(sweep(7), {"views": [6, 12]}, "7 views", id="views in a range"),
    pytest.param(sweep(5, pitches_deg=(0.0, 30.0)), {"rows": 2}, "2 rows", id="rows"),
    pytest.param(sweep(legs_ev=(-2, 0, 2)), {"legs": 3}, "3 legs", id="legs"),
    pytest.param(
        bracket(), {"kinds": ["bracket"], "legs": [3, 5]}, "3 legs", id="legs of a bracket"
    ),
    pytest.param(sweep(step_deg=36.0), {"overlap_least": 0.32}, "32 %", id="overlap"),
    pytest.param(sweep(7, 36.0), {"span_deg_least": 269}, "269° across", id="span"),
    pytest.param(sweep(10, 36.0, closed=True), {"closed": True}, "a full turn", id="a full turn"),
    pytest.param(sweep(program="manual"), {"locked": ["exposure"]}, "manual exposure", id="locked"),
]


@pytest.mark.parametrize(("found", "rules", "says"), MET)
def test_a_rule_that_is_met(found: Set, rules: dict[str, Any], says: str) -> None:
    (line,) = lines(found, **rules)
    assert (line.passed, line.found, line.frames) == (True, says, ())
    assert list(CHECK.find(found, brief(**rules))) == []


UNMET = [
    pytest.param(
        sweep(odd={2: {"aperture_f": 5.6}}),
        {"aperture_f": [8, 11]},
        ["QMK_0419"],
        "f/8 to f/11, found f/5.6 in QMK_0419.JPG.",
        id="aperture",
    ),
    pytest.param(
        sweep(aperture_f=16.0), {"aperture_f": [8, 11]}, [], "found f/16.", id="all frames"
    ),
    pytest.param(
        sweep(iso=100, odd={2: {"iso": 160}, 4: {"iso": 400}}),
        {"iso_most": 125},
        ["QMK_0419", "QMK_0421"],
        "at most ISO 125, found ISO 160 to ISO 400 in QMK_0419.JPG and QMK_0421.JPG.",
        id="ISO",
    ),
    pytest.param(
        sweep(legs_ev=(-2, 0, 2)),
        {"slowest_s": 1 / 30},
        ["QMK_0419", "QMK_0422", "QMK_0425", "QMK_0428", "QMK_0431", "QMK_0434", "QMK_0437"],
        "1/30 s or faster, found 1/16 s in",
        id="the bright leg",
    ),
    pytest.param(
        sweep(focal_mm=28.0),
        {"focal_mm": [16, 24, 35]},
        [],
        "16, 24 or 35 mm, found 28 mm.",
        id="focal length",
    ),
    pytest.param(sweep(), {"orientation": "across"}, [], "found upright.", id="orientation"),
    pytest.param(sweep(5), {"views": [6, 12]}, [], "6 to 12 views, found 5 views.", id="views"),
    pytest.param(sweep(5), {"rows": 2}, [], "2 rows, found 1 row.", id="rows"),
    pytest.param(
        sweep(legs_ev=(-2, 0, 2), lost=[4]),
        {"legs": 3},
        ["QMK_0420", "QMK_0422"],
        "3 legs a view, found 2 legs in QMK_0420.JPG and QMK_0422.JPG.",
        id="legs",
    ),
    pytest.param(
        sweep(yaws_deg=[0, 36, 80, 116]),
        {"overlap_least": 0.3},
        ["QMK_0418", "QMK_0419"],
        "at least 30 %, found 17 % between QMK_0418.JPG and QMK_0419.JPG.",
        id="overlap",
    ),
    pytest.param(
        sweep(8, skipped=[4]),
        {"overlap_least": 0.3},
        ["QMK_0420", "QMK_0421"],
        "found none between",
        id="a gap overlaps by nothing",
    ),
    pytest.param(sweep(5, 36.0), {"span_deg_least": 270}, [], "found 197° across.", id="span"),
    pytest.param(sweep(), {"closed": True}, [], "a full turn, found an open sweep.", id="open"),
    pytest.param(
        sweep(program="manual", odd={1: {"program": "aperture"}}),
        {"locked": ["exposure"]},
        ["QMK_0418"],
        "manual exposure, found automatic in QMK_0418.JPG.",
        id="automatic",
    ),
]


@pytest.mark.parametrize(("found", "rules", "frames", "says"), UNMET)
def test_speaks_on(found: Set, rules: dict[str, Any], frames: list[str], says: str) -> None:
    (problem,) = CHECK.find(found, brief(**rules))
    assert names(problem.frames) == frames
    assert problem.message.startswith("The brief's rule on ")
    assert says in problem.message
    assert problem.advice.endswith(".")


UNKNOWN = [
    pytest.param(sweep(aperture_f=None), {"aperture_f": 8}, "not recorded", id="no aperture"),
    pytest.param(
        sweep(iso=100, odd={1: {"iso": None}}),
        {"iso_most": 100},
        "ISO 100, not recorded 1 of 7 times",
        id="one ISO missing",
    ),
    pytest.param(
        sweep(angles=False, pictures=False), {"closed": True}, "not known", id="no angles"
    ),
    pytest.param(
        sweep(layout={"span_deg": None}), {"span_deg_least": 90}, "not known", id="no span"
    ),
    pytest.param(
        sweep(iso_auto=None), {"locked": ["iso"]}, "not recorded", id="ISO automatic or not"
    ),
]


@pytest.mark.parametrize(("found", "rules", "says"), UNKNOWN)
def test_stays_silent_on_what_is_not_known(found: Set, rules: dict[str, Any], says: str) -> None:
    (line,) = lines(found, **rules)
    assert (line.passed, line.found) == (None, says)
    assert list(CHECK.find(found, brief(**rules))) == []


def test_a_frame_known_to_be_wrong_outweighs_one_not_known() -> None:
    found = sweep(odd={1: {"iso": None}, 2: {"iso": 3200}})
    (line,) = lines(found, iso_most=100)
    assert line.passed is False
    assert names(line.frames) == ["QMK_0419"]


def test_spares_are_not_judged() -> None:
    found = regard(sweep(odd={2: {"iso": 3200}}), [2], spare=True)
    assert [line.passed for line in lines(found, iso_most=100)] == [True]


def test_the_brief_is_about_panoramas_unless_it_names_others() -> None:
    assert lines(bracket(iso=6400), iso_most=100) == []
    (line,) = lines(bracket(iso=6400), iso_most=100, kinds=["bracket"], views=7)
    assert line.passed is False
    assert lines(sweep(iso=6400), iso_most=100, kinds=["bracket"]) == []


def test_no_brief_no_lines() -> None:
    assert judge_brief(sweep(), Settings()) == ()
    assert lines(sweep(), kinds=["panorama"]) == []


def test_the_runner_keeps_the_lines_with_the_set_and_counts_a_problem() -> None:
    grouping, _ = find_all(*card(sweep(iso=800)), brief(iso_most=100, views=7))
    (found,) = grouping.sets
    assert [(line.rule, line.passed) for line in found.brief] == [("ISO", False), ("views", True)]
    assert [(f.code, f.severity) for f in found.findings if f.code == "brief-unmet"] == [
        ("brief-unmet", "problem")
    ]


def test_silenced_it_still_fills_the_table() -> None:
    settings = replace(brief(iso_most=100), severity=(("brief-unmet", "off"),))
    grouping, _ = find_all(*card(sweep(iso=800)), settings)
    assert [line.passed for line in grouping.sets[0].brief] == [False]
    assert "brief-unmet" not in {f.code for f in grouping.sets[0].findings}


# --- Reading it ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rules", "says"),
    [
        ({"apperture_f": 8}, "[brief] has no key 'apperture_f'; did you mean 'aperture_f'?"),
        ({"aperture_f": "f/8"}, "[brief] aperture_f: 'f/8' is not a number"),
        ({"aperture_f": [11, 8]}, "[brief] aperture_f: 11 is more than 8"),
        ({"aperture_f": [8, 11, 16]}, "neither a number nor [least, most]"),
        ({"iso_most": 0}, "[brief] iso_most: 0 makes no sense; it must be above 0"),
        ({"iso_most": True}, "[brief] iso_most: True is not a number"),
        ({"iso_most": float("nan")}, "makes no sense"),
        ({"slowest_s": "1/0"}, "[brief] slowest_s: '1/0' is no time"),
        ({"slowest_s": "soon"}, "'soon' is no time"),
        ({"orientation": "portrait"}, "'portrait' is none of upright, across"),
        ({"views": 6.5}, "whole numbers only"),
        ({"overlap_least": 25}, "must be above 0 and not above 1"),
        ({"focal_mm": []}, "leave the key out"),
        ({"closed": "yes"}, "[brief] closed: 'yes' is neither true nor false"),
        ({"locked": ["lens"]}, "'lens' is none of exposure, iso, white-balance, focus"),
        ({"kinds": "panorama"}, "'panorama' is no list"),
        ({"kinds": [["panorama"]]}, "is none of panorama"),
    ],
)
def test_a_bad_brief_names_the_key(rules: dict[str, Any], says: str) -> None:
    with pytest.raises(BadSettings, match=re.escape(says)):
        brief(**rules)


def test_the_brief_must_be_a_table() -> None:
    with pytest.raises(BadSettings, match=r"\[brief\] must be a table"):
        settings_from({"brief": 8})


def test_every_key_can_be_read_and_is_told_among_the_settings() -> None:
    assert set(_BRIEF) == {item.name for item in fields(BriefSettings)}
    table = settings_table(brief(aperture_f=[8, 11], locked=["focus", "exposure"]))
    assert table["brief"]["aperture_f"] == [8.0, 11.0]
    assert table["brief"]["locked"] == ["exposure", "focus"]
    assert table["brief"]["views"] is None


def test_the_example_on_the_page_can_be_used() -> None:
    text = page("brief-unmet")
    block = "\n".join(line[8:] for line in text.splitlines() if line.startswith(" " * 8))
    settings = settings_from(tomllib.loads(block))
    assert settings.brief.aperture_f == (8.0, 11.0)
    assert settings.brief.slowest_s == pytest.approx(1 / 15)
    assert settings.brief.legs == (3, 3)
