"""What the service says on standard error: a line an event, for people or as JSON."""

from __future__ import annotations

import json
import sys
import threading
from collections.abc import Callable
from datetime import datetime
from typing import Final, Literal, TextIO

from grouper.write.clean import shown

Level = Literal["debug", "info", "warning", "error"]
LEVELS: Final[tuple[Level, ...]] = ("debug", "info", "warning", "error")


class Log:
    """Says events from ``least`` on. For any number of threads."""

    def __init__(
        self,
        least: Level = "info",
        *,
        as_json: bool = False,
        stream: TextIO | None = None,
        clock: Callable[[], datetime] = lambda: datetime.now().astimezone(),
    ) -> None:
        self._least = LEVELS.index(least)
        self._as_json = as_json
        self._stream = stream
        self._clock = clock
        self._lock = threading.Lock()

    def say(self, level: Level, event: str, message: str, **facts: object) -> None:
        """Say an event.

        Args:
            level: how much it matters.
            event: a word that programs know it by.
            message: one sentence for people; foreign text in it is made harmless.
            **facts: what it is about, plain JSON values.
        """
        if LEVELS.index(level) < self._least:
            return
        at = self._clock()
        if self._as_json:
            line = json.dumps(
                {"at": at.isoformat(), "level": level, "event": event, **facts, "message": message},
                default=str,
            )
        else:
            mark = {"warning": "warning: ", "error": "error: "}.get(level, "")
            text = " / ".join(shown(part) for part in message.splitlines() if part.strip())
            line = f"{at:%Y-%m-%d %H:%M:%S} {mark}{text}"
        with self._lock:
            try:
                stream = self._stream or sys.stderr
                stream.write(line + "\n")
                stream.flush()
            except (OSError, ValueError):
                pass  # nobody listens; the work goes on
