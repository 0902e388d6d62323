"""Events from the inbox. Each folder is watched for itself, so no link is ever followed.

Events only say where to look; what counts is what is seen there. One that is lost costs time
until the next rescan, no more.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Final

from grouper.watch.look import Folder
from grouper.watch.mail import Deaf, Mail, Missed, Touched

MOST_FOLDERS: Final = 8000
"""Folders watched at once: usual systems allow a user 8,192 watches and more."""
_GATHER_MS: Final = 500
"""Events are gathered for so long: a copy makes thousands."""
_STEP_MS: Final = 250
"""The library looks so often whether there are any: seldom enough for a machine that sleeps."""
_WAKE_MS: Final = 60_000
_TRIES: Final = 5
"""A folder that goes between our looking and watching ends a try; there may be others."""
_NO_TEXT: Final = "Unable to decode path"
"""How the library begins to complain of an event from a name that is no text. Whatever else it
complains of leaves the service deaf, and polling."""
_REST_S: Final = 5.0
"""After an event that could not be read, so long nobody listens: a card full of names that are
no text then costs as much as polling does, and no more."""
_HEARD_AGAIN_MS: Final = 1000
"""Listening anew begins within this time; what happened before has to be looked for."""


class Changes:
    """Hears of changes below the inbox and posts the names of the cards concerned."""

    def __init__(self, inbox: str, post: Callable[[Mail], None]) -> None:
        self._inbox = inbox
        self._post = post
        self._folders: frozenset[Folder] = frozenset()
        self._stop: threading.Event | None = None
        self._deaf = False
        self._rest_s = _REST_S

    def watch(self, folders: Iterable[Folder]) -> bool:
        """Watch these folders, the inbox among them; whether any was not watched before.

        What happens in a new folder at first may go untold: look at its card once more.
        """
        wanted = sorted(set(folders), key=lambda one: (one.path.count("/"), one))
        chosen = frozenset(wanted[:MOST_FOLDERS])
        if self._deaf or (chosen == self._folders and self._stop is not None):
            return False
        is_more = not chosen <= self._folders
        self.close()
        self._folders, self._stop = chosen, threading.Event()
        threading.Thread(
            target=self._run, args=(chosen, self._stop), daemon=True, name="changes"
        ).start()
        return is_more

    def close(self) -> None:
        """Stop listening."""
        if self._stop is not None:
            self._stop.set()
            self._stop = None

    def _run(self, folders: frozenset[Folder], stop: threading.Event) -> None:
        try:
            tries, has_missed = 0, False
            while not stop.is_set() and tries < _TRIES:
                try:
                    return self._listen(folders, stop, has_missed=has_missed)
                except FileNotFoundError:
                    tries += 1
                except _Unreadable:
                    has_missed = True
                    self._post(Missed())
                    stop.wait(self._rest_s)
        except Exception as error:  # the library's own errors are no part of its interface
            if not stop.is_set():
                self._deaf = True
                self._post(Deaf(str(error) or repr(error)))

    def _listen(
        self, folders: frozenset[Folder], stop: threading.Event, *, has_missed: bool = False
    ) -> None:
        """Hand on events until told to stop.

        Raises:
            _Unreadable: one came that the library cannot tell of.
        """
        from watchfiles import watch  # late: only the service needs it

        paths = sorted(folder.path for folder in folders)
        there = [path for path in paths if _is_text(path) and os.path.isdir(path)]  # noqa: PTH112
        heard = watch(
            *there,
            watch_filter=None,
            debounce=_GATHER_MS,
            step=_STEP_MS,
            stop_event=stop,
            rust_timeout=_HEARD_AGAIN_MS if has_missed else _WAKE_MS,
            yield_on_timeout=has_missed,
            raise_interrupt=False,
            force_polling=False,
            recursive=False,
            ignore_permission_denied=True,
        )
        while (changes := _next(heard)) is not None and not stop.is_set():
            if has_missed:
                self._post(Missed())
                has_missed = False
            if changes:
                self._post(Touched(frozenset(self._card(path) for _, path in changes)))

    def _card(self, path: str) -> str:
        rest = path[len(self._inbox) :].lstrip("/") if path.startswith(self._inbox) else ""
        return rest.partition("/")[0]


class _Unreadable(Exception):
    """An event from a name that is no text, which the library does not hand on."""


def _next(heard: Iterator[set[tuple[Any, str]]]) -> set[tuple[Any, str]] | None:
    """The next events; ``None`` when there are to be no more."""
    try:
        return next(heard, None)
    except RuntimeError as error:
        if _NO_TEXT in str(error):
            raise _Unreadable from error
        raise


def _is_text(path: str) -> bool:
    """Whether a path is text; the library takes no others, so they are left to the rescan."""
    return not any("\udc80" <= sign <= "\udcff" for sign in path)
