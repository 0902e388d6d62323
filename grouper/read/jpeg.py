"""JPEG files (ISO/IEC 10918-1) with Exif and XMP in their application segments.

Only segment heads are read on the way to the picture, so a large file costs no more than a
small one. Whether the picture is whole is told from its end: a copy that was cut short has
fine metadata and half a picture.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from io import BytesIO
from itertools import islice
from pathlib import Path
from typing import Final, Literal

from grouper.contracts import Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource, UnreadReason
from grouper.read import mpf
from grouper.read.exif import Contents, frame_from, orientation_of
from grouper.read.maker import note_of
from grouper.read.source import Source, open_source
from grouper.read.strips import small_rgb
from grouper.read.tags import IMAGE, THUMBNAIL, Tags, parse_block
from grouper.read.turning import was_turned
from grouper.read.xmp import Packet, read_packet
from grouper.settings import Settings

_EXIF_MARK: Final = b"Exif\0"
_XMP_MARK: Final = b"http://ns.adobe.com/xap/1.0/\0"
_SIZES: Final = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Markers of a frame header, which holds the picture's size."""
_DECODABLE: Final = frozenset({0xC0, 0xC1, 0xC2})
"""Frame headers of pictures; the others stand before lossless sensor data, which raws keep in
JPEG's shape too, or arithmetic coding, which nothing here decodes."""
_SCAN: Final = 0xDA
_END: Final = b"\xff\xd9"
_BARE: Final = frozenset({0x01, *range(0xD0, 0xD9)})
"""Markers without a segment."""

MOST_SEGMENTS: Final = 4096
"""Depth maps and the like come as hundreds of 64 KiB segments; more is a loop or rubbish."""
RESYNC_BYTES: Final = 4096
"""Junk between segments that is skipped: stray padding is some bytes long."""
TAIL_BYTES: Final = 16 << 10
"""End of the file that is looked at first for the end marker; bodies that pad their files do
so to a few KiB."""
SEARCH_BYTES: Final = 64 << 20
"""Longest stretch searched for an end marker that is not near the end of the file; larger
than any camera's JPEG."""
_CHUNK: Final = 1 << 20


@dataclass(slots=True)
class Segments:
    """What stands before a JPEG's picture data."""

    exif_at: int = 0
    """Absolute offset of the TIFF header; 0 where there is none."""
    exif: bytes = b""
    packet: bytes = b""
    size: tuple[int, int] | None = None
    scan_at: int = 0
    """Offset just behind the head of the first scan; 0 where none was reached."""
    coding: int = 0
    """Marker of the frame header that gave the size."""
    mpf_at: int = 0
    """Absolute offset of the TIFF header of the list of further pictures; 0 for none."""
    trouble: tuple[UnreadReason, str] | None = None
    """Why no picture was reached."""


def walk(source: Source, start: int = 0) -> Segments:
    """Go through the segments of the JPEG that begins at ``start``, up to its picture data."""
    found, at = Segments(), start + 2
    for _ in range(MOST_SEGMENTS):
        step = _step(found, source, at)
        if step is None:
            return found
        at += step
    found.trouble = ("damaged", "it has no end of segments")
    return found


def _step(found: Segments, source: Source, at: int) -> int | None:
    """Note what stands at ``at``; how far it is to the next segment, ``None`` for no further."""
    head = source.at(at, 4)
    if head[:2] == _END:
        found.trouble = ("damaged", "it holds no picture")
        return None
    if len(head) < 4:
        found.trouble = ("truncated", "it ends before the picture begins")
        return None
    marker = head[1]
    if head[0] != 0xFF or (marker < 0xC0 and marker not in _BARE):
        stray = _next_marker(source.at(at, RESYNC_BYTES))
        if stray is None:
            found.trouble = ("damaged", f"no segment where one should begin, at byte {at}")
        return stray
    if marker == 0xFF or marker in _BARE:  # fill byte, or a marker without a segment
        return 1 if marker == 0xFF else 2
    length = int.from_bytes(head[2:], "big")
    if marker == _SCAN:
        found.scan_at = at + 2 + length
        return None
    if marker in _SIZES:
        found.size, found.coding = _size(source.at(at + 5, 4)) or found.size, marker
    elif marker == 0xE1:
        _application(found, source, at + 4, length - 2)
    elif marker == 0xE2 and not found.mpf_at and source.at(at + 4, len(mpf.MARK)) == mpf.MARK:
        found.mpf_at = at + 4 + len(mpf.MARK)
    return 2 + max(length, 2)


def _next_marker(data: bytes) -> int | None:
    """Offset of the next byte pair that can open a segment, behind stray bytes."""
    at = data.find(b"\xff", 1)
    while at >= 0 and at + 1 < len(data):
        if data[at + 1] >= 0xC0 and data[at + 1] != 0xFF:
            return at
        at = data.find(b"\xff", at + 1)
    return None


def _size(data: bytes) -> tuple[int, int] | None:
    if len(data) < 4:
        return None
    height, width = struct.unpack(">HH", data)
    return (width, height) if width and height else None


def _application(found: Segments, source: Source, at: int, length: int) -> None:
    """Keep the Exif block or the XMP packet of an APP1 segment; the first of each counts."""
    mark = source.at(at, len(_XMP_MARK))
    if mark.startswith(_EXIF_MARK) and not found.exif:
        found.exif_at = at + 6
        found.exif = source.at(at + 6, length - 6)
    elif mark == _XMP_MARK and not found.packet:
        found.packet = source.at(at + len(_XMP_MARK), length - len(_XMP_MARK))


def is_whole(source: Source, scan_at: int) -> bool:
    """Whether the picture data that begin at ``scan_at`` come to an end.

    In picture data the byte FF is followed by 00 or a restart marker, so the end marker is
    found nowhere else. It stands last, or before padding, further pictures or whatever a
    camera appends; only where it is not near the end is the file searched from the scan on.
    """
    last_at = source.size - len(_END)
    if last_at >= scan_at and source.at(last_at, len(_END)) == _END:  # as mostly
        return True
    tail_at = max(scan_at, source.size - TAIL_BYTES)
    if _END in source.at(tail_at, TAIL_BYTES):
        return True
    kept, at = b"", scan_at
    while at < tail_at and at < scan_at + SEARCH_BYTES:
        chunk = source.at(at, _CHUNK)
        if not chunk:
            return False
        if _END in kept + chunk:
            return True
        kept, at = chunk[-1:], at + len(chunk)
    return False


def jpeg_size(source: Source, start: int, length: int) -> tuple[int, int] | None:
    """Size of an embedded JPEG, or ``None`` where no head of one that can be decoded lies there."""
    if not source.holds(start, length) or source.at(start, 3) != b"\xff\xd8\xff":
        return None
    found = walk(Source(source.stream, start + length, source.head), start)
    return found.size if found.coding in _DECODABLE else None


def thumbnail_of(
    source: Source, tags: Tags, file: str, stored: tuple[int, int] | None
) -> PictureSource | None:
    """The thumbnail of an Exif block, if it lies inside the file and is of this picture."""
    offset = tags.whole(THUMBNAIL, 0x0201)
    length = tags.whole(THUMBNAIL, 0x0202)
    if offset is None or length is None:
        block = small_rgb(source, tags, THUMBNAIL)
        if block is None:
            return None
        size, start, length = block
    else:
        start = tags.base + offset
        found = jpeg_size(source, start, length)
        if found is None:
            return None
        size = found
    if max(size) < LEAST_PREVIEW or not may_show(size, stored):
        return None
    return PictureSource(kind="thumbnail", file=file, offset=start, length=length)


LEAST_PREVIEW: Final = 100
"""Pixels on the long side of a picture that can still be matched."""
ENOUGH_PREVIEW: Final = 160
"""Pixels on the long side that are as good as more: what a thumbnail has (CIPA DC-009)."""
MOST_PREVIEWS: Final = 8
"""Smaller versions that are looked at; there are one or two."""
LARGEST_THUMBNAIL: Final = 320
"""Pixels on the long side up to which an embedded picture is called a thumbnail."""


def best_picture(
    found: Iterable[tuple[tuple[int, int], int, int]], file: str, stored: tuple[int, int] | None
) -> PictureSource | None:
    """The smallest of several embedded pictures that is large enough, else the largest.

    Args:
        found: size, absolute offset and length of each.
        file: the file they lie in.
        stored: size of the main picture, which they must be able to show.
    """
    usable = [
        (max(size), offset, length)
        for size, offset, length in found
        if max(size) >= LEAST_PREVIEW and may_show(size, stored)
    ]
    if not usable:
        return None
    enough = [one for one in usable if one[0] >= ENOUGH_PREVIEW]
    long_px, offset, length = min(enough) if enough else max(usable)
    kind: Literal["thumbnail", "preview"] = (
        "thumbnail" if long_px <= LARGEST_THUMBNAIL else "preview"
    )
    return PictureSource(kind=kind, file=file, offset=offset, length=length)


SAME_ASPECT: Final = 0.08
"""Relative difference of aspects that rounding to 160 pixels and to blocks of 8 can make."""


def may_show(thumbnail: tuple[int, int], stored: tuple[int, int] | None) -> bool:
    """Whether a thumbnail of that size can show the whole stored picture, the same way up.

    A 4:3 thumbnail may show any shape between black bars (CIPA DC-009), lying or standing;
    any other shape must be the picture's own.
    """
    if stored is None:
        return True
    aspect, wanted = thumbnail[0] / thumbnail[1], stored[0] / stored[1]
    if abs(aspect / (4.0 / 3.0) - 1.0) <= SAME_ASPECT:
        return True
    return abs(aspect / wanted - 1.0) <= SAME_ASPECT


def read_contents(source: Source, file: str) -> tuple[Contents, Segments]:
    """Everything a JPEG file tells, whether its picture is whole or not."""
    return read_contents_at(source, file, 0)


def read_contents_at(source: Source, file: str, start: int) -> tuple[Contents, Segments]:
    """Everything the JPEG that begins at ``start`` of a file tells."""
    segments = walk(source, start)
    tags, packet = Tags(), Packet()
    if segments.exif:
        tags = parse_block(BytesIO(segments.exif), base=segments.exif_at)
    if segments.packet:
        packet = read_packet(segments.packet)
    contents = Contents(
        file=file,
        size_bytes=source.size,
        tags=tags,
        packet=packet,
        note=note_of(tags, source.at),
        stored_px=segments.size,
    )
    return contents, segments


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one JPEG file.

    Raises:
        UnreadableFile: it is cut short or damaged, or the disk fails.
    """
    with open_source(root, file) as source:
        contents, segments = read_contents(source, file)
        if segments.trouble is not None:
            raise UnreadableFile(*segments.trouble)
        if segments.size is None:
            raise UnreadableFile("damaged", "its picture has no size")
        if not is_whole(source, segments.scan_at):
            raise UnreadableFile("truncated", "the picture data break off before their end")
        picture = choose_picture(source, contents, segments.mpf_at)
        return frame_from(
            replace(contents, picture=picture, lists_panorama=_lists_panorama(source, segments))
        )


def _lists_panorama(source: Source, segments: Segments) -> bool:
    return bool(segments.mpf_at) and any(
        further.kind == mpf.PANORAMA for further in mpf.further_pictures(source, segments.mpf_at)
    )


def choose_picture(source: Source, contents: Contents, mpf_at: int = 0) -> PictureSource:
    """The smallest usable picture: the thumbnail, else a further preview, else the file itself.

    Where the pixels were turned after the camera stored them, the thumbnail may well lie
    unturned between bars that look like any other's: it is not used.
    """
    main = PictureSource(kind="main", file=contents.file)
    if was_turned(contents.tags.whole(IMAGE, 0x0112), orientation_of(contents)):
        return main
    file, stored = contents.file, contents.stored_px
    return (
        thumbnail_of(source, contents.tags, file, stored)
        or best_picture(_further_previews(source, mpf_at), file, stored)
        or main
    )


def _further_previews(source: Source, mpf_at: int) -> Iterator[tuple[tuple[int, int], int, int]]:
    """Size, offset and length of the smaller versions that a file lists behind its picture."""
    if not mpf_at:
        return
    listed = mpf.further_pictures(source, mpf_at)
    for further in islice((one for one in listed if one.is_preview), MOST_PREVIEWS):
        size = jpeg_size(source, further.offset, further.length)
        if size is not None:
            yield size, further.offset, further.length


READER = Reader(
    name="jpeg",
    suffixes=(".jpg", ".jpeg", ".jpe", ".jfif"),
    recognises=lambda head: head[:3] == b"\xff\xd8\xff",
    read=read,
)
