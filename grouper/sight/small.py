"""The small pictures that people look at: a mapping from main file to JPEG bytes, read when asked.

The page shows every frame, so each picture is as small as does its work, stands upright and
has its bars cut off. It carries no metadata. The same card gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np

from grouper.contracts import Progress
from grouper.model import Frame
from grouper.sight.load import load_upright
from grouper.sight.picture import ByteArray, Upright
from grouper.spool import Spool

ALL_BYTES = 25_000_000
"""What the pictures of a card may take together: in base64 (RFC 4648: 4 for 3) 33 MB, which
leaves the rest of a page of 40 MB to its words."""
_LEAST_BYTES = 1_000
"""A picture below this shows nothing; so the 25 MB hold for up to 25,000 frames."""
_AMPLE_BYTES = 8_000
"""A share that the first step keeps to by itself: not one picture in a hundred takes more, with the
usual tables (of 2,070 on real and rehearsal cards ten). So nothing has to be estimated on a card of
up to about 3,000 frames."""


class _Step(NamedTuple):
    """A way to make a picture small: JPEG quality, and share of its width and height.

    Its bytes are about ``least + growth * p``, if those of the probe exceed its tables by ``p``:
    fitted to 400 pictures of rehearsal cards, where the estimate errs by 2-9 % (rms).
    """

    quality: int
    scale: float
    least: int
    growth: float

    def bytes_for(self, probe: int) -> float:
        """The bytes to be expected of a picture whose probe takes so many."""
        return self.least + self.growth * (probe - _TABLE_BYTES)


_STEPS = (
    _Step(75, 1.0, -90, 5.17),
    _Step(60, 1.0, -30, 3.79),
    _Step(60, 0.75, 170, 2.08),
    _Step(60, 0.5, 280, 1.03),
    _Step(45, 0.4, 310, 0.50),
    _Step(30, 0.3, 320, 0.22),
)
"""From the one estimated to serve on, tried in turn until the picture takes no more than its
part."""
_PROBE = _STEPS[3]
"""Tells the bytes of all steps at a quarter of the time that the first takes (measured)."""
_TABLE_BYTES = 623
"""A JPEG of nothing but headers and the usual tables (ISO/IEC 10918-1 annex K)."""
_AHEAD = 32
"""Pictures decoded ahead of the one asked for: keeps the threads busy, costs under 3 MB."""


class SmallPictures(Mapping[str, bytes]):
    """Small upright JPEGs of frames by main file; a picture that cannot be had is not there.

    Looking one up for the first time opens the card, so it is quickest in the order of ``frames``,
    where the next ones are decoded ahead. What was made is put by outside of memory. For one
    thread.
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
        self._made = Spool()
        self._numbers: dict[int, int | None] = {}
        """By place, where the picture was put by; ``None`` for one that cannot be had."""

    def keep(self, frame: Frame, shown: Upright) -> None:
        """Make a frame's picture of one that was loaded anyway, and put it by.

        Saves opening and decoding the file again.
        """
        index = self._place[frame.file]
        if index not in self._numbers:
            self._numbers[index] = self._made.put(_encoded(shown.rgb, self._share))

    def __getitem__(self, file: str) -> bytes:
        """The JPEG of a frame.

        Raises:
            KeyError: there is no such frame, or no picture of it can be read.
        """
        index = self._place[file]
        if index not in self._numbers:
            data = self._fetch(index)
            self._numbers[index] = None if data is None else self._made.put(data)
            if self._progress is not None:
                self._progress("drawing", index + 1, len(self._frames))
        self._next = index + 1
        if self._next == len(self._frames):
            self._rest()
        number = self._numbers[index]
        if number is None:
            raise KeyError(file)
        try:
            return self._made.get(number)
        except OSError:  # what was put by is lost: it can be made again
            made = self._make(self._frames[index])
            if made is None:
                raise KeyError(file) from None
            return made

    def _fetch(self, index: int) -> bytes | None:
        if index == self._next:
            self._look_ahead(index)
        coming = self._coming.pop(index, None)
        return self._make(self._frames[index]) if coming is None else coming.result()

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
            if place not in self._coming and place not in self._numbers:
                self._coming[place] = self._pool.submit(self._make, self._frames[place])

    def _rest(self) -> None:
        """Back to the start: whoever asks for all again is served as quickly."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None
        self._coming.clear()
        self._next = 0

    def _make(self, frame: Frame) -> bytes | None:
        return small_picture(self._root, frame, self._share)


def small_picture(root: Path, frame: Frame, most_bytes: int = ALL_BYTES) -> bytes | None:
    """A frame's small picture as JPEG, upright, without bars; ``None`` if it cannot be had.

    Args:
        root: the card.
        frame: which frame.
        most_bytes: made coarser, then smaller, until it takes no more than this.
    """
    shown = load_upright(root, frame)
    return None if shown is None else _encoded(shown.rgb, most_bytes)


def _encoded(pixels: ByteArray, most_bytes: int) -> bytes:
    data = b""
    # Tables of its own take as long again as all the rest: worth it only where room is scarce.
    is_scarce = most_bytes < _AMPLE_BYTES
    for step in _STEPS[_likely_step(pixels, most_bytes) :]:
        data = _jpeg(pixels, step, best_tables=is_scarce)
        if len(data) <= most_bytes:
            break
    return data


def _likely_step(pixels: ByteArray, most_bytes: int) -> int:
    """The first step likely to take no more than that: told by a probe that costs little."""
    if most_bytes >= _AMPLE_BYTES:
        return 0
    probe = len(_jpeg(pixels, _PROBE, best_tables=False))
    likely = (at for at, step in enumerate(_STEPS) if step.bytes_for(probe) <= most_bytes)
    return next(likely, len(_STEPS) - 1)


def _jpeg(pixels: ByteArray, step: _Step, *, best_tables: bool) -> bytes:
    """A JPEG without metadata. Tables of its own take a tenth off it, from a small one a third."""
    height, width = pixels.shape[:2]
    size = max(1, round(width * step.scale)), max(1, round(height * step.scale))
    if size != (width, height):
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    options = (
        cv2.IMWRITE_JPEG_QUALITY, step.quality,
        cv2.IMWRITE_JPEG_OPTIMIZE, int(best_tables),
    )  # fmt: skip
    return bytes(cv2.imencode(".jpg", cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), options)[1])
