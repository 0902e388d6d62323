"""Clean-up by rule, now and then: outputs of cards that left, and what is remembered of them."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from dataclasses import replace
from pathlib import Path
from typing import Final

from grouper.errors import CannotWrite
from grouper.settings import WatchSettings
from grouper.watch import tidy
from grouper.watch.files import remove_output, size_of
from grouper.watch.ledger import Ledger
from grouper.watch.log import Log
from grouper.watch.state import Record
from grouper.write.verdict import many

_ROUND_S: Final = 1.0
"""A round of removing ends after so long and goes on later: signals and the heartbeat wait."""
_REST: Final = 9.0
"""Times as long as a round took nothing is cleaned up: at most a tenth of the time is."""


class Clearing:
    """Cleans up when it is time. What grouper did not make, or somebody edited, stays."""

    def __init__(self, ledger: Ledger, out: Path, log: Log, clock: Callable[[], float]) -> None:
        self._ledger = ledger
        self._out = out
        self._log = log
        self._clock = clock
        self._rested_at = float("-inf")
        self.at = float("inf")
        """When to run next."""

    def plan(self, now: float) -> None:
        """Clean up soon: the inbox was just looked over, so it is known which cards are there."""
        self.at = max(now, self._rested_at)

    def run(self, watch: WatchSettings, unseen: Collection[str]) -> None:
        """Clean up, if it is time.

        Args:
            watch: the rules.
            unseen: names of folders that are there and were not looked at yet.
        """
        began = self._clock()
        if began < self.at:
            return
        is_done = self._remove(watch, unseen, began + _ROUND_S)
        self._forget(watch)
        ended = self._clock()
        rest_s = _REST * (ended - began)
        self._rested_at = ended + max(watch.rescan_s, rest_s)
        self.at = float("inf") if is_done else ended + rest_s

    def _remove(self, watch: WatchSettings, unseen: Collection[str], until: float) -> bool:
        """Remove outputs; whether all that there was to remove was tried."""
        if not (watch.keep_days or watch.outputs_most_mb):
            return True
        records = self._ledger.all()
        sizes: dict[int, int] = {}
        if tidy.wants_sizes(watch):
            sizes = {one.id: size_of(self._out / one.out) for one in records if not one.cleaned}
        chosen = tidy.to_remove(records, sizes, watch, self._ledger.run_s())
        for at, (record, why) in enumerate(chosen):
            if at and self._clock() > until:
                return False
            if record.name not in unseen or record.id in self._ledger.gone:
                self._remove_one(record, why)  # else it came back just now
        return True

    def _remove_one(self, record: Record, why: str) -> None:
        try:
            removed, kept = remove_output(self._out / record.out)
        except (CannotWrite, OSError) as error:
            self._log.say("warning", "not-removed", f"{record.name}: {error}")
            return
        self._ledger.keep(replace(record, cleaned=True))
        self._log.say(
            "info",
            "removed",
            f"{record.name}: {removed} files in {record.out} removed ({why})",
            card=record.name,
            files=removed,
        )
        for note in kept:
            self._log.say("warning", "kept", f"{record.name}: {note}", card=record.name)

    def _forget(self, watch: WatchSettings) -> None:
        def has_outputs(record: Record) -> bool:
            return not record.cleaned and os.path.lexists(self._out / record.out)

        gone = list(self._ledger.gone.values())
        chosen = tidy.to_forget(gone, has_outputs, watch, self._ledger.run_s())
        if chosen and self._ledger.forget(chosen):
            names = ", ".join(record.name for record in chosen[:5])
            more = " and more" if len(chosen) > 5 else ""
            self._log.say(
                "info",
                "forgotten",
                f"no longer remembered: {many(len(chosen), 'card')} that left long ago "
                f"({names}{more})",
                cards=len(chosen),
            )
