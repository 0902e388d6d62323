"""How reading a card grows with its frames: time and memory at 1,000, 10,000 and 100,000.

Run ``python -m testdata.benchmarks.scan_growth [COUNT ...]``. Cards of tiny photographs are
written into a temporary folder and read three times: without a cache, filling one, from one.
Each reading is a process of its own, whose largest memory is told; "growth" is the
time a frame takes beside the smallest card.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

from grouper.pipeline import scan
from tests.read.files import TAKEN, jpeg_bytes, write_photo

COUNTS = (1_000, 10_000, 100_000)
FOLDER = 9_999
"""Frames a folder, as DCF allows (CIPA DC-009)."""
LONG_AGO = 1_700_000_000
_STAMP = "%Y:%m:%d %H:%M:%S"


def write_card(card: Path, count: int) -> None:
    """Photographs that differ in name and time only, so that 100,000 are written in seconds."""
    model = write_photo(
        card / "model.JPG", thumbnail=jpeg_bytes((160, 120)), subsec="31", offset="+02:00"
    )
    head, tail = model.read_bytes().split(TAKEN.strftime(_STAMP).encode())
    model.unlink()
    for index in range(count):
        folder = card / f"DCIM/{100 + index // FOLDER}QMARK"
        if index % FOLDER == 0:
            folder.mkdir(parents=True)
        path = folder / f"QMK_{index % FOLDER + 1:04d}.JPG"
        stamp = (TAKEN + timedelta(seconds=index)).strftime(_STAMP).encode()
        path.write_bytes(head + stamp + tail)
        os.utime(path, (LONG_AGO + index, LONG_AGO + index))


def read_once(card: Path, *, use_cache: bool) -> None:
    """Read the card and print the figures as JSON: seconds of wall and processor, frames, MB."""
    start, used = time.perf_counter(), time.process_time()
    frames = len(scan([card], use_cache=use_cache).frames)
    figures = {
        "frames": frames,
        "wall_s": time.perf_counter() - start,
        "processor_s": time.process_time() - used,
        "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }
    print(json.dumps(figures))


def main(counts: tuple[int, ...]) -> None:
    """Print a table for cards of so many frames."""
    print("   frames  reading          frames/s  of processor  us a frame  growth  memory MB")
    first: dict[str, float] = {}
    for count in counts:
        with tempfile.TemporaryDirectory() as place:
            card = Path(place) / "card"
            write_card(card, count)
            for name, how in (
                ("without cache", "plain"), ("filling cache", "cached"), ("from cache", "cached"),
            ):  # fmt: skip
                done = subprocess.run(
                    [sys.executable, "-m", __spec__.name, "--once", how, str(card)],
                    env={**os.environ, "XDG_CACHE_HOME": place + "/cache"},
                    stdout=subprocess.PIPE,
                    check=True,
                )
                figures = json.loads(done.stdout)
                assert figures["frames"] == count, figures
                each_us = 1e6 * figures["processor_s"] / count
                growth = each_us / first.setdefault(name, each_us)
                print(
                    f"{count:9,}  {name:14} {count / figures['wall_s']:10,.0f}"
                    f" {count / figures['processor_s']:13,.0f} {each_us:11.1f} {growth:7.2f}"
                    f" {figures['memory_mb']:10.0f}"
                )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--once"]:
        read_once(Path(sys.argv[3]), use_cache=sys.argv[2] == "cached")
    else:
        main(tuple(int(word) for word in sys.argv[1:]) or COUNTS)
