"""``grouper status``: how the service on an output folder fares, from its state and its lock."""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from grouper.errors import GrouperError
from grouper.watch.lock import BEAT_S, Beat, read_lock
from grouper.watch.state import Record, StateTrouble, iso, read_state
from grouper.write.clean import shown
from grouper.write.text import Style, many

FINE: Final = 0
WRONG: Final = 1
STALE_S: Final = 3 * BEAT_S + 30
"""A heartbeat older than this means that the service hangs: three were missed."""
_MOST_LINES: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """How a service fares."""

    folder: str
    facts: Mapping[str, str]
    beat: Beat | None
    records: Sequence[Record]
    errands: int

    @property
    def once(self) -> bool:
        """Whether the last run was a single one, which nobody expects to be running."""
        return self.facts.get("once") == "1"

    def troubles(self) -> list[str]:
        """What is wrong, a sentence each."""
        found = [line for line in self.facts.get("troubles", "").splitlines() if line]
        if self.beat is None or not self.beat.is_held:
            if not self.once:
                found.insert(0, "no service is running")
        elif self.beat.age_s is not None and self.beat.age_s > STALE_S:
            found.insert(0, f"the service hangs: no heartbeat for {_time(self.beat.age_s)}")
        if error := self.facts.get("command_error"):
            found.append(f"the last command failed: {error}")
        for record in self.records:
            if record.error and record.gone_at is None:
                found.append(f"{record.name}: {record.error}")
        return found


def read_status(folder: Path) -> Status:
    """The status of the service that writes into ``folder``.

    Raises:
        GrouperError: there is no state there, or it cannot be read.
    """
    beat = read_lock(folder)
    try:
        state = read_state(folder, repair=beat is None or not beat.is_held)
    except StateTrouble as error:
        raise GrouperError(f"{folder}: the state cannot be read: {error}") from error
    if state is None:
        raise GrouperError(
            f"{folder}: no service has written here; name the folder of grouper watch --out DIR"
        )
    try:
        return Status(
            folder=str(folder),
            facts=state.facts(),
            beat=beat,
            records=state.records(),
            errands=len(state.errands()),
        )
    finally:
        state.close()


def exit_status(status: Status) -> int:
    """0 where all is well, 1 where something is wrong."""
    return WRONG if status.troubles() else FINE


def as_json(status: Status) -> str:
    """The status as one JSON object, for monitoring."""
    here = [record for record in status.records if record.gone_at is None]
    beat = status.beat
    table: dict[str, Any] = {
        "ok": not status.troubles(),
        "troubles": status.troubles(),
        "running": bool(beat and beat.is_held),
        "once": status.once,
        "pid": beat.pid if beat and beat.is_held else None,
        "heartbeat_age_s": beat.age_s if beat else None,
        "inbox": status.facts.get("inbox"),
        "ears": status.facts.get("ears"),
        "version": status.facts.get("version"),
        "last_card": status.facts.get("last"),
        "last_card_at": status.facts.get("last_at"),
        "queue": [record.name for record in here if record.stage in _QUEUE],
        "commands_waiting": status.errands,
        "cards": [_card(record) for record in status.records],
    }
    return json.dumps(table, indent=2)


_QUEUE: Final = ("arriving", "waiting", "grouping")


def _card(record: Record) -> dict[str, Any]:
    return {
        "name": record.name,
        "out": record.out,
        "stage": record.stage,
        "files": record.files,
        "grouped_at": _iso(record.grouped_at),
        "took_s": record.took_s,
        "verdict": record.told.get("verdict"),
        "sets": record.told.get("sets"),
        "problems": record.told.get("problems"),
        "error": record.error,
        "command_error": record.hook_error,
        "tries": record.tries,
        "gone_at": _iso(record.gone_at),
        "cleaned": record.cleaned,
    }


def as_text(status: Status, style: Style, now: float | None = None) -> str:
    """The status for people."""
    now = time.time() if now is None else now
    here = [record for record in status.records if record.gone_at is None]
    lines = [style.wrap(shown(_service_line(status)))]
    stages = Counter(record.stage for record in here)
    words = [f"{stages[stage]} {stage}" for stage in (*_QUEUE, "done", "failed") if stages[stage]]
    gone = len(status.records) - len(here)
    words += [f"{gone} gone"] if gone else []
    lines.append(
        style.wrap(f"{many(len(here), 'card')} in the inbox: {', '.join(words) or 'none'}.")
    )
    queue = [record for record in here if record.stage in _QUEUE]
    for record in queue[:_MOST_LINES]:
        lines.append(style.wrap(f"{record.stage:<9} {shown(record.name)}", "  ", " " * 12))
    if len(queue) > _MOST_LINES:
        lines.append(f"  and {len(queue) - _MOST_LINES} more")
    last = max(here, key=lambda record: record.grouped_at or 0.0, default=None)
    if last is not None and last.grouped_at:
        said = ", ".join(str(words) for _, words in last.told.get("headline", ()))
        ago = _time(max(0.0, now - last.grouped_at))
        lines.append(style.wrap(f"Last card: {shown(last.name)}, {ago} ago: {shown(said)}."))
    if status.errands:
        lines.append(style.wrap(f"{many(status.errands, 'command')} waiting to be run."))
    troubles = status.troubles()
    for trouble in troubles[:_MOST_LINES]:
        mark = style.paint("wrong", "problem")
        lines.append(f"  {mark}    " + style.wrap(shown(trouble), " " * 11, " " * 11).lstrip())
    if len(troubles) > _MOST_LINES:
        lines.append(f"  and {len(troubles) - _MOST_LINES} more troubles")
    lines.append(style.paint("All is well." if not troubles else "Something is wrong.", "bold"))
    return "\n".join(lines)


def _service_line(status: Status) -> str:
    beat, inbox = status.beat, status.facts.get("inbox", "an unknown inbox")
    if beat is None or not beat.is_held:
        if status.once:
            return f"Single runs over {inbox}; the last one began {status.facts.get('began', '?')}."
        return f"No service is running for {inbox}."
    age = "on another machine" if beat.age_s is None else f"{_time(beat.age_s)} ago"
    return (
        f"Watching {inbox} ({status.facts.get('ears', '?')}) as process {beat.pid} on {beat.host} "
        f"since {beat.since}; last heartbeat {age}."
    )


def _time(seconds: float) -> str:
    """A span as people say it."""
    for limit, unit, word in ((90, 1, "s"), (5400, 60, "min"), (172_800, 3600, "h")):
        if seconds < limit:
            return f"{seconds / unit:.0f} {word}"
    return f"{seconds / 86_400:.0f} days"


def _iso(at: float | None) -> str | None:
    return None if at is None else iso(at)
