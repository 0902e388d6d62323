"""Ids of sets: stable, readable, safe as a folder name."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.group.names import by_start, set_id
from tests.support import frame

NAMES = {
    "a camera's": ("100QMARK/QMK_0417.JPG", "20260314-091412-qmk0417"),
    "a path upwards": ("../../etc/passwd", "20260314-091412-passwd"),
    "dots only": ("x/...", "20260314-091412-frame"),
    "no suffix": ("x/QMK_1", "20260314-091412-qmk1"),
    "another script": ("x/\u5c71\u306e\u9053.JPG", "20260314-091412-frame"),
    "right to left mark": ("x/\u202egpj.EXE", "20260314-091412-gpj"),
    "markup": ("x/<b>&\"'.JPG", "20260314-091412-b"),
    "a very long one keeps its end": ("x/" + "a" * 300 + "0417.JPG",
                                      "20260314-091412-" + "a" * 20 + "0417"),
    "a device name": ("x/CON.JPG", "20260314-091412-con"),
    "line ends and nulls": ("x/a\nb\0c.JPG", "20260314-091412-abc"),
}  # fmt: skip


@pytest.mark.parametrize(("file", "expected"), NAMES.values(), ids=NAMES.keys())
def test_an_id_is_time_and_plain_name(file: str, expected: str) -> None:
    assert set_id(frame(file=file), set()) == expected


def test_an_undated_frame_says_so() -> None:
    assert set_id(frame(417, taken=None), set()) == "undated-qmk0417"


@given(st.lists(st.text(max_size=40), max_size=60))
def test_ids_are_unique_and_safe_as_path_parts_for_any_name(names: list[str]) -> None:
    taken: set[str] = set()
    ids = [set_id(frame(file=f"x/{name}"), taken) for name in names]
    assert len(set(ids)) == len(ids) == len(taken)
    for name in ids:
        assert re.fullmatch(r"[a-z0-9-]{1,80}", name)


def test_copies_are_told_apart_by_letters_then_numbers() -> None:
    taken: set[str] = set()
    ids = [set_id(frame(417), taken) for _ in range(30)]
    assert len(set(ids)) == 30
    assert ids[0].endswith("qmk0417")
    assert ids[1].endswith("qmk0417-b")
    assert ids[25].endswith("qmk0417-z")
    assert ids[26].endswith("qmk0417-27")


def test_sets_sort_by_start_with_undated_ones_last() -> None:
    frames = [frame(3, taken=None), frame(2, 10), frame(1, 10), frame(9, 0)]
    assert [f.counter for f in sorted(frames, key=lambda f: by_start([f]))] == [9, 1, 2, 3]
