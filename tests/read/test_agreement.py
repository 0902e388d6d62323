"""What is read agrees with two other libraries: the exiv2 binding and Pillow.

Run over foreign sample files where they are present, and over files made here where they
are not. Every disagreement that is left stands in a list below, with its reason.
"""

from __future__ import annotations

import io
import math
import struct
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from grouper.errors import UnreadableFile
from grouper.read import cr3, heif, jpeg, mrw, png, raf, tiff
from grouper.read import tags as tags_module
from grouper.read.exif import Contents
from grouper.read.source import Source
from grouper.read.tags import EXIF, GPS, IMAGE, INTEROP, THUMBNAIL, Tags, number, text
from tests.read.files import jpeg_bytes, rational, write_photo

exiv2 = pytest.importorskip("exiv2")
SHARED = Path(__file__).parents[3] / "shared"
FOREIGN = sorted(
    path
    for name in ("samples", "real")
    if (SHARED / name).is_dir()
    for path in (SHARED / name).rglob("*")
    if path.is_file() and path.suffix.lower() not in (".json", ".md")
)

RAWS = (".cr2", ".nef", ".dng", ".rw2", ".raf", ".mrw", ".cr3")
"""Suffixes under which Pillow sees the preview, not the picture."""

GROUPS = {
    IMAGE: "Image", EXIF: "Photo", GPS: "GPSInfo", THUMBNAIL: "Thumbnail", INTEROP: "Iop",
}  # fmt: skip
TAGS = dict(tags_module._WANTED)
"""Every tag that is used, by directory."""

Key = tuple[str, int]
EXPLAINED: dict[tuple[str, str, int], str] = {
    ("87_OSError.jpg", EXIF, 0x9206): "FFFFFFFF is infinity; the binding reads it as -1",
    ("Panasonic.rw2", IMAGE, 0x8769): "a place in the JPEG inside",
    ("Panasonic.rw2", EXIF, 0xA002): "from the JPEG inside, where exiv2 does not look",
    ("Panasonic.rw2", EXIF, 0xA003): "from the JPEG inside, where exiv2 does not look",
    ("Panasonic.rw2", EXIF, 0xA404): "from the JPEG inside, where exiv2 does not look",
    **{
        ("Panasonic.rw2", THUMBNAIL, tag): "kept apart: places in the JPEG inside"
        for tag in (0x0103, 0x0112, 0x0201, 0x0202)
    },
}
"""(file, directory, tag): why exiv2 and we differ."""


def contents_of(path: Path) -> Contents | None:
    """What the readers find in a file, whole or not."""
    data = path.read_bytes()
    source = Source(io.BytesIO(data), len(data))
    for reader, read in (
        (jpeg.READER, lambda: jpeg.read_contents(source, path.name)[0]),
        (tiff.READER, lambda: tiff.read_contents(source, path.name)),
        (cr3.READER, lambda: cr3.read_contents(source, path.name)),
        (heif.READER, lambda: heif.read_contents(source, path.name, heif.read_items(source))[0]),
        (raf.READER, lambda: raf.read_contents(source, path.name)),
        (mrw.READER, lambda: mrw.read_contents(source, path.name)),
        (png.READER, lambda: Contents(file="", size_bytes=0, tags=png.walk(source).tags)),
    ):
        if reader.recognises(data[:64]):
            try:
                return read()
            except UnreadableFile:
                return None
    return None


def exif_data(path: Path) -> Any:
    """Everything the exiv2 binding reads, ``None`` where it cannot."""
    exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)
    try:
        image = exiv2.ImageFactory.open(str(path))
        image.readMetadata()
    except exiv2.Exiv2Error:
        return None
    exif_data.keep = image  # type: ignore[attr-defined] - the data live in the image
    return image.exifData()


def by_exiv2(path: Path) -> dict[Key, Any] | None:
    """The same tags by the exiv2 binding: text, or a list of fractions."""
    data = exif_data(path)
    if data is None:
        return None
    found: dict[Key, Any] = {}
    names = {group: directory for directory, group in GROUPS.items()}
    names["PanasonicRaw"] = IMAGE  # the same directory, under the names that one maker gives it
    for datum in data:
        directory = names.get(datum.groupName())
        if directory is None or datum.tag() not in TAGS[directory]:
            continue
        if (directory, datum.tag()) in found:
            continue
        value = datum.value()
        if datum.typeName() in ("Ascii", "Undefined", "Comment", "XmpText"):
            found[directory, datum.tag()] = text(datum.toString())
        else:
            found[directory, datum.tag()] = [
                value.toRational(index) for index in range(value.count())
            ]
    return found


def agree(ours: Any, theirs: Any) -> bool:
    """Whether two values say the same; a denominator of 0 is "not known" here."""
    if isinstance(theirs, str) or theirs is None:
        return text(ours) == theirs
    if isinstance(ours, str | bytes) or ours is None:
        return False
    if not theirs:
        return not ours
    values = [None if under == 0 else over / under for over, under in theirs]
    mine = [number([item]) for item in ours]
    return len(mine or [None]) == len(values) and all(
        a == b if a is None or b is None else math.isclose(a, b, rel_tol=1e-9)
        for a, b in zip(mine or [None], values, strict=True)
    )


def differences(name: str, tags: Tags, theirs: dict[Key, Any]) -> Iterator[str]:
    """Each disagreement that is not explained, both ways round."""
    for (directory, tag), value in theirs.items():
        ours = tags.get(directory, tag)
        if not agree(ours, value) and (name, directory, tag) not in EXPLAINED:
            yield f"{name}: {directory} 0x{tag:04x}: ours {ours!r}, theirs {value!r}"
    for directory, tag in tags.values:
        asked = tag in TAGS.get(directory, ())
        if asked and (directory, tag) not in theirs and (name, directory, tag) not in EXPLAINED:
            yield f"{name}: {directory} 0x{tag:04x}: only ours, {tags.get(directory, tag)!r}"


@pytest.mark.skipif(not FOREIGN, reason="the sample files are not here")
def test_foreign_files_agree_with_exiv2() -> None:
    compared, wrong = 0, list[str]()
    for path in FOREIGN:
        contents, theirs = contents_of(path), by_exiv2(path)
        if contents is None or not theirs:
            continue
        compared += len(theirs)
        wrong += differences(path.name, contents.tags, theirs)
    assert not wrong, "\n".join(wrong)
    assert compared > 2000  # the samples hold 216 files of more than 30 makers


NOTES = {
    "Exif.Nikon3.ShutterCount": "shutter_count",
    "Exif.Nikon3.SerialNumber": "serial",
    "Exif.Canon.LensModel": "lens",
    "Exif.Canon.SerialNumber": "serial",
    "Exif.Fujifilm.SerialNumber": "serial",
    "Exif.Panasonic.InternalSerialNumber": "serial",
}
"""Where exiv2 has as plain values what we take from notes."""

Told = Callable[[list[int]], Any]
NUMBERS: dict[str, tuple[str, Told]] = {
    "Exif.Nikon3.ISOSpeed": ("iso", lambda v: float(v[1]) if len(v) == 2 and v[1] else None),
    "Exif.Nikon3.ShootingMode": ("bracketing", lambda v: bool(v[0] & 0x10)),
    "Exif.CanonCs.FocusMode": ("focus_auto", lambda v: v[0] not in (3, 6)),
    "Exif.CanonCs.ISOSpeed": (
        "iso",
        lambda v: (
            {16: 50.0, 17: 100.0, 18: 200.0, 19: 400.0}.get(v[0])
            if not v[0] & 0x4000
            else float(v[0] & 0x3FFF)
        ),
    ),
    "Exif.Panasonic.FocusMode": ("focus_auto", lambda v: v[0] != 2),
    "Exif.Panasonic.BracketSettings": ("bracketing", lambda v: bool(v[0])),
    "Exif.Panasonic.SequenceNumber": ("burst_number", lambda v: v[0] or None),
    "Exif.Panasonic.RollAngle": ("roll_deg", lambda v: v[0] / 10.0),
    "Exif.Panasonic.PitchAngle": ("pitch_deg", lambda v: -v[0] / 10.0),
    "Exif.Fujifilm.FocusMode": ("focus_auto", lambda v: {0: True, 1: False}.get(v[0])),
    "Exif.Fujifilm.Continuous": ("bracketing", lambda v: v[0] == 1),
    "Exif.Fujifilm.SequenceNumber": ("burst_number", lambda v: v[0] or None),
    "Exif.Sony1.ReleaseMode": ("bracketing", lambda v: v[0] == 5),
    "Exif.Sony1.SequenceNumber": ("burst_number", lambda v: v[0] or None),
    "Exif.OlympusCs.DriveMode": ("burst_number", lambda v: v[1] if len(v) > 1 and v[1] else None),
    "Exif.OlympusCs.LevelGaugeRoll": (
        "roll_deg", lambda v: -v[0] / 10.0 if len(v) == 2 and v[1] == 1 else None
    ),
    "Exif.OlympusCs.LevelGaugePitch": (
        "pitch_deg", lambda v: v[0] / 10.0 if len(v) == 2 and v[1] == 1 else None
    ),
}  # fmt: skip
"""Where exiv2 has numbers whose meaning we take from notes: our field, and what they say."""


def plain(datum: Any) -> str | None:
    """A value as text, also where exiv2 lists bytes as numbers."""
    if datum.typeName() == "Undefined":
        return text(bytes(int(part) for part in datum.toString().split()).strip(b"\0"))
    return text(datum.toString())


@pytest.mark.skipif(not FOREIGN, reason="the sample files are not here")
def test_maker_notes_agree_with_exiv2() -> None:
    compared = Counter[str]()
    for path in FOREIGN:
        contents, data = contents_of(path), exif_data(path)
        if contents is None or data is None:
            continue
        for datum in data:
            key = datum.key()
            field = NOTES.get(key)
            theirs = plain(datum) if field else None
            if field is not None and theirs not in (None, "0"):
                compared[key] += 1
                assert str(getattr(contents.note, field)) == theirs, (path.name, key)
            if key in NUMBERS and datum.count():
                field, told = NUMBERS[key]
                value = datum.value()
                expected = told([value.toInt64(index) for index in range(value.count())])
                compared[key] += 1
                assert getattr(contents.note, field) == expected, (path.name, key)
    assert compared.total() >= 100, compared
    assert len(compared) >= 12, compared


ANGLES = {"Yaw": "yaw_deg", "Pitch": "pitch_deg", "Roll": "roll_deg"}


@pytest.mark.skipif(not FOREIGN, reason="the sample files are not here")
def test_xmp_packets_agree_with_exiv2() -> None:
    """exiv2 parses the packet as XML, where we only search it."""
    compared = Counter[str]()
    for path in FOREIGN:
        contents = contents_of(path)
        if contents is None or exif_data(path) is None:
            continue
        data = exif_data.keep.xmpData()  # type: ignore[attr-defined]
        theirs = {datum.key(): datum.toString() for datum in data}
        if not theirs:
            continue
        packet = contents.packet
        taken = theirs.get("Xmp.exif.DateTimeOriginal") or theirs.get("Xmp.xmp.CreateDate")
        assert packet.taken == taken, path
        assert packet.panorama == ("Xmp.GPano.ProjectionType" in theirs), path
        compared["taken"] += taken is not None
        compared["panorama"] += packet.panorama
        for name, field in ANGLES.items():
            angle = theirs.get(f"Xmp.drone-dji.Gimbal{name}Degree")
            assert getattr(packet, field) == (None if angle is None else float(angle)), path
            compared[name] += angle is not None
    assert compared["taken"] >= 20, compared  # and angles and panoramas where the samples have them


def test_every_tag_that_is_used_is_compared() -> None:
    assert set(GROUPS) == set(TAGS)
    assert sum(map(len, TAGS.values())) > 90


def by_pillow(path: Path) -> tuple[dict[Key, Any], tuple[int, int]] | None:
    """The same tags by Pillow, and the picture's size."""
    Image.init()
    # What opens HEIC, once another test has registered it, turns pictures upright and sets their
    # orientation to 1, so it says nothing of the tag.
    formats = [name for name in Image.ID if name != "HEIF"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(path, formats=formats) as image:
                exif, size = image.getexif(), image.size
                found = {(IMAGE, tag): value for tag, value in exif.items()}
                for directory, pointer in ((EXIF, 0x8769), (GPS, 0x8825), (INTEROP, 0xA005)):
                    inner = exif.get_ifd(pointer)
                    found |= {(directory, tag): value for tag, value in inner.items()}
        except (OSError, SyntaxError, ValueError, TypeError, KeyError, struct.error):
            return None
    return {key: value for key, value in found.items() if key[1] in TAGS.get(key[0], ())}, size


def pillows(value: Any) -> Any:
    """Pillow's value as text or as a list of fractions."""
    if isinstance(value, str | bytes):
        return text(value)
    values = value if isinstance(value, tuple) else (value,)
    return [
        (item.numerator, item.denominator) if isinstance(item, IFDRational) else (item, 1)
        for item in values
    ]


PILLOW_EXPLAINED: dict[tuple[str, str, int], str] = {
    ("87_OSError.jpg", EXIF, 0x9206): "FFFFFFFF is infinity; Pillow gives the number",
    **{
        (name, IMAGE, 0x0112): "Pillow takes it from the XMP packet where Exif has none"
        for name in (
            "image00971.jpg", "image01088.jpg", "image01137.jpg", "image01713.jpg",
            "Canon_DIGITAL_IXUS_400.jpg",
        )
    },
}  # fmt: skip
"""(file, directory, tag): why Pillow and we differ."""


@pytest.mark.skipif(not FOREIGN, reason="the sample files are not here")
def test_foreign_files_agree_with_pillow() -> None:
    compared, wrong = 0, list[str]()
    for path in FOREIGN:
        contents, theirs = contents_of(path), by_pillow(path)
        if contents is None or theirs is None:
            continue
        for key, value in theirs[0].items():
            compared += 1
            ours = contents.tags.get(*key)
            if not agree(ours, pillows(value)) and (path.name, *key) not in PILLOW_EXPLAINED:
                wrong.append(f"{path.name}: {key}: ours {ours!r}, theirs {value!r}")
    assert not wrong, "\n".join(wrong)
    assert compared > 1000


@pytest.mark.skipif(not FOREIGN, reason="the sample files are not here")
def test_sizes_agree_with_pillow() -> None:
    compared = 0
    for path in FOREIGN:
        contents, theirs = contents_of(path), by_pillow(path)
        if contents is None or theirs is None or path.suffix.lower() in RAWS:
            continue
        if contents.stored_px is not None:
            compared += 1
            assert contents.stored_px == theirs[1], path
    assert compared > 100


def test_files_made_here_agree_with_both(tmp_path: Path) -> None:
    path = write_photo(
        tmp_path / "QMK_0417.JPG",
        thumbnail=jpeg_bytes((160, 120)),
        subsec="310",
        offset="+02:00",
        size=(96, 64),
        orientation=6,
        image={0x0131: "Q5 v1.2", 0x0132: "2026:03:14 10:00:00"},
        exif={0x8822: 3, 0xA402: 2, 0xA403: 1, 0x9206: rational(2.5), 0x9405: rational(-12.5)},
        gps={0x01: "N", 0x02: (rational(47), rational(30), rational(36))},
    )
    contents, exivs, pillow = contents_of(path), by_exiv2(path), by_pillow(path)
    assert contents is not None
    assert exivs is not None
    assert pillow is not None
    assert len(exivs) > 20
    assert len(pillow[0]) > 20
    assert not list(differences(path.name, contents.tags, exivs))
    for key, value in pillow[0].items():
        assert agree(contents.tags.get(*key), pillows(value)), key
    assert contents.stored_px == pillow[1]
