"""What the whole job costs: processor time a frame, how it grows, and the most memory.

Run ``python -m testdata.benchmarks.whole_job [FOLDER ...] [--frames N ...]``. Folders are
rehearsal cards (default: two days rendered first). From them cards of N frames are made by
repeating them day after day, with new dates and folders, so that every frame is its own. Each
card is grouped by the command itself, without its cache and by one job, as a process of its own;
told are the processor time of that process, its children's included, and its largest memory.
The package is compiled beforehand, as an installed one is.
What a card costs whatever its size (loading libraries, holding the clocks of its bodies against
each other) shows in the first column; "each further" is the time of a frame beyond the card before.
"""

from __future__ import annotations

import argparse
import compileall
import itertools
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

import grouper
from grouper.discover import find_files
from grouper.read import read_frames
from grouper.settings import Settings
from testdata.rehearsal.cards import day_card
from testdata.rehearsal.render import render_card, usual_jobs

COUNTS = (600, 2_400, 20_000)
_SEEDS = (42, 43)
"""Days of cameras that put a thumbnail into their files, as nearly all do."""
_STAMP = "%Y:%m:%d"
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
"""Threads of the numerical libraries wait busily, which is no work."""
_PACKAGE = Path(grouper.__file__).parent


def repeat_cards(cards: Sequence[Path], target: Path, count: int) -> int:
    """Lay cards one after the other, a day apart, until there are so many frames; how many."""
    made = 0
    day = datetime(2020, 1, 1)
    for turn, card in enumerate(itertools.cycle(cards)):
        found = find_files([card], Settings())
        root = Path(found.root)
        frames = read_frames(root, found.files, Settings()).frames
        if not frames:
            raise SystemExit(f"{card}: no photographs")
        days = sorted({one.taken.date() for one in frames if one.taken is not None})
        dates = {
            old.strftime(_STAMP).encode(): (day + timedelta(days=k)).strftime(_STAMP).encode()
            for k, old in enumerate(days)
        }
        day += timedelta(days=len(days) + 1)
        for frame in frames[: count - made]:
            data = (root / frame.file).read_bytes()
            head, tail = data[: 1 << 17], data[1 << 17 :]
            for old, new in dates.items():
                head = head.replace(old, new)
            path = target / f"day-{turn:04d}" / frame.file
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(head + tail)
            made += 1
        if made >= count:
            return made
    return made


def install(folder: Path) -> None:
    """Lay a compiled copy of the package into a folder, as an installer does."""
    copy = folder / _PACKAGE.name
    shutil.copytree(_PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    if not compileall.compile_dir(copy, quiet=1):
        raise SystemExit(f"{_PACKAGE} cannot be compiled")


def measure(command: Sequence[str], packages: Path) -> dict[str, float]:
    """Run a command by itself: wall and processor seconds, most memory in MB.

    ``packages`` is a folder whose packages go before all others.
    """
    code = (
        "import json, resource, subprocess, sys, time\n"
        "start = time.perf_counter()\n"
        "done = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL).returncode\n"
        "used = resource.getrusage(resource.RUSAGE_CHILDREN)\n"
        "print(json.dumps({'status': done, 'wall_s': time.perf_counter() - start,\n"
        "    'processor_s': used.ru_utime + used.ru_stime, 'memory_mb': used.ru_maxrss / 1024}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *command],
        env={**os.environ, **_ONE_THREAD, "PYTHONPATH": str(packages)},
        cwd=packages,
        stdout=subprocess.PIPE,
        check=True,
    )
    figures: dict[str, float] = json.loads(done.stdout)
    return figures


def main(cards: Sequence[Path], counts: Sequence[int]) -> None:
    """Print a line for each size of card."""
    print("   frames    wall s  processor ms a frame  each further  most memory MB")
    before, spent_s = 0, 0.0
    for count in sorted(set(counts)):
        with tempfile.TemporaryDirectory() as place:
            card, packages = Path(place) / "card", Path(place) / "packages"
            install(packages)
            made = repeat_cards(cards, card, count)
            figures = measure(
                [sys.executable, "-m", "grouper", "group", str(card), "--out", f"{place}/out",
                 "--jobs", "1", "--no-cache", "--quiet"],
                packages,
            )  # fmt: skip
        if figures["status"] not in (0, 1):
            raise SystemExit(f"grouping {count} frames failed with status {figures['status']:.0f}")
        used_s = figures["processor_s"]
        further_ms = 1000 * (used_s - spent_s) / (made - before) if before else float("nan")
        print(
            f"{made:9,} {figures['wall_s']:9.1f} {1000 * used_s / made:21.2f} {further_ms:13.2f}"
            f" {figures['memory_mb']:15.0f}",
            flush=True,
        )
        before, spent_s = made, used_s


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--frames", nargs="+", type=int, default=COUNTS)
    return parser.parse_args()


if __name__ == "__main__":
    asked = _asked()
    if asked.folders:
        main(asked.folders, asked.frames)
    else:
        with tempfile.TemporaryDirectory() as scratch:
            folders = [Path(scratch) / str(seed) for seed in _SEEDS]
            for seed, folder in zip(_SEEDS, folders, strict=True):
                render_card(day_card(seed), folder, usual_jobs())
            main([folder / "card" for folder in folders], asked.frames)
