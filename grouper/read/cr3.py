"""Canon's CR3 raws: TIFF blocks and JPEG previews inside ISO base media boxes.

The layout (which ``uuid`` box holds which block) is undocumented by its maker; as found in the
exiv2 library (0.28) and in a sample file.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Final, Literal

from grouper.contracts import Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource
from grouper.read.boxes import Box, boxes, check_whole, child, contents
from grouper.read.exif import Contents, camera_px, frame_from
from grouper.read.jpeg import jpeg_size, may_show
from grouper.read.maker import Note, read_note
from grouper.read.source import Source, open_source
from grouper.read.tags import EXIF, GPS, IMAGE, Span, Tags, parse_block
from grouper.settings import Settings

_METADATA: Final = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
_PREVIEW: Final = bytes.fromhex("eaf42b5e1c984b88b9fbb7dc406e4d16")
_BLOCKS: Final = ((b"CMT1", IMAGE), (b"CMT2", EXIF), (b"CMT4", GPS))
_NOTE_BLOCK: Final = b"CMT3"
PREVIEW_HEAD: Final = 64
"""The JPEG of a preview box begins within its first bytes, behind sizes and flags."""


def _uuid(source: Source, start: int, end: int, key: bytes) -> Box | None:
    for box in boxes(source, start, end):
        if box.name == b"uuid" and source.at(box.start, 16) == key:
            return box.after(16)
    return None


def _merged(source: Source, home: Box | None) -> Tags:
    """The tags of the separate blocks as if they were one."""
    merged = Tags()
    for name, directory in _BLOCKS:
        block = child(source, home, name)
        if block is None:
            continue
        tags = parse_block(BytesIO(contents(source, block)), base=block.start, first=directory)
        merged = replace(
            tags,
            values={**tags.values, **merged.values},
            spans={**tags.spans, **merged.spans},
        )
    return merged


def _note(source: Source, home: Box | None, make: str | None) -> Note:
    """The maker note, which is a TIFF block with offsets of its own."""
    block = child(source, home, _NOTE_BLOCK)
    head = source.at(block.start, 8) if block else b""
    if block is None or len(head) < 8 or head[:2] not in (b"II", b"MM"):
        return Note()
    order = "<" if head[:2] == b"II" else ">"
    at = block.start + struct.unpack(order + "I", head[4:8])[0]
    return read_note(make, Span(at, 7, max(block.end - at, 0)), order, block.start, source.at)


def _jpegs(source: Source, moov: Box, home: Box | None) -> Iterator[tuple[int, int]]:
    """Offset and length of the thumbnail and the preview."""
    outer = _uuid(source, moov.end, source.size, _PREVIEW)
    inner = child(source, outer.after(8), b"PRVW") if outer else None
    for box in (child(source, home, b"THMB"), inner):
        if box is None:
            continue
        start = source.at(box.start, PREVIEW_HEAD).find(b"\xff\xd8\xff")
        if start >= 0:
            yield box.start + start, box.end - box.start - start


def _picture(
    source: Source, file: str, moov: Box, home: Box | None, size: tuple[int, int] | None
) -> PictureSource | None:
    for index, (offset, length) in enumerate(_jpegs(source, moov, home)):
        own = jpeg_size(source, offset, length)
        if own is not None and may_show(own, size):
            kind: Literal["thumbnail", "preview"] = "preview" if index else "thumbnail"
            return PictureSource(kind=kind, file=file, offset=offset, length=length)
    return None


def read_contents(source: Source, file: str) -> Contents:
    """Everything a CR3 tells, whether its picture is whole or not.

    Raises:
        UnreadableFile: its metadata are missing.
    """
    moov = next((box for box in boxes(source, 0, source.size) if box.name == b"moov"), None)
    home = _uuid(source, moov.start, moov.end, _METADATA) if moov else None
    tags = _merged(source, home)
    if moov is None or not tags:
        raise UnreadableFile("no-metadata", "a raw without the blocks that describe it")
    size = camera_px(tags)
    return Contents(
        file=file,
        size_bytes=source.size,
        tags=tags,
        note=_note(source, home, tags.text(IMAGE, 0x010F)),
        stored_px=size,
        picture=_picture(source, file, moov, home, size),
    )


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one CR3 raw.

    Raises:
        UnreadableFile: it is cut short or has no metadata, or the disk fails.
    """
    with open_source(root, file) as source:
        check_whole(source, b"mdat")
        return frame_from(read_contents(source, file))


READER = Reader(
    name="cr3",
    suffixes=(".cr3",),
    recognises=lambda head: head[4:12] == b"ftypcrx ",
    read=read,
)
