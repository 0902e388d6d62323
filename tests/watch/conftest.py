"""A launcher for the tests that need real services, and one service."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from tests.watch.running import Launcher, Running


@pytest.fixture(scope="session")
def launcher() -> Iterator[Launcher]:
    starter = Launcher()
    yield starter
    starter.close()


@pytest.fixture
def service(tmp_path: Path, launcher: Launcher) -> Iterator[Running]:
    running = Running(tmp_path, launcher)
    yield running
    if running.pid is not None:
        with suppress(ProcessLookupError):
            os.kill(running.pid, signal.SIGKILL)
        running.ended()
