"""The one border with exifread's types: a TIFF block goes in, our own plain values come out.

Everything is looked up by directory and tag number, because names differ between libraries
and exifread has none for the newer tags. Numbers, types and meanings are those of Exif
(CIPA DC-008) and TIFF 6.0; DNG tags as named in Adobe's DNG specification.

exifread's own entry point gives up on a whole file at one odd entry, reads the raw's
sub-directories only together with the maker note (up to 15 ms), and returns ``{}`` alike for
unknown, empty and truncated. So its header class is driven directly here: one odd entry costs
that entry, only tags we use are decoded, and what was not found is simply absent.
"""

from __future__ import annotations

import logging
import math
import re
import struct
import unicodedata
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any, BinaryIO, Final

from exifread.core.exceptions import ExifError
from exifread.core.exif_header import ExifHeader
from exifread.tags import DEFAULT_STOP_TAG
from exifread.tags.exif import EXIF_TAGS

logging.getLogger("exifread").setLevel(logging.CRITICAL + 1)
"""exifread logs every odd byte of a foreign file; what matters of it becomes an Unread record."""

IMAGE: Final = "Image"
THUMBNAIL: Final = "Thumbnail"
EXIF: Final = "EXIF"
GPS: Final = "GPS"
INTEROP: Final = "Interoperability"

MOST_ENTRIES: Final = 2000
"""Directories of real cameras hold some tens of entries, a few hundred at most; a count above
this is rubbish read as a directory."""

MOST_VALUES: Final = 8192
"""Bytes of text or numbers in one tag that are still decoded; none that we use is longer."""

MOST_NUMBERS: Final = 64
"""Numbers in one tag that are still decoded, where each is a value of two or more bytes: of
those used the pointers to sub-directories are the most, up to about ten."""

MOST_IN_ALL: Final = 65_536
"""Values decoded of one block, failed attempts included: a raw has some hundreds that we use."""

MOST_DIRECTORIES: Final = 16
"""Main and sub-directories looked at in one file: raws have up to about ten."""

_BYTES_OF_TYPE: Final = {
    1: 1,
    2: 1,
    3: 2,
    4: 4,
    5: 8,
    6: 1,
    7: 1,
    8: 2,
    9: 4,
    10: 8,
    11: 4,
    12: 8,
    13: 4,
}
"""Bytes of one value of a TIFF 6.0 field type (13 is the directory pointer of later notes)."""

_TEXT: Final = 2
"""The field type of text."""

_SHORT, _LONG = 3, 4
_WHOLE: Final = frozenset({_SHORT, _LONG})
"""The field types of most whole numbers, of two and of four bytes."""

_SPANS: Final = frozenset({0x002E, 0x0111, 0x0117, 0x0144, 0x0145, 0x02BC, 0x927C})
"""Tags whose place is kept instead of their values: long, and rarely needed in full."""

_PICTURE_TAGS: Final = frozenset(
    {0x00FE, 0x0100, 0x0101, 0x0102, 0x0103, 0x0106, 0x0112, 0x0115, 0x014A, 0x0201, 0x0202, 0xC620}
)
_IMAGE_TAGS: Final = _PICTURE_TAGS | {
    0x010F, 0x0110, 0x0131, 0x0132, 0x8769, 0x8825, 0x829A, 0x829D, 0x8827, 0x9003, 0x9201,
    0x9202, 0x920A, 0xC614, 0xC62F,
    # Panasonic raws keep their sensor's borders and the ISO number among the first tags.
    0x0002, 0x0003, 0x0004, 0x0005, 0x0006, 0x0007, 0x0017,
}  # fmt: skip
_EXIF_TAGS: Final = frozenset({
    0x829A, 0x829D, 0x8822, 0x8827, 0x882A, 0x8830, 0x8831, 0x8832, 0x8833, 0x9003, 0x9004,
    0x9010, 0x9011, 0x9012, 0x9201, 0x9202, 0x9204, 0x9206, 0x9208, 0x9209, 0x920A, 0x9211,
    0x9290, 0x9291, 0x9292, 0x9405, 0xA002, 0xA003, 0xA005, 0xA20E, 0xA20F, 0xA210, 0xA402,
    0xA403, 0xA404, 0xA405, 0xA431, 0xA432, 0xA433, 0xA434, 0xA435, 0xA460,
})  # fmt: skip
_GPS_TAGS: Final = frozenset({0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0x09, 0x10, 0x11})
_INTEROP_TAGS: Final = frozenset({0x1001, 0x1002})
_WANTED: Final[Mapping[str, frozenset[int]]] = {
    IMAGE: _IMAGE_TAGS,
    THUMBNAIL: _PICTURE_TAGS,
    EXIF: _EXIF_TAGS,
    GPS: _GPS_TAGS,
    INTEROP: _INTEROP_TAGS,
}

_MARKED_RATIOS: Final = frozenset({0x9206, 0x9405})
"""Rationals with a marking in their bits that is lost once exifread has reduced the fraction:
SubjectDistance (numerator FFFFFFFF is infinity) and CameraElevationAngle (denominator FFFFFFFF
is unknown)."""
_ALL_ONES: Final = 0xFFFFFFFF

_ODD = (
    ArithmeticError,
    AssertionError,
    AttributeError,
    EOFError,
    ExifError,
    LookupError,
    MemoryError,
    RecursionError,
    TypeError,
    ValueError,
    struct.error,
)
"""What exifread has been seen to raise on odd bytes. Errors of the disk are not among them."""

Value = str | bytes | Sequence[Any]


@dataclass(frozen=True, slots=True)
class Span:
    """Where a tag's values lie: absolute offset in the file, field type, number of values."""

    offset: int
    type: int
    count: int

    @property
    def length(self) -> int:
        """Length in bytes."""
        return self.count * _BYTES_OF_TYPE.get(self.type, 1)


@dataclass(frozen=True, slots=True)
class Tags:
    """The tags of one TIFF block that we use, by directory name and tag number.

    ``base`` is the offset of the TIFF header in the file the block came from; offsets in
    tags count from there.
    """

    order: str = "<"
    """Byte order in the notation of ``struct``."""
    base: int = 0
    directories: tuple[str, ...] = ()
    values: Mapping[tuple[str, int], Value] = field(default_factory=dict)
    spans: Mapping[tuple[str, int], Span] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.values or self.spans)

    def get(self, directory: str, tag: int) -> Value | None:
        """The raw value, or ``None`` where the tag is missing."""
        return self.values.get((directory, tag))

    def number(self, directory: str, tag: int) -> float | None:
        """The first value as a finite number; ``None`` for missing, 0 denominator, text."""
        return number(self.get(directory, tag))

    def numbers(self, directory: str, tag: int) -> list[float | None]:
        """All values as numbers, each ``None`` where it is none."""
        return numbers(self.get(directory, tag))

    def whole(self, directory: str, tag: int) -> int | None:
        """The first value as a whole number."""
        value = number(self.get(directory, tag))
        return None if value is None else int(value)

    def text(self, directory: str, tag: int) -> str | None:
        """The value as clean text, ``None`` where nothing is left of it."""
        return text(self.get(directory, tag))


class _Header(ExifHeader):
    """exifread's header, asked for the tags we use only, one odd entry at a time."""

    def __init__(self, stream: BinaryIO, endian: str, start: int, base: int) -> None:
        # Without "detailed" exifread passes over notes and XMP, whose places are wanted here.
        super().__init__(stream, endian, start, 0, False, False, True, True)
        self.base = base
        self.values: dict[tuple[str, int], Value] = {}
        self.spans: dict[tuple[str, int], Span] = {}
        self.left = MOST_IN_ALL

    def dump_ifd(
        self,
        ifd: int,
        ifd_name: str,
        tag_dict: Any = None,
        relative: int = 0,
        stop_tag: str = DEFAULT_STOP_TAG,
    ) -> None:
        """Read what we use of a directory, unless it is none.

        All entries are unpacked at once, and only those wanted are handed to exifread.
        """
        names = EXIF_TAGS if tag_dict is None else tag_dict
        count = self.s2n(ifd, 2)
        if not 0 < count <= MOST_ENTRIES:
            return
        self.file_handle.seek(self.offset + ifd + 2)
        data = self.file_handle.read(12 * count)
        data = data[: len(data) // 12 * 12]
        wanted = _WANTED.get(ifd_name, _PICTURE_TAGS)
        is_intel = self.endian == "I"
        layout = ("<" if is_intel else ">") + "HHII"
        for index, (tag, kind, number, place) in enumerate(struct.iter_unpack(layout, data)):
            key, entry = (ifd_name, tag), ifd + 2 + 12 * index
            inline = number * _BYTES_OF_TYPE.get(kind, 1) <= 4
            offset = entry + 8 if inline else place
            if tag in _SPANS:
                self.spans.setdefault(key, Span(self.base + offset, kind, number))
            elif tag in wanted and key not in self.values and self._may_decode(kind, number):
                alone = None
                if number == 1 and kind in _WHOLE:
                    # It stands in the entry itself, a short one on the left.
                    alone = place if kind == _LONG else place & 0xFFFF if is_intel else place >> 16
                self._keep_value(key, Span(offset, kind, number), names.get(tag), alone)

    def _may_decode(self, kind: int, number: int) -> bool:
        """Whether so many values of that type are still to be decoded."""
        most = MOST_VALUES if _BYTES_OF_TYPE.get(kind) == 1 else MOST_NUMBERS
        if number > min(most, self.left):
            return False
        self.left -= max(number, 1)
        return True

    def _keep_value(self, key: tuple[str, int], span: Span, known: Any, alone: int | None) -> None:
        """Have exifread decode the values at a place in the block, and follow pointers.

        Its own way there reads the entry once more and spells each value out, which takes twice
        as long. ``alone`` is the only value, where that is known already.
        """
        directory, tag = key
        name, leads_to = (known[0], known[1]) if known else ("", None)
        size = _BYTES_OF_TYPE.get(span.type)
        if size is None:
            return
        try:
            values: Any
            if alone is not None:
                values = [alone]
            elif span.type == _TEXT:
                values = self._process_ascii_field(directory, name, span.count, span.offset)
            else:
                values = self._process_field(name, span.count, span.type, size, span.offset)
            if isinstance(leads_to, tuple) and values:
                self.dump_ifd(values[0], *leads_to)
        except _ODD:
            return
        self.values[key] = values
        if tag in _MARKED_RATIOS and directory == EXIF:
            self._keep_marking(key, span.offset)

    def s2n(self, offset: int, length: int, signed: bool = False) -> int:
        """A whole number out of the block; 0 beyond its end, as exifread has it.

        Called some hundred times a file, and three times as quick as what it replaces.
        """
        self.file_handle.seek(self.offset + offset)
        part = self.file_handle.read(length)
        if len(part) != length:
            return 0
        return int.from_bytes(part, "little" if self.endian == "I" else "big", signed=signed)

    def _keep_marking(self, key: tuple[str, int], offset: int) -> None:
        over, under = self.s2n(offset, 4), self.s2n(offset + 4, 4)
        if under in (0, _ALL_ONES) and over != _ALL_ONES:
            self.values[key] = ()
        elif over == _ALL_ONES and key == (EXIF, 0x9206):
            self.values[key] = (math.inf,)


def parse_block(stream: BinaryIO, start: int = 0, base: int = 0, first: str = IMAGE) -> Tags:
    """Read the tags of the TIFF block that begins at ``start`` of ``stream``.

    ``base`` is where the block lies in the file it was taken from; ``first`` names its first
    directory, where a container keeps the Exif or GPS directory in a block of its own.
    Nothing is raised for odd bytes: what cannot be read is missing from the result, which is
    empty (false) for a block that is none. Errors of the disk (``OSError``) pass.
    """
    stream.seek(start)
    mark = stream.read(8)
    orders = {b"II": ("I", "<"), b"MM": ("M", ">")}
    if len(mark) < 8 or mark[:2] not in orders:
        return Tags(base=base)
    endian, order = orders[mark[:2]]
    header = _Header(stream, endian, start, base)
    names: list[str] = []
    with suppress(*_ODD):
        _walk(header, names, first)
    return Tags(order, base, tuple(names), header.values, header.spans)


def _walk(header: _Header, names: list[str], first: str) -> None:
    """Read the chain of directories, then what they point to."""
    ifd, seen = header.s2n(4, 4), set[int]()
    while ifd and ifd not in seen and len(seen) < MOST_DIRECTORIES:
        seen.add(ifd)
        entries = header.s2n(ifd, 2)
        if not 0 < entries <= MOST_ENTRIES:
            break
        name = (first, THUMBNAIL)[len(names)] if len(names) < 2 else f"IFD{len(names)}"
        names.append(name)
        header.dump_ifd(ifd, name)
        ifd = header.s2n(ifd + 2 + 12 * entries, 4)
    pointer = _first_whole(header.values.get((IMAGE, 0x8769)))
    if pointer:
        header.dump_ifd(pointer, EXIF)
    for directory in tuple(names):
        for place in numbers(header.values.get((directory, 0x014A))):
            if place and int(place) not in seen and len(seen) < MOST_DIRECTORIES:
                seen.add(int(place))
                name = f"Sub{len(seen)}"
                names.append(name)
                header.dump_ifd(int(place), name)


def _first_whole(value: Value | None) -> int:
    first = number(value)
    return int(first) if first is not None and math.isfinite(first) else 0


def number(value: Value | None) -> float | None:
    """The first of a tag's values as a number.

    ``None`` for text, for nothing, and for a rational with denominator 0 (which is how Exif
    writes "unknown"). ``math.inf`` only for a distance recorded as infinity.
    """
    if value is None or isinstance(value, str | bytes) or not value:
        return None
    return _one_number(value[0])


def numbers(value: Value | None) -> list[float | None]:
    """All of a tag's values as numbers, each ``None`` where it is none."""
    if value is None or isinstance(value, str | bytes):
        return []
    return [_one_number(item) for item in value]


def _one_number(item: Any) -> float | None:
    if isinstance(item, tuple) and len(item) == 1:  # exifread leaves floats in a tuple
        item = item[0]
    if isinstance(item, int | float):
        return None if math.isnan(item) else item
    if isinstance(item, Fraction):  # last, for asking an abstract class takes a while
        return None if item.denominator == 0 else item.numerator / item.denominator
    return None


MOST_TEXT: Final = 200
"""Characters kept of a text: longer ones are no names."""


def text(value: Value | None) -> str | None:
    """A tag's value as clean text: foreign bytes, so nothing hostile is let through.

    Cut at the first NUL; undecodable bytes read as Latin-1; control and direction-changing
    characters dropped; blanks collapsed. ``None`` where nothing is left.
    """
    if value is None:
        return None
    plain = value if isinstance(value, str) else _decoded(value)
    if len(plain) <= MOST_TEXT and plain.isascii() and plain.isprintable():  # nearly always
        return " ".join(plain.split()) or None
    kept = "".join(
        " " if char.isspace() else char
        for char in plain.split("\0", 1)[0][: 4 * MOST_TEXT]
        if char.isspace() or unicodedata.category(char) not in ("Cc", "Cf", "Cs", "Co", "Cn")
    )
    return " ".join(kept.split())[:MOST_TEXT].rstrip() or None


def _decoded(value: bytes | Sequence[Any]) -> str:
    if not isinstance(value, bytes):
        if not all(isinstance(item, int) and 0 <= item < 256 for item in value):
            return ""
        value = bytes(value)
    raw = value.split(b"\0", 1)[0]
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


_MOMENT = re.compile(
    # Some bodies write a blank for a leading zero.
    r"(\d{4})[:\-/.] ?(\d{1,2})[:\-/.] ?(\d{1,2})[ T]+(\d{1,2}): ?(\d{1,2})"
    r"(?:: ?(\d{1,2})(?:[.,](\d{1,9})\d*)?)?\s*(Z|[+-]\d{1,2}:?\d{2})?"
)


@dataclass(frozen=True, slots=True)
class Moment:
    """A wall-clock time, how finely it was recorded, and its zone where that was written."""

    taken: datetime
    resolution_s: float
    utc_offset_min: int | None


def moment(
    stamp: str | None, subsec: str | None = None, offset: str | None = None
) -> Moment | None:
    """Read an Exif (or ISO 8601) time with its separate sub-seconds and zone.

    Sub-seconds are a decimal fraction written without its point ("05" is 0.05 s). Blanks,
    zeros and impossible dates are ``None``. 24:00:00 is midnight at the end of the day, second
    60 the next minute (ISO 8601).
    """
    match = _MOMENT.fullmatch((stamp or "").strip())
    if match is None:
        return None
    year, month, day, hour, minute, second = (int(part or 0) for part in match.groups()[:6])
    if year < 1900 or hour > 24 or minute > 59 or second > 60:
        return None
    if hour == 24 and (minute or second):
        return None
    digits = subsec_digits(subsec) or match.group(7) or ""
    try:
        day_start = datetime(year, month, day)
        taken = day_start + timedelta(
            hours=hour, minutes=minute, seconds=second, microseconds=_microseconds(digits)
        )
    except (ValueError, OverflowError):
        return None
    resolution = max(10.0 ** -len(digits), 1e-6)
    zone = utc_offset_min(offset)
    return Moment(taken, resolution, utc_offset_min(match.group(8)) if zone is None else zone)


def subsec_digits(subsec: str | None) -> str:
    """The digits of a sub-second text, blanks dropped; empty where it is no fraction."""
    digits = (subsec or "").strip()
    return digits[:9] if re.fullmatch(r"[0-9]+", digits) else ""


def _microseconds(digits: str) -> int:
    return int(digits.ljust(6, "0")[:6]) if digits else 0


_OFFSET = re.compile(r"([+-])(\d{1,2}):?(\d{2})")


def utc_offset_min(offset: str | None) -> int | None:
    """Minutes east of UTC from "+02:00", "-0330" or "Z"; ``None`` for blanks and nonsense.

    Zones in use run from -12:00 to +14:00 (IANA time zone database).
    """
    value = (offset or "").strip()
    if value == "Z":
        return 0
    match = _OFFSET.fullmatch(value)
    if match is None or int(match.group(3)) > 59:
        return None
    minutes = int(match.group(2)) * 60 + int(match.group(3))
    signed = -minutes if match.group(1) == "-" else minutes
    return signed if -12 * 60 <= signed <= 14 * 60 else None


def within(value: float | None, least: float, most: float) -> float | None:
    """The value if it is inside the range that makes sense, else ``None``."""
    return value if value is not None and least <= value <= most else None
