"""Files to frames: reads every candidate, joins the files of one exposure, loses none.

``READERS`` is the ordered list of formats; the first that recognises a file's first bytes
gets it. Every file ends as a frame's main file, as a companion, as an ``Unread`` record with
its reason, or as ignored.
"""

from __future__ import annotations

import hashlib
import logging
import signal
import struct
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final, cast

from grouper.contracts import Progress, Reader
from grouper.errors import UnreadableFile
from grouper.model import Frame, Unread, UnreadReason
from grouper.read import cache, cr3, heif, jpeg, jxl, mrw, names, png, raf, tiff, webp
from grouper.read.cache import NOTHING_KNOWN, Known
from grouper.read.exif import is_wide
from grouper.read.pairing import join_companions
from grouper.read.sensor import agree_sensors
from grouper.read.source import HEAD_BYTES, open_source
from grouper.settings import Settings

__all__ = ["READERS", "ReadResult", "read_frames"]

READERS: Final[tuple[Reader, ...]] = (
    jpeg.READER,
    tiff.READER,
    cr3.READER,
    heif.READER,
    raf.READER,
    png.READER,
    webp.READER,
    jxl.READER,
    mrw.READER,
)

UNSUPPORTED: Final = {
    ".crw": "Canon's first raw format is not read",
    ".x3f": "Sigma's raw format is not read",
    ".jp2": "JPEG 2000 is not read",
}
"""Suffixes of pictures that no reader takes, and what is said of them."""

_FORKS: Final = (b"\0\5\x16\7", b"\0\5\x16\0")
"""First bytes of AppleDouble and AppleSingle files (RFC 1740). Their names mostly begin with
"._", which are passed over; some archives and servers rename them."""

LEAST_FILES_A_JOB: Final = 400
"""A worker process costs up to 0.2 s to start, about as much as reading this many files."""
_CHUNK: Final = 64
"""Files handed to a worker at once: large against the cost of handing over, small enough for
progress to move."""

UNFORESEEN: Final = (
    ArithmeticError, AttributeError, LookupError, MemoryError, RecursionError, TypeError,
    ValueError, struct.error,
)  # fmt: skip
"""What decoding can raise on bytes that nobody thought of."""

log = logging.getLogger(__name__)

_DIGEST_BYTES: Final = 1 << 20
"""Bytes hashed at a time."""

Outcome = Frame | Unread | None
"""What becomes of one file; ``None`` is a file that is no picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadResult:
    """What became of every file that was to be read. Each in order of path."""

    frames: tuple[Frame, ...]
    unread: tuple[Unread, ...]
    ignored: tuple[str, ...]


def read_frames(
    root: Path | str,
    files: Sequence[str],
    settings: Settings,
    *,
    jobs: int = 1,
    progress: Progress | None = None,
    cache_file: Path | None = None,
) -> ReadResult:
    """Read files of a card and join those of one exposure into frames.

    Args:
        root: the folder that ``files`` are relative to.
        files: candidates, as POSIX paths.
        settings: thresholds.
        jobs: how many processes may share the work; the result is the same.
        progress: told after each file.
        cache_file: where what was read is kept for the next time; the result is the same.

    Returns:
        Frames, unread and ignored files. Every file is in one of them: as a frame's main
        file, as a companion, unread with its reason, or ignored.
    """
    base, names_read = Path(root), sorted(set(files))
    known = NOTHING_KNOWN if cache_file is None else cache.recall(cache_file, base, names_read)
    fresh = _read_all(base, [file for file in names_read if file not in known.told], settings, jobs)
    if cache_file is not None:
        fresh = _keeping(fresh, cache_file, base, known)
    outcomes: list[tuple[str, Outcome]] = []
    for done, file in enumerate(names_read, 1):
        outcomes.append((file, known.told[file]) if file in known.told else next(fresh))
        if progress is not None:
            progress("reading", done, len(files))
    for _ in fresh:  # lets the last of them be kept
        pass
    frames = [outcome for _, outcome in outcomes if isinstance(outcome, Frame)]
    frames = join_companions(_agree_composites(_agree_clocks(agree_sensors(frames))))
    frames = _with_digests(base, frames, known.digests)
    if cache_file is not None:
        digests = {frame.file: frame.digest for frame in frames if frame.digest is not None}
        cache.keep_digests(cache_file, base, digests, known)
    return ReadResult(
        frames=tuple(frames),
        unread=tuple(outcome for _, outcome in outcomes if isinstance(outcome, Unread)),
        ignored=tuple(file for file, outcome in outcomes if outcome is None),
    )


def _keeping(
    fresh: Iterator[tuple[str, Outcome]], cache_file: Path, root: Path, known: Known
) -> Iterator[tuple[str, Outcome]]:
    """Pass on what is read, and keep it batch by batch."""
    batch: list[tuple[str, Frame | None]] = []
    for file, outcome in fresh:
        if not isinstance(outcome, Unread):
            batch.append((file, outcome))
        yield file, outcome
        if len(batch) >= cache.BATCH:
            cache.keep(cache_file, root, batch, known)
            batch = []
    cache.keep(cache_file, root, batch, known)


def _read_all(
    root: Path, files: Sequence[str], settings: Settings, jobs: int
) -> Iterator[tuple[str, Outcome]]:
    """Each file with what became of it, in the order given.

    Decoding tags is bound to the interpreter, so threads slow it down by half (measured);
    processes share it and the waiting for the disk alike. They are not started beside other
    threads, which may hold locks that a copy of the process would wait for.
    """
    read = partial(read_one, root, settings=settings)
    workers = min(jobs, len(files) // LEAST_FILES_A_JOB)
    done = 0
    if workers >= 2 and threading.active_count() == 1:
        with suppress(BrokenProcessPool):  # a worker was killed: the rest is read here
            for outcome in _shared(read, files, workers):
                yield files[done], outcome
                done += 1
    for file in files[done:]:
        yield file, read(file)


def _shared(
    read: Callable[[str], Outcome], files: Sequence[str], workers: int
) -> Iterator[Outcome]:
    """What became of each file, read by several processes."""
    pool = ProcessPoolExecutor(workers, initializer=_leave_interrupts_to_the_parent)
    try:
        yield from pool.map(read, files, chunksize=_CHUNK)
    finally:  # also on an interrupt: do not read the rest of the card first
        pool.shutdown(cancel_futures=True)


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def read_one(root: Path, file: str, *, settings: Settings) -> Outcome:
    """Read one file, whatever it is: a frame, why it is none, or ``None`` for no picture.

    Readers raise nothing but ``UnreadableFile``; should one meet bytes that nobody thought of,
    that file is given up and the card goes on.
    """
    try:
        return read_strictly(root, file, settings=settings)
    except UNFORESEEN as error:
        log.warning("%s: a bug in its reader: %s", file, error, exc_info=True)
        return Unread(file=file, reason="damaged", detail="its bytes make no sense to the reader")


def read_strictly(root: Path, file: str, *, settings: Settings) -> Outcome:
    """As ``read_one``, but what nobody thought of is raised."""
    try:
        with open_source(root, file) as source:
            head = source.at(0, HEAD_BYTES)
        reader = next((reader for reader in READERS if reader.recognises(head)), None)
        if reader is not None:
            return reader.read(root, file, settings)
    except UnreadableFile as error:
        if error.reason == "empty" and not _named_as_picture(file):
            return None
        return Unread(file=file, reason=cast(UnreadReason, error.reason), detail=error.detail)
    if not _named_as_picture(file):
        return None
    return Unread(file=file, reason="unknown-format", detail=_unknown(file, head))


def _named_as_picture(file: str) -> bool:
    suffix = names.suffix_of(file)
    return suffix in UNSUPPORTED or any(suffix in reader.suffixes for reader in READERS)


def _unknown(file: str, head: bytes) -> str:
    if not head.strip(b"\0"):
        return "it begins with zeros: space was set aside for it and never written"
    if head[:4] in _FORKS:
        return "macOS wrote it beside a picture of nearly this name; it is not the picture itself"
    return UNSUPPORTED.get(names.suffix_of(file), "its first bytes are those of no picture format")


def _agree_clocks(frames: Iterable[Frame]) -> list[Frame]:
    """Say "whole seconds" for bodies that write sub-seconds of zero in every frame.

    Some bodies fill the tag with "00" because they do not know better; a fraction of zero in
    three frames running would happen by chance once in a million (at 1/100 s).
    """
    frames = list(frames)
    count, whole = Counter[object](), Counter[object]()
    for frame in frames:
        if frame.taken is not None and frame.taken_resolution_s < 1.0:
            body = (frame.make, frame.model, frame.serial)
            count[body] += 1
            whole[body] += frame.taken.microsecond == 0
    return [
        replace(frame, taken_resolution_s=1.0)
        if whole[body := (frame.make, frame.model, frame.serial)] >= 3
        and whole[body] == count[body]
        else frame
        for frame in frames
    ]


def _agree_composites(frames: Iterable[Frame]) -> list[Frame]:
    """Take the word "composite" back from phones that say it of every picture.

    Phones blend several exposures into each ordinary picture and flag it as composite
    (CompositeImage 3, seen on a Pixel 8 Pro). Where most of a body's frames carry the flag it
    tells nothing, except of the wide ones.
    """
    frames = list(frames)
    count, flagged = Counter[object](), Counter[object]()
    for frame in frames:
        count[frame.make, frame.model] += 1
        flagged[frame.make, frame.model] += frame.composite
    return [
        replace(frame, composite=False)
        if frame.composite
        and not is_wide(frame.upright_px)
        and flagged[frame.make, frame.model] >= 3
        and 2 * flagged[frame.make, frame.model] > count[frame.make, frame.model]
        else frame
        for frame in frames
    ]


def _with_digests(root: Path, frames: Sequence[Frame], known: Mapping[str, str]) -> list[Frame]:
    """Add the content hash where size, time and body of two frames are the same."""
    looks = Counter((frame.size_bytes, frame.taken, frame.model) for frame in frames)
    return [
        replace(frame, digest=known.get(frame.file) or _digest(root, frame.file))
        if looks[frame.size_bytes, frame.taken, frame.model] > 1
        else frame
        for frame in frames
    ]


def _digest(root: Path, file: str) -> str | None:
    """BLAKE2b (RFC 7693) of a file's bytes, or ``None`` where it can no longer be read."""
    try:
        with open_source(root, file) as source:
            digest = hashlib.blake2b(digest_size=16)
            for at in range(0, source.size, _DIGEST_BYTES):
                digest.update(source.at(at, _DIGEST_BYTES))
            return digest.hexdigest()
    except UnreadableFile:
        return None
