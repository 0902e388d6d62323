"""The small pictures that people look at: a mapping from main file to JPEG bytes, read when asked.

The page shows every frame, so each picture is as small as does its work, stands upright and
has its bars cut off. It carries no metadata. The same card gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

from PIL import Image

from grouper.contracts import Progress
from grouper.model import Frame
from grouper.sight.load import load_pixels, stored_px
from grouper.sight.picture import ByteArray, in_colour

ALL_BYTES = 25_000_000
"""What the pictures of a card may take together: in base64 (RFC 4648: 4 for 3) 33 MB, which
leaves the rest of a page of 40 MB to its words."""
_LEAST_BYTES = 1_000
"""A picture below this shows nothing; so the 25 MB hold for up to 25,000 frames."""
_STEPS = ((75, 1.0), (60, 1.0), (60, 0.75), (60, 0.5), (45, 0.4), (30, 0.3))
"""JPEG quality and share of the size, tried in turn until the picture takes no more than its
part. On a card of up to about 3,000 frames the first nearly always serves."""
_AHEAD = 32
"""Pictures decoded ahead of the one asked for: keeps the threads busy, costs under 3 MB."""


class SmallPictures(Mapping[str, bytes]):
    """Small upright JPEGs of frames by main file; a picture that cannot be had is not there.

    Looking one up opens the card, so it is quickest in the order of ``frames``, where the next
    ones are decoded ahead. Nothing is kept once it was handed out, so ``dict`` of it, which asks
    for all names first, decodes every picture twice. Only ``keep`` is for several threads.
    """

    def __init__(
        self,
        root: Path,
        frames: Sequence[Frame],
        *,
        jobs: int = 1,
        progress: Progress | None = None,
    ) -> None:
        self._root = root
        self._frames = tuple(frames)
        self._place = {frame.file: index for index, frame in enumerate(self._frames)}
        self._share = max(_LEAST_BYTES, ALL_BYTES // max(len(self._frames), 1))
        self._jobs = jobs
        self._progress = progress
        self._pool: ThreadPoolExecutor | None = None
        self._coming: dict[int, Future[bytes | None]] = {}
        self._next = 0
        """The frame expected to be asked for next: only a run in order is decoded ahead."""
        self._kept: dict[str, bytes] = {}
        self._last: tuple[str, bytes | None] | None = None
        """Who iterates asks for each picture twice: whether it is there, and for it."""

    def keep(self, frame: Frame, pixels: ByteArray) -> None:
        """Make a frame's picture of pixels that were read anyway, and keep it until asked for.

        Saves opening and decoding the file again. May be called by several threads.

        Args:
            frame: which frame.
            pixels: its small picture as stored, RGB (see ``load.load_pixels``).
        """
        if frame.file not in self._kept:
            self._kept[frame.file] = _small(frame, pixels, self._share)

    def __getitem__(self, file: str) -> bytes:
        """The JPEG of a frame.

        Raises:
            KeyError: there is no such frame, or no picture of it can be read.
        """
        if self._last is not None and self._last[0] == file:
            data = self._last[1]
        else:
            data = self._fetch(self._place[file])
            self._last = file, data
        if data is None:
            raise KeyError(file)
        return data

    def _fetch(self, index: int) -> bytes | None:
        if index == self._next:
            self._look_ahead(index)
        coming = self._coming.pop(index, None)
        data = self._make(self._frames[index]) if coming is None else coming.result()
        self._next = index + 1
        if self._progress is not None:
            self._progress("drawing", index + 1, len(self._frames))
        if self._next == len(self._frames):
            self._rest()
        return data

    def __iter__(self) -> Iterator[str]:
        """The main files that a picture can be read of; reads them all."""
        return (frame.file for frame in self._frames if frame.file in self)

    def __len__(self) -> int:
        """How many pictures can be read; reads them all."""
        return sum(1 for _ in self)

    def _look_ahead(self, index: int) -> None:
        """Keep the threads busy with the frames from ``index`` on."""
        if self._pool is None:
            self._pool = ThreadPoolExecutor(self._jobs)
        for place in range(index, min(index + _AHEAD, len(self._frames))):
            if place not in self._coming:
                self._coming[place] = self._pool.submit(self._make, self._frames[place])

    def _rest(self) -> None:
        """Back to the start: whoever asks for all again is served as quickly."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None
        self._coming.clear()
        self._next = 0

    def _make(self, frame: Frame) -> bytes | None:
        kept = self._kept.pop(frame.file, None)
        return small_picture(self._root, frame, self._share) if kept is None else kept


def small_picture(root: Path, frame: Frame, most_bytes: int = ALL_BYTES) -> bytes | None:
    """A frame's small picture as JPEG, upright, without bars; ``None`` if it cannot be had.

    Args:
        root: the card.
        frame: which frame.
        most_bytes: made coarser, then smaller, until it takes no more than this.
    """
    pixels = load_pixels(root, frame)
    return None if pixels is None else _small(frame, pixels, most_bytes)


def _small(frame: Frame, pixels: ByteArray, most_bytes: int) -> bytes:
    return _encoded(in_colour(pixels, stored_px(frame), frame.orientation), most_bytes)


def _encoded(pixels: ByteArray, most_bytes: int) -> bytes:
    whole = Image.fromarray(pixels)
    data = b""
    for quality, scale in _STEPS:
        size = (max(1, round(whole.width * scale)), max(1, round(whole.height * scale)))
        image = whole if scale == 1.0 else whole.resize(size, Image.Resampling.BOX)
        buffer = io.BytesIO()
        image.save(buffer, "JPEG", quality=quality, optimize=True)
        data = buffer.getvalue()
        if len(data) <= most_bytes:
            break
    return data
