"""Weights of evidence: which way each thing speaks, and how far at most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from grouper.group.evidence import (
    ALL_SAME_LOG_ODDS,
    AUTOMATIC,
    MOST_AGAINST_SETTINGS,
    SEEN_AT_BOUNDARY,
    STILL,
    evenness_weight,
    relation_weight,
    still_weight,
    weigh,
)
from grouper.group.looking import SAME_VIEW_SHARE, is_still
from grouper.group.pairs import gather_pairs
from grouper.group.panorama import SWEPT
from grouper.group.strands import build_strands
from grouper.model import Sighting
from tests.group.eyes import BLACK, PLAIN, Shot, UnknowingEye, evidence_of, pairs_of, sweep
from tests.support import frame


def pair(second: Shot, **first: Any) -> list[Shot]:
    return [Shot(frame(1, 0, **first)), second]


def test_the_three_relations_share_one_chance() -> None:
    seen = evidence_of([*sweep(1, 0, [0, 0.5, 35, 70]), Shot(frame(5, 30), "lake")])
    total = seen.same + seen.turned + seen.apart
    assert total == pytest.approx([1.0] * 4)
    strongest = np.argmax([seen.same, seen.turned, seen.apart], axis=0)
    assert strongest.tolist() == [0, 1, 1, 2]


def test_turns_have_a_heading() -> None:
    right, up, left = (
        evidence_of(pair(Shot(frame(2, 5), yaw=y, pitch=p))).heading[0]
        for y, p in [(30, 0), (0, 30), (-30, 0)]
    )
    assert (right, up, abs(left)) == pytest.approx((0, 90, 180))


def test_unseen_pairs_say_nothing() -> None:
    blind = evidence_of(sweep(1, 0, [0, 35, 70]), UnknowingEye())
    assert not blind.looked.any()
    assert np.isnan(blind.overlap).all()
    assert relation_weight(blind, **SWEPT).tolist() == [0.0, 0.0]
    black = evidence_of([Shot(frame(1)), Shot(frame(2, 5), glance=BLACK)])
    assert not black.looked.any()


def test_relations_are_shares_of_one() -> None:
    for shares in (SEEN_AT_BOUNDARY, STILL, SWEPT):
        assert sum(shares.values()) == pytest.approx(1.0)


def test_what_was_seen_speaks_for_the_kind_it_fits() -> None:
    seen = evidence_of([*sweep(1, 0, [0, 0, 35]), Shot(frame(4, 30), "lake")])
    still, swept = still_weight(seen), relation_weight(seen, **SWEPT)
    assert (still[0] > 1, still[1] < 0, still[2] < -2) == (True, True, True)
    assert (swept[0] < 0, swept[1] > 1, swept[2] < -1) == (True, True, True)


@pytest.mark.parametrize(
    ("shift", "still"),
    [((0.0, 0.0), True), ((0.05, 0.0), True), ((0.05, 0.05), False), ((0.3, 0.0), False)],
)
def test_a_view_stands_still_by_the_length_of_the_shift(
    shift: tuple[float, float], still: bool
) -> None:
    sighting = Sighting(overlap=0.9, certainty=0.9, shift_share=shift)
    assert is_still(sighting) == still == (math.hypot(*shift) < SAME_VIEW_SHARE)


SETTINGS_SPEAK: dict[str, tuple[dict[str, Any], int]] = {
    "nothing changed": ({}, 1),
    "another lens": ({"lens": "Quillmark 16-35mm f/4"}, -1),
    "zoomed": ({"focal_mm": 50.0}, -1),
    "turned across": ({"width_px": 6000, "height_px": 4000}, -1),
    "white balance": ({"white_balance": "auto"}, -1),
    "another aperture, which no metering excuses": ({"aperture_f": 5.6}, -1),
    "exposure is weighed apart": ({"exposure_s": 1 / 15, "iso": 400.0}, 1),
}


@pytest.mark.parametrize(("changes", "sign"), SETTINGS_SPEAK.values(), ids=SETTINGS_SPEAK.keys())
def test_changed_settings_speak_against(changes: dict[str, Any], sign: int) -> None:
    (weight,) = evidence_of(pair(Shot(frame(2, 5, **changes)))).settings
    assert np.sign(weight) == sign
    assert MOST_AGAINST_SETTINGS <= weight <= ALL_SAME_LOG_ODDS


UNKNOWN: dict[str, Any] = {
    "lens": None,
    "focal_mm": None,
    "aperture_f": None,
    "exposure_s": None,
    "iso": None,
    "white_balance": None,
    "flash_fired": None,
    "width_px": None,
    "height_px": None,
}


def test_settings_that_are_not_known_are_not_unchanged() -> None:
    def alike(**changes: Any) -> float:
        return float(evidence_of(sweep(1, 0, [0, 35], **changes)).settings[0])

    unexposed = alike(aperture_f=None, exposure_s=None, iso=None)
    assert alike() == pytest.approx(ALL_SAME_LOG_ODDS)
    assert 0.3 * ALL_SAME_LOG_ODDS < unexposed < 0.6 * ALL_SAME_LOG_ODDS
    assert alike(**UNKNOWN) == 0.0
    known, unknown = sweep(1, 0, [0]), sweep(2, 5, [35], **UNKNOWN)
    assert float(evidence_of([*known, *unknown]).settings[0]) == 0.0
    known, unknown = sweep(2, 5, [35]), sweep(1, 0, [0], **UNKNOWN)
    assert float(evidence_of([*unknown, *known]).settings[0]) == 0.0


def test_everything_changed_is_capped() -> None:
    other = frame(
        2, 5, lens="x", focal_mm=85.0, width_px=3000, height_px=2000, white_balance="auto",
        flash_fired=True,
    )  # fmt: skip
    assert evidence_of(pair(Shot(other))).settings.tolist() == [MOST_AGAINST_SETTINGS]


@pytest.mark.parametrize("program", list(AUTOMATIC))
def test_what_the_camera_chose_says_nothing(program: str | None) -> None:
    moved = {"shutter": 1 / 15, "iso": 400.0, "aperture": 5.6}
    for name, value in moved.items():
        field = {"shutter": "exposure_s", "iso": "iso", "aperture": "aperture_f"}[name]
        other = frame(2, 5, program=program, **{field: value})
        found = evidence_of(pair(Shot(other), program=program))
        weight = found.settings[0] if name == "aperture" else found.exposure[0]
        assert (weight >= 0) == (name in AUTOMATIC[program]), name


MEANT: dict[str, tuple[dict[str, Any], dict[str, Any], bool]] = {
    "manual, a third": ({}, {"exposure_s": 1 / 50}, True),
    "manual, the mark for the same": ({"exposure_s": 1 / 64}, {"exposure_s": 1 / 60}, False),
    "a meter that drifts": ({"program": "auto"}, {"program": "auto", "exposure_s": 1 / 50}, False),
    "more than a meter drifts": (
        {"program": "auto"}, {"program": "auto", "exposure_s": 1 / 30}, True),
    "compensation moved": (
        {"program": "auto"}, {"program": "auto", "exposure_s": 1 / 50, "bias_ev": 0.3}, True),
    "the body brackets": (
        {"program": "auto", "bracketing": True},
        {"program": "auto", "bracketing": True, "exposure_s": 1 / 50}, True),
    "exposure not known": ({}, {"exposure_s": None}, False),
    "exposure of nothing": ({"exposure_s": 0.0}, {}, False),
}  # fmt: skip


@pytest.mark.parametrize(("a", "b", "meant"), MEANT.values(), ids=MEANT.keys())
def test_an_exposure_is_changed_on_purpose(
    a: dict[str, Any], b: dict[str, Any], meant: bool
) -> None:
    assert evidence_of(pair(Shot(frame(2, 5, **b)), **a)).exposed.tolist() == [meant]


def test_ties_name_the_earlier_frames_that_overlap() -> None:
    shots = [*sweep(1, 0, [0, 35, 70]), *sweep(4, 15, [0, 35, 70], pitch=35)]
    seen = evidence_of(shots)
    tie = seen.tie(3, 0)
    assert tie is not None
    assert tie.overlap > 0.3
    assert seen.tie(3, 2) is None
    assert seen.tie(1, 0) is None


RHYTHMS: dict[str, tuple[Sequence[float], int]] = {
    "one rhythm": ([5, 5.5, 4.8, 5.2, 5.1, 4.9], 1),
    "one rhythm, once interrupted": ([5, 5.5, 4.8, 40, 5.1, 4.9], 1),
    "scattered": ([1, 40, 6, 200, 3, 90], -1),
    "one pause has no rhythm": ([5], 0),
    "nothing known": ([math.nan, math.nan, math.nan], 0),
}


@pytest.mark.parametrize(("pauses", "sign"), RHYTHMS.values(), ids=RHYTHMS.keys())
def test_evenness_of_pauses(pauses: list[float], sign: int) -> None:
    weight = evenness_weight(np.log(pauses), np.full(len(pauses), 0.01))
    assert np.sign(weight) == sign


def test_whole_second_stamps_blur_a_quick_rhythm() -> None:
    pauses = np.log([0.5, 1.0, 2.0, 1.0, 0.5, 2.0])
    assert evenness_weight(pauses, np.full(6, 1.0)) > evenness_weight(pauses, np.full(6, 0.01))


def test_evenness_is_the_odds_of_a_steady_hand_against_scattered_pauses() -> None:
    """Against densities by scipy."""
    values, slack_s = np.log([5, 5.5, 3.5, 40, 5.1, 4.0]), np.array([1.0, 0.1, 0.01, 1.0, 1.0, 0.1])
    off, blur = values - np.median(values), slack_s / np.sqrt(6) / np.exp(values)
    steady, halting, chance = (norm.pdf(off, scale=np.hypot(s, blur)) for s in (0.35, 1.2, 1.0))
    each = np.log((0.8 * steady + 0.2 * halting) / chance).clip(-2.0, 1.0)
    known = np.append(values, math.nan), np.append(slack_s, 1.0)
    assert evenness_weight(*known) == pytest.approx(each.sum(), rel=1e-12)


@pytest.mark.parametrize("count", [1, 2])
def test_the_shortest_strands_are_weighed(count: int) -> None:
    (strand,) = build_strands(frame(i) for i in range(count))
    seen = weigh(gather_pairs(strand))
    assert len(seen.pause) == len(seen.exposed) == len(seen.settings) == count - 1


def test_the_sea_neither_ties_nor_parts_a_sweep() -> None:
    """Two pictures that look alike all round and were not matched: no view of one direction."""
    glance = replace(PLAIN, is_alike=True)
    pairs = pairs_of(sweep(1, 0, [0, 35]), UnknowingEye())
    evidence = weigh(replace(pairs, glances=(glance, glance)))
    assert evidence.looked.all()
    assert relation_weight(evidence, **SWEPT)[0] == pytest.approx(0.0, abs=0.05)
    assert still_weight(evidence)[0] < -2.0


@pytest.mark.parametrize(
    ("ev", "pause_s", "told"),
    [
        (0.0, 8.0, True),
        (1.0, 8.0, True),
        (2.0, 8.0, False),
        (-3.0, 8.0, False),
        (0.0, 2.0, True),
        (1.0, 4.0, False),  # as the legs of a bracket are
    ],
)
def test_exposures_that_may_be_legs_or_are_far_apart_are_not_told_apart(
    ev: float, pause_s: float, told: bool
) -> None:
    # Neither shows anything to the other, though each matches the frame on its other side.
    later = 5.0 + pause_s
    shots = [
        Shot(frame(1, 0.0), "ridge", 0.0),
        Shot(frame(2, 5.0), "ridge", 30.0),
        Shot(frame(3, later, exposure_s=2.0**ev / 60), "lake", 0.0),
        Shot(frame(4, later + 5, exposure_s=2.0**ev / 60), "lake", 30.0),
    ]
    pairs = pairs_of(shots)
    pairs.sightings[1, 2] = None
    assert bool(weigh(pairs).looked[1]) == told
