"""Counters and folder numbers from names. DCF names: CIPA DC-009."""

from __future__ import annotations

import pytest

from grouper.read.names import (
    counter_of,
    folder_number_of,
    folder_of,
    stem_of,
    suffix_of,
)


@pytest.mark.parametrize(
    ("name", "counter"),
    [
        # Four free characters and 0001-9999.
        ("QMK_0417.JPG", 417),
        ("QMK_9999.JPG", 9999),
        ("_MK_0001.NEF", 1),
        ("DSC04213.ARW", 4213),
        ("P1010023.JPG", 23),
        ("QMKF6014.jpg", 6014),
        # Not DCF: the digits that end the stem.
        ("QMK_0000.JPG", 0),
        ("LAB_01.JPG", 1),
        ("7.jpg", 7),
        ("hill-12.jpg", 12),
        ("QMK_12345.JPG", 12345),
        ("IMG-20260314-WA0003.jpg", 3),
        ("QMK_20260314091412_0012_D.JPG", 12),
        # Dates and clocks are no counters.
        ("IMG_20260314_091412.jpg", None),
        ("IMG_20260314_091412123.jpg", None),
        ("PXL_20260314_091412123.jpg", None),
        ("20260314_091412.jpg", None),
        ("2026-03-14 09.14.12.jpg", None),
        ("2026-03-14-09-14-12a.jpg", None),
        ("scan 2026-03-14.jpg", None),
        ("S60_050504_181349.jpg", None),
        # No digits, or too many.
        ("tower_left.jpg", None),
        ("QMK_0417-edit.jpg", None),
        ("1234567890123.jpg", None),
        (".jpg", None),
    ],
)
def test_counters(name: str, counter: int | None) -> None:
    assert counter_of(f"100QMARK/{name}") == counter
    assert counter_of(name) == counter


@pytest.mark.parametrize(
    ("file", "number"),
    [
        ("DCIM/100QMARK/QMK_0001.JPG", 100),
        ("999QMK_5/QMK_0001.JPG", 999),
        ("101_0314/QMK_0001.JPG", 101),
        ("099QMARK/QMK_0001.JPG", None),
        ("100QMARKS/QMK_0001.JPG", None),
        ("100QM-RK/QMK_0001.JPG", None),
        ("QMARK/QMK_0001.JPG", None),
        ("QMK_0001.JPG", None),
    ],
)
def test_folder_numbers(file: str, number: int | None) -> None:
    assert folder_number_of(file) == number


def test_parts_of_names() -> None:
    assert (folder_of("a/b/c.JPG"), stem_of("a/b/c.d.JPG"), suffix_of("a/b/c.JPG")) == (
        "a/b",
        "c.d",
        ".jpg",
    )
    assert (folder_of("c"), stem_of(".hidden"), suffix_of(".hidden")) == ("", ".hidden", "")
