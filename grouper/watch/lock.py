"""One service for an output folder, and a heartbeat that others can read.

The lock file holds who has it and when they last were alive, by the clock of the machine that
runs on since it was started (``CLOCK_MONOTONIC``): a wall clock that jumps does not matter.
"""

from __future__ import annotations

import json
import os
import socket
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from grouper.errors import CannotWrite, GrouperError

try:
    import fcntl
except ImportError as error:  # no POSIX system
    raise GrouperError(
        "the service needs a system with POSIX file locks; use grouper group here"
    ) from error

FILE_NAME: Final = ".grouper-watch.lock"
BEAT_S: Final = 60.0
"""Seconds between heartbeats: each writes a block, which a disk that may sleep would feel."""
_BYTES: Final = 512
"""Written in one go into one page, so that a reader sees the old or the new."""
_TRIES: Final = 5
_PAUSE_S: Final = 0.05
"""``grouper status`` tries the lock for some microseconds to see whether it is held: a service
that begins just then has to try again and must not take it for another service."""
_BOOT: Final = Path("/proc/sys/kernel/random/boot_id")


@dataclass(frozen=True, slots=True, kw_only=True)
class Beat:
    """What a lock file tells."""

    is_held: bool
    pid: int | None
    host: str
    since: str
    age_s: float | None
    """Since the last heartbeat; ``None`` where it was on another machine or before a restart."""


class Lock:
    """The lock of an output folder, held while this object is."""

    def __init__(self, folder: Path) -> None:
        """Take the lock.

        Raises:
            CannotWrite: another service has it; the message says which.
        """
        path = folder / FILE_NAME
        try:
            self._file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise CannotWrite(f"{path}: cannot be made: {error.strerror}") from error
        try:
            _take(self._file)
        except BlockingIOError:
            told = _told(os.pread(self._file, _BYTES, 0))
            os.close(self._file)
            who = f"process {told.get('pid', 'unknown')} on {told.get('host', 'this machine')}"
            raise CannotWrite(
                f"{folder}: another service is writing here ({who}, since "
                f"{told.get('since', 'an unknown time')}); stop it or choose another --out"
            ) from None
        except OSError as error:  # a network file system without locks: better said than risked
            os.close(self._file)
            raise CannotWrite(
                f"{path}: cannot be locked ({error.strerror}); choose an --out on a local disk"
            ) from error
        self._path = path
        self._since = datetime.now().astimezone().isoformat(timespec="seconds")
        self.beat()

    def beat(self) -> None:
        """Say that the service is alive."""
        body = {
            "pid": os.getpid(),
            "host": socket.gethostname()[:64],
            "since": self._since,
            "boot": _boot(),
            "beat_s": round(time.monotonic(), 1),
        }
        os.pwrite(self._file, json.dumps(body).encode().ljust(_BYTES), 0)

    def is_there(self) -> bool:
        """Whether the lock file still is the one that was locked, and not deleted."""
        try:
            return os.path.samestat(os.fstat(self._file), os.lstat(self._path))
        except OSError:
            return False

    def release(self) -> None:
        """Let go; the file stays, and tells that nobody has it."""
        os.close(self._file)


def _take(file: int) -> None:
    """Lock a file that nobody else has locked; whoever reads it has it for a moment."""
    for _ in range(_TRIES):
        with suppress(BlockingIOError):
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        time.sleep(_PAUSE_S)
    fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def read_lock(folder: Path) -> Beat | None:
    """Who runs a service on an output folder; ``None`` where none ever did."""
    try:
        number = os.open(folder / FILE_NAME, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        told = _told(os.pread(number, _BYTES, 0))
        try:
            fcntl.flock(number, fcntl.LOCK_SH | fcntl.LOCK_NB)
            is_held = False
        except OSError:
            is_held = True
    finally:
        os.close(number)
    same = told.get("boot") == _boot() and isinstance(told.get("beat_s"), int | float)
    return Beat(
        is_held=is_held,
        pid=told["pid"] if isinstance(told.get("pid"), int) else None,
        host=str(told.get("host", "")),
        since=str(told.get("since", "")),
        age_s=max(0.0, time.monotonic() - told["beat_s"]) if same else None,
    )


def _told(data: bytes) -> Mapping[str, Any]:
    try:
        body = json.loads(data)
    except ValueError:
        return {}
    return body if isinstance(body, dict) else {}


def _boot() -> str:
    try:
        return _BOOT.read_text().strip()
    except OSError:
        return "unknown"
