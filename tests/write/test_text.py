from __future__ import annotations

from dataclasses import replace

import pytest

from grouper.model import Pointing, Result
from grouper.write.clean import shown
from grouper.write.text import Style, counts, findings_by_set, many, summary, worst
from grouper.write.verdict import sure_percent
from tests.write.results import PANORAMA, bracket, finding, layout, panorama, result

PLAIN = Style(width=None)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("QMK_0001.JPG", "QMK_0001.JPG"),
        ("Tavrin-Tal Übersicht 北.JPG", "Tavrin-Tal Übersicht 北.JPG"),
        ("\x1b[31m", r"\x1b[31m"),
        ("a\tb\nc\rd\x00\x7f", r"a\x09b\x0ac\x0dd\x00\x7f"),
        ("\x9b2J", r"\x9b2J"),
        ("gpj\u202eexe\u2066\u200b", r"gpj\u202eexe\u2066\u200b"),
        ("\u2028\u2029\ufeff", r"\u2028\u2029\ufeff"),
        ("\udcff", r"\udcff"),
        ("\U000e0041", r"\U000e0041"),
    ],
)
def test_shown(text: str, expected: str) -> None:
    assert shown(text) == expected


def test_counts_add_up() -> None:
    of = result()
    first, second, third = counts(of)
    assert first == "13 files: 10 frames, 1 companion, 1 unread, 1 ignored."
    assert second == "10 frames: 7 in 2 sets, 1 single, 1 divider, 1 preview."
    assert third == "3 findings: 1 problem, 1 warning, 1 note. 1 set without findings."


def test_worst() -> None:
    assert worst([]) is None
    assert worst([finding("a", "note"), finding("b", "problem")]) == "problem"


@pytest.mark.parametrize("width", [60, 80, 100, 160])
@pytest.mark.parametrize("show", [summary, findings_by_set])
def test_lines_keep_to_the_width(show: object, width: int) -> None:
    long = finding("mixed-iso", "warning", "100QMARK/QMK_0001.JPG", message="word " * 60)
    of = result(panorama(findings=(long,)), bracket())
    text = show(of, Style(width=width))  # type: ignore[operator]
    assert max(map(len, text.splitlines())) <= width
    assert "\x1b" not in text


def test_narrow_characters_and_wide_ones_line_up() -> None:
    of = result(panorama(body="北"), bracket())
    lines = summary(of, PLAIN).splitlines()
    assert lines[0].index("kind") == lines[1].index("panorama") == lines[2].index("bracket")


def test_colour_is_never_the_only_sign() -> None:
    of = result()
    coloured = findings_by_set(of, Style(width=None, colour=True))
    assert "\x1b[1;31m" in coloured
    for code in ("\x1b[1;31m", "\x1b[33m", "\x1b[36m", "\x1b[1m", "\x1b[0m"):
        coloured = coloured.replace(code, "")
    assert coloured == findings_by_set(of, PLAIN)
    for word in ("problem", "warning", "note"):
        assert f"  {word:<8} " in coloured


def test_layouts_in_a_word() -> None:
    full = panorama(layout=layout(rows=2, views=14, legs=3, closed=True, span_deg=(360.0, 90.0)))
    line = summary(result(full), PLAIN).splitlines()[1]
    assert "14 views, 2 rows, 3 legs, closed" in line
    assert "360x90°" in line


def test_many_frames_are_cut_short() -> None:
    files = [f"QMK_{number:04d}.JPG" for number in range(20)]
    of = replace(result(), findings=(finding("duplicate-frame", "note", *files),))
    assert "QMK_0005.JPG and 14 more" in findings_by_set(of, PLAIN)


def test_no_sets(tmp_path: object) -> None:
    of: Result = result()
    of = replace(of, grouping=replace(of.grouping, sets=()), findings=())
    assert summary(of, PLAIN).startswith("13 files: ")


def test_many() -> None:
    assert [many(number, "set") for number in (0, 1, 2)] == ["0 sets", "1 set", "2 sets"]


def test_a_narrow_table_keeps_what_is_wrong() -> None:
    of = result()
    for width in (40, 60, 72, 80, 100):
        head, first, *_ = summary(of, Style(width=width)).splitlines()
        assert head.split()[0] == "set"
        assert "warning: mixed-iso" in first, width
    assert "sure" not in summary(of, Style(width=60)).splitlines()[0]
    assert "sure" in summary(of, Style(width=200)).splitlines()[0]


def test_the_last_line_says_what_to_reshoot() -> None:
    of = result()
    last = "Trouble with the card itself, 1 set to look at closer, 1 set whole."
    assert summary(of, PLAIN).splitlines()[-1] == last
    assert findings_by_set(of, PLAIN).splitlines()[-1] == last


def test_frames_are_not_named_where_the_whole_set_is_meant() -> None:
    files = [member.frame.file for member in panorama().members]
    whole = panorama(findings=(finding("auto-iso", "note", *files, set_id=PANORAMA),))
    assert files[0] not in findings_by_set(result(whole), Style(width=None))
    part = panorama(findings=(finding("auto-iso", "note", *files[1:], set_id=PANORAMA),))
    assert "frames: " + files[1] in findings_by_set(result(part), Style(width=None))


def test_plain_facts_are_told_once_for_all_sets_and_bury_nothing() -> None:
    wide = finding("too-wide", "note", set_id=PANORAMA)
    iso = finding("mixed-iso", "warning", "100QMARK/QMK_0001.JPG", set_id=PANORAMA)
    one = panorama(findings=(iso, wide))
    other = panorama(id="20260314-101412-qmk0100", findings=(wide,))
    text = findings_by_set(result(one, other), Style(width=None))
    assert text.count("too-wide: ") == 1
    assert "too-wide: 2 sets too wide for a flat picture" in text
    assert f"sets: {PANORAMA}, {other.id}" in text
    assert text.index("mixed-iso: ") < text.index("too-wide: ")
    assert f"{other.kind} {other.id}" not in text


@pytest.mark.parametrize(("confidence", "shown"), [(0.995, 99), (0.5, 50), (0.004, 0), (1.0, 99)])
def test_nothing_is_a_hundred_per_cent_sure(confidence: float, shown: int) -> None:
    assert sure_percent(confidence) == shown


def test_the_span_of_a_set_with_a_part_beyond_a_gap_is_not_all() -> None:
    whole = panorama()
    *placed, last = whole.members
    parted = replace(whole, members=(*placed, replace(last, pointing=Pointing())))
    assert "124x74° and more" in summary(result(parted), Style(width=None))
    assert "124x74°  " in summary(result(whole), Style(width=None))
    closed = replace(parted, layout=layout(closed=True))  # frames that close a sphere
    assert "and more" not in summary(result(closed), Style(width=None))
