"""HEIF pictures: HEIC and AVIF (ISO/IEC 23008-12), with their Exif and XMP items.

Orientation is a property of the picture there (``irot``), and the Exif tag is to be ignored.
What decoders do with it differs, and a frame's size and orientation follow the decoder, so
that they fit the pixels one gets: HEIC comes out turned, AVIF as stored.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from io import BytesIO
from itertools import islice
from pathlib import Path
from typing import Final

from grouper.contracts import Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, PictureSource
from grouper.read.boxes import Box, boxes, check_whole, child, contents
from grouper.read.exif import Contents, frame_from
from grouper.read.jpeg import jpeg_size, may_show
from grouper.read.maker import note_of
from grouper.read.source import Source, open_source
from grouper.read.tags import Tags, parse_block
from grouper.read.xmp import Packet, read_packet
from grouper.settings import Settings

_BRANDS: Final = frozenset({
    b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"mif2", b"msf1", b"avif",
    b"avis", b"miaf",
})  # fmt: skip
_AV1: Final = frozenset({b"avif", b"avis"})
MOST_ITEMS: Final = 8192
"""Items of one picture: a tile each of 512 pixels, so thousands only in the largest."""
MOST_EXTENTS: Final = 65_536
"""Stretches of data of all items together; nearly every item has one. A stretch may be written
in no bytes at all, so the length of the box does not bound them."""
MOST_TIES: Final = 65_536
"""Ties between items and properties: a tile has three or four."""
MOST_TRIED: Final = 8
"""Thumbnails and Exif items that are looked into; a picture has one of each, or none."""
_HEAD: Final = 256
"""Bytes of an item's entry or of a property that are read; what is used stands first."""
_TURNS: Final = {0: 1, 1: 8, 2: 3, 3: 6}
"""Quarter turns anticlockwise (``irot``) as Exif orientations."""

Extent = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Items:
    """What the ``meta`` box of a picture says of its items, by item number."""

    kinds: Mapping[int, bytes] = field(default_factory=dict)
    mimes: Mapping[int, bytes] = field(default_factory=dict)
    extents: Mapping[int, tuple[Extent, ...]] = field(default_factory=dict)
    """Absolute offset and length of each stretch of an item's data."""
    primary: int = 0
    sizes: Mapping[int, tuple[int, int]] = field(default_factory=dict)
    turns: Mapping[int, int] = field(default_factory=dict)
    """Quarter turns anticlockwise."""
    thumbnails: Mapping[int, int] = field(default_factory=dict)
    """Thumbnail item to the item it shows."""


def recognises(head: bytes) -> bool:
    """Whether the first bytes are those of a HEIF picture."""
    return head[4:8] == b"ftyp" and (
        head[8:12] in _BRANDS
        or any(head[at : at + 4] in _BRANDS for at in range(16, _brands_end(head), 4))
    )


def _brands_end(head: bytes) -> int:
    length = struct.unpack(">I", head[:4])[0] if len(head) >= 4 else 0
    return int(min(length, len(head) - 3))


def read_items(source: Source) -> Items:
    """Read the directory of items.

    Raises:
        UnreadableFile: there is none, or it breaks off.
    """
    meta = next((box for box in boxes(source, 0, source.size) if box.name == b"meta"), None)
    if meta is None:
        raise UnreadableFile("damaged", "it has no directory of its parts")
    if meta.end > source.size:
        raise UnreadableFile("truncated", "it ends within the directory of its parts")
    inside = {box.name: box for box in boxes(source, meta.start + 4, meta.end)}
    try:
        kinds, mimes = _kinds(source, inside.get(b"iinf"))
        sizes, turns = _properties(source, inside.get(b"iprp"))
        return Items(
            kinds=kinds,
            mimes=mimes,
            extents=_extents(contents(source, inside.get(b"iloc")), inside.get(b"idat")),
            primary=_primary(contents(source, inside.get(b"pitm"))),
            sizes=sizes,
            turns=turns,
            thumbnails=_thumbnails(source, inside.get(b"iref")),
        )
    except (struct.error, IndexError, ValueError) as error:
        raise UnreadableFile("damaged", "the directory of its parts makes no sense") from error


def _primary(data: bytes) -> int:
    if not data:
        return 0
    return int(struct.unpack_from(">H" if data[0] == 0 else ">I", data, 4)[0])


def _kinds(source: Source, box: Box | None) -> tuple[dict[int, bytes], dict[int, bytes]]:
    """Item types, and the mime types of items that have one."""
    kinds: dict[int, bytes] = {}
    mimes: dict[int, bytes] = {}
    head = contents(source, box)[:8]
    if box is None or not head:
        return kinds, mimes
    for entry in boxes(source, box.start + (6 if head[0] == 0 else 8), box.end):
        if entry.name != b"infe":
            continue
        data = _head(source, entry)
        if data[0] < 2:
            continue
        wide = data[0] > 2
        number = struct.unpack_from(">I" if wide else ">H", data, 4)[0]
        at = (8 if wide else 6) + 2
        kinds[number] = data[at : at + 4]
        name, _, rest = data[at + 4 :].partition(b"\0")
        mimes[number] = rest.partition(b"\0")[0] if kinds[number] == b"mime" else name
    return kinds, mimes


def _head(source: Source, box: Box) -> bytes:
    return source.at(box.start, min(box.end - box.start, _HEAD))


class _Reader:
    """Numbers of varying width out of a box, one after the other."""

    def __init__(self, data: bytes, at: int) -> None:
        self.data, self.at = data, at

    def take(self, width: int) -> int:
        """The next number of so many bytes; 0 for a width of 0."""
        part = self.data[self.at : self.at + width]
        if len(part) < width:
            raise ValueError("the box ends early")
        self.at += width
        return int.from_bytes(part, "big")


def _extents(data: bytes, idat: Box | None) -> dict[int, tuple[Extent, ...]]:
    """Where the items' data lie (``iloc``)."""
    if not data:
        return {}
    version, reader = data[0], _Reader(data, 4)
    widths = reader.take(2)
    offset_width, length_width, base_width = widths >> 12, widths >> 8 & 15, widths >> 4 & 15
    index_width = widths & 15 if version in (1, 2) else 0
    found: dict[int, tuple[Extent, ...]] = {}
    left = MOST_EXTENTS
    for _ in range(min(reader.take(2 if version < 2 else 4), MOST_ITEMS)):
        number = reader.take(2 if version < 2 else 4)
        method = reader.take(2) & 15 if version in (1, 2) else 0
        reader.take(2)
        base = reader.take(base_width)
        origin = idat.start if method == 1 and idat is not None else 0
        extents = []
        count = reader.take(2)
        left -= count
        if left < 0:
            raise ValueError("more stretches of data than any picture has")
        for _ in range(count):
            reader.take(index_width)
            offset, length = reader.take(offset_width), reader.take(length_width)
            extents.append((origin + base + offset, length))
        if method in (0, 1):
            found[number] = tuple(extents)
    return found


def _properties(
    source: Source, box: Box | None
) -> tuple[dict[int, tuple[int, int]], dict[int, int]]:
    """Sizes and turns of the items (``ispe`` and ``irot``, tied to items by ``ipma``)."""
    shelf = child(source, box, b"ipco")
    kept = [
        (item.name, _head(source, item)[:16])
        for item in (boxes(source, shelf.start, shelf.end) if shelf else ())
    ]
    ties = _ties(contents(source, child(source, box, b"ipma")))
    sizes: dict[int, tuple[int, int]] = {}
    turns: dict[int, int] = {}
    for number, index in islice(ties, MOST_TIES):
        if not 0 < index <= len(kept):
            continue
        name, data = kept[index - 1]
        if name == b"ispe" and len(data) >= 12:
            sizes.setdefault(number, struct.unpack(">II", data[4:12]))
        elif name == b"clap" and len(data) == 16:  # what decoders cut the picture to
            width, width_of, height, height_of = struct.unpack(">4I", data)
            if width_of and height_of:
                sizes[number] = width // width_of, height // height_of
        elif name == b"irot" and data:
            turns[number] = data[0] & 3
    return sizes, turns


def _ties(data: bytes) -> Iterator[tuple[int, int]]:
    """Pairs of item number and property index."""
    if not data:
        return
    version, wide = data[0], bool(data[3] & 1)
    reader = _Reader(data, 4)
    for _ in range(min(reader.take(4), MOST_ITEMS)):
        number = reader.take(2 if version < 1 else 4)
        for _ in range(reader.take(1)):
            yield number, reader.take(2) & 0x7FFF if wide else reader.take(1) & 0x7F


def _thumbnails(source: Source, box: Box | None) -> dict[int, int]:
    if box is None:
        return {}
    wide = contents(source, box)[:1] not in (b"", b"\0")
    width, found = 4 if wide else 2, dict[int, int]()
    for entry in boxes(source, box.start + 4, box.end):
        if entry.name == b"thmb":
            reader = _Reader(contents(source, entry), 0)
            thumbnail = reader.take(width)
            if reader.take(2):
                found[thumbnail] = reader.take(width)
    return found


def _data(source: Source, items: Items, number: int) -> tuple[int, bytes]:
    """Absolute offset and bytes of an item that lies in one piece, as metadata do."""
    extents = items.extents.get(number, ())
    if len(extents) != 1:
        return 0, b""
    return extents[0][0], source.at(*extents[0])


def _tags(source: Source, items: Items) -> Tags:
    """The tags of the Exif item, which begins with the offset of its TIFF header."""
    exif = [number for number, kind in items.kinds.items() if kind == b"Exif"]
    for number in exif[:MOST_TRIED]:
        at, data = _data(source, items, number)
        if len(data) < 12:
            continue
        skip = 4 + struct.unpack(">I", data[:4])[0]
        for start in (skip, 4, 10, 0):  # some writers count from elsewhere
            if data[start : start + 2] in (b"II", b"MM"):
                return parse_block(BytesIO(data[start:]), base=at + start)
    return Tags()


def _packet(source: Source, items: Items) -> Packet:
    for number, kind in items.kinds.items():
        if kind == b"mime" and b"rdf+xml" in items.mimes.get(number, b""):
            return read_packet(_data(source, items, number)[1])
    return Packet()


def _picture(
    source: Source, items: Items, file: str, size: tuple[int, int] | None
) -> PictureSource:
    """A JPEG-coded thumbnail item where there is one, else the file itself."""
    for number, shown in islice(items.thumbnails.items(), MOST_TRIED):
        if shown != items.primary or items.kinds.get(number) != b"jpeg":
            continue
        extents = items.extents.get(number, ())
        if len(extents) == 1:
            own = jpeg_size(source, *extents[0])
            if own is not None and may_show(own, size):
                return PictureSource(
                    kind="thumbnail", file=file, offset=extents[0][0], length=extents[0][1]
                )
    return PictureSource(kind="main", file=file)


def _check_data(source: Source, items: Items) -> None:
    """See that the data of every item lie within the file.

    Raises:
        UnreadableFile: they do not.
    """
    ends = [offset + length for extents in items.extents.values() for offset, length in extents]
    if max(ends, default=0) > source.size:
        raise UnreadableFile("truncated", "it ends before its picture does")


def read_contents(source: Source, file: str, items: Items) -> tuple[Contents, int]:
    """Everything a HEIF picture tells, and the orientation still to be applied."""
    tags = _tags(source, items)
    size, turn = items.sizes.get(items.primary), items.turns.get(items.primary, 0)
    orientation = 1
    if source.at(8, 4) in _AV1:
        orientation = _TURNS[turn]
    elif size is not None and turn in (1, 3):
        size = size[1], size[0]
    found = Contents(
        file=file,
        size_bytes=source.size,
        tags=tags,
        packet=_packet(source, items),
        note=note_of(tags, source.at),
        stored_px=size if size and min(size) > 0 else None,
        turned=True,
        picture=_picture(source, items, file, size),
    )
    return found, orientation


def read(root: Path, file: str, settings: Settings) -> Frame:
    """Read one HEIF picture.

    Raises:
        UnreadableFile: it is cut short or damaged, or the disk fails.
    """
    with open_source(root, file) as source:
        check_whole(source)
        items = read_items(source)
        _check_data(source, items)
        found, orientation = read_contents(source, file, items)
        return replace(frame_from(found), orientation=orientation)


READER = Reader(
    name="heif",
    suffixes=(".heic", ".heif", ".hif", ".avif"),
    recognises=recognises,
    read=read,
)
