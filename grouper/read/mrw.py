"""Minolta's MRW raws: a chain of blocks, one of them a TIFF block with the metadata.

The chain is undocumented by its maker; block names as found in the exiv2 library (0.28).
"""

from __future__ import annotations

import struct
from io import BytesIO
from pathlib import Path
from typing import Final

from grouper.contracts import Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource
from grouper.read.exif import Contents, frame_from
from grouper.read.jpeg import thumbnail_of
from grouper.read.maker import note_of
from grouper.read.source import Source, open_source
from grouper.read.tags import Tags, parse_block
from grouper.read.tiff import full_size, small_picture
from grouper.settings import Settings

_MARK: Final = b"\0MRM"
_METADATA: Final = b"\0TTW"
MOST_BLOCKS: Final = 32
"""Blocks of the chain that are looked at; there are about five."""


def _block(source: Source) -> tuple[int, bytes]:
    """Absolute offset and bytes of the TIFF block; empty where there is none."""
    head = source.at(4, 4)
    end = 8 + struct.unpack(">I", head)[0] if len(head) == 4 else 0
    at = 8
    for _ in range(MOST_BLOCKS):
        head = source.at(at, 8)
        if len(head) < 8 or at >= end:
            break
        name, length = struct.unpack(">4sI", head)
        if name == _METADATA:
            return at + 8, source.at(at + 8, length)
        at += 8 + length
    return 0, b""


def read_contents(source: Source, file: str) -> Contents:
    """Everything an MRW tells.

    Raises:
        UnreadableFile: it has no metadata.
    """
    at, data = _block(source)
    tags = parse_block(BytesIO(data), base=at) if data else Tags()
    if not tags:
        raise UnreadableFile("no-metadata", "a raw without the block that describes it")
    size = full_size(tags)
    note = note_of(tags, source.at)
    picture: PictureSource | None = thumbnail_of(source, tags, file, size)
    return Contents(
        file=file,
        size_bytes=source.size,
        tags=tags,
        note=note,
        stored_px=size,
        picture=picture or small_picture(source, tags, file, size, note.jpegs),
    )


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one MRW raw.

    Raises:
        UnreadableFile: it ends within its head or has no metadata, or the disk fails.
    """
    with open_source(root, file) as source:
        head = source.at(4, 4)
        if len(head) < 4 or 8 + struct.unpack(">I", head)[0] >= source.size:
            raise UnreadableFile("truncated", "it ends where its picture should begin")
        return frame_from(read_contents(source, file))


READER = Reader(
    name="mrw",
    suffixes=(".mrw",),
    recognises=lambda head: head[:4] == _MARK,
    read=read,
)
