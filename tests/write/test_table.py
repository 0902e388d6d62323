from __future__ import annotations

import csv
import io
import math
from dataclasses import replace

import pytest

from grouper.model import Result
from grouper.write.table import COLUMNS, WRITER
from tests.support import frame
from tests.write.results import PANORAMA, bracket, files_of, panorama, renamed, result


def table(of: Result) -> list[dict[str, str]]:
    data = files_of(WRITER, of)["frames.csv"]
    return list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""), strict=True))


def test_a_row_per_frame_whatever_became_of_it() -> None:
    of = result()
    rows = table(of)
    assert sorted(row["file"] for row in rows) == sorted(f.file for f in of.scan.frames)
    kinds = {row["file"]: row["kind"] for row in rows}
    assert kinds["100QMARK/QMK_0001.JPG"] == "panorama"
    assert kinds["100QMARK/QMK_0020.JPG"] == "bracket"
    assert [kinds[f"100QMARK/QMK_{n:04d}.JPG"] for n in (40, 41, 42)] == [
        "single",
        "divider",
        "preview",
    ]


def test_cells() -> None:
    rows = {row["file"]: row for row in table(result())}
    row = rows["100QMARK/QMK_0004.JPG"]
    assert (row["set"], row["view"], row["row"], row["spare"]) == (PANORAMA, "2", "0", "no")
    assert row["companions"] == "100QMARK/QMK_0004.NEF"
    assert (row["exposure_s"], row["aperture_f"], row["iso"]) == ("0.0166667", "11.0", "100")
    assert (row["yaw_deg"], row["pitch_deg"]) == ("35.5", "0.2")
    assert row["taken"] == "2026-03-14T09:14:32.000"
    assert rows["100QMARK/QMK_0002.JPG"]["spare"] == "yes"
    single = rows["100QMARK/QMK_0040.JPG"]
    assert [single[name] for name in ("set", "view", "yaw_deg", "spare")] == ["", "", "", ""]
    assert rows["100QMARK/QMK_0042.JPG"]["set"] == PANORAMA


def test_line_ends_are_lf_alone() -> None:
    data = files_of(WRITER, result())["frames.csv"]
    assert b"\r" not in data
    assert data.count(b"\n") == 1 + len(result().scan.frames)


@pytest.mark.parametrize(
    "name",
    ['a "quoted", name', "line\nbreak", "carriage\rreturn", "\u202egpj", "<script>", " lead "],
)
def test_any_name_comes_back(name: str) -> None:
    of = result(renamed(panorama(), "100QMARK/QMK_0001.JPG", name))
    assert name in [row["file"] for row in table(of)]


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "'", "＝"])
def test_foreign_text_is_no_formula(sign: str) -> None:
    text = f"{sign}cmd|' /C calc'!A0"
    one = bracket()
    members = tuple(replace(m, frame=replace(m.frame, lens=text)) for m in one.members)
    rows = [row for row in table(result(replace(one, members=members))) if row["leg"] == "0"]
    assert rows[0]["lens"] == f"'{text}"


def test_negative_numbers_and_offsets_from_utc_stay_as_they_are() -> None:
    one = bracket()
    frames = [replace(m.frame, utc_offset_min=120, focus_m=math.inf) for m in one.members]
    members = tuple(replace(m, frame=f) for m, f in zip(one.members, frames, strict=True))
    row = next(r for r in table(result(replace(one, members=members))) if r["leg"] == "0")
    assert (row["ev_offset"], row["utc_offset"], row["focus_m"]) == ("-1.0", "+02:00", "")


def test_bytes_that_are_no_utf8_show_as_escapes() -> None:
    of = result(renamed(panorama(), "QMK_0001", "QMK_\udcff"))
    assert r"100QMARK/QMK_\udcff.JPG" in [row["file"] for row in table(of)]


def test_rows_stand_in_shooting_order_and_strays_last() -> None:
    of = result()
    stray = frame(99, file="100QMARK/STRAY.JPG")
    of = replace(of, grouping=replace(of.grouping, singles=(stray, *of.grouping.singles)))
    files = [row["file"] for row in table(of)]
    assert files[-1] == stray.file
    assert files[:-1] == sorted(files[:-1])


def test_every_column_has_a_name_of_its_own() -> None:
    names = [name for name, _ in COLUMNS]
    assert len(names) == len(set(names))
    wanted = {"file", "set", "kind", "row", "view", "leg", "step", "spare", "yaw_deg"}
    assert wanted <= set(names)
