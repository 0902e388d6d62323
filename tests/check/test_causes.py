"""One cause, one finding."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grouper.check import find_all
from grouper.model import Set
from grouper.settings import Settings, settings_from
from tests.check.sets import (
    blind,
    bracket,
    card,
    change,
    findings,
    glance,
    interval,
    regard,
    sweep,
)
from tests.support import frame

QUIET = Settings(severity=(("too-wide", "off"),))


def codes(found: Set, **about: object) -> list[str]:
    in_sets, _ = findings(found, settings=QUIET, **about)
    return [finding.code for finding in in_sets]


ONE_CAUSE = [
    pytest.param(sweep(), [], id="nothing wrong"),
    pytest.param(sweep(deleted=[3]), ["missing-frame"], id="a gap is no thin overlap"),
    pytest.param(
        sweep(legs_ev=(0, -2, 2), lost=[4]), ["short-bracket"], id="a lost leg is no missing view"
    ),
    pytest.param(
        sweep(5, pitches_deg=(0.0, 45.0), deleted=[5]),
        ["missing-frame"],
        id="a lost end of a row is no short row",
    ),
    pytest.param(
        change(sweep(), [3], width_px=3000, height_px=2000),
        ["mixed-size"],
        id="a smaller size is no other orientation",
    ),
    pytest.param(
        change(sweep(), [3], lens="Quillmark 35mm f/2", focal_mm=35.0, aperture_f=8.0),
        ["mixed-lens"],
        id="another lens brings its focal length and aperture",
    ),
    pytest.param(
        change(sweep(program="aperture"), [3], focal_mm=70.0, aperture_f=13.0, exposure_s=1 / 50),
        ["mixed-focal-length"],
        id="a zoom that moves the aperture",
    ),
    pytest.param(
        change(sweep(), [3], flash_fired=True, exposure_s=1 / 200, iso=400.0),
        ["mixed-flash"],
        id="flash brings its own exposure",
    ),
    pytest.param(
        change(sweep(program="aperture"), [3], aperture_f=8.0, exposure_s=1 / 125),
        ["mixed-aperture"],
        id="a shutter that makes up for the aperture",
    ),
    pytest.param(
        regard(change(sweep(), [3], iso=200.0), [3], glance=glance(clipped_share=0.2)),
        ["mixed-iso"],
        id="a frame too bright by its ISO",
    ),
    pytest.param(
        regard(change(sweep(), [3], exposure_s=1 / 1000), [3], glance=glance(blocked_share=0.4)),
        ["mixed-shutter"],
        id="a frame too dark by its shutter",
    ),
    pytest.param(
        regard(change(sweep(), [3], iso=200.0), [3, 4], glance=glance(clipped_share=0.2)),
        ["mixed-iso", "clipped-highlights"],
        id="too bright beside it as well",
    ),
    pytest.param(
        bracket((-4, -2, 0, 2), lost=[1]), ["uneven-bracket"], id="an uneven bracket is not short"
    ),
    pytest.param(
        sweep(9, 36.0, layout={"base_tilt_deg": 3.0}),
        ["open-circle", "tilted-base"],
        id="two causes stay two findings",
    ),
    pytest.param(
        change(change(sweep(), [3], aperture_f=8.0), [5], exposure_s=1 / 8),
        ["mixed-aperture", "mixed-shutter"],
        id="two frames, two causes",
    ),
    pytest.param(
        sweep(program="aperture", odd={3: {"exposure_s": 1 / 250}}),
        ["mixed-shutter"],
        id="automatic exposure that moved",
    ),
    pytest.param(sweep(program="aperture"), ["auto-exposure"], id="and that did not"),
    pytest.param(
        sweep(program="auto", odd={1: {"exposure_s": 1 / 250}, 3: {"iso": 200.0}}),
        ["mixed-shutter"],
        id="automatic exposure that moved two settings",
    ),
    pytest.param(
        sweep(program="aperture", odd={1: {"exposure_s": 1 / 250}, 3: {"aperture_f": 8.0}}),
        ["mixed-aperture", "mixed-shutter"],
        id="an aperture turned by hand is not the camera's doing",
    ),
]


@pytest.mark.parametrize(("found", "expected"), ONE_CAUSE)
def test_one_cause_one_finding(found: Set, expected: list[str]) -> None:
    assert codes(found) == expected


def test_automatic_exposure_is_told_with_all_that_it_moved() -> None:
    found = sweep(program="auto", odd={1: {"exposure_s": 1 / 250}, 3: {"iso": 200.0}})
    in_set, _ = findings(found)
    told = next(finding for finding in in_set if finding.code == "mixed-shutter")
    assert told.frames == (found.frames[1].file, found.frames[3].file)
    assert told.message.startswith("Automatic exposure moved the shutter speed and the ISO. ")
    assert "ISO 200" in told.message
    assert "1/250 s" in told.message
    assert {"odd_s", "odd_iso"} <= set(told.measured)


def test_a_silenced_cause_no_longer_hides_its_effect() -> None:
    found = change(sweep(), [3], flash_fired=True, iso=400.0)
    settings = Settings(severity=(("mixed-flash", "off"), ("too-wide", "off")))
    in_sets, _ = findings(found, settings=settings)
    assert [finding.code for finding in in_sets] == ["mixed-iso"]


BLIND = {"angles": False, "pictures": False}


@pytest.mark.parametrize(
    "about",
    [
        {"ignored": ["100QMARK/QMK_0420.MP4"]},
        {"singles": [frame(420, 15.0)]},
        {"singles": [frame(420, 15.0, model="M2", serial="77")]},
    ],
    ids=["a movie", "a frame that belongs elsewhere", "another body"],
)
def test_a_number_the_card_holds_is_not_missing(about: dict[str, object]) -> None:
    assert codes(sweep(deleted=[3], **BLIND), **about) == []  # type: ignore[arg-type]


def test_a_gap_by_angle_stands_whatever_bears_the_number() -> None:
    assert codes(sweep(deleted=[3]), ignored=["100QMARK/QMK_0420.MP4"]) == ["missing-frame"]


def message(found: Set) -> str:
    in_sets, _ = findings(found, settings=QUIET)
    return in_sets[0].message


def test_missing_numbers_are_named() -> None:
    assert "File number 0420 is not on the card." in message(sweep(deleted=[3]))
    assert "File numbers 0426 to 0428 are not on the card." in message(
        sweep(deleted=[3], legs_ev=(0, -2, 2))
    )
    assert "File number 0421 is not on the card." in message(sweep(legs_ev=(0, -2, 2), lost=[4]))
    assert "File number 0422 is not on the card." in message(sweep(legs_ev=(0, -2, 2), lost=[5]))
    assert "File number 0418 is not on the card." in message(bracket((-4, -2, 0, 2), lost=[1]))


def test_a_frame_never_fired_is_told_as_such() -> None:
    assert "The file numbers run on, so it was never taken." in message(sweep(skipped=[3]))
    unseen = message(blind(sweep(), 3))
    assert "most likely at least 1 view is missing between them." in unseen
    assert "run on: it was never taken, or another sweep begins there." in unseen


def test_nothing_is_said_of_numbers_that_are_not_known() -> None:
    assert "umber" not in message(sweep(deleted=[3], counter=None))


def test_findings_stand_worst_first_and_name_their_set() -> None:
    found = regard(change(sweep(deleted=[3], iso_auto=True), [5], aperture_f=8.0), [5], spare=False)
    in_sets, _ = findings(found)
    assert [finding.severity for finding in in_sets] == ["problem", "warning", "note", "note"]
    assert {finding.set_id for finding in in_sets} == {found.id}


def test_measured_values_are_plain_json() -> None:
    import json

    for param in ONE_CAUSE:
        in_sets, on_card = findings(param.values[0])
        for finding in (*in_sets, *on_card):
            json.dumps(dict(finding.measured), allow_nan=False)


def test_an_empty_card_has_no_findings() -> None:
    assert findings() == ([], [])


def test_the_same_card_gives_the_same_findings() -> None:
    found = sweep(deleted=[3], program="aperture")
    assert findings(found) == findings(found)
    assert card(found) == card(found)


# --- A set in doubt -----------------------------------------------------------------------


def test_a_set_in_doubt_puts_aside_what_only_comparing_shows_and_names_it() -> None:
    found = replace(sweep(5, 48.0, odd={3: {"iso": 200.0}}), confidence=0.4)
    in_set, _ = findings(found, settings=QUIET)
    (doubt,) = in_set
    assert doubt.code == "set-in-doubt"
    assert doubt.message.endswith("Left aside until that is clear: thin-overlap and mixed-iso.")
    assert doubt.measured["left_aside"] == ["thin-overlap", "mixed-iso"]


def test_a_gap_in_a_set_in_doubt_is_told_all_the_same() -> None:
    assert codes(replace(sweep(deleted=[3]), confidence=0.4)) == ["missing-frame", "set-in-doubt"]


def test_a_lost_leg_in_a_set_in_doubt_is_told_unless_at_its_end() -> None:
    legs = (0, -2, 2)
    in_the_middle = replace(sweep(legs_ev=legs, lost=[7]), confidence=0.4)
    assert codes(in_the_middle) == ["short-bracket", "set-in-doubt"]
    at_the_end = sweep(legs_ev=legs, lost=[20])
    assert codes(at_the_end) == ["short-bracket"]
    assert codes(replace(at_the_end, confidence=0.4)) == ["set-in-doubt"]


def test_a_pause_in_a_series_in_doubt_is_not() -> None:
    assert codes(interval(lost=[4])) == ["missing-frame"]
    assert codes(replace(interval(lost=[4]), confidence=0.4)) == ["set-in-doubt"]


def test_frames_set_anew_each_time_are_told_once() -> None:
    odd = {0: {"aperture_f": 4.0}, 1: {"aperture_f": 8.0, "focal_mm": 35.0, "exposure_s": 1 / 9}}
    found = sweep(3, program="aperture", white_balance="auto", odd=odd)
    in_set, _ = findings(found, settings=QUIET)
    (doubt,) = in_set
    assert doubt.code == "set-in-doubt"
    assert "mixed-aperture" in str(doubt.measured["left_aside"])
    assert "auto-white-balance" in str(doubt.measured["left_aside"])


def test_nothing_is_put_aside_for_a_doubt_that_is_switched_off() -> None:
    off = Settings(severity=(("too-wide", "off"), ("set-in-doubt", "off")))
    found = replace(sweep(odd={3: {"iso": 200.0}}), confidence=0.4)
    in_set, _ = findings(found, settings=off)
    assert [finding.code for finding in in_set] == ["mixed-iso"]


# --- The brief's rule on overlap ----------------------------------------------------------


def test_a_gap_is_not_told_again_by_the_brief() -> None:
    found, codes_told = briefed(sweep(deleted=[3]), overlap_least=0.25)
    assert codes_told == ["missing-frame"]
    assert found.brief[0].passed is False
    assert found.brief[0].found == "none between QMK_0419.JPG and QMK_0421.JPG; see missing-frame"


def test_the_brief_speaks_louder_than_a_thin_overlap() -> None:
    found, codes_told = briefed(sweep(yaws_deg=[0, 36, 80, 116]), overlap_least=0.25)
    assert codes_told == ["brief-unmet"]
    assert "see" not in found.brief[0].found


def test_a_gap_and_a_pair_below_the_brief_are_two_things() -> None:
    found, codes_told = briefed(sweep(yaws_deg=[0, 36, 76, 112, 148, 220]), overlap_least=0.3)
    assert codes_told == ["missing-frame", "brief-unmet"]
    assert found.brief[0].found.endswith("; see missing-frame")


def test_all_pairs_below_the_brief_are_no_single_gap() -> None:
    _, codes_told = briefed(sweep(9, step_deg=40.0, deleted=[3]), overlap_least=0.3)
    assert codes_told == ["missing-frame", "brief-unmet"]


def briefed(found: Set, **rules: object) -> tuple[Set, list[str]]:
    settings = settings_from({"brief": rules, "severity": {"too-wide": "off"}})
    grouping, _ = find_all(*card(found), settings)
    return grouping.sets[0], [finding.code for finding in grouping.sets[0].findings]
