"""All cards as they are remembered: in memory, and in the state as soon as it can be written."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

from grouper.errors import CannotWrite
from grouper.watch.adopt import adopted
from grouper.watch.names import out_name
from grouper.watch.page import FILE_NAME as PAGE
from grouper.watch.state import Record, State, StateTrouble
from grouper.write.replace import RECORD


def uptime_s() -> float:
    """Seconds since the machine started, asleep or awake where the system tells."""
    boottime = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boottime is None else time.clock_gettime(boottime)


def down_s(before: float, now: float) -> float:
    """How long no service ran, at the least, by the machine's running time then and now.

    No wall clock: one that jumps by years, as on a machine without a battery, must not age
    anything. After a start of the machine only the time since then is known.
    """
    return now - before if now >= before else now


class Ledger:
    """The cards that are in the inbox, by name, and those that left it, by number.

    ``run_s`` is the running time: how long services ran on this folder in all, and how long the
    machine ran between them, by clocks that only run forwards. Outputs age by it.
    """

    def __init__(
        self,
        state: State,
        out: Path,
        *,
        clock: Callable[[], float],
        wall: Callable[[], float],
        changed: Callable[[], None],
        trouble: Callable[[str, str], None],
        uptime: Callable[[], float] = uptime_s,
    ) -> None:
        """Make an empty ledger.

        Args:
            state: where it is kept.
            out: the output folder.
            clock: runs forwards only.
            wall: seconds since 1970, for people.
            changed: called when there is something else to be shown.
            trouble: called with "state" and what is wrong with it, or nothing.
            uptime: seconds since the machine started.
        """
        self.state = state
        self.here: dict[str, Record] = {}
        self.gone: dict[int, Record] = {}
        """The latest of a name may come back."""
        self.unsaved: dict[int, Record] = {}
        self._out = out
        self._clock = clock
        self._wall = wall
        self._changed = changed
        self._trouble = trouble
        self._uptime = uptime
        self._run_from = clock()

    # ---- taking up what there is

    def load(self, inbox: str) -> int:
        """Take up what an earlier run left: how many cards are known by their outputs alone.

        Raises:
            CannotWrite: the state cannot be written.
        """
        self._resume_running_time(self.state.facts())
        records = self.state.records()
        found = 0
        if not records:
            records = self._adopt(inbox)
            found = len(records)
        latest = {record.name: record for record in records if record.gone_at is None}
        for record in records:
            if record.gone_at is None and latest[record.name] is not record:
                self.part_with(record)  # a kill came between the next one's coming and this
            elif record.grouped_at is None and record.gone_at is not None:
                self.attempt(partial(self.state.forget, record.id))  # nothing came of it
            elif latest.get(record.name) is record:
                self.here[record.name] = record
            else:
                self.gone[record.id] = record
        return found

    def _adopt(self, inbox: str) -> list[Record]:
        """With no state: cards whose outputs are there are known again by them."""
        records = []
        try:
            with self.state.writing():
                for one in adopted(self._out, inbox):
                    record = self.state.add(one.name, one.out, self._wall())
                    record = replace(
                        record, digest=one.digest, grouped_at=one.made_at, told=one.told
                    )
                    self.state.save(record)
                    self.state.put_sets(record.id, one.sets)
                    records.append(record)
        except StateTrouble as error:
            raise CannotWrite(f"the state cannot be kept: {error}") from error
        return records

    def _resume_running_time(self, facts: Mapping[str, str]) -> None:
        try:
            before_s, up = float(facts["run_s"]), float(facts["run_up"])
        except (KeyError, ValueError):
            before_s, up = 0.0, self._uptime()
        self._run_from = self._clock() - before_s - down_s(up, self._uptime())

    def run_s(self) -> float:
        """The running time in seconds."""
        return self._clock() - self._run_from

    def times(self) -> dict[str, str]:
        """The facts to keep so that the running time goes on after a restart."""
        # Never rounded up: a quick restart would take that for a start of the machine.
        return {"run_s": f"{self.run_s():.3f}", "run_up": f"{math.floor(self._uptime())}"}

    # ---- looking up

    def all(self) -> list[Record]:
        """All cards, here and gone."""
        return [*self.here.values(), *self.gone.values()]

    def by_number(self, number: int) -> Record | None:
        """A card by its number."""
        here = (record for record in self.here.values() if record.id == number)
        return next(here, self.gone.get(number))

    # ---- changing

    def keep(self, record: Record) -> None:
        """Take over a changed record, to be saved soon."""
        if record.id in self.gone:
            self.gone[record.id] = record
        else:
            self.here[record.name] = record
        self.unsaved[record.id] = record
        self._changed()

    def add(self, name: str) -> Record | None:
        """A card that was not known, with an output folder of its own; ``None`` in trouble."""
        taken = {PAGE, *(record.out.casefold() for record in self.all())}
        with suppress(OSError):
            taken |= {there.casefold() for there in os.listdir(self._out)}  # noqa: PTH208
        out = out_name(name, taken.__contains__)
        added: list[Record] = []
        if not self.attempt(lambda: added.append(self.state.add(name, out, self._wall()))):
            return None
        self.here[name] = added[0]
        self._changed()
        return added[0]

    def come_back(self, name: str) -> Record | None:
        """The card that left under this name, if any; it counts as gone until it is looked at."""
        old = [record for record in self.gone.values() if record.name == name]
        if not old:
            return None
        record = max(old, key=lambda one: one.id)
        del self.gone[record.id]
        self.here[name] = record
        return record

    def leave(self, name: str, *, is_busy: bool) -> bool:
        """A card left the inbox; ``False`` where it was not known.

        One that nothing came of is forgotten, unless it ``is_busy`` being grouped.
        """
        record = self.here.pop(name, None)
        if record is None:
            return False
        if record.grouped_at is None and (self._out / record.out / RECORD).exists():
            record = replace(record, grouped_at=self._wall())  # written by a run that was killed
        if record.grouped_at is None and not is_busy:
            self.unsaved.pop(record.id, None)
            self.attempt(partial(self.state.forget, record.id))
        else:
            self.part_with(record)
        self._changed()
        return True

    def part_with(self, record: Record) -> None:
        """A card is no longer in the inbox, or never again under this name."""
        if self.here.get(record.name) is record:
            del self.here[record.name]
        is_new = record.gone_at is None
        gone = replace(
            record,
            gone_at=self._wall() if is_new else record.gone_at,
            gone_run_s=self.run_s() if is_new else record.gone_run_s,
            stage="gone",
            error=None,
            failed=None,
            retry_at=None,
            tries=0,
        )
        self.gone[record.id] = gone
        self.unsaved[record.id] = gone

    def empty(self, record: Record) -> None:
        """Nothing is on a card any more; its folder is still there."""
        self.keep(replace(record, gone_at=self._wall(), gone_run_s=self.run_s(), stage="gone"))

    def forget(self, records: Collection[Record]) -> bool:
        """Remember some cards that left no longer; whether the state could be written."""

        def drop() -> None:
            for record in records:
                self.state.forget(record.id)

        if not self.attempt(drop):
            return False
        for record in records:
            self.gone.pop(record.id, None)
            self.unsaved.pop(record.id, None)
        self._changed()
        return True

    # ---- saving

    def attempt(self, change: Callable[[], object]) -> bool:
        """Change the state, or say why it cannot be."""
        try:
            with self.state.writing():
                change()
        except StateTrouble as error:
            self._trouble("state", f"the state cannot be written: {error}")
            return False
        self._trouble("state", "")
        return True

    def save(self, facts: Mapping[str, str]) -> bool:
        """Save all changed records, and facts about the service."""

        def write() -> None:
            for record in self.unsaved.values():
                self.state.save(record)
            self.state.put_facts(facts)

        if not self.attempt(write):
            return False
        self.unsaved.clear()
        return True
