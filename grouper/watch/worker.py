"""The child that groups: ``python -m grouper.watch.worker``, a job a line on standard input.

It lives for many cards, since its libraries take a second to load, and dies with the service:
at once under Linux, else as soon as its standard input ends. A decoder that crashes, hangs or
eats memory takes only the child along; outputs are written beside and renamed, so that is
safe at any moment.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import logging
import os
import queue
import resource
import signal
import sys
import threading
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO, Final, NoReturn

from grouper.errors import GrouperError
from grouper.model import Result
from grouper.settings import Settings, WatchSettings
from grouper.watch.jobs import Job, card_digest, set_digest
from grouper.watch.look import look_at

LARGEST_FILE: Final = 1 << 30
"""No output comes near a gigabyte: a report has at most 40 MB, a manifest some hundred."""
_MB: Final = 1 << 20
_MOST_TOLD: Final = 3
"""Findings told on the page over all cards; the report has them all."""
_MOST_TEXT: Final = 2000
"""Characters of one told text."""
_MOST_NOTES: Final = 20
_PR_SET_PDEATHSIG: Final = 1
_LOOK_S: Final = 0.2
"""How often memory and reading are looked at: a decoder fills some 100 MB in that time."""

READ_TOO_MUCH: Final = 96
OUT_OF_MEMORY: Final = 97
"""Statuses of a child that ends in the middle of a card, for the service to tell apart."""


class Ending(BaseException):
    """The service asks the child to end; what is half-written is cleaned up on the way out."""


def main() -> NoReturn:
    """Serve jobs from standard input until it ends."""
    parent = os.getppid()
    _die_with(parent)
    _no_core()
    answers = os.fdopen(os.dup(1), "wb", buffering=0)
    os.dup2(2, 1)  # whatever a library prints does not get among the answers
    serve(sys.stdin.buffer, answers)


def serve(jobs: BinaryIO, answers: BinaryIO) -> NoReturn:
    """Serve jobs, one after the other; ends the process."""
    signal.signal(signal.SIGTERM, _end)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the service's to answer
    logging.basicConfig(level=logging.WARNING, format="%(message)s", stream=sys.stderr)
    lines: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(jobs, lines), daemon=True).start()
    with contextlib.suppress(Ending):
        import grouper.pipeline  # noqa: F401 - the slow part, before the first card waits for it

        while line := lines.get():
            body = answer_to(Job.from_line(line))
            answers.write(json.dumps(body).encode("ascii") + b"\n")
    os._exit(0)  # threads of a decoder must not hold the process


def _end(*_: object) -> NoReturn:
    raise Ending


def _listen(jobs: BinaryIO, lines: queue.SimpleQueue[bytes]) -> None:
    """Hand on jobs; once there can be no more, leave also in the middle of one."""
    for line in jobs:
        lines.put(line)
    lines.put(b"")
    time.sleep(1.0)
    os._exit(1)


def _die_with(parent: int) -> None:
    """Have the kernel end this process when the service dies (Linux: prctl(2))."""
    if sys.platform != "linux":
        return
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, int(signal.SIGKILL), 0, 0, 0)
    if os.getppid() != parent:  # it died before we could ask
        os._exit(1)


def _no_core() -> None:
    resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))


# ---- one job


def answer_to(job: Job) -> dict[str, Any]:
    """Group one card and write its outputs; never raises for what a card can do."""
    watch = job.settings.watch
    try:
        _limit(watch)
        with _watched(watch) as meter:
            return {**_grouped(job, meter), "memory_mb": memory_mb()}
    except GrouperError as error:
        return _failed(str(error))
    except MemoryError:
        return _failed(too_much_memory(watch.memory_most_mb))
    except Exception as error:  # one bad card never stops the others
        return _failed(f"a bug in grouper: {error!r}", traceback.format_exc())


def _failed(error: str, trace: str = "") -> dict[str, Any]:
    return {
        "kind": "failed",
        "error": error[:_MOST_TEXT],
        "trace": trace[-8 * _MOST_TEXT :],
        "memory_mb": memory_mb(),
    }


def _grouped(job: Job, meter: _Meter) -> dict[str, Any]:
    from grouper.pipeline import run

    if not _is_as_asked(job):
        return {"kind": "changed"}
    settings = safe(job.settings)
    result = run(
        [Path(job.card)], settings, jobs=job.jobs, use_cache=job.use_cache, for_report=True
    )
    meter.check()
    # The folder may have been swapped for a link, or a file have grown while it was read.
    moved = os.path.realpath(Path(job.card).parent) != os.path.dirname(result.scan.root)  # noqa: PTH120
    if moved or not _is_as_asked(job):
        return {"kind": "changed"}
    return _written(job, result)


def safe(settings: Settings) -> Settings:
    """The settings for cards that others can write to: no link is followed."""
    return replace(settings, read=replace(settings.read, follow_links=False))


def _is_as_asked(job: Job) -> bool:
    return look_at(job.card, job.settings.watch.files_most).identity == job.identity


def _written(job: Job, result: Result) -> dict[str, Any]:
    from grouper.pipeline import write
    from grouper.write import card_object
    from grouper.write.verdict import verdict_of

    written = write(result, Path(job.out))
    card = json.loads(json.dumps(card_object(result, "")))
    return {
        "kind": "done",
        "digest": card_digest(card),
        "sets": [
            {
                "id": one["id"],
                "kind": one["kind"],
                "verdict": verdict_of(found.findings).key,
                "digest": set_digest(result.scan.root, one),
            }
            for one, found in zip(card["sets"], result.sets, strict=True)
        ],
        "told": told(result),
        "written": len(written.written),
        "removed": len(written.removed),
        "notes": list(written.notes[:_MOST_NOTES]),
    }


def told(result: Result) -> dict[str, Any]:
    """What the page over all cards tells of one."""
    from grouper.write.text import all_findings
    from grouper.write.verdict import RESHOOT, VERDICTS, headline, verdict_of, worst

    verdicts = [verdict_of(one.findings) for one in result.sets]
    times = [frame.taken for frame in result.scan.frames if frame.taken is not None]
    findings = all_findings(result)
    severities = Counter(finding.severity for finding in findings)
    verdict = min((*verdicts, VERDICTS[-1]), key=lambda one: one.rank)
    if worst(result.findings) == "problem":
        verdict = RESHOOT
    ranked = sorted(findings, key=lambda one: ("problem", "warning", "note").index(one.severity))
    return {
        "verdict": verdict.key,
        "headline": [[key, words] for key, words in headline(result)],
        "frames": len(result.scan.frames),
        "files": result.scan.files,
        "unread": len(result.scan.unread),
        "sets": len(result.sets),
        "singles": len(result.grouping.singles),
        "problems": severities["problem"],
        "warnings": severities["warning"],
        "notes": severities["note"],
        "bodies": [body.id[:_MOST_TEXT] for body in result.grouping.bodies[:8]],
        "first": min(times).isoformat(timespec="seconds") if times else None,
        "last": max(times).isoformat(timespec="seconds") if times else None,
        "findings": [
            {
                "severity": finding.severity,
                "code": finding.code,
                "message": finding.message[:_MOST_TEXT],
                "set": finding.set_id,
            }
            for finding in ranked[:_MOST_TOLD]
            if finding.severity != "note"
        ],
    }


# ---- limits


def _limit(watch: WatchSettings) -> None:
    """Limit memory and the size of a file, within what the system allows.

    The kernel's limit on memory is a quarter above ours: a decoder that runs into it takes the
    picture for a bad one, so ``_watched`` should end the card before.
    """
    data = watch.memory_most_mb * _MB * 5 // 4 or resource.RLIM_INFINITY
    for what, most in ((resource.RLIMIT_DATA, data), (resource.RLIMIT_FSIZE, LARGEST_FILE)):
        _, hard = resource.getrlimit(what)
        if hard != resource.RLIM_INFINITY:
            most = hard if most == resource.RLIM_INFINITY else min(most, hard)
        with contextlib.suppress(OSError, ValueError):
            resource.setrlimit(what, (most, hard))


class _Meter:
    """What a card has cost so far."""

    def __init__(self, watch: WatchSettings) -> None:
        self._read_most_mb = watch.read_most_mb
        self._memory_most_mb = watch.memory_most_mb
        self._begun = bytes_read() or 0

    def excess(self) -> tuple[int, str] | None:
        """The status to end with and what to say, once a limit is passed."""
        if self._read_most_mb and (bytes_read() or 0) - self._begun > self._read_most_mb * _MB:
            return READ_TOO_MUCH, too_much_read(self._read_most_mb)
        if self._memory_most_mb and memory_mb() > self._memory_most_mb:
            return OUT_OF_MEMORY, too_much_memory(self._memory_most_mb)
        return None

    def check(self) -> None:
        """Raise GrouperError once a limit is passed."""
        if (excess := self.excess()) is not None:
            raise GrouperError(excess[1])


@contextlib.contextmanager
def _watched(watch: WatchSettings) -> Iterator[_Meter]:
    """End the process when the card inside goes beyond a limit."""
    meter, done = _Meter(watch), threading.Event()

    def look() -> None:
        while not done.wait(_LOOK_S):
            if (excess := meter.excess()) is not None:
                os._exit(excess[0])

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    try:
        yield meter
    finally:
        done.set()
        thread.join()


def too_much_read(most_mb: int) -> str:
    """What to say of a card of which too much was read."""
    return f"more would be read of it than [watch] read_most_mb = {most_mb} allows"


def too_much_memory(most_mb: int) -> str:
    """What to say of a card that took too much memory."""
    return f"it needs more memory than [watch] memory_most_mb = {most_mb} allows"


def bytes_read() -> int | None:
    """Bytes that this process has read so far (proc(5)); ``None`` where that cannot be told."""
    return _figure("/proc/self/io", "rchar:")


def memory_mb() -> float:
    """Memory in use now, in megabytes; where that cannot be told the most there ever was."""
    resident_kb = _figure("/proc/self/status", "VmRSS:")
    if resident_kb is None:
        resident_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        if sys.platform == "darwin":  # there it is told in bytes (getrusage(2))
            resident_kb //= 1024
    return resident_kb / 1024


def _figure(file: str, name: str) -> int | None:
    try:
        for line in Path(file).read_text().splitlines():
            if line.startswith(name):
                return int(line.split()[1])
    except (OSError, ValueError, IndexError):
        pass
    return None


if __name__ == "__main__":
    main()
