"""Bytes put by until they are wanted, in a file without a name instead of in memory.

A leaf: the small pictures of a large card, and its files that are rendered before the first is
written, would fill more memory than all else that is kept of it.
"""

from __future__ import annotations

import errno
import os
import tempfile
import weakref
from array import array
from pathlib import Path
from threading import Lock
from typing import IO, Final

_AT_ONCE: Final = 1 << 18
"""Bytes gathered before they go to the disk: a picture is a few thousand. What is less in all
never gets there."""


class Spool:
    """Takes bytes and gives them back by the number it gave them; for several threads.

    They lie in the system's folder for temporary files, never in the current folder for want of
    another, in a file that has no name where the system can do that, and are gone with this object
    or its process. What the disk does not take stays in memory.
    """

    def __init__(self) -> None:
        self._file: IO[bytes] | None = None
        self._ends = array("Q", (0,))
        """Where each piece ends among all; the next begins there."""
        self._gathered = bytearray()
        """The last pieces, which are not in the file."""
        self._in_file = 0
        self._is_refused = False
        self._lock = Lock()

    @property
    def is_refused(self) -> bool:
        """Whether the disk has refused what was put by last."""
        return self._is_refused

    def put(self, data: bytes) -> int:
        """Put bytes by; the number to ask for them with, counted from 0."""
        with self._lock:
            self._gathered += data
            self._ends.append(self._ends[-1] + len(data))
            if len(self._gathered) >= _AT_ONCE and not self._is_refused:
                self._empty()
            return len(self._ends) - 2

    def get(self, number: int) -> bytes:
        """The bytes put by under a number.

        Raises:
            OSError: the disk does not give back what it took.
        """
        with self._lock:
            first, end = self._ends[number], self._ends[number + 1]
            if first >= self._in_file:
                return bytes(self._gathered[first - self._in_file : end - self._in_file])
            return self._read(first, end)

    def _empty(self) -> None:
        try:
            if self._file is None and (folder := _folder()) is not None:
                # Without a buffer, which after a write that failed would try it ever again.
                self._file = tempfile.TemporaryFile(buffering=0, dir=folder)  # noqa: SIM115
                weakref.finalize(self, self._file.close)
            if self._file is None:
                took = 0
            else:
                self._file.seek(self._in_file)
                took = self._file.write(self._gathered)
        except OSError:  # full, or no folder that can be written to
            took = 0
        self._is_refused = took < len(self._gathered)
        if not self._is_refused:
            self._in_file += took
            self._gathered.clear()

    def _read(self, first: int, end: int) -> bytes:
        data = b""
        try:
            if self._file is not None:
                self._file.seek(first)
                data = self._file.read(end - first)
        except OSError as error:
            raise OSError(error.errno, f"a temporary file gives {error.strerror}") from error
        if len(data) != end - first:
            raise OSError(errno.EIO, "a temporary file lost what was put by in it")
        return data


def _folder() -> Path | None:
    """The folder for temporary files, if there is one besides the current one.

    That is Python's last resort, but it may lie on a card, and nothing is written there.
    """
    folder = Path(tempfile.gettempdir()).resolve()
    asked_for = (os.environ.get(name) for name in ("TMPDIR", "TEMP", "TMP"))
    usual = {Path(one).resolve() for one in (*asked_for, "/tmp", "/var/tmp", "/usr/tmp") if one}
    return None if folder == Path.cwd() and folder not in usual else folder
