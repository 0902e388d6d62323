"""Real services under test: started by the launcher, watched through their state and log."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from grouper.watch.state import Record, StateTrouble, read_state
from tests.watch.cards import SETTINGS, wait_until

ROOT = Path(__file__).parent.parent.parent


class Launcher:
    """Starts services; see ``tests.watch.launcher``."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.watch.launcher"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
        )

    def start(self, order: dict[str, Any]) -> int:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(order) + "\n")
        self._process.stdin.flush()
        return self._line()

    def status(self) -> int:
        return self._line()

    def _line(self) -> int:
        assert self._process.stdout is not None
        return int(self._process.stdout.readline())

    def close(self) -> None:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(20)
        self._process.stdout.close()


class Running:
    """One service and its folders."""

    def __init__(self, folder: Path, launcher: Launcher) -> None:
        self.inbox, self.out = folder / "inbox", folder / "out"
        self.inbox.mkdir()
        self.settings = folder / "settings.toml"
        self.settings.write_text(SETTINGS)
        self.log = folder / "log"
        self.log.touch()
        self._cache = folder / "cache"
        self._launcher = launcher
        self.pid: int | None = None

    def start(self, **order: Any) -> Running:
        self.pid = self._launcher.start(
            {
                "inbox": str(self.inbox),
                "out": str(self.out),
                "settings": str(self.settings),
                "cache": str(self._cache),
                "log": str(self.log),
                **order,
            }
        )
        return self

    def once(self, **order: Any) -> int:
        """Run to the end: the exit status."""
        self.start(once=True, **order)
        return self.ended()

    def ended(self) -> int:
        self.pid = None
        return self._launcher.status()

    def stop(self, number: int = signal.SIGTERM) -> int:
        """End the service: the exit status."""
        assert self.pid is not None
        os.kill(self.pid, number)
        return self.ended()

    def said(self, words: str) -> int:
        """How often a line of the log holds the words."""
        return sum(words in line for line in self.log.read_text().splitlines())

    def wait_said(self, words: str, times: int = 1) -> None:
        try:
            wait_until(lambda: self.said(words) >= times)
        except AssertionError as error:
            raise AssertionError(f"{words!r} was not said:\n{self.log.read_text()}") from error

    def records(self) -> dict[str, Record]:
        """What the state remembers of the cards in the inbox."""
        try:
            state = read_state(self.out, repair=False)
        except StateTrouble:
            return {}
        if state is None:
            return {}
        try:
            return {one.name: one for one in state.records() if one.gone_at is None}
        finally:
            state.close()

    def wait_done(self, *names: str) -> None:
        """Wait until these cards are grouped as they are."""

        def are_done() -> bool:
            records = self.records()
            return all(name in records and records[name].stage == "done" for name in names)

        try:
            wait_until(are_done)
        except AssertionError as error:
            raise AssertionError(f"{names} not done:\n{self.log.read_text()}") from error

    def folder(self, name: str) -> Path:
        return self.out / self.records()[name].out

    def card(self, name: str) -> Any:
        return json.loads((self.folder(name) / "card.json").read_bytes())
