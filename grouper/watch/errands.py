"""Which of the owner's commands are to be run: kept in the state until each was run."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path

from grouper.watch.hooks import Hook, Runner
from grouper.watch.jobs import Outcome
from grouper.watch.ledger import Ledger
from grouper.watch.log import Log
from grouper.watch.mail import HookDone
from grouper.watch.state import Errand, Record, StateTrouble

Asked = tuple[str, str, dict[str, str]]
"""What ("set" or "card"), about which set, and what the placeholders stand for."""


class Errands:
    """Runs what is to be run, one at a time."""

    def __init__(
        self,
        ledger: Ledger,
        runner: Runner,
        log: Log,
        *,
        on_set: Hook | None,
        on_card: Hook | None,
    ) -> None:
        self._ledger = ledger
        self._runner = runner
        self._log = log
        self._hooks = {"set": on_set, "card": on_card}
        self._running: Errand | None = None
        self._may_be_more = True
        self.error = ""
        """What was wrong with the last command; empty where nothing was."""

    @property
    def is_done(self) -> bool:
        """Whether nothing is left to be run."""
        return self._running is None and not self._may_be_more

    @property
    def is_running(self) -> bool:
        """Whether a command is under way."""
        return self._running is not None

    def asked_for(
        self, inbox: str, out: Path, old: Record, new: Record, outcome: Outcome
    ) -> Iterator[Asked]:
        """The commands for what a card's outcome changed; for use in one transaction with it."""
        before = self._ledger.state.sets_of(old.id)
        common = {
            "report": str(out / "report.html"),
            "out": str(out),
            "card": os.path.join(inbox, new.name),  # noqa: PTH118 - foreign bytes
        }
        for one in outcome.sets:
            if self._hooks["set"] is not None and before.get(one.id) != one.digest:
                folder = out / "sets" / one.id
                about = {"set": one.id, "kind": one.kind, "verdict": one.verdict}
                files = {
                    "manifest": str(folder / "set.json"),
                    "frames": str(folder / "frames.txt"),
                }
                yield "set", one.id, {**common, **about, **files}
        if self._hooks["card"] is not None and old.digest != new.digest:
            figures = {name: str(new.told.get(name, 0)) for name in ("sets", "problems")}
            verdict = str(new.told.get("verdict", "whole"))
            manifest = str(out / "card.json")
            yield "card", "", {**common, **figures, "verdict": verdict, "manifest": manifest}
        self._may_be_more = True

    def begin(self, most_s: float) -> None:
        """Have the next command run, if none is."""
        if self._running is not None or not self._may_be_more:
            return
        try:
            errands = self._ledger.state.errands()
        except StateTrouble:  # said where it is written
            return
        for errand in errands:
            hook = self._hooks.get(errand.what)
            if hook is not None:
                self._running = errand
                self._runner.run(errand.id, hook.filled(errand.words), most_s)
                return
            # Asked for by an earlier run; nobody asks any more.
            self._ledger.attempt(partial(self._ledger.state.drop_errand, errand.id))
        self._may_be_more = False

    def take(self, done: HookDone) -> None:
        """A command ended."""
        errand, self._running = self._running, None
        self._may_be_more = True
        if errand is None or done.stopped:
            return
        if not self._ledger.attempt(partial(self._ledger.state.drop_errand, done.errand)):
            self._may_be_more = False  # it runs again with the next one: better than never
            return
        record = self._ledger.by_number(errand.card)
        about, name = errand.about or "the card", record.name if record else ""
        if record is not None and (done.error or record.hook_error):
            said = f"{about}: {done.error}" if done.error else None
            self._ledger.keep(replace(record, hook_error=said))
        self.error = f"{name}: {about}: {done.error}" if done.error else ""
        self._say(errand, name, about, done)

    def _say(self, errand: Errand, name: str, about: str, done: HookDone) -> None:
        tail = f": {done.output[-300:]}" if done.output else ""
        facts: Mapping[str, object] = {
            "card": name,
            "what": errand.what,
            "about": errand.about,
            "output": done.output,
            "error": done.error or None,
        }
        self._log.say(
            "warning" if done.error else "info",
            "hook",
            f"{name}: command for {about} {done.error or 'done'} ({done.seconds:.1f} s){tail}",
            **facts,
        )
