"""How long reading metadata takes, beside the exiv2 binding reading the same tags.

Run ``python -m testdata.benchmarks.read_speed [FOLDER]``. Without a folder a card of 200
photographs is written first, with the metadata of an ordinary body.
"""

from __future__ import annotations

import logging
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path

from grouper.discover import find_files
from grouper.model import Frame
from grouper.read import read_frames, read_one
from grouper.settings import Settings
from tests.read.files import TAKEN, jpeg_bytes, rational, write_photo

ROUNDS = 7
_KEYS = (
    "Image.Make Image.Model Image.Orientation Image.Software Photo.DateTimeOriginal "
    "Photo.SubSecTimeOriginal Photo.OffsetTimeOriginal Photo.ExposureTime Photo.FNumber "
    "Photo.ISOSpeedRatings Photo.ExposureBiasValue Photo.ExposureProgram Photo.ExposureMode "
    "Photo.WhiteBalance Photo.LightSource Photo.Flash Photo.FocalLength "
    "Photo.FocalLengthIn35mmFilm Photo.FocalPlaneXResolution Photo.FocalPlaneYResolution "
    "Photo.FocalPlaneResolutionUnit Photo.PixelXDimension Photo.PixelYDimension "
    "Photo.BodySerialNumber Photo.LensModel Photo.SubjectDistance GPSInfo.GPSLatitude "
    "GPSInfo.GPSLongitude GPSInfo.GPSAltitude GPSInfo.GPSImgDirection "
    "Thumbnail.JPEGInterchangeFormat Thumbnail.JPEGInterchangeFormatLength"
)
KEYS = _KEYS.split()


def write_card(card: Path, count: int) -> None:
    """A card of ordinary photographs with thumbnails and a maker note."""
    thumbnail = jpeg_bytes((160, 120))
    for number in range(1, count + 1):
        write_photo(
            card / f"100QMARK/QMK_{number:04d}.JPG",
            size=(640, 427),
            taken=TAKEN + timedelta(seconds=number),
            subsec="31",
            offset="+02:00",
            orientation=1,
            thumbnail=thumbnail,
            exif={
                0x8822: 1, 0xA402: 1, 0xA403: 1, 0x9209: 16, 0xA002: 6000, 0xA003: 4000,
                0xA20E: rational(1666.667), 0xA20F: rational(1666.667), 0xA210: 3,
                0x927C: bytes(range(256)) * 32,
            },
            gps={0x01: "N", 0x02: (rational(47), rational(30), rational(36))},
        )  # fmt: skip


def by_exiv2(paths: Sequence[Path]) -> int:
    """Read the tags with the exiv2 binding; how many were there."""
    import exiv2

    exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)
    keys = [exiv2.ExifKey(f"Exif.{key}") for key in KEYS]
    count = 0
    for path in paths:
        try:
            image = exiv2.ImageFactory.open(str(path))
            image.readMetadata()
        except exiv2.Exiv2Error:
            continue
        data = image.exifData()
        for key in keys:
            found = data.findKey(key)
            if found != data.end():
                found.toString()
                count += 1
    return count


def by_exifread(paths: Sequence[Path]) -> int:
    """Read all standard tags with exifread's own entry point, without the maker note."""
    import exifread

    logging.getLogger("exifread").setLevel(logging.CRITICAL + 1)
    count = 0
    for path in paths:
        with path.open("rb") as stream:
            count += len(exifread.process_file(stream, details=False, extract_thumbnail=False))
    return count


def by_us(root: Path, files: Sequence[str]) -> int:
    """Read frames one by one: tags, size, note, thumbnail's place, wholeness."""
    settings = Settings()
    return sum(isinstance(read_one(root, file, settings=settings), Frame) for file in files)


def best_ms(work: Callable[[], int], count: int) -> float:
    """The best of several rounds, in milliseconds a file: the others were disturbed."""
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1000 * min(times) / max(count, 1)


def main(card: Path) -> None:
    """Print the figures for one card."""
    found = find_files([card], Settings())
    root, files = Path(found.root), found.files
    paths = [root / file for file in files]
    exiv = best_ms(lambda: by_exiv2(paths), len(files))
    rows = [
        ("exiv2 binding, the same tags", exiv),
        ("exifread alone, without notes", best_ms(lambda: by_exifread(paths), len(files))),
        ("grouper, file by file", best_ms(lambda: by_us(root, files), len(files))),
    ]
    for jobs in (1, 2):
        work = lambda jobs=jobs: len(read_frames(root, files, Settings(), jobs=jobs).frames)  # noqa: E731
        rows.append((f"grouper, whole card, {jobs} jobs", best_ms(work, len(files))))
    print(f"{len(files)} files, best of {ROUNDS} rounds")
    for name, milliseconds in rows:
        print(f"{name:34} {milliseconds:7.3f} ms a file  {milliseconds / exiv:5.2f} x exiv2")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as folder:
            write_card(Path(folder), 200)
            main(Path(folder))
