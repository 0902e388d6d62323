"""Strips and tiles of a TIFF directory, and the small uncompressed pictures among them."""

from __future__ import annotations

import struct
from typing import Final

from grouper.read.source import Source
from grouper.read.tags import Span, Tags

MOST_STRIPS: Final = 65_536
"""Strips or tiles of one picture that are looked at: a row a strip in the tallest pictures."""

SMALL_RGB: Final = {(160, 120): 57_600, (160, 90): 43_200}
"""Sizes and lengths of uncompressed thumbnails: the one of DCF (CIPA DC-009), and its 16:9
relative. What looks at the pictures knows their shape by their length, so no others serve."""


def strips(source: Source, tags: Tags, name: str) -> tuple[list[int], list[int]]:
    """Absolute offsets and lengths of a directory's strips or tiles."""
    for places, counts in ((0x0111, 0x0117), (0x0144, 0x0145)):
        if (name, places) in tags.spans and (name, counts) in tags.spans:
            offsets = _array(source, tags, tags.spans[(name, places)])
            lengths = _array(source, tags, tags.spans[(name, counts)])
            return [tags.base + offset for offset in offsets], lengths
    return [], []


def _array(source: Source, tags: Tags, span: Span) -> list[int]:
    letter = {3: "H", 4: "I", 13: "I"}.get(span.type)
    if letter is None or span.count > MOST_STRIPS:
        return []
    one = struct.calcsize("<" + letter)
    data = source.at(span.offset, span.length)
    count = len(data) // one
    return list(struct.unpack(f"{tags.order}{count}{letter}", data[: count * one]))


def small_rgb(source: Source, tags: Tags, name: str) -> tuple[tuple[int, int], int, int] | None:
    """A directory's uncompressed thumbnail, three bytes a pixel: size, absolute offset, length.

    Raws keep such a one in their first directory, older JPEGs in their Exif block.
    """
    size = tags.whole(name, 0x0100) or 0, tags.whole(name, 0x0101) or 0
    length = SMALL_RGB.get(size)
    if length is None or tags.whole(name, 0x0103) != 1 or tags.whole(name, 0x0106) != 2:
        return None
    if tags.whole(name, 0x0115) != 3 or tags.whole(name, 0x0102) != 8:
        return None
    offsets, counts = strips(source, tags, name)
    if not offsets or len(offsets) != len(counts) or sum(counts) < length:
        return None
    in_a_row = all(
        start + count == following
        for start, count, following in zip(offsets, counts, offsets[1:], strict=False)
    )
    return (size, offsets[0], length) if in_a_row and source.holds(offsets[0], length) else None
