"""Killed at any moment: nothing is lost, nothing torn, and the outputs are as if undisturbed."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from grouper.watch.state import open_state
from grouper.write.replace import TEMPORARY, without_made
from tests.watch.cards import SETTINGS, add_photo, make_card, tree
from tests.watch.running import ROOT, Launcher

KILLS = 200
"""Services killed, each at another moment of its life; about a fifth of a second each."""
SLOW_KILLS = 3
"""Services killed that were started as a user starts them: two seconds each."""
LONGEST_S = 0.6
"""No service is left alive for longer: with 200 of them that bounds the test. One that finds a
changed card is done after about 0.3 s on a quiet machine."""


def steps(inbox: Path) -> Iterator[None]:
    """What happens in the inbox between two kills, again and again something else."""
    names = ["QMARK", "OSTREL", "Friday", "Ilse's card", "qmark"]
    for name in names:
        make_card(inbox / name)
        yield
    number = 10
    while True:
        for name in names[:4]:
            card = inbox / name
            number += 1
            add_photo(card, number)
            yield
            photos = sorted(card.rglob("*.JPG"))
            if len(photos) > 5:
                photos[random.Random(number).randrange(len(photos))].unlink()
                yield
        (inbox / "qmark").rename(inbox / "Bram")
        yield
        (inbox / "Bram").rename(inbox / "qmark")
        yield
        shutil.rmtree(inbox / "Friday")
        make_card(inbox / "Friday", first=number + 50)  # another card under the same name
        yield


def check_nothing_torn(out: Path) -> None:
    """Every file that stands under its own name is whole."""
    for path in out.rglob("*"):
        if not path.is_file() or path.name.startswith(TEMPORARY):
            continue
        if path.suffix == ".json":
            json.loads(path.read_bytes())
        elif path.suffix == ".html":
            assert path.read_bytes().rstrip().endswith(b"</html>"), path
        elif path.suffix in (".csv", ".txt"):
            assert path.read_bytes().endswith(b"\n"), path


def outputs(out: Path) -> dict[str, dict[str, bytes]]:
    """By card, what stands in its output folder, without what may differ between two runs."""
    state, fault = open_state(out)
    assert not fault
    records = [record for record in state.records() if record.gone_at is None]
    errands = state.errands()
    state.close()
    assert not errands
    told = [(record.name, record.out, record.stage, record.error) for record in records]
    assert {stage for _, _, stage, _ in told} == {"done"}, told
    assert len({record.name for record in records}) == len(records), told
    return {
        record.name: {path: without_made(data) for path, data in tree(out / record.out).items()}
        for record in records
    }


def hooks_run(log: Path) -> set[str]:
    return set(log.read_text().split()) if log.exists() else set()


def test_killed_at_any_moment_and_nothing_is_lost(tmp_path: Path, launcher: Launcher) -> None:
    inbox, out = tmp_path / "inbox", tmp_path / "out"
    inbox.mkdir()
    (tmp_path / "settings.toml").write_text(
        SETTINGS.replace("settle_s = 0.3", "settle_s = 0.05").replace(
            "retry_s = 0.5", "retry_s = 0.1"
        )
    )
    told = tmp_path / "told"
    script = tmp_path / "tell"
    script.write_text(f"#!/bin/sh\necho \"$1\" >> '{told}'\n")
    script.chmod(0o755)
    order = {
        "inbox": str(inbox),
        "out": str(out),
        "settings": str(tmp_path / "settings.toml"),
        "cache": str(tmp_path / "cache"),
        "log": str(tmp_path / "log"),
        "on_set": f"{script} {{manifest}}",
    }
    chance = random.Random(20260314)
    happening = steps(inbox)
    next(happening)
    begun = time.monotonic()
    launcher.start({**order, "once": True})
    assert launcher.status() == 0
    # Kills fall into all of a service's life, on a slow machine too, and some after it.
    longest_s = min(LONGEST_S, 1.3 * (time.monotonic() - begun))
    statuses: list[int] = []
    for _ in range(KILLS):
        next(happening)
        pid = launcher.start(order)
        time.sleep(chance.uniform(0.0, longest_s))
        os.kill(pid, signal.SIGKILL)
        statuses.append(launcher.status())
        check_nothing_torn(out)
    assert statuses == [-signal.SIGKILL] * KILLS

    command = [sys.executable, "-m", "grouper", "watch", str(inbox), "--out", str(out)]
    command += ["--settings", str(tmp_path / "settings.toml"), "--on-set", order["on_set"]]
    environment = {**os.environ, "XDG_CACHE_HOME": order["cache"]}
    for _ in range(SLOW_KILLS):
        next(happening)
        process = subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.DEVNULL)
        time.sleep(chance.uniform(0.5, 3.0))
        process.kill()
        process.wait()
        check_nothing_torn(out)

    done = subprocess.run([*command, "--once"], cwd=ROOT, env=environment, check=False)
    assert done.returncode == 0
    undisturbed = tmp_path / "undisturbed"
    launcher.start({**order, "out": str(undisturbed), "once": True, "on_set": None})
    assert launcher.status() == 0

    left, right = outputs(out), outputs(undisturbed)
    assert left.keys() == right.keys() == {path.name for path in inbox.iterdir()}
    for name in right:
        assert left[name].keys() == right[name].keys(), name
        assert left[name] == right[name], name
    assert not list(out.rglob(f"{TEMPORARY}*"))
    # At least once for every set that there is.
    wanted = {str(path) for path in out.rglob("set.json")}
    assert wanted <= hooks_run(told)
    # What it was like, for whoever runs this with -s.
    log = (tmp_path / "log").read_text()
    print(f"{KILLS} killed; {log.count('grouped in')} groupings got through", end="; ")
    print(f"{log.count('half-written')} times something half-written was cleaned up")
