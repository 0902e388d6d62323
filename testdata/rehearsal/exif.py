"""A compact writer of Exif: IFD0, Exif, GPS and the thumbnail's IFD1.

Layout and types follow CIPA DC-008 (Exif) and TIFF 6.0. Own code because Pillow writes no
IFD1, and so that equal input gives equal bytes whatever library version is installed.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

Value = str | bytes | int | Fraction | Sequence[int] | Sequence[Fraction]

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 9: 4, 10: 8}
BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10


@dataclass(frozen=True, slots=True)
class Field:
    """One tag: number, TIFF type, value."""

    tag: int
    type: int
    value: Value


def build_tiff(
    main: Sequence[Field],
    exif: Sequence[Field],
    gps: Sequence[Field] = (),
    thumbnail: bytes | None = None,
    *,
    big_endian: bool = False,
) -> bytes:
    """A whole TIFF block, without the ``Exif\\0\\0`` that stands before it in a JPEG."""
    mark = ">" if big_endian else "<"
    head = (b"MM" if big_endian else b"II") + struct.pack(mark + "HL", 42, 8)
    pointers = [Field(0x8769, LONG, 0)] + ([Field(0x8825, LONG, 0)] if gps else [])
    main = [*main, *pointers]
    second = [
        Field(0x0103, SHORT, 6),
        Field(0x011A, RATIONAL, Fraction(72)),
        Field(0x011B, RATIONAL, Fraction(72)),
        Field(0x0128, SHORT, 2),
        Field(0x0201, LONG, 0),
        Field(0x0202, LONG, len(thumbnail or b"")),
    ]
    exif_at = 8 + _length(main, mark)
    gps_at = exif_at + _length(exif, mark)
    second_at = gps_at + (_length(gps, mark) if gps else 0)
    picture_at = second_at + _length(second, mark)
    main = [_point(item, exif_at, gps_at) for item in main]
    parts = [head, _directory(main, 8, second_at if thumbnail else 0, mark)]
    parts.append(_directory(exif, exif_at, 0, mark))
    if gps:
        parts.append(_directory(gps, gps_at, 0, mark))
    if thumbnail:
        second[4] = Field(0x0201, LONG, picture_at)
        parts += [_directory(second, second_at, 0, mark), thumbnail]
    return b"".join(parts)


def _point(item: Field, exif_at: int, gps_at: int) -> Field:
    target = {0x8769: exif_at, 0x8825: gps_at}.get(item.tag)
    return item if target is None else Field(item.tag, LONG, target)


def _length(items: Sequence[Field], mark: str) -> int:
    return len(_directory(items, 0, 0, mark))


def _directory(items: Sequence[Field], at: int, following: int, mark: str) -> bytes:
    items = sorted(items, key=lambda item: item.tag)
    table = struct.pack(mark + "H", len(items))
    heap_at = at + 2 + 12 * len(items) + 4
    heap = b""
    for item in items:
        payload = _payload(item, mark)
        count = len(payload) // _SIZES[item.type]
        table += struct.pack(mark + "HHL", item.tag, item.type, count)
        if len(payload) <= 4:
            table += payload.ljust(4, b"\0")
        else:
            table += struct.pack(mark + "L", heap_at + len(heap))
            heap += payload + b"\0" * (len(payload) % 2)
    return table + struct.pack(mark + "L", following) + heap


def _payload(item: Field, mark: str) -> bytes:
    value = item.value
    if item.type == ASCII:
        assert isinstance(value, str)
        return value.encode("ascii") + b"\0"
    if item.type in (UNDEFINED, BYTE):
        assert isinstance(value, bytes)
        return value
    numbers = value if isinstance(value, Sequence) else (value,)
    if item.type in (RATIONAL, SRATIONAL):
        code = "LL" if item.type == RATIONAL else "ll"
        return b"".join(
            struct.pack(mark + code, number.numerator, number.denominator)
            for number in map(Fraction, numbers)
        )
    code = {SHORT: "H", LONG: "L"}[item.type]
    return struct.pack(mark + code * len(numbers), *numbers)
