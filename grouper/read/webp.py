"""WebP pictures (RFC 9649) with Exif and XMP chunks."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Final

from grouper.contracts import Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource
from grouper.read.exif import Contents, frame_from
from grouper.read.maker import note_of
from grouper.read.source import Source, open_source
from grouper.read.tags import Tags, parse_block
from grouper.read.xmp import Packet, read_packet
from grouper.settings import Settings

MOST_CHUNKS: Final = 4096
"""Chunks looked at: a still picture has fewer than ten."""


def _chunks(source: Source) -> Iterator[tuple[bytes, int, int]]:
    """Name, offset and length of each chunk."""
    at = 12
    for _ in range(MOST_CHUNKS):
        head = source.at(at, 8)
        if len(head) < 8:
            return
        name, length = struct.unpack("<4sI", head)
        yield name, at + 8, length
        at += 8 + length + (length & 1)


def _size(source: Source, name: bytes, at: int) -> tuple[int, int] | None:
    """Width and height from the chunk that tells them."""
    data = source.at(at, 10)
    if len(data) < 10:
        return None
    if name == b"VP8X":
        return int.from_bytes(data[4:7], "little") + 1, int.from_bytes(data[7:10], "little") + 1
    if name == b"VP8 " and data[3:6] == b"\x9d\x01\x2a":
        width, height = struct.unpack("<HH", data[6:10])
        return width & 0x3FFF, height & 0x3FFF
    if name == b"VP8L" and data[0] == 0x2F:
        bits = struct.unpack("<I", data[1:5])[0]
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    return None


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one WebP picture.

    Raises:
        UnreadableFile: it is cut short or damaged, or the disk fails.
    """
    with open_source(root, file) as source:
        if 8 + struct.unpack("<I", source.at(4, 4))[0] > source.size:
            raise UnreadableFile("truncated", "it is shorter than its head says")
        size, tags, packet = None, Tags(), Packet()
        told: set[bytes] = set()
        for name, at, length in _chunks(source):
            size = size or _size(source, name, at)
            if name in told:
                continue
            told.add(name)
            if name == b"EXIF":
                data = source.at(at, length)
                skip = 6 if data[:6] == b"Exif\0\0" else 0
                tags = parse_block(BytesIO(data[skip:]), base=at + skip)
            elif name == b"XMP ":
                packet = read_packet(source.at(at, length))
        if size is None or min(size) < 1:
            raise UnreadableFile("damaged", "its picture has no size")
        return frame_from(
            Contents(
                file=file,
                size_bytes=source.size,
                tags=tags,
                packet=packet,
                note=note_of(tags, source.at),
                stored_px=size,
                picture=PictureSource(kind="main", file=file),
            )
        )


READER = Reader(
    name="webp",
    suffixes=(".webp",),
    recognises=lambda head: head[:4] == b"RIFF" and head[8:12] == b"WEBP",
    read=read,
)
