"""Reading a card: nothing is lost, one bad file stops nothing, the same result every time."""

from __future__ import annotations

import os
import random
import shutil
import time
from collections.abc import Callable, Iterator
from concurrent.futures.process import BrokenProcessPool
from datetime import timedelta
from pathlib import Path

import pytest

import grouper.read as reading
from grouper.discover import find_files
from grouper.model import Frame, Unread
from grouper.read import READERS, ReadResult, read_frames, read_one
from grouper.settings import Settings
from tests.read.files import TAKEN, jpeg_bytes, raw_bytes, write_photo

DAMAGED = Path(__file__).parents[2] / "testdata" / "damaged"


def read_card(card: Path, jobs: int = 1) -> ReadResult:
    found = find_files([card], Settings())
    return read_frames(Path(found.root), found.files, Settings(), jobs=jobs)


def write(path: Path, data: bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    return path


def outcome(path: Path) -> Frame | Unread | None:
    return read_one(path.parent, path.name, settings=Settings())


def mixed_card(card: Path) -> Path:
    for number in range(1, 6):
        taken = TAKEN + timedelta(seconds=number)
        write_photo(card / f"100QMARK/QMK_{number:04d}.JPG", taken=taken, serial=None)
    write(
        card / "100QMARK/QMK_0001.NEF",
        raw_bytes(preview=jpeg_bytes((160, 107)), taken="2026:03:14 09:14:13"),
    )
    write(card / "100QMARK/QMK_0006.NEF", raw_bytes())
    write(card / "100QMARK/QMK_0006.JPG", b"")
    write(card / "100QMARK/QMK_0007.JPG", jpeg_bytes()[:-20])
    write(card / "100QMARK/QMK_0008.JPG", bytes(4096))
    write(card / "100QMARK/QMK_0009.JPG", b"no picture at all")
    write(card / "100QMARK/QMK_0010.X3F", b"FOVb" + bytes(100))
    write(card / "100QMARK/QMK_0011.HEIC", b"\0\0\0\x18ftypheic" + bytes(60))
    write(card / "100QMARK/FILE0001.CHK", jpeg_bytes())
    write(card / "100QMARK/FILE0002.CHK", b"lost text")
    write(card / "100QMARK/FILE0003.CHK", b"")
    write(card / "100QMARK/QMK_0001.XMP", b"<xmp/>")
    return card


def test_what_becomes_of_a_mixed_card(tmp_path: Path) -> None:
    result = read_card(mixed_card(tmp_path))
    assert [(frame.name, len(frame.companions)) for frame in result.frames] == [
        ("FILE0001.CHK", 0),
        ("QMK_0001.JPG", 1),
        ("QMK_0002.JPG", 0),
        ("QMK_0003.JPG", 0),
        ("QMK_0004.JPG", 0),
        ("QMK_0005.JPG", 0),
        ("QMK_0006.NEF", 0),  # its JPEG is empty, so the raw is the frame
    ]
    assert {(Path(item.file).name, item.reason) for item in result.unread} == {
        ("QMK_0006.JPG", "empty"),
        ("QMK_0007.JPG", "truncated"),
        ("QMK_0008.JPG", "unknown-format"),
        ("QMK_0009.JPG", "unknown-format"),
        ("QMK_0010.X3F", "unknown-format"),
        ("QMK_0011.HEIC", "damaged"),
    }
    assert all(item.detail for item in result.unread)
    assert [Path(file).name for file in result.ignored] == ["FILE0002.CHK", "FILE0003.CHK"]


def test_the_sum_holds(tmp_path: Path) -> None:
    found = find_files([mixed_card(tmp_path)], Settings())
    result = read_frames(found.root, found.files, Settings())
    ends = [file for frame in result.frames for file in (frame.file, *frame.companions)]
    ends += [item.file for item in (*result.unread, *found.unread)]
    ends += [*result.ignored, *found.ignored]
    on_disk = [
        path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()
    ]
    assert sorted(ends) == sorted(on_disk)


def test_frames_are_in_order_of_path_whatever_the_order_asked(tmp_path: Path) -> None:
    found = find_files([mixed_card(tmp_path)], Settings())
    straight = read_frames(found.root, found.files, Settings())
    backwards = read_frames(found.root, found.files[::-1], Settings())
    assert straight == backwards
    assert [frame.file for frame in straight.frames] == sorted(
        frame.file for frame in straight.frames
    )


def test_several_processes_give_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "LEAST_FILES_A_JOB", 4)
    card = mixed_card(tmp_path)
    assert read_card(card, jobs=2) == read_card(card, jobs=1)


def test_a_killed_worker_loses_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    card = mixed_card(tmp_path)
    expected = read_card(card)

    def killed(*_: object) -> Iterator[object]:
        yield from expected_first
        raise BrokenProcessPool

    found = find_files([card], Settings())
    expected_first = [read_one(card, found.files[0], settings=Settings())]
    monkeypatch.setattr(reading, "LEAST_FILES_A_JOB", 4)
    monkeypatch.setattr(reading, "_shared", killed)
    assert read_card(card, jobs=2) == expected


def test_progress_is_told_of_every_file(tmp_path: Path) -> None:
    found = find_files([mixed_card(tmp_path)], Settings())
    told: list[tuple[str, int, int]] = []
    read_frames(
        found.root,
        found.files,
        Settings(),
        progress=lambda what, done, total: told.append((what, done, total)),
    )
    count = len(found.files)
    assert told == [("reading", done, count) for done in range(1, count + 1)]


def test_nothing_on_the_card_is_touched(tmp_path: Path) -> None:
    card = mixed_card(tmp_path)
    before = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in card.rglob("*.*")}
    read_card(card)
    after = {path: (path.stat().st_mtime_ns, path.read_bytes()) for path in card.rglob("*.*")}
    assert before == after


def test_a_file_that_vanished(tmp_path: Path) -> None:
    gone = outcome(tmp_path / "QMK_0001.JPG")
    assert isinstance(gone, Unread)
    assert gone.reason == "vanished"


def test_a_folder_or_pipe_in_a_files_place_does_not_hang(tmp_path: Path) -> None:
    (tmp_path / "QMK_0001.JPG").mkdir()
    os.mkfifo(tmp_path / "QMK_0002.JPG")
    for name in ("QMK_0001.JPG", "QMK_0002.JPG"):
        result = outcome(tmp_path / name)
        assert isinstance(result, Unread)
        assert result.reason in ("vanished", "damaged")


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (PermissionError(13, "Permission denied"), "not-permitted"),
        (OSError(5, "Input/output error"), "damaged"),
        (FileNotFoundError(2, "No such file"), "vanished"),
    ],
)
def test_a_failing_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: OSError, reason: str
) -> None:
    path = write_photo(tmp_path / "QMK_0001.JPG")

    def fail(*_: object) -> int:
        raise error

    monkeypatch.setattr("grouper.read.source.os.open", fail)
    result = outcome(path)
    assert isinstance(result, Unread)
    assert result.reason == reason


def test_a_disk_that_fails_halfway(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write_photo(tmp_path / "QMK_0001.JPG")

    def fail(*_: object) -> bool:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("grouper.read.jpeg.is_whole", fail)
    result = outcome(path)
    assert isinstance(result, Unread)
    assert (result.reason, "Input/output error" in result.detail) == ("damaged", True)


def test_copies_have_the_same_digest_and_others_none(tmp_path: Path) -> None:
    first = write_photo(tmp_path / "a/QMK_0001.JPG")
    (tmp_path / "b").mkdir()
    shutil.copy(first, tmp_path / "b/QMK_0001.JPG")
    write_photo(tmp_path / "a/QMK_0002.JPG", taken=TAKEN + timedelta(seconds=5))
    one, other, copy = read_card(tmp_path).frames
    assert (one.name, other.name, copy.file) == ("QMK_0001.JPG", "QMK_0002.JPG", "b/QMK_0001.JPG")
    assert one.digest is not None
    assert one.digest == copy.digest
    assert other.digest is None


def test_the_same_size_and_time_but_other_pictures(tmp_path: Path) -> None:
    first = write_photo(tmp_path / "a/QMK_0001.JPG")
    data = bytearray(first.read_bytes())
    data[-10] ^= 1
    write(tmp_path / "b/QMK_0001.JPG", bytes(data))
    one, other = read_card(tmp_path).frames
    assert None not in (one.digest, other.digest)
    assert one.digest != other.digest


@pytest.mark.parametrize(
    ("subsecs", "resolution"),
    [
        pytest.param(["00", "00", "00"], 1.0, id="always-zero"),
        pytest.param(["00", "50", "00"], 0.01, id="now-and-then-zero"),
        pytest.param(["00", "00"], 0.01, id="too-few-to-tell"),
        pytest.param([None, None, None], 1.0, id="missing"),
    ],
)
def test_subseconds_of_zero_throughout_are_none(
    tmp_path: Path, subsecs: list[str | None], resolution: float
) -> None:
    for number, subsec in enumerate(subsecs, 1):
        write_photo(
            tmp_path / f"QMK_{number:04d}.JPG",
            taken=TAKEN + timedelta(seconds=number),
            subsec=subsec,
        )
    assert {frame.taken_resolution_s for frame in read_card(tmp_path).frames} == {resolution}


@pytest.mark.parametrize(
    ("flags", "size", "expected"),
    [
        pytest.param([3, 3, 3, 1], (96, 64), 0, id="a-phone-that-says-it-always"),
        pytest.param([3, 1, 1, 1], (96, 64), 1, id="one-among-others"),
        pytest.param([3, 3], (96, 64), 2, id="too-few-to-tell"),
        pytest.param([3, 3, 3], (300, 100), 3, id="wide-ones"),
    ],
)
def test_a_flag_on_every_picture_tells_nothing(
    tmp_path: Path, flags: list[int], size: tuple[int, int], expected: int
) -> None:
    for number, flag in enumerate(flags, 1):
        write_photo(
            tmp_path / f"QMK_{number:04d}.JPG",
            taken=TAKEN + timedelta(seconds=number),
            size=size,
            exif={0xA460: flag},
        )
    assert sum(frame.composite for frame in read_card(tmp_path).frames) == expected


def test_folders_and_counters(tmp_path: Path) -> None:
    (frame,) = read_card(write_photo(tmp_path / "DCIM/105QMARK/QMK_0417.JPG").parents[2]).frames
    assert (frame.file, frame.folder) == ("DCIM/105QMARK/QMK_0417.JPG", "DCIM/105QMARK")
    assert (frame.counter, frame.folder_number) == (417, 105)


def test_undecodable_names_are_read(tmp_path: Path) -> None:
    name = os.fsdecode(b"Q\xff_0001.JPG")
    write(tmp_path / name, jpeg_bytes())
    (frame,) = read_card(tmp_path).frames
    assert frame.file == name


def test_readers_have_names_and_suffixes_of_their_own() -> None:
    assert len({reader.name for reader in READERS}) == len(READERS)
    suffixes = [suffix for reader in READERS for suffix in reader.suffixes]
    assert len(set(suffixes)) == len(suffixes)
    assert all(suffix == suffix.lower() and suffix[0] == "." for suffix in suffixes)


@pytest.mark.parametrize("reader", READERS, ids=lambda reader: reader.name)
def test_no_reader_takes_what_is_none_of_its_own(reader: reading.Reader) -> None:
    for head in (b"", b"\0", b"\xff", b"GIF89a", b"%PDF-1.7", b"ftyp" * 16, b"\0" * 64):
        assert not reader.recognises(head)


# ---- damage


def test_the_damaged_files_that_come_along() -> None:
    expected = {
        "empty.jpg": "empty",
        "cut-in-the-head.jpg": "truncated",
        "cut-in-the-picture.jpg": "truncated",
        "rubbish-after-the-mark.jpg": "damaged",
        "zeros.jpg": "unknown-format",
        "text.jpg": "unknown-format",
        "cut-in-the-picture.nef": "truncated",
        "empty-directory.nef": "no-metadata",
    }
    result = read_frames(DAMAGED, sorted(expected), Settings())
    assert {item.file: item.reason for item in result.unread} == expected
    assert not result.frames


@pytest.mark.parametrize("suffix", [".jpg", ".nef", ".heic", ".png", ".webp", ".cr3", ".raf"])
def test_a_huge_file_is_not_read_through(tmp_path: Path, suffix: str) -> None:
    # Four gigabytes that were never written, behind a head that says they are there.
    heads = {
        ".jpg": jpeg_bytes()[:-2],
        ".nef": raw_bytes(),
        ".heic": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\xff\xff\xff\0meta",
        ".png": b"\x89PNG\r\n\x1a\n" + b"\0\0\0\0oooo",
        ".webp": b"RIFF\xf0\xff\xff\xffWEBP",
        ".cr3": b"\0\0\0\x18ftypcrx \0\0\0\1crx isom" + b"\0\0\0\1mdat\0\0\0\0\xff\0\0\0",
        ".raf": b"FUJIFILMCCD-RAW ".ljust(84, b"\0") + b"\0\0\1\0\xff\xff\0\0" * 3,
    }
    path = write(tmp_path / f"QMK_0001{suffix}", heads[suffix])
    os.truncate(path, 4 << 30)
    start = time.perf_counter()
    assert isinstance(outcome(path), Frame | Unread)
    assert time.perf_counter() - start < 1.0


Damage = Callable[[bytearray, random.Random], bytes]


def flip(data: bytearray, dice: random.Random) -> bytes:
    for _ in range(dice.randint(1, 40)):
        data[dice.randrange(min(len(data), 1500))] = dice.randrange(256)
    return bytes(data)


def cut(data: bytearray, dice: random.Random) -> bytes:
    return bytes(data[: dice.randrange(len(data))])


def splice(data: bytearray, dice: random.Random) -> bytes:
    at = dice.randrange(len(data))
    return bytes(data[:at] + dice.randbytes(dice.randint(1, 300)) + data[at:])


def blank(data: bytearray, dice: random.Random) -> bytes:
    at = dice.randrange(len(data))
    length = dice.randint(1, 600)
    data[at : at + length] = dice.choice((b"\0", b"\xff")) * length
    return bytes(data)


@pytest.mark.parametrize("damage", [flip, cut, splice, blank])
@pytest.mark.parametrize("suffix", [".jpg", ".nef", ".png", ".webp", ".avif"])
def test_no_damage_raises_or_hangs(tmp_path: Path, suffix: str, damage: Damage) -> None:
    if suffix == ".nef":
        whole = raw_bytes(preview=jpeg_bytes((160, 107)))
    else:
        thumbnail = jpeg_bytes((160, 120)) if suffix == ".jpg" else None
        whole = write_photo(
            tmp_path / f"whole{suffix}", thumbnail=thumbnail, size=(96, 64), subsec="12"
        ).read_bytes()
    dice = random.Random(f"{suffix}{damage.__name__}")
    path = tmp_path / f"QMK_0001{suffix}"
    for _ in range(150):
        path.write_bytes(damage(bytearray(whole), dice))
        start = time.perf_counter()
        result = outcome(path)
        assert isinstance(result, Frame | Unread)
        assert time.perf_counter() - start < 1.0
