"""The owner's own commands: run without a shell, one after the other, for each new set or card.

A command line is split into words once, as a shell would (``shlex``); the placeholders in
each word are then filled in, so nothing foreign becomes a word or a command of its own. What
is filled in is an absolute path or a word of letters and digits: none starts with a dash.
"""

from __future__ import annotations

import contextlib
import os
import queue
import re
import select
import shlex
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from grouper.errors import GrouperError
from grouper.watch.mail import HookDone, Mail

PLACEHOLDERS: Final[Mapping[str, Mapping[str, str]]] = {
    "set": {
        "manifest": "the set's set.json",
        "frames": "the set's frames.txt",
        "set": "the set's id",
        "kind": "panorama, bracket, focus-stack, burst or interval",
        "verdict": "reshoot, look or whole",
        "report": "the card's report.html",
        "out": "the card's output folder",
        "card": "the card's folder in the inbox",
    },
    "card": {
        "manifest": "the card's card.json",
        "report": "the card's report.html",
        "verdict": "reshoot, look or whole: the worst of its sets",
        "sets": "how many sets there are",
        "problems": "how many problems there are",
        "out": "the card's output folder",
        "card": "the card's folder in the inbox",
    },
}
"""What can stand in braces in ``--on-set`` and ``--on-card``."""

MOST_OUTPUT: Final = 4000
"""Bytes of a command's output that are kept, the last ones."""
_END_S: Final = 1.0
"""Time that a command gets to end when the service does, before it is killed."""
_LOOK_S: Final = 0.2
_PLACE: Final = re.compile(r"\{\{|\}\}|\{([^{}]*)\}")


@dataclass(frozen=True, slots=True)
class Hook:
    """A command line with placeholders."""

    words: tuple[str, ...]

    def filled(self, values: Mapping[str, str]) -> list[str]:
        """The words to run."""
        return [_filled(word, values) for word in self.words]


def hook_from(line: str, what: str) -> Hook:
    """The hook of a command line; ``what`` is "set" or "card".

    Raises:
        GrouperError: it is empty, its quotes do not match, or it has a placeholder that there
            is not.
    """
    option = f"--on-{what}"
    try:
        words = shlex.split(line)
    except ValueError as error:
        raise GrouperError(f"{option} {line!r}: {error}") from error
    if not words:
        raise GrouperError(f"{option}: there is no command in it")
    known = PLACEHOLDERS[what]
    for at, word in enumerate(words):
        for match in _PLACE.finditer(word):
            if match[1] is None:
                continue
            if match[1] not in known:
                names = ", ".join(f"{{{name}}}" for name in known)
                raise GrouperError(f"{option}: there is no {match[0]}; there are {names}")
            if at == 0:
                raise GrouperError(f"{option}: the command itself cannot be {match[0]}")
    return Hook(tuple(words))


def _filled(word: str, values: Mapping[str, str]) -> str:
    def value(match: re.Match[str]) -> str:
        return match[0][0] if match[1] is None else values.get(match[1], "")

    return _PLACE.sub(value, word)


class Runner:
    """Runs hooks in a thread of its own; how each went comes as mail."""

    def __init__(self, post: Callable[[Mail], None]) -> None:
        self._post = post
        self._asked: queue.SimpleQueue[tuple[int, Sequence[str], float] | None] = (
            queue.SimpleQueue()
        )
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._ending = False
        self._thread = threading.Thread(target=self._run, daemon=True, name="hooks")
        self._thread.start()

    def run(self, errand: int, words: Sequence[str], most_s: float) -> None:
        """Ask for a command to be run."""
        self._asked.put((errand, words, most_s))

    def end(self) -> None:
        """Cut off the command under way; it is to be run again another time."""
        with self._lock:
            self._ending = True
            process = self._process
        self._asked.put(None)
        if process is not None:
            _kill(process, signal.SIGTERM)
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(_END_S)
            _kill(process, signal.SIGKILL)

    def _run(self) -> None:
        while (asked := self._asked.get()) is not None and not self._ending:
            errand, words, most_s = asked
            begun = time.monotonic()
            output, error = self._one(words, most_s)
            self._post(
                HookDone(errand, time.monotonic() - begun, output, error, stopped=self._ending)
            )

    def _one(self, words: Sequence[str], most_s: float) -> tuple[str, str]:
        with self._lock:
            if self._ending:
                return "", "the service ends"
            try:
                process = subprocess.Popen(
                    [os.fsencode(word) for word in words],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.STDOUT,
                    start_new_session=True,
                )
            except (OSError, ValueError) as error:
                return "", f"cannot be started: {error}"
            self._process = process
        expired = threading.Event()

        def expire() -> None:
            expired.set()
            _kill(process, signal.SIGKILL)

        timer = threading.Timer(most_s, expire)
        timer.daemon = True
        timer.start()
        try:
            output = _last_bytes(process)
            status = process.wait()
        finally:
            timer.cancel()
            with self._lock:
                self._process = None
        text = output.decode("utf-8", "replace").strip()
        if expired.is_set():
            return text, f"took longer than [watch] hook_most_s = {most_s:g} and was ended"
        return text, "" if status == 0 else f"ended with status {status}"


def _last_bytes(process: subprocess.Popen[bytes]) -> bytes:
    """The last bytes that a command says until it ends.

    It may leave children behind that hold its output open: what counts is its own end.
    """
    assert process.stdout is not None
    kept = b""
    with process.stdout as stream:
        os.set_blocking(stream.fileno(), False)
        while True:
            ended = process.poll() is not None
            while data := stream.read(1 << 16):
                kept = (kept + data)[-MOST_OUTPUT:]
            if ended or data == b"":
                return kept
            select.select([stream], [], [], _LOOK_S)


def _kill(process: subprocess.Popen[bytes], number: signal.Signals) -> None:
    """Send a signal to a command that has not ended, and to all that it started."""
    if process.returncode is not None:
        return
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, number)
