"""What the service remembers: one SQLite file in the output folder.

Written in short transactions down to the disk, so a kill at any moment leaves the state
before or after. A file that is damaged or not ours is set aside, and everything is made up
again from the inbox and from the outputs that are there.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from grouper.errors import GrouperError
from grouper.write.plain import utf8

FILE_NAME: Final = ".grouper-watch.sqlite3"
SET_ASIDE: Final = ".set-aside"
"""Suffix given to a state file that is damaged or not ours; there is only ever one."""
BUSY_S: Final = 5.0
"""How long another's transaction is waited for; they take some hundredths of a second."""

_APPLICATION: Final = 0x67727077
"""SQLite's application id: "grpw" in ASCII."""

_VERSIONS: Final[tuple[tuple[str, ...], ...]] = (
    (
        "CREATE TABLE facts (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
        "CREATE TABLE cards (id INTEGER PRIMARY KEY, name BLOB NOT NULL,"
        " out TEXT NOT NULL UNIQUE COLLATE NOCASE, stage TEXT NOT NULL, first_seen REAL NOT NULL,"
        " changed_at REAL NOT NULL, files INTEGER NOT NULL, size_bytes INTEGER NOT NULL,"
        " sample BLOB NOT NULL, grouped BLOB, under TEXT, grouped_at REAL, took_s REAL,"
        " digest TEXT, told TEXT, error TEXT, error_at REAL, tries INTEGER NOT NULL,"
        " failed BLOB, retry_at REAL, gone_at REAL, gone_run_s REAL, hook_error TEXT,"
        " cleaned INTEGER NOT NULL)",
        "CREATE INDEX cards_by_name ON cards (name)",
        "CREATE TABLE sets (card INTEGER NOT NULL, id TEXT NOT NULL, digest TEXT NOT NULL,"
        " PRIMARY KEY (card, id)) WITHOUT ROWID",
        "CREATE TABLE errands (id INTEGER PRIMARY KEY AUTOINCREMENT,"
        " card INTEGER NOT NULL, what TEXT NOT NULL, about TEXT NOT NULL, words TEXT NOT NULL,"
        " UNIQUE (card, what, about))",
    ),
)
"""The statements that lead from each version of the tables to the next, the first from none.

``under`` is a digest of what a card was grouped under (settings, version, inbox); ``told`` is
what the page says of it, as JSON; ``errands`` are commands of the owner's still to be run."""

_BROKEN: Final = frozenset({
    sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT,
    sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_ERROR,
})  # fmt: skip
"""Errors of the file's contents (a missing table is a plain "error"); a full disk, a lock that
is not given up or a folder that cannot be written leave the file alone."""


class NewerState(GrouperError):
    """The state was written by a newer grouper."""


class StateTrouble(Exception):
    """The state cannot be written now: a full disk, say. Nothing of the change was kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """What is remembered of a card. Times are seconds since 1970."""

    id: int
    name: str
    out: str
    stage: str = "arriving"
    first_seen: float = 0.0
    changed_at: float = 0.0
    files: int = 0
    size_bytes: int = 0
    sample: bytes = b""
    grouped: bytes | None = None
    under: str | None = None
    grouped_at: float | None = None
    took_s: float | None = None
    digest: str | None = None
    told: Mapping[str, Any] = field(default_factory=dict)
    error: str | None = None
    error_at: float | None = None
    tries: int = 0
    failed: bytes | None = None
    retry_at: float | None = None
    gone_at: float | None = None
    gone_run_s: float | None = None
    """When it left by the running time that ``service`` keeps, which no wall clock can move."""
    hook_error: str | None = None
    cleaned: bool = False
    """Its outputs were removed by rule."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """A command of the owner's to be run: ``what`` is "set" or "card"."""

    id: int
    card: int
    what: str
    about: str
    words: Mapping[str, str]


_COLUMNS: Final = (
    "id", "name", "out", "stage", "first_seen", "changed_at", "files", "size_bytes", "sample",
    "grouped", "under", "grouped_at", "took_s", "digest", "told", "error", "error_at", "tries",
    "failed", "retry_at", "gone_at", "gone_run_s", "hook_error", "cleaned",
)  # fmt: skip


class State:
    """The state file, open. For one thread."""

    def __init__(self, base: sqlite3.Connection) -> None:
        self._base = base

    def close(self) -> None:
        """Close the file."""
        self._base.close()

    # ---- reading

    def records(self) -> list[Record]:
        """All cards ever seen whose outputs may be there, in the order they came."""
        rows = self._base.execute(f"SELECT {', '.join(_COLUMNS)} FROM cards ORDER BY id")
        return [_record(row) for row in rows.fetchall()]

    def sets_of(self, card: int) -> dict[str, str]:
        """The digest of each set of a card as it was last written."""
        rows = self._base.execute("SELECT id, digest FROM sets WHERE card = ?", (card,))
        return dict(rows.fetchall())

    def errands(self) -> list[Errand]:
        """Commands still to be run, the oldest first.

        Raises:
            StateTrouble: the file cannot be read.
        """
        try:
            rows = self._base.execute(
                "SELECT id, card, what, about, words FROM errands ORDER BY id"
            ).fetchall()
        except sqlite3.Error as error:
            raise StateTrouble(str(error)) from error
        return [
            Errand(id=number, card=card, what=what, about=about, words=json.loads(words))
            for number, card, what, about, words in rows
        ]

    def facts(self) -> dict[str, str]:
        """Facts about the service by name."""
        return dict(self._base.execute("SELECT name, value FROM facts").fetchall())

    # ---- writing

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All changes inside are kept together, or none.

        Raises:
            StateTrouble: they could not be written.
        """
        try:
            self._base.execute("BEGIN IMMEDIATE")
            yield
            self._base.execute("COMMIT")
        except BaseException as error:
            with suppress(sqlite3.Error):
                self._base.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error):
                raise StateTrouble(str(error)) from error
            raise

    def add(self, name: str, out: str, now: float) -> Record:
        """Remember a card that was not known."""
        (number,) = self._base.execute(
            "INSERT INTO cards (name, out, stage, first_seen, changed_at, files, size_bytes,"
            " sample, tries, cleaned) VALUES (?, ?, 'arriving', ?, ?, 0, 0, x'', 0, 0)"
            " RETURNING id",
            (os.fsencode(name), out, now, now),
        ).fetchone()
        return Record(id=number, name=name, out=out, first_seen=now, changed_at=now)

    def save(self, record: Record) -> None:
        """Remember a card as ``record`` has it."""
        values = {name: getattr(record, name) for name in _COLUMNS}
        values["name"] = os.fsencode(record.name)
        values["told"] = json.dumps(dict(record.told))
        values["cleaned"] = int(record.cleaned)
        values = {key: _text(value) for key, value in values.items()}
        changes = ", ".join(f"{name} = :{name}" for name in _COLUMNS if name != "id")
        self._base.execute(f"UPDATE cards SET {changes} WHERE id = :id", values)

    def forget(self, card: int) -> None:
        """Forget a card that is gone."""
        for table, column in (("errands", "card"), ("sets", "card"), ("cards", "id")):
            self._base.execute(f"DELETE FROM {table} WHERE {column} = ?", (card,))

    def put_sets(self, card: int, digests: Mapping[str, str]) -> None:
        """Remember the sets of a card as they were written now.

        Commands still to be run for sets that are no more are dropped: their files are gone.
        """
        self._base.execute("CREATE TEMP TABLE IF NOT EXISTS there (id TEXT PRIMARY KEY)")
        self._base.execute("DELETE FROM there")
        self._base.executemany("INSERT INTO there VALUES (?)", [(_text(one),) for one in digests])
        self._base.execute(
            "DELETE FROM errands WHERE card = ? AND what = 'set'"
            " AND about NOT IN (SELECT id FROM there)",
            (card,),
        )
        self._base.execute("DELETE FROM sets WHERE card = ?", (card,))
        self._base.executemany(
            "INSERT INTO sets (card, id, digest) VALUES (?, ?, ?)",
            [(card, _text(one), digest) for one, digest in digests.items()],
        )

    def add_errands(self, card: int, errands: Iterable[tuple[str, str, Mapping[str, str]]]) -> None:
        """Remember commands to be run; one not yet run about the same thing is replaced."""
        self._base.executemany(
            "INSERT OR REPLACE INTO errands (card, what, about, words) VALUES (?, ?, ?, ?)",
            [(card, what, _text(about), json.dumps(dict(words))) for what, about, words in errands],
        )

    def drop_errand(self, number: int) -> None:
        """A command was run."""
        self._base.execute("DELETE FROM errands WHERE id = ?", (number,))

    def put_facts(self, facts: Mapping[str, str]) -> None:
        """Remember facts about the service."""
        self._base.executemany(
            "INSERT OR REPLACE INTO facts VALUES (?, ?)",
            [(name, _text(value)) for name, value in facts.items()],
        )


def _text(value: Any) -> Any:
    """A value whose text is text: a path in a message may hold bytes that are none."""
    return utf8(value).decode() if isinstance(value, str) else value


def _record(row: Sequence[Any]) -> Record:
    record = Record(**dict(zip(_COLUMNS, row, strict=True)))
    told = json.loads(row[_COLUMNS.index("told")] or "{}")
    name = os.fsdecode(row[_COLUMNS.index("name")])
    return replace(record, name=name, told=told, cleaned=bool(record.cleaned))


# ---- the file


def open_state(folder: Path) -> tuple[State, str]:
    """The state in an output folder, made where there is none; and what was wrong with the old.

    Raises:
        NewerState: a newer grouper wrote it.
        StateTrouble: it can be neither read nor made.
    """
    file = folder / FILE_NAME
    trouble = ""
    try:
        return State(_opened(file)), trouble
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF not in _BROKEN:
            raise StateTrouble(f"{file}: {error}") from error
        trouble = str(error)
    except (_Foreign, StateTrouble, ValueError, TypeError, KeyError) as error:
        trouble = str(error) or "it does not hold what it should"
    _set_aside(file)
    try:
        return State(_opened(file)), trouble
    except sqlite3.Error as error:
        raise StateTrouble(f"{file}: {error}") from error


def read_state(folder: Path, *, repair: bool) -> State | None:
    """The state in an output folder, for reading; ``None`` where there is none that is ours.

    With ``repair`` a transaction that a kill cut off may be undone; without, the service is
    at it.

    Raises:
        NewerState: a newer grouper wrote it.
        StateTrouble: it cannot be read.
    """
    file = folder / FILE_NAME
    if not file.is_file():
        return None
    try:
        base = _connect(file, "rw" if repair and os.access(folder, os.W_OK) else "ro")
        with closing(base):
            if _version(base, file) == len(_VERSIONS):
                state = State(_connect(file, "ro"))
                state.records()
                return state
            return None
    except sqlite3.Error as error:
        raise StateTrouble(f"{file}: {error}") from error
    except _Foreign:
        return None


class _Foreign(Exception):
    """The file is not ours."""


def _connect(file: Path, mode: str) -> sqlite3.Connection:
    place = f"{file.absolute().as_uri()}?mode={mode}"
    return sqlite3.connect(place, timeout=BUSY_S, isolation_level=None, uri=True)


def _opened(file: Path) -> sqlite3.Connection:
    if not os.path.lexists(file):
        # Only its owner may read it: it tells where photographs were taken.
        os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    base = _connect(file, "rw")
    try:
        base.execute("PRAGMA synchronous = FULL")
        version = _version(base, file)
        if version < len(_VERSIONS):
            base.execute("BEGIN IMMEDIATE")
            for statements in _VERSIONS[version:]:
                for statement in statements:
                    base.execute(statement)
            base.execute(f"PRAGMA application_id = {_APPLICATION}")
            base.execute(f"PRAGMA user_version = {len(_VERSIONS)}")
            base.execute("COMMIT")
        if base.execute("PRAGMA quick_check(1)").fetchone() != ("ok",):
            raise _Foreign("it is damaged")
        _try_out(base)
    except BaseException:
        base.close()
        raise
    return base


def _try_out(base: sqlite3.Connection) -> None:
    """Read everything once, so that what is odd shows now and not in the middle."""
    state = State(base)
    state.records()
    state.errands()
    state.facts()


def _version(base: sqlite3.Connection, file: Path) -> int:
    """The version of the tables; 0 in an empty file."""
    (application,) = base.execute("PRAGMA application_id").fetchone()
    (version,) = base.execute("PRAGMA user_version").fetchone()
    if application == _APPLICATION:
        if version > len(_VERSIONS):
            raise NewerState(
                f"{file} was written by a newer grouper (version {version} of its tables, this "
                f"one knows {len(_VERSIONS)}); use that one, or choose another --out"
            )
        return int(version)
    if base.execute("SELECT count(*) FROM sqlite_master").fetchone() != (0,):
        raise _Foreign("it is not grouper's")
    return 0


def _set_aside(file: Path) -> None:
    """Put the file out of the way, with the journal that may belong to it."""
    for suffix in ("", "-journal", "-wal", "-shm"):
        old = file.with_name(file.name + suffix)
        with suppress(FileNotFoundError):
            old.replace(file.with_name(f"{file.name}{SET_ASIDE}{suffix}"))


def iso(at: float) -> str:
    """A time of the wall clock, in seconds since 1970, as ISO 8601 has it."""
    return datetime.fromtimestamp(at).astimezone().isoformat(timespec="seconds")
