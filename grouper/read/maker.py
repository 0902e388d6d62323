"""The few things we use of maker notes, looked up directly.

Decoding a whole note costs up to 15 ms; here one directory of 12-byte entries is read and
only the entries asked for are followed. Where the tags lie and what they mean is as in the
tag tables of the exiv2 library (0.28); a note that is not as expected gives an empty record.
Everything here is a bonus: grouping must work without it.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from grouper.read.tags import EXIF, IMAGE, Span, Tags

Fetch = Callable[[int, int], bytes]
"""Reads up to so many bytes at an absolute offset of the file."""

MOST_ENTRIES: Final = 512
"""Entries in a note's directory: notes have up to about 150."""
MOST_BYTES: Final = 4096
"""Bytes of one value that is followed; the arrays used are far shorter."""

_FORMATS: Final = {
    1: "B",
    2: "s",
    3: "H",
    4: "I",
    5: "II",
    6: "b",
    7: "B",
    8: "h",
    9: "i",
    10: "ii",
    13: "I",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What was found in a maker note. Anything may be unknown."""

    serial: str | None = None
    lens: str | None = None
    iso: float | None = None
    iso_auto: bool | None = None
    focus_auto: bool | None = None
    focus_m: float | None = None
    bracketing: bool | None = None
    white_balance: str | None = None
    shutter_count: int | None = None
    burst_number: int | None = None
    pitch_deg: float | None = None
    """Upwards positive."""
    roll_deg: float | None = None
    """Clockwise as seen from behind the camera positive."""
    jpegs: tuple[tuple[int, int], ...] = ()
    """Absolute offset and length of what the note calls a JPEG; to be looked at before use."""


@dataclass(frozen=True, slots=True)
class _Directory:
    """A note's directory: entries as (type, count, absolute offset of the value)."""

    fetch: Fetch
    order: str
    entries: Mapping[int, tuple[int, int, int]]

    def whole(self, tag: int) -> list[int]:
        """The whole numbers under a tag; empty where there are none. Rationals give pairs."""
        kind, count, offset = self.entries.get(tag, (0, 0, 0))
        letters = _FORMATS.get(kind)
        if letters is None or letters == "s":
            return []
        one = struct.calcsize("<" + letters)
        data = self.fetch(offset, min(count * one, MOST_BYTES))
        count = len(data) // one
        return list(struct.unpack(self.order + letters * count, data[: count * one]))

    def first(self, tag: int) -> int | None:
        """The first whole number under a tag."""
        return next(iter(self.whole(tag)), None)

    def text(self, tag: int) -> str | None:
        """Printable ASCII under a tag."""
        kind, count, offset = self.entries.get(tag, (0, 0, 0))
        if kind not in (1, 2, 7):
            return None
        data = self.fetch(offset, min(count, 128)).lstrip(b"\0").split(b"\0", 1)[0]
        return "".join(chr(byte) for byte in data if 32 <= byte < 127).strip() or None


def read_note(make: str | None, span: Span | None, order: str, base: int, fetch: Fetch) -> Note:
    """Look into a maker note.

    Args:
        make: maker as the picture names it.
        span: where the note lies in the file.
        order: byte order of the TIFF block, "<" or ">".
        base: absolute offset of the TIFF header, from which most makers count.
        fetch: reads the file.
    """
    name = (make or "").upper()
    look = next((function for start, function in _MAKERS if name.startswith(start)), None)
    if look is None or span is None or span.length < 16:
        return Note()
    return look(span, order, base, fetch)


def note_of(tags: Tags, fetch: Fetch) -> Note:
    """Look into the maker note of a TIFF block, if it has one."""
    return read_note(
        tags.text(IMAGE, 0x010F), tags.spans.get((EXIF, 0x927C)), tags.order, tags.base, fetch
    )


def _directory(fetch: Fetch, order: str, at: int, origin: int) -> _Directory:
    """Read the directory at an absolute offset; its pointers count from ``origin``."""
    head = fetch(at, 2)
    count = struct.unpack(order + "H", head)[0] if len(head) == 2 else 0
    if not 0 < count <= MOST_ENTRIES:
        return _Directory(fetch, order, {})
    data = fetch(at + 2, 12 * count)
    entries: dict[int, tuple[int, int, int]] = {}
    for index in range(len(data) // 12):
        tag, kind, number = struct.unpack_from(order + "HHI", data, 12 * index)
        one = struct.calcsize("<" + _FORMATS[kind]) if kind in _FORMATS and kind != 2 else 1
        place = at + 2 + 12 * index + 8
        if number * one > 4:
            place = origin + struct.unpack_from(order + "I", data, 12 * index + 8)[0]
        entries.setdefault(tag, (kind, number, place))
    return _Directory(fetch, order, entries)


def _item(values: list[int], index: int) -> int | None:
    return values[index] if len(values) > index else None


def _signed(value: int | None) -> int | None:
    """A 16-bit number read as signed."""
    return value if value is None or value < 0x8000 else value - 0x10000


def _canon(span: Span, order: str, base: int, fetch: Fetch) -> Note:
    note = _directory(fetch, order, span.offset, base)
    camera, shot, file_info = note.whole(0x0001), note.whole(0x0004), note.whole(0x0093)
    code = _item(camera, 16)
    focus_mode = _item(camera, 7)
    aeb, mode = _signed(_item(shot, 16)), _item(file_info, 3)
    upper, lower = _item(file_info, 20), _item(file_info, 21)
    near_far = [value for value in (upper, lower) if value and value < 0xFFFF]
    serial = note.first(0x000C)
    fixed = {16: 50.0, 17: 100.0, 18: 200.0, 19: 400.0, 20: 800.0}.get(code or 0)
    marked = float(code & 0x3FFF) if code is not None and code & 0x4000 else None
    bracketing = None if aeb is None and mode is None else bool(aeb) or mode in (1, 3, 4)
    return Note(
        serial=str(serial) if serial else None,
        lens=note.text(0x0095),
        iso=fixed or marked,
        iso_auto=True if code == 15 else False if fixed or marked else None,
        focus_auto=None if focus_mode is None else focus_mode not in (3, 6),
        focus_m=sum(near_far) / len(near_far) / 100.0 if len(near_far) == 2 else None,
        bracketing=bracketing,
        burst_number=_item(file_info, 5) if mode else None,
    )


def _nikon(span: Span, order: str, base: int, fetch: Fetch) -> Note:
    head = fetch(span.offset, 18)
    if len(head) < 18 or head[:6] != b"Nikon\0" or head[10:12] not in (b"II", b"MM"):
        return Note()
    inner = "<" if head[10:12] == b"II" else ">"
    origin = span.offset + 10
    first = struct.unpack(inner + "I", head[14:18])[0]
    note = _directory(fetch, inner, origin + first, origin)
    focus, count, bits = note.text(0x0007), note.first(0x00A7), note.first(0x0089)
    iso = note.whole(0x0002)
    return Note(
        serial=note.text(0x001D),
        lens=_nikon_lens(note.whole(0x0084)),
        iso=float(iso[1]) if len(iso) == 2 and iso[1] else None,
        focus_auto=None if focus is None else not focus.upper().startswith("MANUAL"),
        bracketing=None if bits is None else bool(bits & 0x10),
        shutter_count=count if count and count < 10_000_000 else None,
    )


def _nikon_lens(parts: list[int]) -> str | None:
    pairs = [a / b if b else 0.0 for a, b in zip(parts[::2], parts[1::2], strict=False)]
    if len(pairs) < 4 or not pairs[0]:
        return None
    focal = f"{pairs[0]:g}" if pairs[0] == pairs[1] else f"{pairs[0]:g}-{pairs[1]:g}"
    stops = "-".join(f"{stop:g}" for stop in dict.fromkeys(pairs[2:4]) if stop)
    return f"{focal} mm f/{stops}" if stops else f"{focal} mm"


def _sony(span: Span, order: str, base: int, fetch: Fetch) -> Note:
    start = 12 if fetch(span.offset, 5) == b"SONY " else 0
    note = _directory(fetch, order, span.offset + start, base)
    release, number = note.first(0xB049), note.first(0xB04A)
    return Note(
        bracketing=None if release is None else release == 5,
        burst_number=number or None,
    )


def _fujifilm(span: Span, order: str, base: int, fetch: Fetch) -> Note:
    head = fetch(span.offset, 12)
    if len(head) < 12 or head[:8] != b"FUJIFILM":
        return Note()
    start = struct.unpack("<I", head[8:12])[0]
    note = _directory(fetch, "<", span.offset + start, span.offset)
    bracketing, focus = note.first(0x1100), note.first(0x1021)
    roll = note.whole(0x144D)
    return Note(
        serial=note.text(0x0010),
        focus_auto={0: True, 1: False}.get(-1 if focus is None else focus),
        bracketing=None if bracketing is None else bracketing == 1,
        burst_number=note.first(0x1101) or None,
        roll_deg=roll[0] / roll[1] if len(roll) == 2 and roll[1] else None,
    )


def _olympus(span: Span, order: str, base: int, fetch: Fetch) -> Note:
    head = fetch(span.offset, 16)
    if head[:6] == b"OLYMP\0":
        return Note(jpegs=_thumbnail(_directory(fetch, order, span.offset + 8, base)))
    if head[:8] == b"OLYMPUS\0" or head[:10] == b"OM SYSTEM\0":
        start = 8 if head[:8] == b"OLYMPUS\0" else 12
        inner = ">" if head[start : start + 2] == b"MM" else "<"
        note = _directory(fetch, inner, span.offset + start + 4, span.offset)
        settings = note.entries.get(0x2020)
        jpegs = _thumbnail(note)
        if settings is None:
            return Note(jpegs=jpegs)
        at = settings[2]
        if settings[0] in (4, 13):  # a pointer; else the directory stands in the value itself
            at = span.offset + (note.first(0x2020) or 0)
        found = _olympus_settings(_directory(fetch, inner, at, span.offset), span.offset)
        return replace(found, jpegs=(*jpegs, *found.jpegs))
    return Note()


def _thumbnail(note: _Directory) -> tuple[tuple[int, int], ...]:
    """The thumbnail that stands as a value in a note of Olympus."""
    kind, length, at = note.entries.get(0x0100, (0, 0, 0))
    return ((at, length),) if kind in (1, 7) and length > 4 else ()


def _olympus_settings(note: _Directory, start: int) -> Note:
    drive = note.whole(0x0600)
    # The third number is a bit field of what is being bracketed.
    bits = _item(drive, 2)
    roll, pitch = note.whole(0x0903), note.whole(0x0904)
    at, length = note.first(0x0101), note.first(0x0102)
    return Note(
        jpegs=((start + at, length),) if at and length else (),
        bracketing=None if bits is None else bool(bits),
        burst_number=_item(drive, 1) or None,
        roll_deg=-roll[0] / 10.0 if len(roll) == 2 and roll[1] == 1 else None,
        pitch_deg=pitch[0] / 10.0 if len(pitch) == 2 and pitch[1] == 1 else None,
    )


def _panasonic(span: Span, order: str, base: int, fetch: Fetch) -> Note:
    if fetch(span.offset, 9) != b"Panasonic":
        return Note()
    note = _directory(fetch, order, span.offset + 12, base)
    focus, bracket = note.first(0x0007), note.first(0x0045)
    roll, pitch = _signed(note.first(0x0090)), _signed(note.first(0x0091))
    return Note(
        serial=note.text(0x0025),
        focus_auto=None if focus is None else focus != 2,
        bracketing=None if bracket is None else bool(bracket),
        burst_number=note.first(0x002B) or None,
        roll_deg=None if roll is None else roll / 10.0,
        pitch_deg=None if pitch is None else -pitch / 10.0,
    )


def _minolta(span: Span, order: str, base: int, fetch: Fetch) -> Note:
    note = _directory(fetch, order, span.offset, base)
    at, length = note.first(0x0088), note.first(0x0089)
    if not at or not length:
        return Note()
    # Bodies count it from the block or from the note: whichever is a JPEG is used.
    return Note(jpegs=((base + at, length), (span.offset + at, length)))


_MAKERS: Final[tuple[tuple[str, Callable[[Span, str, int, Fetch], Note]], ...]] = (
    ("CANON", _canon),
    ("NIKON", _nikon),
    ("SONY", _sony),
    ("FUJIFILM", _fujifilm),
    ("OLYMPUS", _olympus),
    ("OM DIGITAL", _olympus),
    ("PANASONIC", _panasonic),
    ("MINOLTA", _minolta),
    ("KONICA MINOLTA", _minolta),
)
