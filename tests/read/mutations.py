"""Bytes that no camera wrote, and a judge of what readers make of them.

``seeds`` are small whole files of every format and maker note; ``mutants`` damages them with a
seeded dice: bits and words, sizes and offsets that loop or reach far out, parts cut, doubled,
padded or crossed with another file. ``judge`` reads the result and checks what must hold of any
bytes whatever.
"""

from __future__ import annotations

import io
import json
import math
import random
import re
import struct
import sys
import time
import tracemalloc
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields
from datetime import datetime
from pathlib import Path
from typing import Any, get_args
from unittest.mock import patch

from PIL import Image

from grouper import read
from grouper.errors import UnreadableFile
from grouper.model import Attitude, Frame, PictureSource, Unread, UnreadReason
from grouper.read import READERS, Outcome, cache, read_strictly
from grouper.read.source import MOST_BYTES, Source
from grouper.read.strips import SMALL_RGB
from grouper.settings import Settings
from tests.read.containers import (
    SMALL,
    cr3,
    heif_with_thumbnail,
    jxl,
    mrw,
    raf,
    rgb,
    with_further,
)
from tests.read.files import (
    Blob,
    Typed,
    exif_of,
    jpeg_bytes,
    rational,
    raw_bytes,
    short,
    tiff,
    with_thumbnail,
)
from tests.read.test_maker import ascii_, directory, long, shorts

MOST_SECONDS = 1.0
"""Processor time a file may take."""
MOST_READ = 100 << 20
"""Bytes read of one file in all: the longest stretch searched for the end of a picture is 64 MiB,
and metadata blocks are some MiB."""
MOST_READS = 200_000

XMP = (
    b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta xmlns:g='http://ns.google.com/photos/1.0/panorama/'"
    b" xmlns:e='http://ns.adobe.com/exif/1.0/' e:DateTimeOriginal='2026-03-14T09:14:12' "
    b"g:ProjectionType='cylindrical' q:GimbalYawDegree='+5.0' q:GimbalPitchDegree='-30'/>"
)


def _noted(make: str, note: bytes) -> bytes:
    """A raw with a maker note whose own pointers were made for the place it has."""
    return raw_bytes(make=make, preview=SMALL, exif={0x927C: note})


def _note_at(make: str, build: Callable[[int], bytes]) -> bytes:
    probe = _noted(make, build(0))
    return _noted(make, build(probe.index(build(0)[:12])))


def _notes() -> dict[str, bytes]:
    canon = {
        0x0001: shorts(*range(0x20)), 0x0004: shorts(*range(0x20)), 0x0093: shorts(*range(0x20)),
        0x0095: ascii_("Quillmark 24-70"), 0x000C: long(417),
    }  # fmt: skip
    nikon = {
        0x0002: shorts(0, 400, order=">"), 0x0007: ascii_("MANUAL"), 0x001D: ascii_("5005001"),
        0x00A7: Typed(4, 1, struct.pack(">I", 3619)),
        0x0084: Typed(5, 4, struct.pack(">8I", 24, 1, 70, 1, 28, 10, 4, 1)),
    }  # fmt: skip
    fuji = {0x0010: ascii_("FQ 500"), 0x1021: short(1), 0x1100: short(1),
            0x144D: Typed(10, 1, struct.pack("<ii", -15, 10))}  # fmt: skip
    panasonic = {0x0007: short(2), 0x0025: ascii_("5005001"), 0x0045: short(3), 0x0090: short(9)}
    olympus = {0x0600: shorts(5, 2, 1), 0x0101: long(200), 0x0102: long(99),
               0x0903: Typed(8, 2, struct.pack("<hh", 12, 1)),
               0x0904: Typed(8, 2, struct.pack("<hh", -34, 1))}  # fmt: skip
    minolta = {0x0088: long(100), 0x0089: long(len(SMALL))}
    outer = directory({0x2020: Typed(13, 1, struct.pack("<I", 30))}, 12)
    return {
        "canon.cr2": _note_at("Canon", lambda at: directory(canon, at)),
        "nikon.nef": _noted(
            "NIKON",
            b"Nikon\0\x02\x10\0\0MM\0*" + struct.pack(">I", 8) + directory(nikon, 8, ">"),
        ),
        "sony.arw": _note_at(
            "SONY", lambda at: b"SONY DSC \0\0\0" + directory({0xB049: short(5)}, at + 12)
        ),
        "fuji.dng": _noted("FUJIFILM", b"FUJIFILM" + struct.pack("<I", 12) + directory(fuji, 12)),
        "olympus.orf": _noted(
            "OLYMPUS", b"OLYMPUS\0II\x03\0" + outer + directory(olympus, 12 + len(outer))
        ),
        "panasonic.rw2": _note_at(
            "Panasonic", lambda at: b"Panasonic\0\0\0" + directory(panasonic, at + 12)
        ),
        "minolta.dng": _note_at("Minolta", lambda at: directory(minolta, at)),
    }


def _saved(suffix: str, exif: bytes, **how: Any) -> bytes:
    stream = io.BytesIO()
    Image.linear_gradient("L").resize((96, 64)).convert("RGB").save(
        stream, suffix, exif=exif, **how
    )
    return stream.getvalue()


def seeds() -> dict[str, bytes]:
    """Whole files by name, the same in every run."""
    exif = exif_of(
        subsec="310",
        offset="+02:00",
        size=(6000, 4000),
        orientation=6,
        image={0x0131: "Q5 v1.2", 0x0132: "2026:03:14 10:00:00"},
        exif={
            0x8822: 3, 0xA402: 2, 0x9206: rational(2.5), 0x9405: rational(-12.5), 0xA460: 2,
            0xA20E: rational(1666.7), 0xA20F: rational(1666.7), 0xA210: 3,
        },
        gps={0x01: "N", 0x02: (rational(47), rational(30), rational(36)),
             0x03: "E", 0x04: (rational(13), rational(30), rational(36)), 0x11: rational(90)},
    ).tobytes()  # fmt: skip
    photo = jpeg_bytes(exif=with_thumbnail(exif, SMALL))
    packed = b"\xff\xe1" + struct.pack(">H", len(XMP) + 2) + XMP
    inner = jpeg_bytes(exif=exif)
    return {
        "photo.jpg": photo,
        "xmp.jpg": photo[:2] + packed + photo[2:],
        "bare.jpg": jpeg_bytes(),
        "two.mpo": photo + jpeg_bytes(shade=10),
        "raw.nef": raw_bytes(preview=SMALL, subsec="5"),
        "other.nef": raw_bytes(preview=SMALL, order=">"),
        "inner.rw2": tiff({0x002E: inner, 0x0004: 0, 0x0005: 0, 0x0006: 400, 0x0007: 600},
                          magic=b"IIU\0"),
        "strips.tif": tiff(
            {0x0100: 96, 0x0101: 64, 0x0103: short(7), 0x0111: Blob(SMALL), 0x0117: len(SMALL),
             0x02BC: XMP}
        ),
        "raw.cr3": cr3(),
        "raw.raf": raf(photo),
        "raw.mrw": mrw(tiff({0x0110: "Q5", 0x0100: 3272, 0x0101: 2456, 0x8769: {0x920A: 24.0}},
                            order=">")),
        "photo.heic": heif_with_thumbnail(SMALL)[0],
        "photo.avif": _saved("AVIF", exif),
        "photo.png": _saved("PNG", exif),
        "photo.webp": _saved("WEBP", exif),
        "photo.jxl": jxl(exif[6:]),
        "further.jpg": with_further(jpeg_bytes(exif=exif), [(0x010001, SMALL), (0x020001, SMALL)]),
        "rgb.nef": tiff({0x010F: "Quillmark", 0x0110: "Q5", **rgb()}),
        "crop.dng": tiff({0x0110: "Q5", 0xC620: Typed(5, 2, struct.pack("<4I", 300, 1, 200, 1)),
                          0x0201: Blob(SMALL), 0x0202: len(SMALL)}),
        **_notes(),
    }  # fmt: skip


# ---- damage

HEAD = 3000
"""Metadata stand within the first bytes of the seeds; most damage is done there."""


def _place(data: bytes | bytearray, dice: random.Random) -> int:
    return dice.randrange(min(len(data), HEAD) if dice.random() < 0.8 else len(data))


def flip(data: bytearray, dice: random.Random) -> None:
    """Other bytes in a few places."""
    for _ in range(dice.randint(1, 20)):
        data[_place(data, dice)] = dice.randrange(256)


def words(data: bytearray, dice: random.Random) -> None:
    """Numbers of two to eight bytes that are at an edge, or point somewhere in the file."""
    for _ in range(dice.randint(1, 6)):
        width = dice.choice((2, 4, 4, 4, 8))
        at = _place(data, dice)
        most = (1 << 8 * width) - 1
        value = dice.choice((
            0, 1, 2, 8, most, most >> 1, (most >> 1) + 1, most - 7, len(data), len(data) - 1, at,
            max(at - 2, 0), at + width, dice.randrange(len(data) + 1), 0xFFFF, 65_536, 8192, 2000,
            1 << 24,
        )) & most  # fmt: skip
        data[at : at + width] = value.to_bytes(width, dice.choice(("little", "big")))


def cut(data: bytearray, dice: random.Random) -> None:
    """The end is missing."""
    del data[dice.randrange(1, len(data) + 1) :]


def squeeze(data: bytearray, dice: random.Random) -> None:
    """Bytes are missing in the middle, so all behind them moves."""
    at = _place(data, dice)
    del data[at : at + dice.randint(1, 40)]


def pad(data: bytearray, dice: random.Random) -> None:
    """Zeros, ones or rubbish in between, up to some ten KiB."""
    at = _place(data, dice)
    length = dice.choice((1, 2, 12, 300, 20_000))
    data[at:at] = dice.choice((bytes(length), b"\xff" * length, dice.randbytes(length)))


def blank(data: bytearray, dice: random.Random) -> None:
    """Zeros or ones over a stretch."""
    at = _place(data, dice)
    length = min(dice.randint(1, 600), len(data) - at)
    data[at : at + length] = dice.choice((b"\0", b"\xff")) * length


def double(data: bytearray, dice: random.Random) -> None:
    """A stretch again, once or many times: entries, boxes, segments that repeat."""
    at = _place(data, dice)
    part = bytes(data[at : at + dice.choice((2, 8, 12, 12, 24, 64, 400))])
    data[at:at] = part * dice.choice((1, 1, 2, 40, 400))


def move(data: bytearray, dice: random.Random) -> None:
    """A stretch of the file over another place of it."""
    source, target = _place(data, dice), _place(data, dice)
    part = bytes(data[source : source + dice.randint(4, 200)])
    data[target : target + len(part)] = part


DAMAGES = (flip, words, words, words, cut, squeeze, pad, blank, double, move)


def cross(data: bytearray, other: bytes, dice: random.Random) -> None:
    """The beginning of one file, the rest of another."""
    data[_place(data, dice) :] = other[dice.randrange(len(other)) :]


def mutants(files: Mapping[str, bytes], dice: random.Random) -> Iterator[tuple[str, bytes]]:
    """Damaged files without end: the name of the seed, and its bytes now."""
    names = sorted(files)
    while True:
        name = dice.choice(names)
        data = bytearray(files[name])
        for _ in range(dice.choice((1, 1, 1, 2, 3))):
            if dice.random() < 0.05:
                cross(data, files[dice.choice(names)], dice)
            elif data:
                dice.choice(DAMAGES)(data, dice)
        yield name, bytes(data)


# ---- the judge


class Watched(io.BytesIO):
    """A file whose reads are counted; none may be unbounded or before its start."""

    def __init__(self, data: bytes) -> None:
        super().__init__(data)
        self.reads = 0
        self.bytes_read = 0

    def read(self, length: int | None = -1, /) -> bytes:
        """Read, as long as it is a bounded number of bytes."""
        assert length is not None, "a read without end"
        assert 0 <= length <= MOST_BYTES, f"a read of {length} bytes"
        data = super().read(length)
        self.reads += 1
        self.bytes_read += len(data)
        return data

    def seek(self, offset: int, whence: int = 0, /) -> int:
        """Seek, as long as a file of the disk would allow it."""
        assert whence == 0
        assert 0 <= offset < 1 << 63, f"a seek to {offset}"
        return super().seek(offset, whence)


class Judge:
    """Reads bytes as if they were a file, and sees that all is well. A context manager.

    Within it every reader opens the bytes that are being judged, whatever the name.
    """

    def __init__(self) -> None:
        self._stream, self._size = Watched(b""), 0
        self._patches = [
            patch.object(module, "open_source", self._open)
            for module in (read, *(sys.modules[reader.read.__module__] for reader in READERS))
        ]

    def __enter__(self) -> Judge:
        for one in self._patches:
            one.start()
        return self

    def __exit__(self, *_: object) -> None:
        for one in self._patches:
            one.stop()

    @contextmanager
    def _open(self, root: Path, file: str) -> Iterator[Source]:
        del root, file
        if not self._size:
            raise UnreadableFile("empty", "the file has no bytes")
        yield Source(self._stream, self._size)

    def judge(self, data: bytes, name: str, *, most_memory: int | None = None) -> Outcome:
        """Read a file of those bytes.

        Args:
            data: the bytes.
            name: the file's name.
            most_memory: bytes that may be allocated, which takes some time to count.

        Raises:
            AssertionError: it took too long, read too much, or the frame makes no sense.
            Exception: whatever a reader raised that it must not.
        """
        self._stream, self._size = Watched(data), len(data)
        if most_memory is not None:
            tracemalloc.start()
        start = time.process_time()
        try:
            outcome = read_strictly(Path(), name, settings=Settings())
            seconds = time.process_time() - start
            peak = tracemalloc.get_traced_memory()[1] if most_memory is not None else 0
        finally:
            tracemalloc.stop()
        assert most_memory is None or peak <= most_memory, f"{peak >> 20} MiB were allocated"
        assert most_memory is not None or seconds < MOST_SECONDS, f"it took {seconds:.1f} s"
        assert self._stream.bytes_read < MOST_READ, f"{self._stream.bytes_read} bytes were read"
        assert self._stream.reads < MOST_READS, f"{self._stream.reads} reads"
        if isinstance(outcome, Frame):
            check_frame(outcome, data)
        elif outcome is not None:
            assert isinstance(outcome, Unread)
            assert outcome.reason in get_args(UnreadReason)
            assert outcome.detail
        return outcome


PLAIN = (str, int, float, bool, tuple, datetime, type(None), Attitude, PictureSource)


def check_frame(frame: Frame, data: bytes) -> None:
    """What holds of every frame, whatever it was read from.

    Raises:
        AssertionError: it does not.
    """
    for item in fields(frame):
        value = getattr(frame, item.name)
        assert type(value) in PLAIN, (item.name, value)
        if isinstance(value, float):
            assert math.isfinite(value) or (item.name == "focus_m" and value > 0), item.name
        if isinstance(value, str):
            value.encode("utf-8")
            assert not re.search(r"[\0-\x1f\x7f\u202a-\u202e\u2066-\u2069]", value), item.name
    assert frame.orientation in range(1, 9)
    assert frame.size_bytes == len(data)
    for name in ("exposure_s", "aperture_f", "iso", "focal_mm", "focus_m", "width_px", "height_px"):
        assert getattr(frame, name) is None or getattr(frame, name) > 0, name
    assert frame.taken is None or frame.taken.year >= 1900
    assert 0 < frame.taken_resolution_s <= 1
    assert frame.latitude_deg is None or -90 <= frame.latitude_deg <= 90
    assert frame.longitude_deg is None or -180 <= frame.longitude_deg <= 180
    if frame.attitude is not None:
        angles = (frame.attitude.yaw_deg, frame.attitude.pitch_deg, frame.attitude.roll_deg)
        assert all(angle is None or math.isfinite(angle) for angle in angles)
    if frame.picture is not None and frame.picture.offset is not None:
        start, length = frame.picture.offset, frame.picture.length
        assert length is not None
        assert 0 <= start < start + length <= len(data)
        assert data[start : start + 2] == b"\xff\xd8" or length in SMALL_RGB.values()
    packed = cache._packed(frame)[0]
    assert cache._frame(packed, frame.file, frame.folder, frame.folder_number) == frame
    json.loads(packed)
