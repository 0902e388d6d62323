"""One card after the other is given to the child, and what comes of it is remembered."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import grouper
from grouper.settings import Settings, settings_table
from grouper.watch.board import TROUBLE_S, Board
from grouper.watch.desk import Desk
from grouper.watch.errands import Errands
from grouper.watch.files import clean_up, free_bytes
from grouper.watch.hand import Hand, describe_end
from grouper.watch.jobs import Job, Outcome, digest_of, outcome_from
from grouper.watch.ledger import Ledger
from grouper.watch.log import Log
from grouper.watch.look import Look, share_files
from grouper.watch.state import Record, iso
from grouper.watch.worker import OUT_OF_MEMORY, READ_TOO_MUCH, too_much_memory, too_much_read

IDLE_S: Final = 300.0
"""The child is let go when nothing was to be done for so long: it holds some 150 MB."""
_MB: Final = 1 << 20
_MEMORY_SHARE: Final = 0.5
"""A child that holds more than this share of its limit after a card is replaced."""


@dataclass(slots=True)
class Task:
    """The card being grouped."""

    name: str
    record: int
    look: Look
    under: str
    begun: float
    deadline: float


class Grouping:
    """Has cards grouped that the desk says are due."""

    def __init__(
        self,
        inbox: str,
        out: Path,
        settings: Settings,
        log: Log,
        *,
        ledger: Ledger,
        desk: Desk,
        board: Board,
        hand: Hand,
        errands: Errands,
        wall: Callable[[], float],
        jobs: int,
        use_cache: bool,
    ) -> None:
        self._inbox = inbox
        self._out = out
        self._log = log
        self._ledger = ledger
        self._desk = desk
        self._board = board
        self._hand = hand
        self._errands = errands
        self._wall = wall
        self._jobs = jobs
        self._use_cache = use_cache
        self.task: Task | None = None
        self.failed_once = False
        """Whether any card failed in this run."""
        self.room_at = float("-inf")
        """With too little space nothing is begun before."""
        self._cool_at = float("inf")
        self._warm_at = float("-inf")
        self._use(settings)

    def _use(self, settings: Settings) -> None:
        self._settings = settings
        self.under = digest_of(
            {
                "settings": settings_table(settings),
                "version": grouper.__version__,
                "inbox": self._inbox,
            }
        )

    def reload(self, settings: Settings) -> None:
        """Go on with other settings: outputs made under the old ones are stale."""
        self._use(settings)
        here = self._ledger.here.items()
        self._desk.restale(name for name, record in here if record.under != self.under)
        if self.task is None:
            self._hand.retire()  # limits are the new ones for the next card

    def times(self, now: float) -> list[float]:
        """When something is to be done here, if nothing happens before."""
        if self.task is not None:
            return [self.task.deadline]
        waits_for_room = self._desk.next_due(now) is not None
        return [self._cool_at, *([self.room_at] if waits_for_room else [])]

    # ---- beginning

    def begin_due(self, now: float) -> None:
        """Give the next card to the child, if one is due and nothing is in the way."""
        if self.task is not None:
            return
        self._warm(now)
        while (name := self._desk.next_due(now)) is not None:
            if now < self.room_at or not self._has_room(now):
                return
            if self._begin(name, now):
                return
        if "room" in self._board.troubles and now >= self.room_at:
            self._has_room(now)  # what waited may have left; the trouble is to end, too

    def new_record(self, name: str) -> Record | None:
        """Remember a card that was not known; ``None`` where the state cannot be written."""
        record = self._ledger.add(name)
        if record is not None:
            self._log.say("info", "came", f"{name}: a card; waiting until it is still", card=name)
        return record

    def _warm(self, now: float) -> None:
        """Have a child ready while cards arrive, and none while nothing happens."""
        if any(record.stage in ("arriving", "waiting") for record in self._ledger.here.values()):
            self._cool_at = now + IDLE_S
            if now < self._warm_at:
                return
            with suppress(OSError):  # said when a card needs it
                self._hand.warm()
        elif now >= self._cool_at:
            self._cool_at = float("inf")
            self._hand.retire()

    def _has_room(self, now: float) -> bool:
        least_mb = self._settings.watch.free_least_mb
        try:
            free_mb = free_bytes(self._out) / _MB
        except OSError:
            free_mb = float("inf")
        if not least_mb or free_mb >= least_mb:
            self._board.trouble("room", "")
            return True
        self.room_at = now + TROUBLE_S
        self._board.trouble(
            "room",
            f"only {free_mb:.0f} MB are free where the outputs go, [watch] free_least_mb = "
            f"{least_mb}; cards wait",
        )
        return False

    def _begin(self, name: str, now: float) -> bool:
        """Give a card to the child; whether it has it."""
        place = self._desk.places[name]
        look = place.look
        assert look is not None
        record = self._ledger.here.get(name) or self.new_record(name)
        if record is None:  # the state could not be written
            self._desk.fail(name, now)
            return False
        if look.trouble:
            self._fail(name, f"{look.detail}", now)
            return False
        if record.grouped is not None and not share_files(record.sample, look.sample):
            record = self._supersede(record)
            if record is None:
                self._desk.fail(name, now)
                return False
        job = Job(
            card=os.path.join(self._inbox, name),  # noqa: PTH118 - foreign bytes
            out=str(self._out / record.out),
            identity=look.identity,
            settings=self._settings,
            jobs=self._jobs,
            use_cache=self._use_cache,
        )
        try:
            self._hand.give(job)
        except OSError as error:
            self._fail(name, f"no process to group it can be started: {error}", now)
            return False
        self._desk.begin(name)
        most_s = self._settings.watch.card_most_s
        self.task = Task(name, record.id, look, self.under, now, now + most_s)
        self._log.say("debug", "grouping", f"{name}: being grouped", card=name)
        return True

    def _supersede(self, record: Record) -> Record | None:
        """Another card came under the name of one that was grouped: both keep their outputs."""
        self._ledger.part_with(record)
        self._log.say(
            "info",
            "another",
            f"{record.name}: another card under the same name; the outputs of the one before "
            f"stay in {record.out}",
            card=record.name,
        )
        self._desk.places[record.name].grouped = None
        new = self.new_record(record.name)
        if new is not None:
            look = self._desk.places[record.name].look
            assert look is not None
            new = replace(new, files=look.files, size_bytes=look.size_bytes)
            self._ledger.keep(new)
        return new

    # ---- what comes of it

    def take_answer(self, child: int, body: Mapping[str, Any], now: float) -> None:
        """The child answered."""
        if child == self._hand.number and self.task is not None:
            self._take_outcome(outcome_from(body), now)

    def take_end(self, child: int, status: int, now: float) -> None:
        """A child ended by itself, or was ended by the system."""
        if not self._hand.lost(child):
            return
        if self.task is None:  # it could not even start: not at once again
            self._warm_at = now + TROUBLE_S
            self._log.say("warning", "child-ended", describe_end(status))
            return
        task, self.task = self.task, None
        watch = self._settings.watch
        reasons = {
            READ_TOO_MUCH: too_much_read(watch.read_most_mb),
            OUT_OF_MEMORY: too_much_memory(watch.memory_most_mb),
        }
        self._fail(task.name, reasons.get(status, describe_end(status)), now)

    def watch_deadline(self, now: float) -> None:
        """End a card that takes too long."""
        if self.task is None or now < self.task.deadline:
            return
        task, self.task = self.task, None
        self._hand.kill()
        most_s = self._settings.watch.card_most_s
        self._fail(task.name, f"grouping took longer than [watch] card_most_s = {most_s:g}", now)

    def end(self, now: float) -> None:
        """End the child, also in the middle of a card, with nothing half-written."""
        busy, self.task = self.task, None
        if not self._hand.end() and busy is not None and busy.name in self._ledger.here:
            clean_up(self._out, [self._ledger.here[busy.name].out])
        if busy is not None:
            self._desk.give_up(now)

    def _take_outcome(self, outcome: Outcome, now: float) -> None:
        task, self.task = self.task, None
        assert task is not None
        self._replace_child(outcome)
        if outcome.kind == "changed":
            self._desk.put_off(task.name, now)
            self._log.say(
                "info",
                "changed",
                f"{task.name}: changed while it was read; grouped once it is still again",
                card=task.name,
            )
        elif outcome.kind == "failed":
            self._fail(task.name, outcome.error, now, outcome.trace)
        else:
            self._take_result(task, outcome, now)

    def _replace_child(self, outcome: Outcome) -> None:
        watch = self._settings.watch
        too_big = bool(watch.memory_most_mb) and (
            outcome.memory_mb > _MEMORY_SHARE * watch.memory_most_mb
        )
        if too_big or self._hand.cards >= watch.worker_cards:
            self._hand.retire()

    def _take_result(self, task: Task, outcome: Outcome, now: float) -> None:
        record = self._ledger.by_number(task.record)
        if record is None:  # it left before it was ever grouped
            self._desk.finish(task.name, task.look.identity, now)
            return
        seconds = now - task.begun
        new = replace(
            record,
            stage="done" if record.gone_at is None else "gone",
            files=task.look.files,
            size_bytes=task.look.size_bytes,
            sample=task.look.sample,
            grouped=task.look.identity,
            under=task.under,
            grouped_at=self._grouped_at(record, outcome),
            took_s=round(seconds, 3),
            digest=outcome.digest,
            told=dict(outcome.told or {}),
            error=None,
            error_at=None,
            tries=0,
            failed=None,
            retry_at=None,
            cleaned=False,
        )
        digests = {one.id: one.digest for one in outcome.sets}

        def write() -> None:
            asked = list(
                self._errands.asked_for(self._inbox, self._out / new.out, record, new, outcome)
            )
            self._ledger.state.save(new)
            self._ledger.state.put_sets(record.id, digests)
            self._ledger.state.add_errands(record.id, asked)

        if not self._ledger.attempt(write):
            self._fail(
                task.name, f"the state cannot be written: {self._board.troubles['state']}", now
            )
            return
        self._ledger.keep(new)
        self._ledger.unsaved.pop(record.id, None)
        self._desk.finish(task.name, task.look.identity, now)
        if task.under != self.under and task.name in self._desk.places:
            self._desk.places[task.name].is_stale = True  # the settings changed meanwhile
        self._board.facts["last"] = task.name.encode("utf-8", "backslashreplace").decode()
        self._board.facts["last_at"] = iso(self._wall())
        self._say_grouped(task.name, outcome, seconds)

    def _grouped_at(self, record: Record, outcome: Outcome) -> float:
        """When its outputs last changed: a card that is only looked over keeps its place."""
        same = record.grouped_at is not None and outcome.digest == record.digest
        return record.grouped_at if same and record.grouped_at else self._wall()

    def _say_grouped(self, name: str, outcome: Outcome, seconds: float) -> None:
        told: Mapping[str, Any] = outcome.told or {}
        words = ", ".join(str(words) for _, words in told.get("headline", ()))
        self._log.say(
            "info",
            "grouped",
            f"{name}: grouped in {seconds:.1f} s: {words}; "
            f"{outcome.written} files written, {outcome.removed} removed",
            card=name,
            seconds=round(seconds, 3),
            sets=told.get("sets"),
            problems=told.get("problems"),
            written=outcome.written,
            removed=outcome.removed,
        )
        for note in outcome.notes:
            self._log.say("warning", "note", f"{name}: {note}", card=name)

    def _fail(self, name: str, error: str, now: float, trace: str = "") -> None:
        self.failed_once = True
        wait_s = self._desk.fail(name, now)
        record = self._ledger.here.get(name)
        if record is None:
            return
        place = self._desk.places[name]
        self._ledger.keep(
            replace(
                record,
                stage="failed",
                error=error,
                error_at=self._wall(),
                tries=place.tries,
                failed=place.failed,
                retry_at=self._wall() + wait_s,
            )
        )
        again = "" if self._desk.once else f"; tried again in {wait_s:.0f} s"
        self._log.say("error", "failed", f"{name}: {error}{again}", card=name, trace=trace or None)
        if trace:
            for line in trace.splitlines():
                self._log.say("info", "trace", line)
