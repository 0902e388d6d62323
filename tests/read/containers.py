"""Builders of containers around a TIFF block: as small as readers accept them."""

from __future__ import annotations

import struct
from typing import Any

from tests.read.files import Blob, Directory, Typed, jpeg_bytes, short, tiff

SMALL = jpeg_bytes((160, 120))


def box(name: bytes, *contents: bytes) -> bytes:
    """A box of the ISO base media file format."""
    data = b"".join(contents)
    return struct.pack(">I4s", len(data) + 8, name) + data


def jxl(exif: bytes, rest: bytes = b"") -> bytes:
    """A JPEG XL container around an Exif block; its codestream is a stub."""
    head = box(b"JXL ", b"\r\n\x87\n") + box(b"ftyp", b"jxl \0\0\0\0jxl ")
    return head + box(b"Exif", bytes(4) + exif) + box(b"jxlc", b"\xff\x0a" + bytes(60)) + rest


def cr3(preview: bytes = SMALL) -> bytes:
    """A Canon raw with a thumbnail."""
    first = tiff({0x010F: "Quillmark", 0x0110: "Q5", 0x0112: short(8)})
    exif = tiff({0x9003: "2026:03:14 09:14:12", 0x920A: 24.0, 0xA002: 6000, 0xA003: 4000})
    gps = tiff({0x01: "N", 0x02: Blob(b"")})
    home = box(
        b"uuid",
        bytes.fromhex("85c0b687820f11e08111f4ce462b6a48"),
        box(b"CNCV", b"version"),
        box(b"CMT1", first),
        box(b"CMT2", exif),
        box(b"CMT3", tiff({0x0095: "Quillmark 24-70"})),
        box(b"CMT4", gps),
        box(b"THMB", bytes(16), preview),
    )
    head = box(b"ftyp", b"crx \0\0\0\1crx isom")
    return head + box(b"moov", home) + box(b"mdat", bytes(500))


def raf(jpeg: bytes) -> bytes:
    """A Fujifilm raw around a JPEG."""
    data = b"FUJIFILMCCD-RAW 0201".ljust(84, b"\0")
    start = 84 + 24
    raw_at = start + len(jpeg)
    return data + struct.pack(">6I", start, len(jpeg), 0, 0, raw_at, 500) + jpeg + bytes(500)


def mrw(block: bytes) -> bytes:
    """A Minolta raw around a TIFF block."""
    blocks = b"\0PRD" + struct.pack(">I", 8) + bytes(8)
    blocks += b"\0TTW" + struct.pack(">I", len(block)) + block
    return b"\0MRM" + struct.pack(">I", len(blocks)) + blocks + bytes(500)


def heif_with_thumbnail(thumbnail: bytes) -> tuple[bytes, int]:
    """A HEIC with a thumbnail that is a JPEG, and where that begins; its picture is left out."""

    def items(offset: int) -> bytes:
        infe = b"".join(
            box(b"infe", b"\2\0\0\0", struct.pack(">HH", number, 0), kind, b"\0")
            for number, kind in ((1, b"hvc1"), (2, b"jpeg"))
        )
        place = struct.pack(">HHHII", 2, 0, 1, offset, len(thumbnail))
        return box(
            b"meta",
            bytes(4),
            box(b"pitm", bytes(4), struct.pack(">H", 1)),
            box(b"iinf", bytes(4), struct.pack(">H", 2), infe),
            box(b"iloc", bytes(4), b"\x44\0", struct.pack(">H", 1), place),
            box(b"iref", bytes(4), box(b"thmb", struct.pack(">HHH", 2, 1, 1))),
            box(
                b"iprp",
                box(b"ipco", box(b"ispe", bytes(4), struct.pack(">II", 4000, 3000))),
                box(b"ipma", bytes(4), struct.pack(">IHBB", 1, 1, 1, 1)),
            ),
        )

    head = box(b"ftyp", b"heic\0\0\0\0mif1heic")
    offset = len(head) + len(items(0)) + 8
    return head + items(offset) + box(b"mdat", thumbnail), offset


def with_further(
    main: bytes, further: list[tuple[int, bytes]], order: str = "<", spoil: bytes | None = None
) -> bytes:
    """A JPEG that lists pictures behind it, each of a type."""
    count = len(further) + 1
    length = 4 + 8 + 2 + 3 * 12 + 4 + 16 * count
    mpf_at = 2 + 4 + 4
    end = len(main) + length + 4
    entries = struct.pack(order + "III", 0x20030000, end, 0) + bytes(4)
    rest, at = b"", end
    for kind, data in further:
        entries += struct.pack(order + "III", kind, len(data), at - mpf_at) + bytes(4)
        rest += data
        at += len(data)
    block = {"<": b"II*\0", ">": b"MM\0*"}[order] + struct.pack(order + "IH", 8, 3)
    block += struct.pack(order + "HHI4s", 0xB000, 7, 4, b"0100")
    block += struct.pack(order + "HHII", 0xB001, 4, 1, count)
    block += struct.pack(order + "HHIII", 0xB002, 7, 16 * count, 8 + 2 + 36 + 4, 0)
    body = b"MPF\0" + (block + entries if spoil is None else spoil)
    return main[:2] + b"\xff\xe2" + struct.pack(">H", len(body) + 2) + body + main[2:] + rest


def rgb(size: tuple[int, int] = (160, 120), **changes: Any) -> Directory:
    """A directory with an uncompressed thumbnail; ``changes`` are tags by number, as ``x0103``."""
    pixels = (bytes(range(256)) * 225)[: size[0] * size[1] * 3]
    entries: Directory = {
        0x0100: size[0],
        0x0101: size[1],
        0x0102: Typed(3, 3, struct.pack("<3H", 8, 8, 8)),
        0x0103: short(1),
        0x0106: short(2),
        0x0111: Blob(pixels),
        0x0115: short(3),
        0x0117: len(pixels),
    }
    for tag, value in changes.items():
        entries[int(tag[1:], 16)] = value
    return entries
