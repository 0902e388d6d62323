"""Starts services quickly: a process with everything loaded that forks one when asked.

A line of JSON on standard input asks for a service; its process id comes on standard output.
So a test can kill hundreds of real services, each with a real child, in little time. Only the
loading of libraries is saved; ``test_kill`` also kills services started as users start them.
"""

from __future__ import annotations

import errno
import itertools
import json
import os
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import sklearn.cluster  # noqa: F401
import watchfiles  # noqa: F401

import grouper.pipeline
from grouper.model import Result
from grouper.settings import Settings, load_settings
from grouper.watch import grouping, service, worker
from grouper.watch.hand import Started
from grouper.watch.hooks import hook_from
from grouper.watch.log import Log
from grouper.write import replace
from grouper.write.html import page_template


class Forked:
    """A forked child, as far as the service needs it."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self.returncode: int | None = None

    def poll(self) -> int | None:
        return self._reap(os.WNOHANG)

    def wait(self, timeout: float | None = None) -> int:
        status = self._reap(0)
        return -1 if status is None else status

    def _reap(self, how: int) -> int | None:
        if self.returncode is None:
            try:
                pid, status = os.waitpid(self.pid, how)
            except ChildProcessError:  # reaped by the other thread
                return self.returncode or 0
            if pid:
                self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode

    def kill(self) -> None:
        os.kill(self.pid, signal.SIGKILL)

    def terminate(self) -> None:
        os.kill(self.pid, signal.SIGTERM)


def start_forked() -> Started:
    """A child as ``start_worker`` starts it, forked from this process."""
    jobs_in, jobs_out = os.pipe()
    answers_in, answers_out = os.pipe()
    parent = os.getpid()
    pid = os.fork()
    if pid == 0:
        try:
            os.dup2(jobs_in, 3)
            os.dup2(answers_out, 4)
            os.closerange(5, 1000)  # among them the lock, which must go with the service alone
            os.setsid()
            signal.signal(signal.SIGHUP, signal.SIG_DFL)
            worker._die_with(parent)
            worker.serve(os.fdopen(3, "rb"), os.fdopen(4, "wb", buffering=0))
        finally:
            os._exit(70)
    os.close(jobs_in)
    os.close(answers_out)
    return Started(Forked(pid), os.fdopen(jobs_out, "wb"), os.fdopen(answers_in, "rb"), None)


def run_with_mischief(cards: Sequence[Path], settings: Settings, **how: Any) -> Result:
    """The pipeline, but for cards whose name asks for trouble."""
    name = cards[0].name
    if "crash" in name:
        os.kill(os.getpid(), signal.SIGSEGV)
    if "hang" in name:
        time.sleep(600)
    if "greedy" in name:
        hoard = [bytearray(b"x" * (8 << 20)) for _ in range(200)]
        time.sleep(2)
        del hoard
    if "bug" in name:
        raise ZeroDivisionError("a bug")
    if "slow" in name:
        time.sleep(1.5)
    if "glutton" in name:
        for _ in range(40):
            with open("/dev/zero", "rb", buffering=0) as stream:  # noqa: PTH123
                stream.read(1 << 20)
    return _run(cards, settings, **how)


def write_new_on_a_full_disk(temporary: Path, data: bytes) -> None:
    """Writing, with no space while a file says so."""
    if full_while is not None and full_while.exists():
        raise OSError(errno.ENOSPC, "No space left on device")
    _write_new(temporary, data)


_run = grouper.pipeline.run
_write_new = replace._write_new
full_while: Path | None = None


def serve(order: dict[str, Any]) -> int:
    """Run one service as ordered."""
    global full_while
    if order.get("mischief"):
        grouper.pipeline.run = run_with_mischief
    if order.get("full_while"):
        full_while = Path(order["full_while"])
        replace._write_new = write_new_on_a_full_disk
    os.environ["XDG_CACHE_HOME"] = order["cache"]
    on_set, on_card = order.get("on_set"), order.get("on_card")
    options = service.Options(
        inbox=Path(order["inbox"]),
        out=Path(order["out"]),
        load=lambda: load_settings(Path(order["settings"])),
        once=order.get("once", False),
        poll=order.get("poll", False),
        on_set=None if on_set is None else hook_from(on_set, "set"),
        on_card=None if on_card is None else hook_from(on_card, "card"),
    )
    grouping.IDLE_S = order.get("idle_s", grouping.IDLE_S)  # type: ignore[misc]
    grouping.TROUBLE_S = order.get("trouble_s", grouping.TROUBLE_S)  # type: ignore[misc]
    jumps = itertools.cycle((0.0, 4e7, -4e7, 9e8))

    def wall() -> float:
        """The wall clock; of a machine whose clock jumps by years, where that is asked for."""
        return time.time() + (next(jumps) if order.get("jumping") else 0.0)

    with open(order["log"], "a") as stream:  # noqa: PTH123
        return service.Service(
            options, Log("debug", stream=stream), wall=wall, start=start_forked
        ).run()


def main() -> None:
    """Fork a service for every line."""
    page_template("grouper.watch", "page.html")
    for line in sys.stdin:
        order = json.loads(line)
        pid = os.fork()
        if pid == 0:
            status = 70
            try:
                os.closerange(3, 1000)
                status = serve(order)
            except BaseException as error:
                print(repr(error), file=sys.stderr, flush=True)
            finally:
                os._exit(status)
        print(pid, flush=True)
        _, ended = os.waitpid(pid, 0)
        print(os.waitstatus_to_exitcode(ended), flush=True)


if __name__ == "__main__":
    main()
