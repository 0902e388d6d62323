"""Feeds damaged files to every reader for long: nothing may raise, hang, or fill the memory.

Run ``python -m testdata.benchmarks.fuzz_read [--inputs N] [--seed N] [--samples FOLDER]``.
Seeds are the small files that the tests build, and every file up to 256 KiB below FOLDER. With
``--guided`` the atheris package leads the damage by the lines it reaches (coverage-guided, with
libFuzzer; needs ``pip install atheris``); else dice do. What goes wrong is counted by kind, and
the first input of each kind is kept in ``--keep``.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import time
import traceback
from collections import Counter
from itertools import islice
from pathlib import Path

from grouper.model import Frame, Unread
from tests.read.mutations import DAMAGES, Judge, mutants, seeds

LARGEST_SEED = 256 << 10
"""Bytes of a sample: beyond it most of a file is picture, which readers do not look at."""


def gather(samples: Path | None) -> dict[str, bytes]:
    """Seeds by name."""
    files = seeds()
    if samples is not None:
        for path in sorted(samples.rglob("*")):
            if path.is_file() and path.stat().st_size <= LARGEST_SEED:
                files[f"{len(files)}-{path.name}"] = path.read_bytes()
    return files


def memory_mb() -> float:
    """The most memory that was used so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def kind_of(error: BaseException) -> str:
    """What went wrong, by its place in our code."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [frame for frame in frames if "grouper/read" in frame.filename] or list(frames)
    last = ours[-1]
    return f"{type(error).__name__} at {Path(last.filename).name}:{last.lineno}: {str(error)[:80]}"


def by_dice(files: dict[str, bytes], inputs: int, seed: int, keep: Path | None) -> int:
    """Judge so many inputs and print what came of them; how many went wrong."""
    ends, wrong = Counter[str](), Counter[str]()
    slowest, slowest_name, start = 0.0, "", time.perf_counter()
    with Judge() as judge:
        for data in files.values():  # warm, so that memory is told from here
            judge.judge(data, "QMK_0001.JPG")
        before = memory_mb()
        for number, (name, data) in enumerate(islice(mutants(files, random.Random(seed)), inputs)):
            began = time.process_time()
            try:
                outcome = judge.judge(data, name)
                ends[
                    "frame"
                    if isinstance(outcome, Frame)
                    else outcome.reason
                    if isinstance(outcome, Unread)
                    else "no picture"
                ] += 1
            except Exception as error:
                kind = kind_of(error)
                if not wrong[kind] and keep is not None:
                    keep.mkdir(parents=True, exist_ok=True)
                    (keep / f"{number}-{Path(name).name}").write_bytes(data)
                wrong[kind] += 1
            seconds = time.process_time() - began
            if seconds > slowest:
                slowest, slowest_name = seconds, f"{number}-{name}"
    took = time.perf_counter() - start
    print(f"{inputs} inputs from {len(files)} seeds, {took:.0f} s, {inputs / took:.0f}/s")
    print(f"slowest {1000 * slowest:.0f} ms ({slowest_name})")
    print(f"memory {before:.0f} MB before, {memory_mb():.0f} MB at most")
    print("ends:", ", ".join(f"{count} {end}" for end, count in ends.most_common()))
    for kind, count in wrong.most_common():
        print(f"WRONG {count} x {kind}")
    return sum(wrong.values())


def guided(files: dict[str, bytes], inputs: int, seed: int, keep: Path | None) -> None:
    """Let atheris choose the damage; ends the process at the first thing that goes wrong."""
    import atheris

    atheris.instrument_all()
    judge = Judge().__enter__()
    corpus = (keep or Path("/tmp")) / "corpus"
    corpus.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (corpus / Path(name).name).write_bytes(data)

    def one(data: bytes) -> None:
        judge.judge(data, "QMK_0001.JPG")

    def change(data: bytes, most: int, number: int) -> bytes:
        dice = random.Random(number)
        changed = bytearray(data or b"\0")
        if dice.random() < 0.5:
            dice.choice(DAMAGES)(changed, dice)
            return bytes(changed[:most])
        return bytes(atheris.Mutate(bytes(changed), most))

    arguments = [
        sys.argv[0], f"-runs={inputs}", f"-seed={seed}", f"-max_len={LARGEST_SEED}", "-timeout=5",
        f"-artifact_prefix={corpus.parent}/", "-rss_limit_mb=1024", "-print_final_stats=1",
        "-verbosity=0", str(corpus),
    ]  # fmt: skip
    atheris.Setup(arguments, one, custom_mutator=change)
    atheris.Fuzz()


def main() -> int:
    """Parse, run; 1 if anything went wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--samples", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--guided", action="store_true")
    asked = parser.parse_args()
    files = gather(asked.samples)
    if asked.guided:
        guided(files, asked.inputs, asked.seed, asked.keep)
        return 0
    return int(by_dice(files, asked.inputs, asked.seed, asked.keep) > 0)


if __name__ == "__main__":
    sys.exit(main())
