from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import jsonschema
import pytest

from grouper.model import Result
from grouper.write import manifest_schema
from grouper.write.manifest import WRITER, most_common
from tests.support import frame
from tests.write.results import (
    BRACKET,
    LATER,
    PANORAMA,
    bracket,
    files_of,
    finding,
    layout,
    panorama,
    renamed,
    result,
)

VALIDATOR = jsonschema.Draft202012Validator(manifest_schema())


def card(of: Result) -> dict[str, Any]:
    return json.loads(files_of(WRITER, of)["card.json"])


def strange() -> Result:
    """Everything unknown that can be, and numbers no manifest can hold."""
    blank = frame(7, taken=None, exposure_s=None, aperture_f=None, iso=None, focal_mm=None)
    blank = replace(blank, lens=None, focus_m=math.inf)
    one = panorama(
        layout=layout(span_deg=None, fov_deg=None, overlap_min=math.nan, size_px=None),
        findings=(finding("missing-frame", "problem", measured={"gap_deg": math.inf}),),
    )
    one = replace(one, members=tuple(replace(m, frame=blank) for m in one.members[:1]))
    return result(one)


@pytest.mark.parametrize(
    "of",
    [
        result(),
        result(panorama(takes=("20260314-091540-qmk0009",))),
        strange(),
        result(renamed(panorama(), "QMK_0001", "QMK_\udcff\n<b>\u202e\"'")),
    ],
    ids=["plain", "takes", "strange", "hostile"],
)
def test_manifests_fit_the_schema(of: Result) -> None:
    jsonschema.Draft202012Validator.check_schema(manifest_schema())
    for path, data in files_of(WRITER, of).items():
        VALIDATOR.validate(json.loads(data))
        assert data.endswith(b"}\n"), path
        assert b"\r" not in data
        data.decode("utf-8")


def spoil(card: dict[str, Any], path: str) -> None:
    """Remove the key that ``path`` leads to."""
    *way, last = path.split(".")
    here: Any = card
    for step in way:
        here = here[int(step)] if step.isdigit() else here[step]
    del here[last]


@pytest.mark.parametrize(
    "path",
    [
        *("version", "made.at", "card.root", "card.unread", "settings", "bodies.0.serial"),
        "settings.fixed",
        *("singles", "dividers", "previews.0.set", "unread.0.detail", "findings.0.advice"),
        *("sets.0.id", "sets.0.evidence", "sets.0.utc_offset", "sets.0.takes"),
        *("sets.0.frames.0.companions", "sets.0.frames.0.ev_offset", "sets.0.frames.0.roll_deg"),
        *("sets.0.layout.overlap.median", "sets.0.layout.pointing_from"),
        "sets.0.findings.0.measured",
    ],
)
def test_the_schema_misses_every_key_that_is_taken_away(path: str) -> None:
    made = card(result())
    assert VALIDATOR.is_valid(made)
    spoil(made, path)
    assert not VALIDATOR.is_valid(made)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("kind", "sweep"),
        ("confidence", 1.2),
        ("started", "2026-03-14 09:14"),
        ("id", "../x"),
        ("frames", []),
        ("focal_mm", "24"),
    ],
)
def test_the_schema_minds_wrong_values(key: str, value: object) -> None:
    made = card(result())
    made["sets"][0][key] = value
    assert not VALIDATOR.is_valid(made)


@pytest.mark.parametrize("value", ["0.5", [], {}, True, {"lens": "long"}])
def test_the_schema_minds_fixed_thresholds_that_are_no_numbers(value: object) -> None:
    made = card(result(fixed={"group.evidence.ALIKE": 1.0}))
    assert VALIDATOR.is_valid(made)
    made["settings"]["fixed"]["group.evidence.ALIKE"] = value
    assert not VALIDATOR.is_valid(made)


def test_the_settings_tell_the_fixed_thresholds_too() -> None:
    fixed = {"group.panorama.START": -2.5, "group.evidence.ALIKE": {"lens": [0.002, 0.05]}}
    told = card(result(fixed=fixed))["settings"]
    assert told["fixed"] == fixed
    assert list(told)[-1] == "fixed"
    assert told["check"]


def test_a_bracket_has_no_layout() -> None:
    made = card(result(bracket()))
    assert made["sets"][0]["layout"] is None
    made["sets"][0]["layout"] = card(result())["sets"][0]["layout"]
    assert not VALIDATOR.is_valid(made)


def test_keys_stand_in_the_order_of_the_contract() -> None:
    made = card(result())
    assert list(made) == [
        *("manifest", "version", "made", "card", "settings", "bodies", "sets", "singles"),
        *("dividers", "previews", "unread", "findings"),
    ]
    one = made["sets"][0]
    assert list(one) == [
        *("id", "kind", "confidence", "evidence", "body", "lens", "focal_mm", "started"),
        *("ended", "utc_offset", "frames", "layout", "takes", "findings"),
    ]
    assert list(one["frames"][0]) == [
        *("file", "companions", "row", "view", "leg", "step", "spare", "taken", "exposure_s"),
        *("aperture_f", "iso", "ev_offset", "yaw_deg", "pitch_deg", "roll_deg"),
    ]
    assert list(one["layout"]) == [
        *("rows", "views", "legs", "steps", "closed", "direction", "span_deg", "fov_deg"),
        *("overlap", "base_tilt_deg", "camera_roll_deg", "crop_loss", "projection", "size_px"),
        "pointing_from",
    ]
    assert list(one["findings"][0]) == [
        *("code", "severity", "frames", "message", "advice", "measured")
    ]


def test_values() -> None:
    made = card(result())
    assert made["made"]["at"] == "2026-05-02T18:40:11+02:00"
    assert made["made"]["by"].startswith("grouper ")
    assert made["card"] == {
        "root": "/media/ilse/QMARK",
        "files": 13,
        "frames": 10,
        "unread": 1,
        "ignored": 1,
    }
    one = made["sets"][0]
    assert one["confidence"] == 0.971
    assert one["lens"] == "Quillmark 24-70mm f/4"
    assert (one["started"], one["ended"]) == ("2026-03-14T09:14:17.000", "2026-03-14T09:14:32.000")
    assert one["frames"][0]["exposure_s"] == 0.0166667
    assert one["frames"][0]["yaw_deg"] == -35.5
    assert one["frames"][3]["companions"] == ["100QMARK/QMK_0004.NEF"]
    assert one["layout"]["span_deg"] == [124.12, 73.7]
    assert one["layout"]["overlap"] == {"min": 0.312, "median": 0.33}
    assert one["findings"][0]["measured"] == {"gap_deg": 71.2346}
    assert made["previews"] == [{"file": "100QMARK/QMK_0042.JPG", "set": PANORAMA}]


def test_set_json_is_the_object_of_card_json_under_the_card_header() -> None:
    of = result()
    files = files_of(WRITER, of)
    for one in json.loads(files["card.json"])["sets"]:
        alone = json.loads(files[f"sets/{one['id']}/set.json"])
        head = {key: alone.pop(key) for key in ("manifest", "version", "made", "card")}
        assert alone == one
        assert head["manifest"] == "grouper-set"
        assert head["card"] == json.loads(files["card.json"])["card"]


def test_only_made_differs_between_runs() -> None:
    now, later = files_of(WRITER, result()), files_of(WRITER, result(), LATER)
    assert set(now) == {"card.json", f"sets/{PANORAMA}/set.json", f"sets/{BRACKET}/set.json"}
    for path, data in now.items():
        assert data != later[path]
        assert data == later[path].replace(LATER.encode(), b"2026-05-02T18:40:11+02:00")


def test_most_common_takes_the_first_of_equals() -> None:
    assert most_common([None, 35.0, 24.0, 24.0, 35.0]) == 35.0
    assert most_common([None]) is None
