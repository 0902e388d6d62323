"""Boxes of the ISO base media file format (ISO/IEC 14496-12): sized, named, nested."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Final, NamedTuple

from grouper.errors import UnreadableFile
from grouper.read.source import Source

MOST_BOXES: Final = 4096
"""Boxes on one level that are looked at; pictures have some tens, films of bursts hundreds."""


class Box(NamedTuple):
    """A box: its four-letter name, and where its contents begin and end in the file."""

    name: bytes
    start: int
    end: int

    def after(self, count: int) -> Box:
        """The box without the first bytes of its contents."""
        return self._replace(start=self.start + count)


def boxes(source: Source, start: int, end: int) -> Iterator[Box]:
    """The boxes between two offsets. A box that claims more than there is keeps its claim."""
    for _ in range(MOST_BOXES):
        head = source.at(start, 16)
        if start + 8 > end or len(head) < 8:
            return
        length, name = struct.unpack(">I4s", head[:8])
        inside = 8
        if length == 1 and len(head) == 16:
            length, inside = struct.unpack(">Q", head[8:])[0], 16
        elif length == 0:  # reaches to the end
            length = end - start
        if length < inside:
            return
        yield Box(name, start + inside, start + length)
        start += length


def child(source: Source, box: Box | None, name: bytes) -> Box | None:
    """The first box of that name inside another."""
    if box is None:
        return None
    return next((inner for inner in boxes(source, box.start, box.end) if inner.name == name), None)


def contents(source: Source, box: Box | None) -> bytes:
    """The bytes inside a box, as far as they are in the file and not unreasonably many."""
    return b"" if box is None else source.at(box.start, box.end - box.start)


def check_whole(source: Source, *needed: bytes) -> None:
    """See that the outermost boxes end within the file, and that those ``needed`` are there.

    Raises:
        UnreadableFile: the file is cut short.
    """
    outermost = list(boxes(source, 0, source.size))
    end = max((box.end for box in outermost), default=0)
    # A box has a head of 8 bytes; fewer at the end are the beginning of one.
    missing = 8 - (source.size - end) if 0 < source.size - end < 8 else end - source.size
    if missing > 0:
        raise UnreadableFile("truncated", f"at least {missing} bytes are missing at its end")
    if not set(needed) <= {box.name for box in outermost}:
        raise UnreadableFile("truncated", "it ends before its picture begins")
