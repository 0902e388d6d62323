"""Fujifilm's RAF raws: a head with offsets, and a whole JPEG that carries the metadata.

The head is undocumented by its maker; offsets as found in the exiv2 library (0.28).
"""

from __future__ import annotations

import struct
from dataclasses import replace
from pathlib import Path
from typing import Final

from grouper.contracts import Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource
from grouper.read.exif import Contents, camera_px, frame_from
from grouper.read.jpeg import jpeg_size, read_contents_at, thumbnail_of
from grouper.read.source import Source, open_source
from grouper.settings import Settings

_MARK: Final = b"FUJIFILMCCD-RAW "
_PLACES_AT: Final = 84
"""Where the head lists offset and length of the JPEG, of a directory and of the raw data."""


def _places(source: Source) -> tuple[int, ...]:
    data = source.at(_PLACES_AT, 24)
    if len(data) < 24:
        raise UnreadableFile("truncated", "it ends within its head")
    return struct.unpack(">6I", data)


def read_contents(source: Source, file: str) -> Contents:
    """Everything a RAF tells, whether its picture is whole or not.

    Raises:
        UnreadableFile: it ends within its head, or has no metadata.
    """
    offset, length = _places(source)[:2]
    found = read_contents_at(source, file, offset)[0]
    if not found.tags:
        raise UnreadableFile("no-metadata", "a raw without the JPEG that describes it")
    inner = found.stored_px
    picture = thumbnail_of(source, found.tags, file, inner)
    if picture is None and jpeg_size(source, offset, length) is not None:
        picture = PictureSource(kind="preview", file=file, offset=offset, length=length)
    return replace(found, stored_px=camera_px(found.tags) or inner, picture=picture)


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one RAF raw.

    Raises:
        UnreadableFile: it is cut short or has no metadata, or the disk fails.
    """
    with open_source(root, file) as source:
        found = read_contents(source, file)
        places = _places(source)
        end = max(start + length for start, length in zip(places[::2], places[1::2], strict=True))
        if end > source.size:
            raise UnreadableFile(
                "truncated", f"{end - source.size} of its bytes are missing at the end"
            )
        return frame_from(found)


READER = Reader(
    name="raf",
    suffixes=(".raf",),
    recognises=lambda head: head[:16] == _MARK,
    read=read,
)
