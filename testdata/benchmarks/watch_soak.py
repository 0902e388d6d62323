"""A season of cards for the service: how soon each is done, what it takes, is all right.

Run ``python -m testdata.benchmarks.watch_soak [CARDS]`` (500 unless said; some minutes). Tiny
cards arrive in bursts and in trickles, file by file; copies are interrupted and resumed, cards
are renamed, removed and changed while the service runs, and where a small disk can be mounted
it is filled and freed. The service is the real one with its real child; only its wall clock is
ours, and jumps by hours, months and years, forwards and back, every two seconds. (Times of files
do not jump with it: a whole machine's clock cannot be moved under others. Nothing is decided by
either.) Outputs are to be kept for ``keep_days``, so a jump that aged anything would remove some.

"Latency" is from the last byte of a card to its ``card.json`` in place; ``settle_s`` is part of
it. Figures are printed and nothing fails on time; what is wrong in the end is printed, too.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from grouper.settings import load_settings
from grouper.watch.log import Log
from grouper.watch.service import Options, Service
from grouper.watch.state import Record, read_state
from tests.watch.cards import make_card, photo_bytes

CARDS = 500
SETTLE_S = 2.0
SETTINGS = f"""
[watch]
settle_s = {SETTLE_S}
rescan_s = 20
retry_s = 2
retry_most_s = 10
worker_cards = 100
free_least_mb = 3
keep_days = 3
"""
JUMPS_S = (0.0, 7_200.0, -7_200.0, 4e7, -4e7, 9e8, -9e8)
"""What the wall clock says beside the truth: two hours (a time zone), a year, thirty years."""
JUMP_EVERY_S = 2.0
"""So often that every card meets a jump while it settles."""
DISK_MB = 400
FREED_S = 20.0
"""For so long after it was freed the service may still wait before it tries again."""
BURST = 25
"""Cards that arrive at once, as when a drawer of cards is copied by one command."""
_SEED = 20260314
SERVE = "serve"
"""The word by which this module starts the service in a process of its own."""


@dataclass
class Figures:
    """What is measured while the season runs."""

    last_byte: dict[str, float] = field(default_factory=dict)
    """By card, on the monotonic clock."""
    done: dict[str, float] = field(default_factory=dict)
    service_mb: list[float] = field(default_factory=list)
    child_mb: list[float] = field(default_factory=list)
    stories: dict[str, int] = field(default_factory=dict)
    full: tuple[float, float] = (0.0, 0.0)
    """When the disk was full, on the monotonic clock."""

    def tell(self, story: str) -> None:
        """Count a story."""
        self.stories[story] = self.stories.get(story, 0) + 1


def memory_mb(pid: int) -> float | None:
    """Resident memory of a process."""
    try:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return None


def children(pid: int) -> list[int]:
    """Processes that a process started (proc(5))."""
    try:
        tasks = list(Path(f"/proc/{pid}/task").iterdir())
        return [int(word) for task in tasks for word in (task / "children").read_text().split()]
    except OSError:
        return []


class Season:
    """The inbox over a season."""

    def __init__(self, folder: Path, cards: int) -> None:
        self.inbox, self.out = folder / "inbox", folder / "out"
        self.inbox.mkdir()
        self.figures = Figures()
        self._cards = cards
        self._chance = random.Random(_SEED)
        self._number = 0

    def play(self) -> None:
        """Let all cards arrive, and things happen to some."""
        stories: list[Callable[[str], None]] = [
            self._copied, self._copied, self._copied, self._trickled, self._interrupted,
            self._renamed, self._changed_later, self._removed,
        ]  # fmt: skip
        while self._number < self._cards:
            if self._chance.random() < 0.03:
                for _ in range(min(BURST, self._cards - self._number)):
                    self._copied(self._next())
                self.figures.tell("burst")
            else:
                self._chance.choice(stories)(self._next())
            time.sleep(self._chance.uniform(0.0, 0.4))

    def _next(self) -> str:
        self._number += 1
        return f"CARD-{self._number:04d}"

    def _copied(self, name: str) -> None:
        make_card(self.inbox / name, photos=self._chance.randint(2, 6), first=10 * self._number)
        self._finished(name)
        self.figures.tell("copied at once")

    def _trickled(self, name: str) -> None:
        for number in range(self._chance.randint(2, 5)):
            self._slow_file(self.inbox / name, 10 * self._number + number)
        self._finished(name)
        self.figures.tell("trickled in")

    def _slow_file(self, card: Path, number: int, *, whole: bool = True) -> Path:
        path = card / "DCIM/100QMARK" / f"QMK_{number:04d}.JPG"
        path.parent.mkdir(parents=True, exist_ok=True)
        data = photo_bytes(number)
        half = len(data) // 2
        with path.open("wb") as stream:
            stream.write(data[:half])
            stream.flush()
            time.sleep(0.1)
            if whole:
                stream.write(data[half:])
        return path

    def _interrupted(self, name: str) -> None:
        """A copy that breaks off in the middle of a file and is begun anew later."""
        card = make_card(self.inbox / name, photos=2, first=10 * self._number)
        number = 10 * self._number + 2
        self._slow_file(card, number, whole=False)
        threading.Timer(2 * SETTLE_S, self._resume, (name, card, number)).start()
        self.figures.tell("interrupted, then resumed")

    def _resume(self, name: str, card: Path, number: int) -> None:
        self._slow_file(card, number)
        self._finished(name)

    def _renamed(self, name: str) -> None:
        make_card(self.inbox / f"{name}.part", photos=3, first=10 * self._number)
        (self.inbox / f"{name}.part").rename(self.inbox / name)
        self._finished(name)
        self.figures.tell("renamed")

    def _changed_later(self, name: str) -> None:
        card = make_card(self.inbox / name, photos=3, first=10 * self._number)
        threading.Timer(3 * SETTLE_S, self._change, (name, card, 10 * self._number + 3)).start()
        self.figures.tell("changed later")

    def _change(self, name: str, card: Path, number: int) -> None:
        self._slow_file(card, number)
        self._finished(name)

    def _removed(self, name: str) -> None:
        make_card(self.inbox / name, photos=3, first=10 * self._number)
        later = self._chance.uniform(0.0, 2 * SETTLE_S)
        threading.Timer(later, shutil.rmtree, (self.inbox / name,)).start()
        self.figures.tell("removed")

    def _finished(self, name: str) -> None:
        self.figures.last_byte[name] = time.monotonic()


class Watcher(threading.Thread):
    """Looks at the outputs and at the memory while the season runs."""

    def __init__(self, season: Season, pid: int) -> None:
        super().__init__(daemon=True)
        self._season = season
        self._pid = pid
        self.stop = threading.Event()

    def run(self) -> None:
        """Look twenty times a second at outputs, once a second at memory."""
        at = 0
        while not self.stop.wait(0.05):
            figures = self._season.figures
            wall_less_clock = time.time() - time.monotonic()
            for name, last in list(figures.last_byte.items()):
                try:
                    written = (self._season.out / name / "card.json").stat().st_mtime
                except OSError:
                    continue
                when = written - wall_less_clock
                if when >= last and figures.done.get(name, 0.0) < last:
                    figures.done[name] = when
            at += 1
            if at % 20 == 0:
                own = memory_mb(self._pid)
                if own is not None:
                    figures.service_mb.append(own)
                for child in children(self._pid):
                    figures.child_mb.append(memory_mb(child) or 0.0)


def records(out: Path) -> dict[str, Record]:
    """What the service remembers of the cards in the inbox."""
    state = read_state(out, repair=False)
    if state is None:
        return {}
    try:
        return {record.name: record for record in state.records() if record.gone_at is None}
    finally:
        state.close()


def fill(ballast: Path) -> None:
    """Fill a disk to the last block."""
    with suppress(OSError), ballast.open("wb", buffering=0) as stream:
        while True:
            stream.write(bytes(1 << 16))


def small_disk(place: Path) -> bool:
    """Mount a small disk for the outputs, where that is permitted."""
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", f"size={DISK_MB}m", "tmpfs", str(place)]
    if os.geteuid() != 0:
        return False
    return not subprocess.run(mount, capture_output=True, check=False).returncode


def jumping_wall() -> float:
    """A wall clock that jumps."""
    return time.time() + JUMPS_S[int(time.monotonic() / JUMP_EVERY_S) % len(JUMPS_S)]


def serve(inbox: str, out: str, settings: str) -> int:
    """Run the service as its command does, with a wall clock that jumps: the exit status."""
    options = Options(
        inbox=Path(inbox), out=Path(out), load=lambda: load_settings(Path(settings)), jobs=2
    )
    return Service(options, Log(as_json=True), wall=jumping_wall).run()


def main(cards: int) -> None:
    """Play a season and print the figures."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        season = Season(folder, cards)
        has_disk = small_disk(season.out)
        try:
            _main(folder, season, has_disk)
        finally:
            if has_disk:
                subprocess.run(["umount", "-l", str(season.out)], check=False)


def _main(folder: Path, season: Season, has_disk: bool) -> None:
    (folder / "settings.toml").write_text(SETTINGS)
    command = [sys.executable, "-m", "testdata.benchmarks.watch_soak", SERVE]
    command += [str(season.inbox), str(season.out), str(folder / "settings.toml")]
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache")}
    begun = time.monotonic()
    with (folder / "log").open("w") as log:
        process = subprocess.Popen(command, stderr=log, env=environment)
        watcher = Watcher(season, process.pid)
        watcher.start()
        playing = threading.Thread(target=season.play)
        playing.start()
        if has_disk:
            time.sleep(min(20.0, season._cards / 10))
            fill(season.out / "ballast")
            full_from = time.monotonic()
            time.sleep(6.0)
            (season.out / "ballast").unlink()
            season.figures.full = (full_from, time.monotonic())
            season.figures.tell("disk filled and freed")
        playing.join()
        played_s = time.monotonic() - begun
        time.sleep(4 * SETTLE_S)
        _wait_until_done(season)
        watcher.stop.set()
        watcher.join()
        process.send_signal(signal.SIGTERM)
        ending = time.monotonic()
        status = process.wait(30)
        ended_s = time.monotonic() - ending
    _print(season, played_s, ended_s, status, folder / "log", has_disk)


def _wait_until_done(season: Season) -> None:
    until = time.monotonic() + 300
    while time.monotonic() < until:
        here = {path.name for path in season.inbox.iterdir()}
        done = {name for name, record in records(season.out).items() if record.stage == "done"}
        if here == done:
            return
        time.sleep(0.5)


def _print(
    season: Season, played_s: float, ended_s: float, status: int, log: Path, has_disk: bool
) -> None:
    figures = season.figures
    left = sorted(path.name for path in season.inbox.iterdir())
    known = records(season.out)
    wrong = [name for name in left if not _is_right(season, known, name)]
    latencies: list[float] = []
    held_up: list[float] = []
    for name in left:
        if name in figures.done and name in figures.last_byte:
            last, done = figures.last_byte[name], figures.done[name]
            met_full = last < figures.full[1] + FREED_S and done > figures.full[0]
            (held_up if met_full else latencies).append(done - last)
    events = [json.loads(line) for line in log.read_text().splitlines()]
    print(f"{season._cards} cards in {played_s:.0f} s; {len(left)} in the inbox at the end")
    print("stories: " + ", ".join(f"{words} {n}" for words, n in sorted(figures.stories.items())))
    if not has_disk:
        print("no small disk could be mounted: the full disk was not played")
    print(f"right at the end: {len(left) - len(wrong)} of {len(left)}{_some(wrong)}")
    print(f"last byte to manifest (settle_s = {SETTLE_S:g} within): {_spread(latencies)}")
    print(f"the same of cards that met the full disk: {_spread(held_up)}")
    took = sorted(event["seconds"] for event in events if event["event"] == "grouped")
    jumps = int(played_s / JUMP_EVERY_S)
    aged = sum(event["event"] == "removed" for event in events)
    print(f"jumps of the wall clock: {jumps}; outputs removed for their age: {aged}")
    print(f"groupings: {len(took)}, median {statistics.median(took):.2f} s, worst {took[-1]:.2f} s")
    print(f"memory of the service: {_course(figures.service_mb)} MB")
    print(f"memory of its child: {_course(figures.child_mb)} MB")
    print(f"ended after SIGTERM in {ended_s:.2f} s with status {status}")
    counts: dict[str, int] = {}
    for event in events:
        if event["level"] in ("warning", "error"):
            counts[event["event"]] = counts.get(event["event"], 0) + 1
    said = ", ".join(f"{event} {number}" for event, number in counts.items())
    print(f"warnings and errors logged: {said or 'none'}")


def _is_right(season: Season, known: dict[str, Record], name: str) -> bool:
    """Whether a card's manifest says what is on it."""
    record = known.get(name)
    if record is None or record.stage != "done":
        return False
    try:
        card: Any = json.loads((season.out / record.out / "card.json").read_bytes())
    except (OSError, ValueError):
        return False
    photos = sum(1 for _ in (season.inbox / name).rglob("*.JPG"))
    return bool(card["card"]["frames"] == photos and card["card"]["unread"] == 0)


def _spread(values: list[float]) -> str:
    """Median, 95 % and worst of some seconds."""
    if not values:
        return "none"
    ordered = sorted(values)
    at95 = ordered[min(len(ordered) - 1, round(0.95 * len(ordered)))]
    return (
        f"median {statistics.median(ordered):.2f} s, 95 % {at95:.2f} s, "
        f"worst {ordered[-1]:.2f} s ({len(ordered)} cards)"
    )


def _course(values: list[float]) -> str:
    """The largest value of each quarter of the season: what grows shows."""
    if not values:
        return "not known"
    quarter = max(1, len(values) // 4)
    parts = [values[at : at + quarter] for at in range(0, len(values), quarter)][:4]
    return ", ".join(f"{max(part):.0f}" for part in parts) + " (largest of each quarter)"


def _some(names: list[str]) -> str:
    return f"; not: {', '.join(names[:8])}" if names else ""


if __name__ == "__main__":
    if sys.argv[1:2] == [SERVE]:
        sys.exit(serve(*sys.argv[2:]))
    main(int(sys.argv[1]) if len(sys.argv) > 1 else CARDS)
