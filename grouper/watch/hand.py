"""The service's side of the child that groups: started when there is work, replaced when old."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import IO, Final, Protocol

from grouper.watch.jobs import MOST_LINE, Job
from grouper.watch.mail import Answer, Ended, Mail, Said

END_S: Final = 1.5
"""Time that a child gets to leave cleanly before it is killed."""
_MOST_SAID: Final = 50
"""Lines of a child's standard error that are handed on between two jobs: a card full of odd
files must not fill the log."""
_MOST_SAID_CHARACTERS: Final = 500


class Child(Protocol):
    """A running child, as ``subprocess.Popen`` has it."""

    pid: int
    returncode: int | None

    def wait(self, timeout: float | None = None) -> int:
        """Wait for its end and return its status."""
        ...

    def poll(self) -> int | None:
        """Its status, once it has ended."""
        ...

    def kill(self) -> None:
        """Kill it."""
        ...

    def terminate(self) -> None:
        """Ask it to end."""
        ...


@dataclass(frozen=True, slots=True)
class Started:
    """A child and the ways to speak with it."""

    process: Child
    jobs: IO[bytes]
    answers: IO[bytes]
    complaints: IO[bytes] | None


class Hand:
    """Gives jobs to a child, one at a time. Answers and ends come as mail."""

    def __init__(self, post: Callable[[Mail], None], start: Callable[[], Started]) -> None:
        self._post = post
        self._start = start
        self._child: Started | None = None
        self._number = 0
        self._room = 0
        self.cards = 0
        """Jobs given to the child that is there now."""

    @property
    def number(self) -> int:
        """The number of the child that is there now."""
        return self._number

    @property
    def pid(self) -> int | None:
        """Its process id, while there is one."""
        return None if self._child is None else self._child.process.pid

    def give(self, job: Job) -> None:
        """Give a job, to a new child where there is none.

        Raises:
            OSError: no child can be started.
        """
        if self._child is None:
            self._begin()
        assert self._child is not None
        self.cards += 1
        self._room = _MOST_SAID
        with contextlib.suppress(BrokenPipeError):  # its end comes as mail
            self._child.jobs.write(job.line())
            self._child.jobs.flush()

    def warm(self) -> None:
        """Have a child there before there is a job: loading its libraries takes a second.

        Raises:
            OSError: no child can be started.
        """
        if self._child is None:
            self._begin()

    def _begin(self) -> None:
        self._child = child = self._start()
        self._number += 1
        self.cards = 0
        number = self._number
        threading.Thread(target=self._hear, args=(child, number), daemon=True).start()
        if child.complaints is not None:
            threading.Thread(target=self._overhear, args=(child,), daemon=True).start()

    def _hear(self, child: Started, number: int) -> None:
        with contextlib.suppress(OSError, ValueError):
            while line := child.answers.readline(MOST_LINE):
                try:
                    body = json.loads(line)
                except (ValueError, RecursionError):
                    body = None
                self._post(Answer(number, body if isinstance(body, dict) else {}))
        self._post(Ended(number, child.process.wait()))

    def _overhear(self, child: Started) -> None:
        assert child.complaints is not None
        with contextlib.suppress(OSError, ValueError):
            while line := child.complaints.readline(1 << 16):
                if self._room > 0:
                    self._room -= 1
                    text = line.decode("utf-8", "replace").rstrip()
                    self._post(Said(text[:_MOST_SAID_CHARACTERS]))

    def retire(self) -> None:
        """Let the child go after the job it may still have; the next job gets a new one."""
        if self._child is not None:
            with contextlib.suppress(OSError):
                self._child.jobs.close()
            self._child = None

    def kill(self) -> None:
        """Kill the child; its end still comes as mail."""
        if self._child is not None:
            with contextlib.suppress(ProcessLookupError):
                self._child.process.kill()
            self._forget()

    def end(self, wait_s: float = END_S) -> bool:
        """End the child now, also in the middle of a card; whether it left by itself."""
        child = self._child
        if child is None:
            return True
        with contextlib.suppress(ProcessLookupError):
            child.process.terminate()
        until = time.monotonic() + wait_s
        while child.process.poll() is None and time.monotonic() < until:
            time.sleep(0.01)
        left = child.process.poll() is not None
        if not left:
            with contextlib.suppress(ProcessLookupError):
                child.process.kill()
        self._forget()
        return left

    def lost(self, number: int) -> bool:
        """A child has ended; whether it is the one that was there."""
        if number != self._number or self._child is None:
            return False
        self._forget()
        return True

    def _forget(self) -> None:
        if self._child is not None:
            with contextlib.suppress(OSError):
                self._child.jobs.close()
        self._child = None


def start_worker() -> Started:
    """Start ``grouper.watch.worker`` in a process and a session of its own.

    Raises:
        OSError: it cannot be started.
    """
    process = subprocess.Popen(
        [sys.executable, "-m", "grouper.watch.worker"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,  # Ctrl-C on the terminal is the service's to answer
        env=_environment(),
    )
    assert process.stdin is not None
    assert process.stdout is not None
    return Started(process, process.stdin, process.stdout, process.stderr)


def _environment() -> dict[str, str]:
    """Ours, with the way to this very package, wherever the service was started."""
    import grouper

    home = os.path.dirname(os.path.dirname(os.path.abspath(grouper.__file__)))  # noqa: PTH100, PTH120
    before = os.environ.get("PYTHONPATH")
    return {**os.environ, "PYTHONPATH": home + (os.pathsep + before if before else "")}


def describe_end(status: int) -> str:
    """How a child ended, in words."""
    if status >= 0:
        return f"the process that groups ended with status {status}"
    try:
        name = signal.Signals(-status).name
    except ValueError:
        name = f"signal {-status}"
    return f"the process that groups was ended by {name}, such as by a decoder that crashed"
