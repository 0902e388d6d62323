"""Further pictures in a JPEG file (multi-picture format, CIPA DC-007): where they lie.

A segment in front of the picture lists them: large previews of the same picture, its
neighbours in a sweep the camera fired by itself, depth maps.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Final, NamedTuple

from grouper.read.source import Source

MARK: Final = b"MPF\0"
"""What the segment (APP2) begins with; the offsets in it count from behind."""
PREVIEW: Final = 0x01
"""Class of a large thumbnail, of VGA or full HD size."""
PANORAMA: Final = 0x020001
"""Type of a picture that is one of several of a panorama."""

MOST_ENTRIES: Final = 64
"""Entries of the directory and pictures that are looked at; there are about five of each."""
_ENTRY_BYTES: Final = 16
_LIST: Final = 0xB002


class Further(NamedTuple):
    """A picture: its type (class in the upper byte), absolute offset, bytes."""

    kind: int
    offset: int
    length: int

    @property
    def is_preview(self) -> bool:
        """Whether it is a smaller version of the main picture."""
        return self.kind >> 16 == PREVIEW


def further_pictures(source: Source, at: int) -> Iterator[Further]:
    """The pictures listed by the segment whose TIFF header stands at ``at``.

    The first is the main picture itself, and has offset 0 in the list.
    """
    head = source.at(at, 8)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(head[:4])
    if order is None or len(head) < 8:
        return
    place = _list_of(source, at, order, struct.unpack(order + "I", head[4:])[0])
    if place is None:
        return
    data = source.at(*place)
    for start in range(0, len(data) - _ENTRY_BYTES + 1, _ENTRY_BYTES):
        attribute, length, offset = struct.unpack_from(order + "III", data, start)
        # The lowest 24 bits tell the type; 3 bits above them the format, of which 0 is JPEG.
        if not attribute >> 24 & 7:
            yield Further(attribute & 0xFFFFFF, at + offset if offset else 0, length)


def _list_of(source: Source, at: int, order: str, first: int) -> tuple[int, int] | None:
    """Absolute offset and bytes of the list of pictures."""
    count = struct.unpack(order + "H", source.at(at + first, 2).ljust(2, b"\0"))[0]
    data = source.at(at + first + 2, 12 * min(count, MOST_ENTRIES))
    for start in range(0, len(data) - 11, 12):
        tag, _, length, offset = struct.unpack_from(order + "HHII", data, start)
        if tag == _LIST:
            return at + offset, min(length, MOST_ENTRIES * _ENTRY_BYTES)
    return None
