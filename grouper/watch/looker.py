"""Looks at the inbox in a thread of its own: a network share may not answer for minutes."""

from __future__ import annotations

import os
import queue
import threading
import time
from collections.abc import Callable
from typing import Protocol

from grouper.watch.look import Listing, Look, list_inbox, look_at
from grouper.watch.mail import Listed, Looked, Mail


class Looker(Protocol):
    """Is asked for looks; what was seen comes as mail."""

    def list(self) -> None:
        """Ask for a listing of the inbox."""
        ...

    def look(self, card: str, files_most: int) -> None:
        """Ask for a look at a card."""
        ...

    def stop(self) -> None:
        """Break off what is being looked at."""
        ...

    @property
    def waiting_s(self) -> float:
        """How long the look under way takes already; 0 without one."""
        ...


class ThreadedLooker:
    """Looks one after the other, in a thread that holds up nobody."""

    def __init__(self, inbox: str, post: Callable[[Mail], None]) -> None:
        self._inbox = inbox
        self._post = post
        self._asked: queue.SimpleQueue[tuple[str, int] | None] = queue.SimpleQueue()
        self._stopped = threading.Event()
        self._since: float | None = None
        threading.Thread(target=self._run, daemon=True, name="looker").start()

    def list(self) -> None:
        """Ask for a listing of the inbox."""
        self._asked.put(None)

    def look(self, card: str, files_most: int) -> None:
        """Ask for a look at a card."""
        self._asked.put((card, files_most))

    def stop(self) -> None:
        """Break off what is being looked at."""
        self._stopped.set()
        self._asked.put(None)

    @property
    def waiting_s(self) -> float:
        """How long the look under way takes already; 0 without one."""
        since = self._since
        return 0.0 if since is None else time.monotonic() - since

    def _run(self) -> None:
        while not self._stopped.is_set():
            asked = self._asked.get()
            self._since = time.monotonic()
            if self._stopped.is_set():
                return
            self._post(self._listed() if asked is None else self._looked(*asked))
            self._since = None

    def _listed(self) -> Mail:
        try:
            return Listed(list_inbox(self._inbox))
        except Exception as error:  # a bug must not leave the service blind
            return Listed(Listing((), (), error=f"a bug in grouper: {error!r}"))

    def _looked(self, card: str, files_most: int) -> Mail:
        place = os.path.join(self._inbox, card)  # noqa: PTH118 - foreign bytes
        try:
            return Looked(card, look_at(place, files_most, self._stopped.is_set))
        except Exception as error:  # nor may one card stop the others
            return Looked(card, Look(trouble="closed", detail=f"a bug in grouper: {error!r}"))
