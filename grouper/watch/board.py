"""What the service tells of itself and of all cards: its troubles, its facts, the page."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Final

from grouper.watch.files import put
from grouper.watch.ledger import Ledger
from grouper.watch.log import Log
from grouper.watch.page import FILE_NAME as PAGE
from grouper.watch.page import page

TROUBLE_S: Final = 15.0
"""Wait before what the disk refused is tried again."""
_PAGE_S: Final = 1.0
"""The page is written no more often."""
_PAGE_REST: Final = 10.0
"""Nor more often than this many times as long as it takes."""
_RUN_SAVED_S: Final = 3600.0
"""The running time is kept so often where nothing else is to be kept: a disk may sleep."""
_TIMELESS: Final = frozenset(("swept", "run_s", "run_up"))
"""Facts that change all the time; they are kept together with others."""


class Board:
    """Troubles and facts of the service, kept in the state, and the page over all cards."""

    def __init__(
        self,
        inbox: str,
        out: Path,
        log: Log,
        *,
        once: bool,
        clock: Callable[[], float],
        wall: Callable[[], float],
    ) -> None:
        self._inbox = inbox
        self._out = out
        self._log = log
        self._once = once
        self._clock = clock
        self._wall = wall
        self.troubles: dict[str, str] = {}
        """What is wrong with the service itself: a word for it, and a sentence."""
        self.facts: dict[str, str] = {}
        self._strays: tuple[str, ...] = ()
        self._saved: Mapping[str, str] = {}
        self.save_at = float("-inf")
        """Not to be saved before."""
        self.page_at: float | None = float("-inf")
        """When the page is to be written; ``None`` while it is as it should be."""
        self._page_least_s = _PAGE_S

    def trouble(self, what: str, words: str) -> None:
        """Note a trouble of the service itself, or, without words, that it is over."""
        if self.troubles.get(what, "") == words:
            return
        if words:
            news = what not in self.troubles
            self.troubles[what] = words
            if news:
                self._log.say("error", f"trouble-{what}", words)
        else:
            del self.troubles[what]
            self._log.say("info", f"over-{what}", "the trouble is over")
        self.mark()

    def note_strays(self, strays: tuple[str, ...]) -> None:
        """Note what lies in the inbox and is no card."""
        for stray in sorted(set(strays) - set(self._strays)):
            self._log.say(
                "warning",
                "stray",
                f"{stray} lies in the inbox and is no folder; it is not looked at",
                name=stray,
            )
        if strays != self._strays:
            self._strays = strays
            self.mark()

    # ---- the state

    def save(self, ledger: Ledger, command_error: str, *, at_once: bool = False) -> None:
        """Save changed cards and facts, if there are any and it is time."""
        facts = {
            **self.facts,
            "troubles": "\n".join(self.troubles.values()),
            "command_error": command_error,
            **ledger.times(),
        }
        now = self._clock()
        is_time = now >= self.save_at and (ledger.unsaved or self._is_news(facts))
        if not (at_once or is_time):
            return
        if ledger.save(facts):
            self._saved = facts
        else:
            self.save_at = now + TROUBLE_S

    def _is_news(self, facts: Mapping[str, str]) -> bool:
        """Whether anything is told anew; times alone can wait."""
        if float(facts["run_s"]) - float(self._saved.get("run_s", "-inf")) > _RUN_SAVED_S:
            return True
        return any(facts[name] != self._saved.get(name) for name in facts.keys() - _TIMELESS)

    # ---- the page

    def mark(self) -> None:
        """There is something else to be shown."""
        if self.page_at is None:
            self.page_at = self._clock() + self._page_least_s

    def show(self, ledger: Ledger) -> None:
        """Write the page, if it is time."""
        now = self._clock()
        if self.page_at is None or now < self.page_at:
            return
        began = time.perf_counter()
        if self.write(ledger, running=True):
            self._page_least_s = max(_PAGE_S, _PAGE_REST * (time.perf_counter() - began))
            self.page_at = None
        else:
            self.page_at = now + TROUBLE_S

    def write(self, ledger: Ledger, *, running: bool) -> bool:
        """Write the page; whether it could be."""
        data = page(
            ledger.all(),
            inbox=self._inbox,
            now=self._wall(),
            running=running and not self._once,
            once=self._once,
            troubles=list(self.troubles.values()),
            strays=self._strays,
        )
        try:
            put(self._out / PAGE, data)
        except OSError as error:
            self.trouble("page", f"{PAGE} cannot be written: {error.strerror or error}")
            return False
        self.trouble("page", "")
        return True
