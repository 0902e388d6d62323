"""Maker notes: direct look-ups, on notes built as the makers lay them out.

Places and meanings: tag tables of the exiv2 library (0.28). Agreement with that library on
real files is in test_agreement.py.
"""

from __future__ import annotations

import io
import struct
from typing import Any

import pytest

from grouper.read.maker import Note, note_of
from grouper.read.source import Source
from grouper.read.tags import parse_block
from tests.read.files import Typed, short, tiff


def shorts(*values: int, order: str = "<") -> Typed:
    return Typed(3, len(values), struct.pack(f"{order}{len(values)}H", *values))


def ascii_(value: str) -> Typed:
    data = value.encode() + b"\0"
    return Typed(2, len(data), data)


def directory(entries: dict[int, Typed], start: int, order: str = "<") -> bytes:
    """A directory whose pointers count from ``start`` bytes before it."""
    head = struct.pack(order + "H", len(entries))
    at = start + 2 + 12 * len(entries) + 4
    fields, rest = b"", b""
    for tag, item in sorted(entries.items()):
        data = item.packed
        if len(data) > 4:
            place = struct.pack(order + "I", at + len(rest))
            rest += data
        else:
            place = data.ljust(4, b"\0")
        fields += struct.pack(order + "HHI", tag, item.kind, item.count) + place
    return head + fields + bytes(4) + rest


def note_in(make: str, build: Any) -> Note:
    """Put a note into a file; ``build`` gets the offset it will have in the block."""
    prefix = b"some bytes of a container before the block"
    probe = tiff({0x010F: make, 0x8769: {0x927C: build(0)}})
    span = next(iter(parse_block(io.BytesIO(probe)).spans.values()))
    block = tiff({0x010F: make, 0x8769: {0x927C: build(span.offset)}})
    data = prefix + block
    tags = parse_block(io.BytesIO(block), base=len(prefix))
    return note_of(tags, Source(io.BytesIO(data), len(data)).at)


def canon(camera: list[int], shot: list[int] | None = None, **more: Typed) -> Any:
    entries = {0x0001: shorts(*camera), 0x0095: ascii_("Quillmark 24-70"), 0x000C: long(417)}
    if shot:
        entries[0x0004] = shorts(*shot)
    if "info" in more:
        entries[0x0093] = more["info"]
    return lambda at: directory(entries, at)


def long(value: int) -> Typed:
    return Typed(4, 1, struct.pack("<I", value))


CAMERA = [0] * 32


def camera(**changes: int) -> list[int]:
    values = list(CAMERA)
    for place, value in changes.items():
        values[int(place[1:])] = value
    return values


@pytest.mark.parametrize(
    ("build", "expected"),
    [
        pytest.param(
            canon(camera(_7=3, _16=0x4000 | 200)),
            Note(serial="417", lens="Quillmark 24-70", iso=200.0, iso_auto=False, focus_auto=False),
            id="manual-focus-set-iso",
        ),
        pytest.param(
            canon(camera(_7=0, _16=15)),
            Note(serial="417", lens="Quillmark 24-70", iso_auto=True, focus_auto=True),
            id="automatic",
        ),
        pytest.param(
            canon(camera(_16=17), shot=[0] * 16 + [0xFFFF]),
            Note(
                serial="417", lens="Quillmark 24-70", iso=100.0, iso_auto=False, focus_auto=True,
                bracketing=True,
            ),
            id="exposure-bracketing",
        ),
        pytest.param(
            canon(camera(_16=17), info=shorts(*[0] * 3, 2, 0, 4, *[0] * 14, 300, 200)),
            Note(
                serial="417", lens="Quillmark 24-70", iso=100.0, iso_auto=False, focus_auto=True,
                bracketing=False, burst_number=4, focus_m=2.5,
            ),
            id="focus-bracketing-and-distance",
        ),
    ],
)  # fmt: skip
def test_canon(build: Any, expected: Note) -> None:
    assert note_in("Canon", build) == expected


def test_nikon() -> None:
    entries = {
        0x0002: shorts(0, 400, order=">"),
        0x0007: ascii_("MANUAL"),
        0x001D: ascii_("5005001"),
        0x0089: Typed(3, 1, struct.pack(">H", 0x11)),
        0x00A7: Typed(4, 1, struct.pack(">I", 3619)),
        0x0084: Typed(5, 4, struct.pack(">8I", 24, 1, 70, 1, 28, 10, 4, 1)),
    }

    def build(_: int) -> bytes:
        inner = b"MM\0*" + struct.pack(">I", 8) + directory(entries, 8, ">")
        return b"Nikon\0\x02\x10\0\0" + inner

    assert note_in("NIKON CORPORATION", build) == Note(
        serial="5005001",
        lens="24-70 mm f/2.8-4",
        iso=400.0,
        focus_auto=False,
        bracketing=True,
        shutter_count=3619,
    )


@pytest.mark.parametrize(("release", "bracketing"), [(5, True), (2, False)])
def test_sony(release: int, bracketing: bool) -> None:
    entries = {0xB049: short(release), 0xB04A: short(3)}
    note = note_in("SONY", lambda at: b"SONY DSC \0\0\0" + directory(entries, at + 12))
    assert note == Note(bracketing=bracketing, burst_number=3)


def test_fujifilm() -> None:
    entries = {
        0x0010: ascii_("FQ 5005001"),
        0x1021: short(1),
        0x1100: short(1),
        0x1101: short(2),
        0x144D: Typed(10, 1, struct.pack("<ii", -15, 10)),
    }
    note = note_in(
        "FUJIFILM", lambda _: b"FUJIFILM" + struct.pack("<I", 12) + directory(entries, 12)
    )
    assert note == Note(
        serial="FQ 5005001", focus_auto=False, bracketing=True, burst_number=2, roll_deg=-1.5
    )


def test_panasonic() -> None:
    entries = {
        0x0007: short(2),
        0x0025: ascii_("5005001"),
        0x002B: long(2),
        0x0045: short(3),
        0x0090: short(0xFFF6),  # -10: a degree anticlockwise
        0x0091: short(25),  # stored with the opposite sign
    }
    note = note_in("Panasonic", lambda at: b"Panasonic\0\0\0" + directory(entries, at + 12))
    assert note == Note(
        serial="5005001",
        focus_auto=False,
        bracketing=True,
        burst_number=2,
        roll_deg=-1.0,
        pitch_deg=-2.5,
    )


def test_olympus() -> None:
    settings = {
        0x0600: shorts(5, 2, 1),
        0x0903: Typed(8, 2, struct.pack("<hh", 12, 1)),
        0x0904: Typed(8, 2, struct.pack("<hh", -34, 1)),
    }
    outer_length = 12 + 2 + 12 + 4

    def build(_: int) -> bytes:
        outer = directory({0x2020: Typed(13, 1, struct.pack("<I", outer_length))}, 12)
        return b"OLYMPUS\0II\x03\0" + outer + directory(settings, outer_length)

    assert note_in("OLYMPUS CORPORATION", build) == Note(
        bracketing=True, burst_number=2, roll_deg=-1.2, pitch_deg=-3.4
    )


def test_a_level_that_was_off_says_nothing() -> None:
    settings = {0x0903: Typed(8, 2, struct.pack("<hh", 0, 0))}

    def build(_: int) -> bytes:
        outer = directory({0x2020: Typed(13, 1, struct.pack("<I", 30))}, 12)
        return b"OLYMPUS\0II\x03\0" + outer + directory(settings, 30)

    assert note_in("OLYMPUS CORPORATION", build) == Note()


@pytest.mark.parametrize("make", ["Canon", "NIKON", "SONY", "FUJIFILM", "OLYMPUS", "Panasonic"])
@pytest.mark.parametrize(
    "note",
    [
        pytest.param(b"", id="empty"),
        pytest.param(b"\xff" * 64, id="ones"),
        pytest.param(bytes(64), id="zeros"),
        pytest.param(b"Nikon\0\x02\x10\0\0MM\0*\xff\xff\xff\xff" + bytes(20), id="far-away"),
        pytest.param(b"FUJIFILM\xff\xff\xff\x7f" + bytes(20), id="beyond-the-end"),
        pytest.param(b"OLYMPUS\0II\x03\0\x01\0" + bytes(20), id="one-empty-entry"),
    ],
)
def test_rubbish_says_nothing(make: str, note: bytes) -> None:
    assert note_in(make, lambda _: note) == Note()


def test_makers_without_a_look_up() -> None:
    assert note_in("Quillmark", canon(camera(_16=17))) == Note()
