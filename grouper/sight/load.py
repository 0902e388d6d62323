"""Small pictures out of the files: the one place in sight that opens photographs."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from grouper.model import Frame, PictureSource
from grouper.sight.picture import (
    CLOSE_SIDE_PX,
    LONG_SIDE_PX,
    ByteArray,
    Upright,
    contradicts,
    decode,
    stood_up,
)


def load_pixels(root: Path, frame: Frame) -> ByteArray | None:
    """A frame's small picture as stored, RGB; ``None`` when none can be decoded.

    That is the thumbnail or preview chosen when the file was read; where it is damaged or lies
    on its side, nobody knows which way, the main picture decoded small.
    """
    source = frame.picture
    pixels = None if source is None else _read(root, source)
    if pixels is None or contradicts(pixels, stored_px(frame), frame.orientation):
        whole = PictureSource(kind="main", file=frame.file)
        main = None if source == whole else _read(root, whole)
        pixels = pixels if main is None else main
    return pixels


def load_upright(root: Path, frame: Frame) -> Upright | None:
    """A frame's small picture, upright; ``None`` when none can be decoded."""
    pixels = load_pixels(root, frame)
    return None if pixels is None else stood_up(pixels, stored_px(frame), frame.orientation)


def load_closer(root: Path, frame: Frame) -> Upright | None:
    """A frame's picture at twice the usual size, upright; ``None`` when there is none.

    That is the preview chosen when the file was read, where it is large, else the main picture or
    a companion's, decoded small.
    """
    for source in _larger(root, frame):
        pixels = _read(root, source, CLOSE_SIDE_PX)
        if pixels is not None and max(pixels.shape) > LONG_SIDE_PX:
            return stood_up(pixels, stored_px(frame), frame.orientation)
    return None


def _larger(root: Path, frame: Frame) -> Iterator[PictureSource]:
    """Where larger pictures of a frame may lie, the quickest first, each once."""
    chosen = frame.picture
    if chosen is not None and chosen.kind != "thumbnail":
        yield chosen
    for file in dict.fromkeys([frame.file] if chosen is None else [frame.file, chosen.file]):
        main = PictureSource(kind="main", file=file)
        if main != chosen and not _is_tiff(root / file):
            yield main


def _is_tiff(path: Path) -> bool:
    """Whether a file begins as TIFF (6.0) does, and so do most raw files.

    What stands for the main picture there is no picture yet, and the decoder says so to the
    terminal.
    """
    try:
        with path.open("rb") as stream:
            return stream.read(4) in (b"II*\0", b"MM\0*")
    except OSError:
        return False


def stored_px(frame: Frame) -> tuple[int, int] | None:
    """Width and height of the main picture as stored, where both are known."""
    if frame.width_px and frame.height_px:
        return frame.width_px, frame.height_px
    return None


def _read(root: Path, source: PictureSource, long_px: int = LONG_SIDE_PX) -> ByteArray | None:
    path = root / source.file
    try:
        if source.offset is None or source.length is None:
            with path.open("rb") as stream:
                return decode(stream, long_px)
        with path.open("rb", buffering=0) as part:
            part.seek(source.offset)
            return decode(part.read(source.length), long_px)
    except OSError:
        return None
