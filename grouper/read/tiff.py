"""TIFF files and the raws that are shaped like one (TIFF 6.0, TIFF/EP ISO 12234-2, DNG).

The same header with another magic number serves Olympus (IIRO, IIRS, MMOR) and Panasonic
(IIU) raws. The full picture's size comes from the directories and the Exif block; the small
picture is the smallest JPEG that a directory points to.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

from grouper.contracts import Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource
from grouper.read.exif import PIXELS, Contents, camera_px, frame_from
from grouper.read.jpeg import best_picture, jpeg_size, thumbnail_of
from grouper.read.jpeg import read_contents_at as read_jpeg_at
from grouper.read.maker import note_of
from grouper.read.names import suffix_of
from grouper.read.source import Source, open_source
from grouper.read.strips import small_rgb, strips
from grouper.read.tags import IMAGE, THUMBNAIL, Tags, parse_block, within
from grouper.read.xmp import Packet, read_packet
from grouper.settings import Settings

_MAGICS: Final = (
    b"II*\0", b"MM\0*",  # TIFF 6.0, and most raws
    b"IIRO", b"IIRS", b"MMOR",  # Olympus
    b"IIU\0",  # Panasonic
)  # fmt: skip
_INNER: Final = 0x002E
"""Panasonic's tag for a whole JPEG inside the raw."""
_BIG: Final = (b"II+\0", b"MM\0+")
PLAIN_SUFFIXES: Final = (".tif", ".tiff")
RAW_SUFFIXES: Final = (
    ".dng", ".cr2", ".nef", ".nrw", ".arw", ".sr2", ".srf", ".orf", ".ori", ".rw2", ".rwl", ".raw",
    ".pef", ".srw", ".3fr", ".fff", ".erf", ".mef", ".mos", ".iiq", ".kdc", ".dcr", ".gpr",
)  # fmt: skip

_ELSEWHERE: Final = 0xFFFFFFFF
"""Strip offset of Panasonic raws, which say in a tag of their own where the data lie."""
NEARLY_FULL: Final = 0.9
"""The Exif size is the finished picture, a few per cent less than the sensor's own pixels; one
much smaller describes a preview."""


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a TIFF-shaped file."""
    return head[:4] in _MAGICS or head[:4] in _BIG


def read_contents(source: Source, file: str) -> Contents:
    """Everything a TIFF-shaped file tells, whether its picture is whole or not."""
    tags = parse_block(source.stream)
    inner = _inner(source, tags, file)
    if inner is not None:
        tags = _merged(tags, inner.tags)
    packet_at = tags.spans.get((IMAGE, 0x02BC))
    packet = read_packet(source.at(packet_at.offset, packet_at.length)) if packet_at else Packet()
    size = full_size(tags)
    note = note_of(tags, source.at) if inner is None else inner.note
    picture = None if inner is None else thumbnail_of(source, inner.tags, file, size)
    return Contents(
        file=file,
        size_bytes=source.size,
        tags=tags,
        packet=packet,
        note=note,
        stored_px=size,
        picture=picture or small_picture(source, tags, file, size, note.jpegs),
    )


def _inner(source: Source, tags: Tags, file: str) -> Contents | None:
    """The JPEG inside a Panasonic raw, which alone has a complete Exif block."""
    place = tags.spans.get((IMAGE, _INNER))
    if place is None or not source.holds(place.offset, place.length):
        return None
    return read_jpeg_at(source, file, place.offset)[0]


def _merged(tags: Tags, inner: Tags) -> Tags:
    """The tags of a raw with those of the JPEG inside, whose words count first.

    Places in the file stay those of the raw, for the offsets of the two count differently.
    """
    words = {key: value for key, value in inner.values.items() if key[0] != THUMBNAIL}
    return replace(tags, values={**tags.values, **words})


def _directory_size(tags: Tags, name: str) -> tuple[int, int] | None:
    crop = tags.numbers(name, 0xC620)
    if len(crop) == 2 and all(within(side, *PIXELS) is not None for side in crop):
        return int(crop[0] or 0), int(crop[1] or 0)
    width = within(tags.number(name, 0x0100), *PIXELS)
    height = within(tags.number(name, 0x0101), *PIXELS)
    return None if width is None or height is None else (int(width), int(height))


def full_size(tags: Tags) -> tuple[int, int] | None:
    """Width and height of the full picture: the finished size, not the sensor's raw one."""
    sizes = [
        size
        for name in tags.directories
        if not (tags.whole(name, 0x00FE) or 0) & 1
        and (size := _directory_size(tags, name)) is not None
    ]
    borders = [tags.whole(IMAGE, tag) for tag in (0x0004, 0x0005, 0x0006, 0x0007)]
    if (IMAGE, _INNER) in tags.spans and None not in borders:
        top, left, bottom, right = (value or 0 for value in borders)
        if bottom > top and right > left:
            sizes.append((right - left, bottom - top))
    stored = max(sizes, key=max) if sizes else None
    camera = camera_px(tags)
    if stored is None or camera is None:
        return stored or camera
    return camera if max(camera) >= NEARLY_FULL * max(stored) else stored


def _jpegs(source: Source, tags: Tags) -> Iterator[tuple[int, int]]:
    """Offset and length of everything the directories call a JPEG."""
    for name in tags.directories:
        offset, length = tags.whole(name, 0x0201), tags.whole(name, 0x0202)
        if offset and length:
            yield tags.base + offset, length
        if tags.whole(name, 0x0103) in (6, 7):
            offsets, counts = strips(source, tags, name)
            if len(offsets) == len(counts) == 1:
                yield offsets[0], counts[0]
    inner = tags.spans.get((IMAGE, _INNER))
    if inner is not None:
        yield inner.offset, inner.length


def small_picture(
    source: Source,
    tags: Tags,
    file: str,
    stored_px: tuple[int, int] | None,
    further: Iterable[tuple[int, int]] = (),
) -> PictureSource | None:
    """The embedded picture that serves best, else the file where Pillow can decode it.

    ``further`` are offsets and lengths of what a maker note calls a JPEG.
    """
    blocks = (small_rgb(source, tags, name) for name in tags.directories)
    found = [block for block in blocks if block is not None]
    for offset, length in (*_jpegs(source, tags), *further):
        size = jpeg_size(source, offset, length)
        if size is not None:
            found.append((size, offset, length))
    best = best_picture(found, file, stored_px)
    if best is not None or suffix_of(file) not in PLAIN_SUFFIXES:
        return best
    return PictureSource(kind="main", file=file)


def missing_bytes(source: Source, tags: Tags) -> int:
    """How far the directories and pictures reach beyond the end of the file; 0 is whole."""
    ends = [tags.base + (tags.whole(IMAGE, 0x8769) or 0)]
    for name in tags.directories:
        ends += [tags.base + int(place) for place in tags.numbers(name, 0x014A) if place]
        offset, length = tags.whole(name, 0x0201), tags.whole(name, 0x0202)
        ends.append(tags.base + (offset or 0) + (length or 0))
        offsets, counts = strips(source, tags, name)
        ends += [
            offset + count
            for offset, count in zip(offsets, counts, strict=False)
            if offset < _ELSEWHERE
        ]
    return max(max(ends) - source.size, 0)


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one TIFF-shaped file.

    Raises:
        UnreadableFile: it is cut short or damaged or has no directory, or the disk fails.
    """
    with open_source(root, file) as source:
        if source.at(0, 4) in _BIG:
            raise UnreadableFile("unknown-format", "a TIFF with 64-bit offsets (BigTIFF)")
        contents = read_contents(source, file)
        first = source.at(4, 4)
        if not contents.tags:
            order = "<" if source.at(0, 2) == b"II" else ">"
            beyond = len(first) < 4 or struct.unpack(order + "I", first)[0] + 2 > source.size
            raise UnreadableFile(
                "truncated" if beyond else "no-metadata",
                "it ends before its first directory" if beyond else "its directory is empty",
            )
        missing = missing_bytes(source, contents.tags)
        if missing:
            raise UnreadableFile(
                "truncated", f"{missing} bytes of its picture are beyond the end of the file"
            )
        return frame_from(contents)


READER = Reader(
    name="tiff",
    suffixes=PLAIN_SUFFIXES + RAW_SUFFIXES,
    recognises=recognises,
    read=read,
)
