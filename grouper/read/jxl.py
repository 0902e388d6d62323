"""JPEG XL pictures in a container (ISO/IEC 18181-2) with an Exif box.

The picture's size is written as single bits in the codestream; it is taken from the Exif block
instead. Nothing installed decodes JPEG XL, so such a frame has no small picture.
"""

from __future__ import annotations

import struct
from io import BytesIO
from pathlib import Path
from typing import Final

from grouper.contracts import Reader
from grouper.model import Frame
from grouper.read.boxes import boxes, check_whole, contents
from grouper.read.exif import Contents, camera_px, frame_from
from grouper.read.maker import note_of
from grouper.read.source import open_source
from grouper.read.tags import Tags, parse_block
from grouper.read.xmp import Packet, read_packet
from grouper.settings import Settings

_MARK: Final = b"\0\0\0\x0cJXL \r\n\x87\n"


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one JPEG XL picture.

    Raises:
        UnreadableFile: it is cut short, or the disk fails.
    """
    with open_source(root, file) as source:
        check_whole(source)
        tags, packet = Tags(), Packet()
        told: set[bytes] = set()
        for box in boxes(source, 0, source.size):
            if box.name in told:
                continue
            told.add(box.name)
            if box.name == b"Exif":
                data = contents(source, box)
                start = 4 + struct.unpack(">I", data[:4])[0] if len(data) > 4 else 0
                tags = parse_block(BytesIO(data[start:]), base=box.start + start)
            elif box.name == b"xml ":
                packet = read_packet(contents(source, box))
        return frame_from(
            Contents(
                file=file,
                size_bytes=source.size,
                tags=tags,
                packet=packet,
                note=note_of(tags, source.at),
                stored_px=camera_px(tags),
                turned=True,
            )
        )


READER = Reader(
    name="jxl",
    suffixes=(".jxl",),
    recognises=lambda head: head[:12] == _MARK,
    read=read,
)
