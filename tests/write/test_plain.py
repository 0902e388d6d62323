from __future__ import annotations

import json
import math
import os
from datetime import datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.model import Member
from grouper.write.plain import (
    ev_offset,
    json_bytes,
    json_list_pieces,
    moment,
    offset,
    plain,
    rounded,
    significant,
    whole,
)
from tests.support import frame


@pytest.mark.parametrize(
    ("value", "expected"),
    [(None, None), (math.nan, None), (math.inf, None), (-0.001, 0.0), (53.126, 53.13)],
)
def test_rounded(value: float | None, expected: float | None) -> None:
    got = rounded(value, 2)
    assert got == expected
    assert got is None or math.copysign(1, got) == math.copysign(1, expected or 0.0)


@pytest.mark.parametrize(
    ("value", "expected"),
    [(1 / 60, 0.0166667), (1 / 8000, 0.000125), (1 / 6400, 0.00015625), (1234.5678, 1234.57)],
)
def test_exposure_times_keep_six_significant_digits(value: float, expected: float) -> None:
    assert significant(value) == expected


def test_iso_is_a_whole_number_where_it_is_one() -> None:
    assert json.dumps([whole(100.0), whole(12.5), whole(None)]) == "[100, 12.5, null]"


def test_times() -> None:
    assert moment(datetime(2026, 3, 14, 9, 14, 12, 310_499)) == "2026-03-14T09:14:12.310"
    assert [offset(minutes) for minutes in (120, -210, 0, None)] == [
        "+02:00",
        "-03:30",
        "+00:00",
        None,
    ]


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (np.float64(0.5), 0.5),
        (np.int64(3), 3),
        (np.bool_(True), True),
        (np.array([1.0, math.nan]), [1.0, None]),
        ((1, (2,)), [1, [2]]),
        ({"a": math.inf, 3: {"b"}}, {"a": None, "3": ["b"]}),
        (datetime(2026, 3, 14), "2026-03-14T00:00:00.000"),
        (True, True),
    ],
)
def test_plain_makes_json_of_what_checks_measure(value: Any, expected: Any) -> None:
    assert plain(value) == expected
    assert json.loads(json_bytes(plain(value))) == expected


def test_json_refuses_what_json_has_not() -> None:
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_bytes({"gap": math.nan})


@given(st.binary(min_size=1, max_size=20))
def test_file_names_of_any_bytes_come_back(raw: bytes) -> None:
    """PEP 383 names: valid UTF-8 on disk (RFC 8259), the same bytes after reading back."""
    data = json_bytes({"file": os.fsdecode(raw)})
    data.decode("utf-8")
    assert os.fsencode(json.loads(data)["file"]) == raw


def test_light_of_an_unrecorded_exposure_is_unknown_not_zero() -> None:
    known = Member(frame=frame(1), ev_offset=-1.996)
    unknown = Member(frame=frame(2, exposure_s=None), ev_offset=0.0)
    assert (ev_offset(known), ev_offset(unknown)) == (-2.0, None)


@pytest.mark.parametrize(
    "items", [[], [{}], [{"a": [1, {"b": []}], "c": "one\ntwo, ]"}, "x", [None], {"d": {"e": 0.5}}]]
)
def test_a_long_list_item_by_item_is_the_same(items: list[object]) -> None:
    before, after = {"made": {"by": "x"}, "n": 1}, {"rest": [], "more": {"z": "\u00e4"}}
    pieces = json_list_pieces(before, "sets", map(json_bytes, items), after)
    assert b"".join(pieces) == json_bytes({**before, "sets": items, **after})
