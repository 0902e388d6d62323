"""PNG pictures (ISO/IEC 15948) with an Exif chunk or an XMP text chunk."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
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

_MARK: Final = b"\x89PNG\r\n\x1a\n"
_XMP: Final = b"XML:com.adobe.xmp\0"
MOST_CHUNKS: Final = 65_536
"""Chunks looked at: writers cut picture data into pieces of 8 KiB, so this is 512 MiB."""


@dataclass(slots=True)
class Chunks:
    """What the chunks of a PNG hold."""

    size: tuple[int, int] | None = None
    tags: Tags = Tags()  # noqa: RUF009 - frozen and empty
    packet: Packet = Packet()  # noqa: RUF009 - frozen and empty
    whole: bool = False
    told: set[bytes] = field(default_factory=set)
    """Chunks of metadata that were looked at: the first of each counts."""


def walk(source: Source) -> Chunks:
    """Go through the chunks, reading heads only, up to the last one or the end of the file."""
    found, at = Chunks(), len(_MARK)
    for _ in range(MOST_CHUNKS):
        head = source.at(at, 8)
        if len(head) < 8:
            break
        length, name = struct.unpack(">I4s", head)
        start = at + 8
        if name == b"IEND":
            found.whole = True
            break
        if start + length > source.size:
            break
        if name == b"IHDR" and length >= 8:
            width, height = struct.unpack(">II", source.at(start, 8))
            found.size = (width, height) if width and height else None
        elif name in (b"eXIf", b"iTXt") and name not in found.told:
            _metadata(found, source, name, start, length)
        at = start + length + 4
    return found


def _metadata(found: Chunks, source: Source, name: bytes, start: int, length: int) -> None:
    if name == b"eXIf":
        found.tags = parse_block(BytesIO(source.at(start, length)), base=start)
    elif source.at(start, min(length, len(_XMP))) == _XMP:
        found.packet = read_packet(source.at(start, length))
    else:
        return
    found.told.add(name)


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one PNG picture.

    Raises:
        UnreadableFile: it is cut short or damaged, or the disk fails.
    """
    with open_source(root, file) as source:
        chunks = walk(source)
        if not chunks.whole:
            raise UnreadableFile("truncated", "it ends before its last chunk")
        if chunks.size is None:
            raise UnreadableFile("damaged", "its picture has no size")
        return frame_from(
            Contents(
                file=file,
                size_bytes=source.size,
                tags=chunks.tags,
                packet=chunks.packet,
                note=note_of(chunks.tags, source.at),
                stored_px=chunks.size,
                picture=PictureSource(kind="main", file=file),
            )
        )


READER = Reader(
    name="png",
    suffixes=(".png",),
    recognises=lambda head: head[:8] == _MARK,
    read=read,
)
