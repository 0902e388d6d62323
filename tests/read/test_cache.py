"""The cache of what was read: the same result with and without, and never in the way."""

from __future__ import annotations

import gc
import multiprocessing
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import fields, replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

import grouper.read as reading
from grouper.discover import find_files
from grouper.model import Attitude, Frame, PictureSource
from grouper.pipeline import scan
from grouper.read import ReadResult, cache, read_frames
from grouper.settings import Settings
from tests.read.files import TAKEN, jpeg_bytes, raw_bytes, write_photo

LONG_AGO = 1_700_000_000


def age(folder: Path, seconds: int = LONG_AGO) -> None:
    """Make every file one that was not changed just now."""
    for path in folder.rglob("*"):
        if path.is_file() and not path.is_symlink():
            os.utime(path, (seconds, seconds))


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A card with companions, copies, an odd name, damage and files that are no pictures."""
    folder = tmp_path / "card"
    for number in range(1, 6):
        write_photo(
            folder / f"DCIM/100QMARK/QMK_{number:04d}.JPG",
            taken=TAKEN + timedelta(seconds=number),
            thumbnail=jpeg_bytes((160, 120)),
            subsec="00",
            exif={0xA460: 3},
        )
    shutil.copy(folder / "DCIM/100QMARK/QMK_0001.JPG", folder / "DCIM/copy.JPG")
    (folder / "DCIM/100QMARK/QMK_0002.NEF").write_bytes(raw_bytes(taken="2026:03:14 09:14:14"))
    (folder / "DCIM/100QMARK/QMK_0006.JPG").write_bytes(b"")
    (folder / "DCIM/100QMARK/QMK_0007.JPG").write_bytes(jpeg_bytes()[:-20])
    (folder / "DCIM/100QMARK/lost.CHK").write_bytes(b"text")
    if os.name != "nt":
        (folder / os.fsdecode(b"Q\xff_0008.JPG")).write_bytes(jpeg_bytes())
    age(folder)
    return folder


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    return tmp_path / "home/cache/read.sqlite3"


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Files that were truly read."""
    files: list[str] = []
    read_one = reading.read_one

    def noted(root: Path, file: str, *, settings: Settings) -> reading.Outcome:
        files.append(file)
        return read_one(root, file, settings=settings)

    monkeypatch.setattr(reading, "read_one", noted)
    return files


def read(card: Path, cache_file: Path | None, **how: int) -> ReadResult:
    found = find_files([card], Settings())
    return read_frames(found.root, found.files, Settings(), cache_file=cache_file, **how)


def rows(cache_file: Path) -> int:
    with closing(sqlite3.connect(cache_file)) as base:
        return int(base.execute("SELECT count(*) FROM files").fetchone()[0])


# ---- the same result


def test_with_and_without_are_the_same(card: Path, kept: Path, opened: list[str]) -> None:
    plain = read(card, None)
    assert read(card, kept) == plain
    opened.clear()
    assert read(card, kept) == plain
    # Files that could not be read are tried again, all others are known.
    assert [Path(file).name for file in opened] == ["QMK_0006.JPG", "QMK_0007.JPG"]


def test_values_keep_their_types(card: Path, kept: Path) -> None:
    read(card, kept)
    for one, other in zip(read(card, None).frames, read(card, kept).frames, strict=True):
        for item in fields(Frame):
            mine, theirs = getattr(one, item.name), getattr(other, item.name)
            assert type(mine) is type(theirs), item.name
        assert hash(one) == hash(other)


FULL = Frame(
    file="DCIM/105QMARK/QMK_0417.JPG",
    size_bytes=7,
    make="Quillmark",
    model="Q5 \udcff\u00e9\u2028",
    serial="1",
    lens="x",
    lens_serial="2",
    taken=datetime(2026, 3, 14, 9, 14, 12, 310_001),
    taken_resolution_s=1e-6,
    utc_offset_min=-210,
    exposure_s=1 / 3,
    aperture_f=11,
    iso=100.0,
    bias_ev=-0.3333333333333333,
    program="manual",
    bracketing=True,
    white_balance="auto",
    white_balance_detail="shade",
    iso_auto=False,
    focus_auto=True,
    flash_fired=False,
    focal_mm=24,
    focal_35mm=24.0,
    sensor_long_mm=36.0,
    sensor_from="equivalent",
    focus_m=float("inf"),
    width_px=6000,
    height_px=4000,
    orientation=6,
    composite=True,
    folder="DCIM/105QMARK",
    counter=417,
    folder_number=105,
    shutter_count=12,
    burst_number=3,
    attitude=Attitude(yaw_deg=1.5, roll_deg=-0.1, sigma_deg=5.0),
    latitude_deg=47.51,
    longitude_deg=-0.0,
    altitude_m=-1.5,
    picture=PictureSource(
        kind="thumbnail", file="DCIM/105QMARK/QMK_0417.JPG", offset=300, length=9
    ),
    software="v1",
)


@pytest.mark.parametrize(
    "frame",
    [
        FULL,
        replace(FULL, picture=PictureSource(kind="main", file=FULL.file)),
        Frame(file=FULL.file, folder=FULL.folder, folder_number=105),
        None,
    ],
    ids=["full", "whole-file", "empty", "no-picture"],
)
def test_a_frame_comes_back_as_it_was(frame: Frame | None) -> None:
    data, _ = cache._packed(frame)
    assert cache._frame(data, FULL.file, FULL.folder, 105) == frame


def test_every_field_is_kept_or_belongs_to_later_steps() -> None:
    default = Frame(file="")
    filled = {
        item.name
        for item in fields(Frame)
        if getattr(FULL, item.name) != getattr(default, item.name)
    }
    assert filled == {item.name for item in fields(Frame)} - {"companions", "digest"}


def test_a_card_read_from_a_deeper_folder(card: Path, kept: Path, opened: list[str]) -> None:
    read(card, kept)
    opened.clear()
    inner = card / "DCIM/100QMARK"
    assert read(inner, kept) == read(inner, None)
    assert "QMK_0001.JPG" in opened  # by the plain reading
    opened.clear()
    assert {frame.file for frame in read(inner, kept).frames} >= {"QMK_0001.JPG"}
    assert opened == ["QMK_0006.JPG", "QMK_0007.JPG"]


def test_copies_are_hashed_once(card: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = read(card, kept)
    assert sum(frame.digest is not None for frame in first.frames) == 2

    def fail(*_: object) -> str:
        raise AssertionError("hashed again")

    monkeypatch.setattr(reading, "_digest", fail)
    assert read(card, kept) == first


def test_several_processes(card: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "LEAST_FILES_A_JOB", 4)
    monkeypatch.setattr(cache, "BATCH", 2)
    plain = read(card, None)
    assert read(card, kept, jobs=2) == plain
    assert read(card, kept, jobs=2) == plain


def test_progress_is_told_of_every_file(card: Path, kept: Path) -> None:
    for _ in range(2):
        told: list[tuple[str, int, int]] = []
        found = find_files([card], Settings())
        read_frames(
            found.root,
            found.files,
            Settings(),
            cache_file=kept,
            progress=lambda what, done, total: told.append((what, done, total)),  # noqa: B023
        )
        count = len(found.files)
        assert told == [("reading", done, count) for done in range(1, count + 1)]


@pytest.mark.parametrize("on", [True, False])
def test_the_collector_is_left_as_it_was(card: Path, kept: Path, on: bool) -> None:
    try:
        (gc.enable if on else gc.disable)()
        read(card, kept)
        read(card, kept)
        assert gc.isenabled() is on
    finally:
        gc.enable()


# ---- what makes a file another


def rewrite(path: Path) -> None:
    data = path.read_bytes().replace(b"Quillmark", b"Ostrel  x")
    path.write_bytes(data)
    os.utime(path, (LONG_AGO + 1, LONG_AGO + 1))


def exchange(path: Path) -> None:
    new = path.with_name("new")
    new.write_bytes(path.read_bytes().replace(b"Quillmark", b"Ostrel  x"))
    os.utime(new, (LONG_AGO, LONG_AGO))
    new.replace(path)


def grow(path: Path) -> None:
    path.write_bytes(path.read_bytes() + b"\0")
    os.utime(path, (LONG_AGO, LONG_AGO))


def rename(path: Path) -> None:
    path.replace(path.with_name("QMK_0009.JPG"))


def touch_a_nanosecond(path: Path) -> None:
    os.utime(path, ns=(LONG_AGO * 10**9 + 1, LONG_AGO * 10**9 + 1))


@pytest.mark.parametrize("change", [rewrite, exchange, grow, rename, touch_a_nanosecond])
def test_a_changed_file_is_read_again(
    card: Path, kept: Path, opened: list[str], change: Callable[[Path], None]
) -> None:
    read(card, kept)
    change(card / "DCIM/100QMARK/QMK_0003.JPG")
    opened.clear()
    again = read(card, kept)
    name = "QMK_0009.JPG" if change is rename else "QMK_0003.JPG"
    assert {Path(file).name for file in opened} == {"QMK_0006.JPG", "QMK_0007.JPG", name}
    assert again == read(card, None)


def test_a_file_changed_just_now_is_not_kept(card: Path, kept: Path, opened: list[str]) -> None:
    now = time.time()
    os.utime(card / "DCIM/100QMARK/QMK_0003.JPG", (now, now))
    read(card, kept)
    opened.clear()
    read(card, kept)
    assert "DCIM/100QMARK/QMK_0003.JPG" in opened


def test_other_code_reads_again(
    card: Path, kept: Path, opened: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    read(card, kept)
    monkeypatch.setattr(cache, "stamp", lambda: b"other")
    opened.clear()
    assert read(card, kept) == read(card, None)
    assert opened.count("DCIM/100QMARK/QMK_0003.JPG") == 2
    opened.clear()
    read(card, kept)
    assert "DCIM/100QMARK/QMK_0003.JPG" not in opened


def test_the_stamp_is_that_of_the_code() -> None:
    assert len(cache.stamp()) == 8


# ---- trouble


def rubbish(file: Path) -> None:
    file.write_bytes(b"no database" * 500)


def cut(file: Path) -> None:
    os.truncate(file, file.stat().st_size // 2)


def scribble(file: Path) -> None:
    with file.open("r+b") as stream:
        stream.seek(16_384)
        stream.write(b"\xa5" * 20_000)


def foreign(file: Path) -> None:
    file.unlink()
    with closing(sqlite3.connect(file)) as base:
        base.execute("CREATE TABLE files (other)")


def newer(file: Path) -> None:
    with closing(sqlite3.connect(file)) as base:
        base.execute("PRAGMA user_version = 99")


def tableless(file: Path) -> None:
    with closing(sqlite3.connect(file)) as base:
        base.execute("DROP TABLE files")
        base.commit()


@pytest.mark.parametrize("spoil", [rubbish, cut, scribble, foreign, newer, tableless])
def test_a_spoilt_cache_is_set_aside(
    card: Path, kept: Path, opened: list[str], spoil: Callable[[Path], None]
) -> None:
    plain = read(card, None)
    read(card, kept)
    spoil(kept)
    assert read(card, kept) == plain
    assert kept.with_name(kept.name + cache.SET_ASIDE).is_file()
    assert read(card, kept) == plain
    opened.clear()
    read(card, kept)
    assert len(opened) == 2  # a new one serves


def test_an_empty_file_becomes_a_cache(card: Path, kept: Path) -> None:
    kept.parent.mkdir(parents=True)
    kept.write_bytes(b"")
    read(card, kept)
    assert rows(kept) > 5
    assert list(kept.parent.iterdir()) == [kept]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE files SET told = 'x' || told",
        "UPDATE files SET told = cast(substr(told, 1, length(told) - 9) AS BLOB)",
        "UPDATE files SET told = cast(replace(told, 'Quillmark', 'Wrongmark') AS BLOB)",
        "UPDATE files SET told = cast('[1,2]' AS BLOB), sum = 143347903",
        "UPDATE files SET told = cast('{' AS BLOB), sum = 366298937",
        "UPDATE files SET told = x'ff', sum = 4278190080",
    ],
)
def test_rows_that_were_tampered_with_are_read_again(card: Path, kept: Path, change: str) -> None:
    plain = read(card, None)
    read(card, kept)
    with closing(sqlite3.connect(kept)) as base:
        assert base.execute(change).rowcount > 5
        base.commit()
    assert read(card, kept) == plain


@pytest.mark.parametrize("step", ["mkdir", "open", "connect"])
def test_without_a_place_to_write_it_works_without(
    card: Path, kept: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def fail(*_: object, **__: object) -> object:
        raise PermissionError(13, "Read-only file system")

    def refuse(*_: object, **__: object) -> object:
        raise sqlite3.OperationalError("unable to open database file")

    plain = read(card, None)
    if step == "mkdir":
        monkeypatch.setattr(Path, "mkdir", fail)
    elif step == "open":
        monkeypatch.setattr("grouper.read.cache._make_file", fail)
    else:
        monkeypatch.setattr("grouper.read.cache.sqlite3.connect", refuse)
    assert read(card, kept) == plain


def test_a_cache_folder_that_is_a_file(card: Path, tmp_path: Path) -> None:
    (tmp_path / "home").write_text("a file")
    assert read(card, tmp_path / "home/cache/read.sqlite3") == read(card, None)


def test_a_full_disk(card: Path, kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begin = cache._begin

    def full(base: sqlite3.Connection) -> None:
        base.execute("PRAGMA max_page_count = 1")
        begin(base)

    monkeypatch.setattr(cache, "_begin", full)
    assert read(card, kept) == read(card, None)
    monkeypatch.setattr(cache, "_begin", begin)
    assert read(card, kept) == read(card, None)
    assert rows(kept) > 5


def test_a_lock_that_is_not_given_up(
    card: Path, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = read(card, kept)
    monkeypatch.setattr(cache, "BUSY_S", 0.01)
    with closing(sqlite3.connect(kept, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        assert read(card, kept) == plain
    assert rows(kept) > 5
    assert list(kept.parent.iterdir()) == [kept]


def test_only_its_owner_may_look(card: Path, kept: Path) -> None:
    read(card, kept)
    if os.name != "nt":
        assert kept.stat().st_mode & 0o077 == 0
        assert kept.parent.stat().st_mode & 0o077 == 0


KILLED = """
import os, sys
from pathlib import Path
from grouper.discover import find_files
from grouper.read import cache, read_frames
from grouper.settings import Settings
cache.BATCH = 2
forget, calls = cache._forget, []
def die(base):
    calls.append(1)
    if len(calls) == 2:
        os._exit(9)  # in the midst of the second transaction
    forget(base)
cache._forget = die
found = find_files([Path(sys.argv[1])], Settings())
read_frames(found.root, found.files, Settings(), cache_file=Path(sys.argv[2]))
"""


def test_a_crash_loses_a_batch_and_no_more(card: Path, kept: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(card), str(kept)],
        cwd=Path(__file__).parents[2],
        check=False,
    )
    assert done.returncode == 9
    assert read(card, None) == read(card, kept)
    assert rows(kept) > 5


def _read_often(card: Path, kept: Path) -> None:
    cache.BATCH = 1
    for _ in range(8):
        for path in sorted(card.rglob("*.JPG"))[:3]:
            os.utime(path, (LONG_AGO, LONG_AGO))
        if not read(card, kept).frames:
            sys.exit(1)


def test_two_runs_at_once(card: Path, kept: Path) -> None:
    plain = read(card, None)
    context = multiprocessing.get_context("spawn")
    runs = [context.Process(target=_read_often, args=(card, kept)) for _ in range(2)]
    for run in runs:
        run.start()
    for run in runs:
        run.join(60)
    assert [run.exitcode for run in runs] == [0, 0]
    assert read(card, kept) == plain
    assert not kept.with_name(kept.name + cache.SET_ASIDE).exists()


# ---- its size


def test_the_longest_unused_folders_are_forgotten(
    tmp_path: Path, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES", 9 * cache._PAGE_BYTES)
    cards = []
    for number in range(6):
        card = tmp_path / f"card{number}"
        for photo in range(40):
            write_photo(card / f"QMK_{photo:04d}.JPG", taken=TAKEN + timedelta(hours=photo))
        age(card)
        cards.append(card)
    for day, card in enumerate(cards):
        monkeypatch.setattr(cache, "_today", lambda day=day: 20_000 + day)
        read(card, kept)
        assert kept.stat().st_size <= 9 * cache._PAGE_BYTES
    with closing(sqlite3.connect(kept)) as base:
        left = [
            Path(os.fsdecode(path)).name
            for (path,) in base.execute("SELECT path FROM folders ORDER BY used")
        ]
    assert left
    assert left == [card.name for card in cards[-len(left) :]]
    assert len(left) < len(cards)


def test_folders_unused_for_long_are_forgotten(
    tmp_path: Path, card: Path, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read(card, kept)
    other = write_photo(tmp_path / "other/QMK_0001.JPG").parent
    age(other)
    later = cache._today() + cache.MOST_DAYS + 1
    monkeypatch.setattr(cache, "_today", lambda: later)
    read(other, kept)
    assert rows(kept) == 1


def test_reading_again_counts_as_use(
    card: Path, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read(card, kept)
    today = cache._today()
    monkeypatch.setattr(cache, "_today", lambda: today + 100)
    read(card, kept)
    with closing(sqlite3.connect(kept)) as base:
        assert {used for (used,) in base.execute("SELECT used FROM folders")} == {today + 100}


# ---- its place


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("XDG_CACHE_HOME")
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("system", "place"),
    [
        ("linux", ".cache/grouper"),
        ("darwin", "Library/Caches/grouper"),
        ("win32", "AppData/Local/grouper/cache"),
    ],
)
def test_where_it_lies(
    at_home: Path, monkeypatch: pytest.MonkeyPatch, system: str, place: str
) -> None:
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    monkeypatch.setattr(sys, "platform", system)
    assert cache.default_file() == at_home / place / "read.sqlite3"


def test_where_the_system_says(at_home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(at_home / "c"))
    assert cache.default_file() == at_home / "c/grouper/read.sqlite3"
    monkeypatch.setenv("XDG_CACHE_HOME", "not/absolute")
    assert cache.default_file() != Path("not/absolute/grouper/read.sqlite3")


def test_no_home(at_home: Path, monkeypatch: pytest.MonkeyPatch, card: Path) -> None:
    def none() -> Path:
        raise RuntimeError("no home")

    monkeypatch.setattr(Path, "home", none)
    assert cache.default_file() is None
    assert scan([card], use_cache=True) == scan([card])


def test_never_on_the_card(card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = sorted(card.rglob("*"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(card / "cache"))
    assert scan([card], use_cache=True).frames
    (card.parent / "link").symlink_to(card)
    monkeypatch.setenv("XDG_CACHE_HOME", str(card.parent / "link/cache"))
    assert scan([card], use_cache=True).frames
    assert sorted(card.rglob("*")) == before


def test_a_scan_uses_it_only_when_asked(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "xdg"))
    plain = scan([card])
    assert not (tmp_path / "xdg").exists()
    assert scan([card], use_cache=True) == plain
    assert rows(tmp_path / "xdg/grouper/read.sqlite3") > 5
    assert scan([card], use_cache=True) == plain
