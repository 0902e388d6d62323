"""Builders of small real files: photographs by Pillow, and TIFF blocks entry by entry.

``write_photo`` writes an ordinary photograph of the invented "Quillmark Q5". ``tiff`` builds
what no well-behaved library writes: raws, thumbnails, odd and broken entries.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from PIL import Image
from PIL.TiffImagePlugin import IFDRational

TAKEN = datetime(2026, 3, 14, 9, 14, 12)

IFD0_POINTERS = {"exif": 0x8769, "gps": 0x8825}


def jpeg_bytes(size: tuple[int, int] = (96, 64), shade: int = 90, **save: Any) -> bytes:
    """A JPEG of one picture: a gradient, so that it has some content."""
    image = Image.linear_gradient("L").resize(size).point(lambda value: (value + shade) // 2)
    stream = io.BytesIO()
    image.convert("RGB").save(stream, "JPEG", **save)
    return stream.getvalue()


def rational(value: float, denominator: int = 1000) -> IFDRational:
    """A value as Pillow writes it as a RATIONAL (a tuple would become two whole numbers)."""
    return IFDRational(round(value * denominator), denominator)


def exif_of(
    *,
    taken: datetime | str | None = TAKEN,
    subsec: str | None = None,
    offset: str | None = None,
    make: str | None = "Quillmark",
    model: str | None = "Q5",
    serial: str | None = "5005001",
    lens: str | None = "Quillmark 24-70mm f/4",
    exposure_s: float | None = 1 / 60,
    aperture_f: float | None = 11.0,
    iso: int | None = 100,
    bias_ev: float | None = 0.0,
    focal_mm: float | None = 24.0,
    focal_35mm: int | None = 24,
    orientation: int | None = None,
    size: tuple[int, int] | None = None,
    image: dict[int, Any] | None = None,
    exif: dict[int, Any] | None = None,
    gps: dict[int, Any] | None = None,
) -> Image.Exif:
    """An Exif block as Pillow writes it; ``image``, ``exif``, ``gps`` add tags by number."""
    block = Image.Exif()
    stamp = taken.strftime("%Y:%m:%d %H:%M:%S") if isinstance(taken, datetime) else taken
    bias = None if bias_ev is None else IFDRational(round(bias_ev * 100), 100)
    main: dict[int, Any] = {0x010F: make, 0x0110: model, 0x0112: orientation}
    inner: dict[int, Any] = {
        0x9003: stamp,
        0x9291: subsec,
        0x9011: offset,
        0xA431: serial,
        0xA434: lens,
        0x829A: None if exposure_s is None else rational(exposure_s, 1_000_000),
        0x829D: None if aperture_f is None else rational(aperture_f, 10),
        0x8827: iso,
        0x9204: bias,
        0x920A: None if focal_mm is None else rational(focal_mm, 100),
        0xA405: focal_35mm,
        0xA002: size[0] if size else None,
        0xA003: size[1] if size else None,
        **(exif or {}),
    }
    for tag, value in {**main, **(image or {})}.items():
        if value is not None:
            block[tag] = value
    directory = block.get_ifd(0x8769)
    directory.update({tag: value for tag, value in inner.items() if value is not None})
    if gps:
        block.get_ifd(0x8825).update(gps)
    return block


def write_photo(
    path: Path,
    *,
    size: tuple[int, int] = (96, 64),
    thumbnail: bytes | None = None,
    shade: int = 90,
    bare: bool = False,
    **settings: Any,
) -> Path:
    """Write a photograph as a body does; see ``exif_of`` for its settings.

    Args:
        path: where to; folders are made. A suffix Pillow knows decides on the format.
        size: stored pixels.
        thumbnail: bytes of a thumbnail to put into the Exif block.
        shade: another picture for another shade.
        bare: leave the Exif block out.
        **settings: for ``exif_of``.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    block = b"" if bare else exif_of(**settings).tobytes()
    if thumbnail is not None:
        block = with_thumbnail(block, thumbnail)
    options: dict[str, Any] = {"exif": block} if block else {}
    if path.suffix.lower() in (".jpg", ".jpeg", ".chk"):
        path.write_bytes(jpeg_bytes(size, shade, **options))
    else:
        Image.new("RGB", size, (shade, shade, shade)).save(path, **options)
    return path


def with_thumbnail(block: bytes, thumbnail: bytes, compression: int = 6) -> bytes:
    """Chain a second directory with a thumbnail to an Exif block as Pillow writes it."""
    head, tiff = (block[:6], block[6:]) if block[:4] == b"Exif" else (b"", block)
    order = "<" if tiff[:2] == b"II" else ">"
    first = struct.unpack(order + "I", tiff[4:8])[0]
    count = struct.unpack(order + "H", tiff[first : first + 2])[0]
    link = first + 2 + 12 * count
    second = len(tiff)
    data_at = second + 2 + 3 * 12 + 4
    entries = (
        struct.pack(order + "HHIHH", 0x0103, 3, 1, compression, 0)
        + struct.pack(order + "HHII", 0x0201, 4, 1, data_at)
        + struct.pack(order + "HHII", 0x0202, 4, 1, len(thumbnail))
    )
    return (
        head
        + tiff[:link]
        + struct.pack(order + "I", second)
        + tiff[link + 4 :]
        + struct.pack(order + "H", 3)
        + entries
        + struct.pack(order + "I", 0)
        + thumbnail
    )


@dataclass(frozen=True)
class Blob:
    """Bytes laid down somewhere in the file; the entry holds their offset as a LONG."""

    data: bytes


@dataclass(frozen=True)
class Typed:
    """An entry with its field type spelt out: values already packed, in the block's order."""

    kind: int
    count: int
    packed: bytes


Directory = dict[int, Any]


def tiff(*directories: Directory, order: str = "<", magic: bytes | None = None) -> bytes:
    """A TIFF file out of directories, chained; values choose their field type.

    int: LONG; list of int: LONGs; str: ASCII; float: RATIONAL of 1/1000; bytes: UNDEFINED;
    dict: a directory of its own, pointed to; tuple of dicts: several; Blob, Typed: as said.
    """
    mark = {"<": b"II*\0", ">": b"MM\0*"}[order] if magic is None else magic
    data = bytearray(mark + struct.pack(order + "I", 0))
    link = 4
    for directory in directories:
        place = _put_directory(data, directory, order)
        data[link : link + 4] = struct.pack(order + "I", place)
        link = place + 2 + 12 * len(directory)
    return bytes(data)


def _put_directory(data: bytearray, directory: Directory, order: str) -> int:
    if len(data) % 2:
        data += b"\0"
    place = len(data)
    data += struct.pack(order + "H", len(directory)) + bytes(12 * len(directory) + 4)
    for index, (tag, value) in enumerate(sorted(directory.items())):
        kind, count, packed = _packed(data, value, order)
        if len(packed) <= 4:
            field = packed.ljust(4, b"\0")
        else:
            if len(data) % 2:
                data += b"\0"
            field = struct.pack(order + "I", len(data))
            data += packed
        at = place + 2 + 12 * index
        data[at : at + 12] = struct.pack(order + "HHI", tag, kind, count) + field
    return place


def _packed(data: bytearray, value: Any, order: str) -> tuple[int, int, bytes]:
    if isinstance(value, Typed):
        return value.kind, value.count, value.packed
    if isinstance(value, Blob):
        place = len(data)
        data += value.data
        return 4, 1, struct.pack(order + "I", place)
    if isinstance(value, dict):
        return 4, 1, struct.pack(order + "I", _put_directory(data, value, order))
    if isinstance(value, tuple):
        places = [_put_directory(data, item, order) for item in value]
        return 4, len(places), struct.pack(f"{order}{len(places)}I", *places)
    if isinstance(value, str):
        text = value.encode() + b"\0"
        return 2, len(text), text
    if isinstance(value, bytes):
        return 7, len(value), value
    if isinstance(value, float):
        return 5, 1, struct.pack(order + "II", round(value * 1000), 1000)
    numbers = value if isinstance(value, list) else [value]
    return 4, len(numbers), struct.pack(f"{order}{len(numbers)}I", *numbers)


def short(value: int, order: str = "<") -> Typed:
    """A SHORT."""
    return Typed(3, 1, struct.pack(order + "H", value))


def ratio(over: int, under: int, order: str = "<", *, signed: bool = False) -> Typed:
    """A (S)RATIONAL, given bit for bit."""
    letters = "ii" if signed else "II"
    return Typed(10 if signed else 5, 1, struct.pack(order + letters, over, under))


def raw_bytes(
    *,
    size: tuple[int, int] = (6000, 4000),
    preview: bytes | None = None,
    make: str = "Quillmark",
    model: str = "Q5",
    taken: str = "2026:03:14 09:14:12",
    subsec: str | None = None,
    orientation: int = 1,
    order: str = "<",
    exif: Directory | None = None,
) -> bytes:
    """A TIFF-shaped raw: a small preview first, the full picture in a sub-directory.

    The full picture is a strip of 512 bytes, which no decoder is asked to understand.
    """
    inner: Directory = {0x9003: taken, 0x920A: 24.0, 0xA405: short(24, order), **(exif or {})}
    if subsec is not None:
        inner[0x9291] = subsec
    full: Directory = {
        0x00FE: 0,
        0x0100: size[0],
        0x0101: size[1],
        0x0103: short(1, order),
        0x0111: Blob(bytes(range(256)) * 2),
        0x0117: 512,
    }
    main: Directory = {
        0x00FE: 1,
        0x010F: make,
        0x0110: model,
        0x0112: short(orientation, order),
        0x014A: (full,),
        0x8769: inner,
    }
    if preview is not None:
        main |= {0x0201: Blob(preview), 0x0202: len(preview)}
    return tiff(main, order=order)


def damaged_files() -> dict[str, bytes]:
    """The files of ``testdata/damaged``, each named for what is wrong with it."""
    whole, raw = jpeg_bytes(exif=exif_of().tobytes()), raw_bytes(size=(600, 400))
    scan = whole.index(b"\xff\xda")
    return {
        "empty.jpg": b"",
        "cut-in-the-head.jpg": whole[:100],
        "cut-in-the-picture.jpg": whole[: scan + 40],
        "rubbish-after-the-mark.jpg": b"\xff\xd8\xff\xff" + b"rubbish " * 40,
        "zeros.jpg": bytes(256),
        "text.jpg": b"This was a picture once.\n",
        "cut-in-the-picture.nef": raw[:-200],
        "empty-directory.nef": b"II*\0\x08\0\0\0" + bytes(40),
    }


if __name__ == "__main__":
    for name, data in damaged_files().items():
        (Path(__file__).parents[2] / "testdata" / "damaged" / name).write_bytes(data)
