"""A file opened for reading only, with every read bounded; and what a reader knows of it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Final

from grouper.errors import UnreadableFile, explain_disk

HEAD_BYTES: Final = 64
"""First bytes a reader is recognised by."""

_KEPT_BYTES: Final = 8 << 10
"""What the system is asked for at the least anyway; Exif blocks with their thumbnail mostly end
there."""

MOST_BYTES: Final = 4 << 20
"""More than this is never read at once: metadata blocks are some 64 KiB (JPEG, by its
segment length) to 1-2 MiB (raws with large previews in the note)."""


@dataclass(frozen=True, slots=True)
class Source:
    """An open file: its length and bounded access to its bytes."""

    stream: BinaryIO
    size: int
    head: bytes = b""
    """Its first bytes: of the two dozen pieces that are asked for nearly all lie there."""

    def at(self, offset: int, length: int) -> bytes:
        """Up to ``length`` bytes from ``offset``; fewer at the end of the file."""
        if offset < 0 or offset >= self.size or length <= 0:
            return b""
        length = min(length, MOST_BYTES, self.size - offset)
        if offset + length <= len(self.head):
            return self.head[offset : offset + length]
        self.stream.seek(offset)
        return self.stream.read(length)

    def holds(self, offset: int, length: int) -> bool:
        """Whether that stretch lies inside the file."""
        return offset >= 0 and length > 0 and offset + length <= self.size


@contextmanager
def open_source(root: Path, file: str) -> Iterator[Source]:
    """Open a file of the card for reading, and say in our words what is wrong with it.

    Raises:
        UnreadableFile: it vanished, is not permitted, no plain file, empty, or the disk
            fails while it is being read.
    """
    try:
        # Not blocking, so that a pipe put in a picture's place cannot hang the card.
        number = os.open(root / file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY)
        with os.fdopen(number, "rb") as stream:
            facts = os.fstat(stream.fileno())
            if not stat.S_ISREG(facts.st_mode):
                raise UnreadableFile("vanished", "it is no longer a plain file")
            if facts.st_size == 0:
                raise UnreadableFile("empty", "the file has no bytes")
            yield Source(stream, facts.st_size, stream.read(_KEPT_BYTES))
    except OSError as error:
        raise UnreadableFile(*explain_disk(error)) from error


_BINARY: Final = getattr(os, "O_BINARY", 0)
