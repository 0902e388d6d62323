"""Bytes that no camera wrote: no reader raises, hangs, reads without end or fills the memory.

A bounded run with a fixed seed; ``testdata/benchmarks/fuzz_read.py`` runs the same for hours.
"""

from __future__ import annotations

import logging
import os
import random
import struct
import time
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import pytest

import grouper.read as reading
from grouper.model import Frame, Unread
from grouper.read import READERS, read_one
from grouper.settings import Settings
from tests.read.containers import SMALL, box
from tests.read.files import Blob, Directory, Typed, jpeg_bytes, short, tiff
from tests.read.mutations import Judge, mutants, seeds

ROUNDS, EACH = 8, 300
"""Inputs of a run in the test suite: some seconds. A longer run is a matter of the benchmark."""
MOST_MEMORY = 24 << 20
"""Bytes one file may take while it is read: a metadata block of at most 4 MiB, a copy of it, and
what is made of it."""


@pytest.fixture(scope="module")
def judge() -> Iterator[Judge]:
    with Judge() as one:
        yield one


@pytest.fixture(scope="module")
def files() -> dict[str, bytes]:
    return seeds()


def test_every_reader_has_a_seed_that_is_a_frame(judge: Judge, files: dict[str, bytes]) -> None:
    readers = set()
    for name, data in files.items():
        assert isinstance(judge.judge(data, name), Frame), name
        readers.add(next(reader.name for reader in READERS if reader.recognises(data[:64])))
    assert readers == {reader.name for reader in READERS}


@pytest.mark.parametrize("seed", range(ROUNDS))
def test_damaged_files(judge: Judge, files: dict[str, bytes], seed: int) -> None:
    frames = 0
    for name, data in islice(mutants(files, random.Random(seed)), EACH):
        try:
            frames += isinstance(judge.judge(data, name), Frame)
        except Exception as error:
            kept = Path(os.environ.get("FUZZ_KEEP", "/nowhere")) / name
            if kept.parent.is_dir():
                kept.write_bytes(data)
            raise AssertionError(f"{name}, seed {seed}: {error!r}") from error
    assert frames > EACH // 10  # most damage leaves something to be read


def test_memory_stays_bounded(judge: Judge, files: dict[str, bytes]) -> None:
    for name, data in islice(mutants(files, random.Random("memory")), 300):
        judge.judge(data, name, most_memory=MOST_MEMORY)


def test_a_card_of_damaged_files(tmp_path: Path, files: dict[str, bytes]) -> None:
    names = []
    for number, (name, data) in enumerate(islice(mutants(files, random.Random("card")), 300)):
        names.append(f"{number:04d}_{name}")
        (tmp_path / names[-1]).write_bytes(data)
    result = reading.read_frames(tmp_path, names, Settings())
    ends = [file for frame in result.frames for file in (frame.file, *frame.companions)]
    ends += [*(item.file for item in result.unread), *result.ignored]
    assert sorted(ends) == sorted(names)


# ---- bombs: each was, or could be, the end of a reader


FTYP = box(b"ftyp", b"heic\0\0\0\0mif1heic")


def loop_of_directories() -> bytes:
    data = bytearray(tiff({0x0110: "Q5"}))
    count = struct.unpack_from("<H", data, 8)[0]
    struct.pack_into("<I", data, 10 + 12 * count, 8)  # the next directory is the first one
    return bytes(data)


def everything_points_to_the_first_directory() -> bytes:
    entries: Directory = {0x0110: "Q5", 0x8769: 8, 0x8825: 8, 0xA005: 8, 0x014A: 8, 0x927C: 8}
    return tiff(entries)


def many_subdirectories() -> bytes:
    return tiff({0x0110: "Q5", 0x014A: [8 + 2 * n for n in range(5000)]})


def giant_counts() -> bytes:
    tags = (0x010F, 0x0110, 0x0132, 0x014A, 0x0111, 0x0117, 0x0144, 0x0145, 0x02BC, 0x8769, 0x8825)
    return tiff({tag: Typed(kind, 0xFFFFFFFF, b"\x08\0\0\0") for kind, tag in enumerate(tags, 1)})


def a_directory_of_65535_entries() -> bytes:
    return b"II*\0\x08\0\0\0\xff\xff" + struct.pack("<HHII", 0x0110, 2, 8000, 8) * 70_000


def the_same_long_tag_two_thousand_times(kind: int = 12, count: int = 8192) -> bytes:
    entry = struct.pack("<HHII", 0x829A, kind, count, 8)
    return b"II*\0\x08\0\0\0" + struct.pack("<H", 2000) + entry * 2000 + bytes(70_000)


def long_rationals_everywhere() -> bytes:
    tags = (0x829A, 0x829D, 0x9201, 0x9202, 0x9204, 0x9206, 0x920A, 0xA20E, 0xA20F, 0xA404, 0xA432)
    exif = {tag: Typed(5, 8192, b"\x08\0\0\0") for tag in tags}
    return tiff({0x0110: "Q5", 0x8769: exif}) + bytes(70_000)


def many_strips() -> bytes:
    places = Typed(4, 65_536, b"\x08\0\0\0")
    picture: Directory = {
        0x0100: 9, 0x0101: 9, 0x0103: short(7), 0x0111: places, 0x0117: places,
    }  # fmt: skip
    return tiff({**picture, 0x014A: tuple(picture for _ in range(14))}) + bytes(300_000)


def empty_segments() -> bytes:
    return b"\xff\xd8" + b"\xff\xe0\0\2" * 300_000 + jpeg_bytes()[2:]


def fill_bytes() -> bytes:
    return b"\xff\xd8" + b"\xff" * 2_000_000 + jpeg_bytes()[2:]


def segments_of_no_length() -> bytes:
    return b"\xff\xd8" + b"\xff\xe1\0\0" * 300_000


def exif_segments() -> bytes:
    segment = b"\xff\xe1" + struct.pack(">H", 10) + b"Exif\0\0\0\0"
    return b"\xff\xd8" + segment * 4000 + jpeg_bytes()[2:]


def a_picture_without_end() -> bytes:
    data = jpeg_bytes()
    return data[: data.index(b"\xff\xda") + 14] + bytes(70 << 20)


def boxes_within_boxes() -> bytes:
    data = b""
    for _ in range(20_000):
        data = struct.pack(">I4s", len(data) + 8, b"moov") + data
        if len(data) > 160_000:
            break
    return box(b"ftyp", b"crx \0\0\0\1crx isom") + data


def empty_boxes() -> bytes:
    return FTYP + box(b"free") * 200_000


def boxes_of_no_length() -> bytes:
    return FTYP + bytes(200_000)


def a_box_longer_than_any_file() -> bytes:
    return FTYP + struct.pack(">I4sQ", 1, b"meta", (1 << 64) - 1)


def heif(*parts: bytes) -> bytes:
    return FTYP + box(b"meta", bytes(4), *parts)


def stretches_without_bytes() -> bytes:
    item = struct.pack(">HHH", 1, 0, 0xFFFF)  # 65,535 stretches, each written in no bytes
    return heif(box(b"iloc", bytes(4), b"\0\0", struct.pack(">H", 8192), item * 8192))


def ties_to_one_great_property() -> bytes:
    shelf = box(b"ipco", box(b"ispe", bytes(4), struct.pack(">II", 40, 30), bytes(3 << 20)))
    ties = b"".join(struct.pack(">HB", n, 255) + b"\1" * 255 for n in range(8192))
    return heif(box(b"iprp", shelf, box(b"ipma", bytes(4), struct.pack(">I", 8192), ties)))


def exif_items_without_end() -> bytes:
    count = 4000
    kinds = b"".join(
        box(b"infe", b"\2\0\0\0", struct.pack(">HH", n, 0), b"Exif\0") for n in range(1, count)
    )
    places = b"".join(struct.pack(">HHHII", n, 0, 1, 100, 3 << 20) for n in range(1, count))
    return heif(
        box(b"iinf", bytes(4), struct.pack(">H", count), kinds),
        box(b"iloc", bytes(4), b"\x44\0", struct.pack(">H", count - 1), places),
    ) + bytes(4 << 20)


def thumbnails_without_end() -> bytes:
    count = 4000
    kinds = b"".join(
        box(b"infe", b"\2\0\0\0", struct.pack(">HH", n, 0), b"jpeg\0") for n in range(1, count)
    )
    jpeg = b"\xff\xd8" + b"\xff\xe0\0\2" * 4000
    places = b"".join(
        struct.pack(">HHHII", n, 0, 1, len(FTYP) + 8, len(jpeg)) for n in range(1, count)
    )
    shown = b"".join(box(b"thmb", struct.pack(">HHH", n, 1, 1)) for n in range(2, count))
    parts = heif(
        box(b"pitm", bytes(4), struct.pack(">H", 1)),
        box(b"iinf", bytes(4), struct.pack(">H", count), kinds),
        box(b"iloc", bytes(4), b"\x44\0", struct.pack(">H", count - 1), places),
        box(b"iref", bytes(4), shown),
    )
    return FTYP + box(b"mdat", jpeg) + parts[len(FTYP) :]


def chunk(name: bytes, data: bytes = b"") -> bytes:
    return struct.pack(">I4s", len(data), name) + data + bytes(4)


PNG = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">II", 9, 9) + bytes(5))


def empty_chunks() -> bytes:
    return PNG + chunk(b"tEXt") * 100_000 + chunk(b"IEND")


def exif_chunks() -> bytes:
    return PNG + chunk(b"eXIf", tiff({0x0110: "Q5"})) * 60_000 + chunk(b"IEND")


def exif_in_webp() -> bytes:
    block = tiff(dict.fromkeys(range(256, 320), "Q5"))
    part = b"EXIF" + struct.pack("<I", len(block)) + block + b"\0" * (len(block) % 2)
    body = b"WEBPVP8X" + struct.pack("<I", 10) + bytes(10) + part * 4000
    return b"RIFF" + struct.pack("<I", len(body)) + body


def exif_in_jxl() -> bytes:
    block = tiff(dict.fromkeys(range(256, 320), "Q5"))
    return box(b"JXL ", b"\r\n\x87\n") + box(b"Exif", bytes(4), block) * 4000


def a_long_packet() -> bytes:
    packet = b"GimbalYawDegree GimbalPitchDegree GimbalRollDegree ProjectionType" + b"a" * (1 << 20)
    return tiff({0x0110: "Q5", 0x02BC: packet})


def a_packet_of_prefixes() -> bytes:
    packet = b"q:GimbalYawDegree q:GimbalPitchDegree " + b"aaaa-aaa_" * (110 << 10)
    return tiff({0x0110: "Q5", 0x02BC: packet})


def a_packet_of_names() -> bytes:
    return tiff({0x0110: "Q5", 0x02BC: b' q:GimbalYawDegree="' * 50_000})


def inner_jpegs() -> bytes:
    inner = b"\xff\xd8" + b"\xff\xe0\0\2" * 4000
    picture: Directory = {0x0201: Blob(inner), 0x0202: len(inner)}
    return tiff({0x0110: "Q5", **picture, 0x014A: tuple(picture for _ in range(14))})


def raf_that_points_at_itself() -> bytes:
    return b"FUJIFILMCCD-RAW 0201".ljust(84, b"\0") + struct.pack(">6I", 0, 108, 0, 108, 0, 108)


def mrw_of_empty_blocks() -> bytes:
    return b"\0MRM" + struct.pack(">I", 800_000) + b"\0PAD\0\0\0\0" * 100_000 + bytes(500)


BOMBS = (
    loop_of_directories, everything_points_to_the_first_directory, many_subdirectories,
    giant_counts, a_directory_of_65535_entries, the_same_long_tag_two_thousand_times,
    long_rationals_everywhere, many_strips, empty_segments, fill_bytes, segments_of_no_length,
    exif_segments, a_picture_without_end, boxes_within_boxes, empty_boxes, boxes_of_no_length,
    a_box_longer_than_any_file, stretches_without_bytes, ties_to_one_great_property,
    exif_items_without_end, thumbnails_without_end, empty_chunks, exif_chunks, exif_in_webp,
    exif_in_jxl, a_long_packet, a_packet_of_prefixes, a_packet_of_names, inner_jpegs,
    raf_that_points_at_itself, mrw_of_empty_blocks,
)  # fmt: skip


@pytest.mark.parametrize("bomb", BOMBS, ids=lambda bomb: bomb.__name__)
def test_bombs(judge: Judge, bomb: reading.Callable[[], bytes]) -> None:
    data = bomb()
    assert isinstance(judge.judge(data, "QMK_0001.JPG"), Frame | Unread)
    judge.judge(data, "QMK_0001.JPG", most_memory=MOST_MEMORY)


def test_a_bug_in_a_reader_costs_its_file_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / "A.JPG").write_bytes(jpeg_bytes())

    def broken(*_: object, **__: object) -> None:
        raise struct.error("unpack requires a buffer of 4 bytes")

    monkeypatch.setattr(reading, "read_strictly", broken)
    with caplog.at_level(logging.WARNING):
        outcome = read_one(tmp_path, "A.JPG", settings=Settings())
    assert isinstance(outcome, Unread)
    assert outcome.reason == "damaged"
    assert "A.JPG" in caplog.text


def test_the_judge_sees_what_is_wrong(judge: Judge, monkeypatch: pytest.MonkeyPatch) -> None:
    def slow(*_: object) -> int:
        end = time.process_time() + 1.1
        while time.process_time() < end:
            pass
        return 1

    monkeypatch.setattr("grouper.read.exif.orientation_of", slow)
    with pytest.raises(AssertionError, match="it took"):
        judge.judge(SMALL, "A.JPG")
    monkeypatch.setattr("grouper.read.exif.orientation_of", lambda *_: 9)
    with pytest.raises(AssertionError):
        judge.judge(SMALL, "A.JPG")
    monkeypatch.setattr("grouper.read.exif.orientation_of", lambda *_: 1 // 0)
    with pytest.raises(ZeroDivisionError):
        judge.judge(SMALL, "A.JPG")
