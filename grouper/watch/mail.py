"""What the service's threads tell its loop. Records only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from grouper.watch.look import Listing, Look


@dataclass(frozen=True, slots=True)
class Listed:
    """The inbox was listed."""

    listing: Listing


@dataclass(frozen=True, slots=True)
class Looked:
    """A card was looked at."""

    name: str
    look: Look


@dataclass(frozen=True, slots=True)
class Touched:
    """Events came from inside these folders of the inbox; an empty name is the inbox itself."""

    names: frozenset[str]


@dataclass(frozen=True, slots=True)
class Missed:
    """Something changed, and nobody can tell where."""


@dataclass(frozen=True, slots=True)
class Deaf:
    """Events no longer come, and why."""

    reason: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The child with this number answered its job."""

    child: int
    body: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Ended:
    """The child with this number ended; negative statuses are signals."""

    child: int
    status: int


@dataclass(frozen=True, slots=True)
class Said:
    """A line that the child put on its standard error."""

    line: str


@dataclass(frozen=True, slots=True)
class HookDone:
    """A command of the owner's ended. An empty ``error`` is success."""

    errand: int
    seconds: float
    output: str
    error: str
    stopped: bool = False
    """It was cut off because the service ends; it has to run again."""


@dataclass(frozen=True, slots=True)
class Signal:
    """The process was asked for something from outside."""

    what: Literal["stop", "interrupt", "reload"]


Mail = Listed | Looked | Touched | Missed | Deaf | Answer | Ended | Said | HookDone | Signal
