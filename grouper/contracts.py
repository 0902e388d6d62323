"""What a reader, an eye, a check and a writer must offer. A leaf: it holds no logic."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, Protocol

from grouper.model import (
    Frame,
    Glance,
    Grouping,
    Result,
    Scan,
    Set,
    SetKind,
    Severity,
    Sighting,
    Solution,
)
from grouper.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class Reader:
    """A file format.

    ``recognises`` looks at a file's first bytes (at least 64 unless the file is shorter);
    ``read`` returns the frame, with ``file`` relative to ``root``, and raises
    ``UnreadableFile`` for anything wrong with the file. The first reader in
    ``grouper.read.READERS`` that recognises a file gets it.
    """

    name: str
    suffixes: tuple[str, ...]
    recognises: Callable[[bytes], bool]
    read: Callable[[Path, str, Settings], Frame]


class Eye(Protocol):
    """Looks at the small pictures for grouping. ``--no-sight`` is an eye that knows nothing.

    Implementations keep no more pictures than they need; pairs are best asked for in
    shooting order. Nothing here raises for a bad picture: it is ``None``, not known.
    """

    def glance(self, frames: Sequence[Frame]) -> list[Glance | None]:
        """What each picture shows on its own, in the order asked."""
        ...

    def compare(
        self, pairs: Sequence[tuple[Frame, Frame]], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        """How the camera turned from the first to the second frame of each pair.

        ``quick``, for all or for each, is for pairs that mostly have nothing in common: looks only
        as far up as these cameras are known to have looked, or else the last ones, and gives up
        where little stands out, in a third of the time; thin overlaps may be missed.
        """
        ...

    def compare_near(
        self, pairs: Sequence[tuple[Frame, Frame]], turns_deg: Sequence[tuple[float, float, float]]
    ) -> list[Sighting | None]:
        """How the camera turned, looked for only near the turn expected for each pair.

        Finds what ``compare`` could not tell from chance. ``turns_deg`` are rotation vectors
        as in ``Sighting.turn_deg``.
        """
        ...

    def compare_closely(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        """The same from larger pictures, for pairs of which the small ones are too plain to tell.

        Every picture is decoded for it, the main one where need be, which takes ten times as long
        and more.
        """
        ...

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        """Solve the pointings of ``frames`` from sightings between them, given by index.

        ``None`` when fewer than two frames hang together.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What a check saw. The runner adds code, severity and set to make the Finding."""

    frames: tuple[str, ...]
    message: str
    """One sentence with numbers: what was seen."""
    advice: str
    """One sentence: what to do about it."""
    measured: Mapping[str, object] = field(default_factory=dict)
    """Plain JSON values, keys with their unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetCheck:
    """A check of one set. Its module's docstring is the page shown by ``explain``."""

    code: str
    severity: Severity
    kinds: tuple[SetKind, ...]
    find: Callable[[Set, Settings], Iterable[Problem]]


@dataclass(frozen=True, slots=True, kw_only=True)
class CardCheck:
    """A check of the whole card. Its module's docstring is the page shown by ``explain``."""

    code: str
    severity: Severity
    find: Callable[[Scan, Grouping, Settings], Iterable[Problem]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Writer:
    """A manifest writer: a pure function from a result to files.

    ``render`` yields pairs of a path relative to the output folder (POSIX) and the bytes to
    stand there, or for what is large an iterator of pieces of them, used up before the next pair
    is asked for. ``made`` (an ISO 8601 time with offset) is the only outside value.
    Third parties register theirs under the entry-point group ``grouper.writers``.
    """

    name: str
    summary: str
    render: Callable[[Result, str], Iterable[tuple[str, bytes | Iterator[bytes]]]]
    when: Literal["always", "asked"] = "always"


class Progress(Protocol):
    """Told how far a long step is: ``done`` of ``total`` in the step called ``what``."""

    def __call__(self, what: str, done: int, total: int) -> None:
        """Report; cheap enough to call for every frame."""
        ...
