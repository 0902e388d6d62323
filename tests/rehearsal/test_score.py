"""A scorer fed with the truth gives full marks; fed with known errors, the known score."""

from __future__ import annotations

import copy
from functools import cache
from typing import Any

import pytest

from testdata.rehearsal.cards import day_card, situation_card
from testdata.rehearsal.render import truth_table
from testdata.rehearsal.score import Score, brier, calibration, score_card, yaw_errors
from testdata.rehearsal.situations import SITUATIONS

Json = dict[str, Any]


@cache
def _truth(name: str) -> Json:
    return truth_table(day_card(31) if name == "day" else situation_card(name, 31))


def truth_of(name: str) -> Json:
    return copy.deepcopy(_truth(name))


def perfect(truth: Json) -> Json:
    """The card.json of a grouper that knows the truth."""
    sets = []
    for item in truth["sets"]:
        frames = [
            {"file": file, **truth["frames"][file]} for view in item["views"] for file in view
        ]
        shares = sorted(pair["share"] for pair in item["overlaps"])
        middle = len(shares) // 2
        median = None
        if shares:
            median = shares[middle] if len(shares) % 2 else sum(shares[middle - 1 : middle + 1]) / 2
        layout = {"pointing_from": "pictures", "overlap": {"median": median}}
        sets.append(
            {
                "kind": item["kind"],
                "confidence": 1.0,
                "frames": frames,
                "layout": layout if item["kind"] == "panorama" else None,
                "findings": [
                    {**one, "message": one.get("says", "")}
                    for one in item["findings"]
                    if one["required"]
                ],
            }
        )
    return {
        "sets": sets,
        "singles": [*truth["singles"], *truth["either"]],
        "dividers": list(truth["dividers"]),
        "previews": truth["previews"],
        "unread": [{**one, "reason": one["reason"].split("|")[0]} for one in truth["unread"]],
        "findings": [one for one in truth["findings"] if one["required"]],
    }


@pytest.mark.parametrize("name", [*(part.name for part in SITUATIONS), "day"])
def test_truth_gets_full_marks(name: str) -> None:
    truth = truth_of(name)
    score = score_card(perfect(truth), truth)
    assert sum(found.truth for found in score.sets.values()) == len(truth["sets"])
    counted = [*score.sets.values(), *(part.found for part in score.situations.values())]
    assert all(found.exact == found.truth == found.claimed for found in counted)
    assert all(part.views[0] == part.views[1] for part in score.situations.values())
    assert score.singles == len(truth["singles"])
    assert score.singles_drawn_in == score.never_broken == score.unpointed == 0
    assert all(right == of for right, of in score.parts.values())
    assert max(score.yaw_errors_deg, default=0) < 1e-6
    assert max(score.overlap_errors, default=0) < 1e-3
    assert all(told.missed == told.false == 0 for told in score.codes.values())
    required = [one for item in truth["sets"] for one in item["findings"] if one["required"]]
    required += [one for one in truth["findings"] if one["required"]]
    scored = sum(told.right for told in score.codes.values())
    assert scored == len(required)
    for right, of in (score.dividers, score.previews, score.unread):
        assert right == of
    assert brier(score.confidences) in (None, 0.0)
    assert score.mistakes == []


def counts(score: Score, kind: str) -> tuple[int, int, int]:
    found = score.sets[kind]
    return found.truth, found.exact, found.claimed


def test_a_frame_lost_makes_a_set_wrong() -> None:
    truth = truth_of("sweep-upright")
    card = perfect(truth)
    lost = card["sets"][0]["frames"].pop()
    card["singles"].append(lost["file"])
    score = score_card(card, truth)
    assert counts(score, "panorama") == (2, 1, 2)
    assert "1 missing, 0 too many" in score.mistakes[0]
    assert brier(score.confidences) == 0.5


def test_a_single_drawn_in_makes_a_set_wrong_and_is_counted() -> None:
    truth = truth_of("sweep-upright")
    card = perfect(truth)
    drawn = {**card["sets"][0]["frames"][0], "file": truth["singles"][0]}
    card["sets"][0]["frames"].append(drawn)
    score = score_card(card, truth)
    assert counts(score, "panorama") == (2, 1, 2)
    assert score.singles_drawn_in == 1
    assert sum(part.drawn_in for part in score.situations.values()) == 1


def test_the_wrong_kind_is_wrong() -> None:
    truth = truth_of("bracket-3")
    card = perfect(truth)
    count = len(card["sets"])
    card["sets"][0]["kind"] = "burst"
    score = score_card(card, truth)
    assert counts(score, "bracket") == (count, count - 1, count - 1)
    assert counts(score, "burst") == (0, 0, 1)


def test_two_sets_run_together() -> None:
    truth = truth_of("two-subjects")
    card = perfect(truth)
    count = len(card["sets"])
    second = card["sets"].pop(1)
    card["sets"][0]["frames"] += second["frames"]
    score = score_card(card, truth)
    assert counts(score, "panorama") == (count, count - 2, count - 1)


def test_a_set_made_of_singles_costs_precision() -> None:
    truth = truth_of("singles")
    card = perfect(truth)
    frames = [{"file": file} for file in truth["singles"][:3]]
    card["sets"].append({"kind": "burst", "confidence": 0.6, "frames": frames, "findings": []})
    score = score_card(card, truth)
    assert counts(score, "burst") == (0, 0, 1)
    assert score.singles_drawn_in == 3
    assert brier(score.confidences) == pytest.approx(0.36)


def test_either_counts_nowhere() -> None:
    truth = truth_of("rig-test")
    card = perfect(truth)
    extra = {**card["sets"][0]["frames"][0], "file": truth["either"][0]}
    card["sets"][0]["frames"].append(extra)
    lonely = [{"file": file} for file in truth["either"][1:3]]
    card["sets"].append({"kind": "bracket", "confidence": 0.5, "frames": lonely, "findings": []})
    score = score_card(card, truth)
    assert counts(score, "panorama") == (2, 2, 2)
    assert "bracket" not in score.sets


def test_near_duplicates_may_be_anything_but_a_panorama() -> None:
    truth = truth_of("near-duplicates")
    files = truth["never"][0]["files"]
    for kind, broken in (("burst", 0), ("panorama", len(files))):
        card = perfect(truth)
        card["sets"].append(
            {"kind": kind, "frames": [{"file": file} for file in files], "findings": []}
        )
        assert score_card(card, truth).never_broken == broken


def test_views_rows_legs_and_steps() -> None:
    truth = truth_of("bracketed-by-view")
    card = perfect(truth)
    a, b = card["sets"][0]["frames"][:2]
    a["leg"], b["leg"] = b["leg"], a["leg"]
    card["sets"][1]["frames"][0]["view"] = 99
    score = score_card(card, truth)
    assert score.parts["legs"] == [1, 2]
    assert score.parts["views"] == [1, 2]
    truth = truth_of("rows-serpentine")
    card = perfect(truth)
    for frame in card["sets"][0]["frames"]:
        frame["row"] = 0
    for frame in card["sets"][1]["frames"]:
        frame["row"] = 7 - frame["row"]  # other numbers, same rows
    assert score_card(card, truth).parts["rows"] == [1, 2]
    truth = truth_of("focus-stack")
    card = perfect(truth)
    for frame in card["sets"][0]["frames"]:
        frame["step"] = -frame["step"]
    count = len(card["sets"])
    assert score_card(card, truth).parts["steps"] == [count - 1, count]


def test_yaw_errors_forget_the_common_offset() -> None:
    assert yaw_errors([170, -170, -150], [-20, 0, 20]) == pytest.approx([0, 0, 0], abs=1e-9)
    assert yaw_errors([10, 32, 50], [0, 20, 40]) == pytest.approx([0, 2, 0], abs=1e-9)


def test_assumed_pointings_are_not_measured() -> None:
    truth = truth_of("sweep-upright")
    card = perfect(truth)
    card["sets"][0]["layout"]["pointing_from"] = "assumed"
    card["sets"][1]["frames"][0]["yaw_deg"] = None
    score = score_card(card, truth)
    assert score.unpointed == len(card["sets"][0]["frames"]) + 1
    assert len(score.yaw_errors_deg) == len(card["sets"][1]["frames"]) - 1


def told(score: Score, code: str) -> tuple[int, int, int]:
    count = score.codes[code]
    return count.right, count.missed, count.false


def test_findings_missed_false_and_at_the_wrong_place() -> None:
    truth = truth_of("missing-counted")
    card = perfect(truth)
    card["sets"][0]["findings"] = [{"code": "mixed-iso", "frames": []}]
    elsewhere = [card["sets"][1]["frames"][0]["file"]]
    assert elsewhere[0] not in card["sets"][1]["findings"][0]["frames"]
    card["sets"][1]["findings"][0] = {"code": "missing-frame", "frames": elsewhere}
    card["findings"].append({"code": "set-in-doubt", "frames": []})
    score = score_card(card, truth)
    assert told(score, "missing-frame") == (0, 2, 1)
    assert told(score, "mixed-iso") == (0, 0, 1)
    assert "set-in-doubt" not in score.codes
    assert sum("missed missing-frame" in line for line in score.mistakes) == 2


def test_false_problems_are_counted_by_themselves() -> None:
    truth = truth_of("sweep-upright")
    card = perfect(truth)
    for severity in ("problem", "note"):
        card["sets"][0]["findings"].append(
            {"code": "missing-frame", "severity": severity, "frames": [], "message": "a gap"}
        )
    score = score_card(card, truth)
    assert score.told.false == 2
    assert score.told.false_problems == 1
    assert score.false_problems_per_50 == pytest.approx(50 / len(card["sets"]))
    assert any("false missing-frame: a gap" in line for line in score.mistakes)


def test_what_is_said_of_a_set_that_is_none_is_wrong() -> None:
    truth = truth_of("singles")
    card = perfect(truth)
    frames = [{"file": file} for file in truth["singles"][:3]]
    findings = [{"code": "missing-frame", "severity": "problem", "frames": [], "message": ""}]
    card["sets"].append({"kind": "burst", "frames": frames, "findings": findings})
    assert told(score_card(card, truth), "missing-frame") == (0, 0, 1)


def test_what_a_piece_of_a_set_shows_is_not_wrong_a_second_time() -> None:
    truth = truth_of("sweep-upright")
    whole = truth["sets"][0]
    files = [file for view in whole["views"] for file in view]
    whole["findings"].append({"code": "clipped-highlights", "frames": files[-2:], "required": True})
    card = perfect(truth)
    rest = card["sets"][0]["frames"]
    part = {"kind": "panorama", "frames": rest[-2:], "confidence": 0.9, "layout": None}
    card["sets"][0]["frames"] = rest[:-2]
    for code, frames in (("clipped-highlights", files[-2:]), ("mixed-iso", []), ("too-wide", [])):
        part.setdefault("findings", []).append({"code": code, "frames": frames})
    card["sets"].append(part)
    score = score_card(card, truth)
    assert told(score, "clipped-highlights") == (1, 0, 0)
    assert told(score, "mixed-iso") == (0, 0, 1)
    assert score.codes["too-wide"].false == 1  # two views do not outgrow anything
    part["frames"] = rest[-3:]
    card["sets"][0]["frames"] = rest[:-3]
    truth["frames"][files[-3]]["yaw_deg"] = truth["frames"][files[-1]]["yaw_deg"] - 100
    assert score_card(card, truth).codes["too-wide"].false == 0


def test_where_the_truth_names_words_the_message_must_have_them() -> None:
    truth = truth_of("briefed")
    card = perfect(truth)
    card["sets"][1]["findings"] = [
        {**one, "message": "The brief's rule on ISO is not met."}
        if one["code"] == "brief-unmet"
        else one
        for one in card["sets"][1]["findings"]
    ]
    assert told(score_card(card, truth), "brief-unmet") == (2, 1, 1)


def test_doubts_of_right_and_of_wrong_sets_are_counted() -> None:
    truth = truth_of("sweep-upright")
    card = perfect(truth)
    for item in card["sets"]:
        item["findings"].append({"code": "set-in-doubt", "frames": []})
    card["sets"][0]["frames"].pop()
    score = score_card(card, truth)
    assert score.doubted_wrong == [1, 1]
    assert score.doubted_right == [1, 1]
    whole = Score()
    whole.add(score)
    whole.add(score)
    assert whole.doubted_wrong == [2, 2]


def test_optional_findings_cost_nothing_either_way() -> None:
    truth = truth_of("handheld")
    card = perfect(truth)
    card["sets"][0]["findings"].append({"code": "drifting-row", "frames": []})
    score = score_card(card, truth)
    assert "drifting-row" not in score.codes


def test_unread_dividers_and_previews() -> None:
    truth = truth_of("empty")
    card = perfect(truth)
    card["unread"][0]["reason"] = "not-permitted"
    assert score_card(card, truth).unread == [0, 1]
    truth = truth_of("dividers")
    card = perfect(truth)
    of = len(truth["dividers"])
    card["singles"].append(card["dividers"].pop())
    assert score_card(card, truth).dividers == [of - 1, of]


def test_calibration_bins_and_brier() -> None:
    # Brier (1950): mean of (p - o)^2.
    said = [(0.9, True), (0.9, False), (0.3, False), (1.0, True)]
    assert brier(said) == pytest.approx((0.01 + 0.81 + 0.09 + 0) / 4)
    rows = calibration(said)
    assert [row[2] for row in rows] == [1, 2, 1]
    assert rows[1][3:] == pytest.approx((0.9, 0.5))
    assert brier([]) is None


def test_scores_add_up() -> None:
    total = Score()
    for name in ("sweep-upright", "bracket-3", "dividers"):
        truth = truth_of(name)
        total.add(score_card(perfect(truth), truth))
    assert total.cards == 3
    expected = len(truth_of("sweep-upright")["sets"]) + len(truth_of("dividers")["sets"])
    assert counts(total, "panorama") == (expected,) * 3
    assert total.dividers[0] == len(truth_of("dividers")["dividers"])
