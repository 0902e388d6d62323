"""What was read of unchanged files before, kept in the user's cache folder, never on a card.

A file is unchanged while its path, size, time of change (in nanoseconds) and file number are.
What is kept is what the reader said of that file alone, before whole cards are compared and
companions joined, so the result is the same with and without. A file that could not be read
is never kept: what failed once may work when the card is put in again.

The cache is one SQLite file with a row per file, written in short immediate transactions, so
a crash or a second run costs nothing but time. Nothing here is ever fatal: what goes wrong is
logged, and the card is read without.
"""

from __future__ import annotations

import gc
import hashlib
import json
import logging
import os
import sqlite3
import sys
import time
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, fields
from datetime import datetime
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any, Final, NamedTuple

import exifread

from grouper.model import Attitude, Frame, PictureSource
from grouper.read.names import folder_number_of, folder_of

log = logging.getLogger(__name__)

FILE_NAME: Final = "read.sqlite3"
SET_ASIDE: Final = ".set-aside"
"""Suffix given to a cache file that is broken or not ours; there is only ever one."""

_APPLICATION: Final = 0x67727072
"""SQLite's application id: "grpr" in ASCII."""
_SCHEMA: Final = 1
"""To be raised when the tables change. What the readers say is dated by ``stamp`` instead."""

SETTLED_S: Final = 3.0
"""A file changed so shortly before it was looked at is not kept: it may change once more under
the same time, which FAT writes in steps of two seconds."""
BUSY_S: Final = 5.0
"""How long another run's transaction is waited for; they take some hundredths of a second."""
BATCH: Final = 2000
"""Files a transaction, which waits for the disk twice: about a second's reading."""

MOST_BYTES: Final = 256 << 20
"""Size of the cache file: about 500,000 files of half a kilobyte, fifty full cards."""
KEPT_SHARE: Final = 0.8
"""Share of ``MOST_BYTES`` that a clean-up leaves, so that not every run needs one."""
MOST_DAYS: Final = 180
"""Days after which a folder that was not read again is forgotten: half a year, by which time
nearly every card was formatted."""
_DAY_S: Final = 86_400
_PAGE_BYTES: Final = 16_384
"""Rows of half a kilobyte want larger pages than the usual 4096 in a table in key order."""
_LARGEST: Final = (1 << 63) - 1
"""SQLite's integers have 64 bits with a sign."""

_APART: Final = (
    "file", "folder", "folder_number", "companions", "digest", "taken", "attitude", "picture",
)  # fmt: skip
"""Fields that follow from the path, belong to later steps, or are no plain JSON values."""
_PLAIN: Final = tuple(item.name for item in fields(Frame) if item.name not in _APART)
_ATTITUDE: Final = tuple(item.name for item in fields(Attitude))
_PUT_APART, _PUT_PLAIN = (
    tuple(vars(Frame)[name].__set__ for name in names) for names in (_APART, _PLAIN)
)
"""Setters of the slots: a third of the time that the constructor of a frozen record takes."""
_decode: Final = json.JSONDecoder().raw_decode

_TABLES: Final = (
    "CREATE TABLE folders (id INTEGER PRIMARY KEY, path BLOB NOT NULL UNIQUE,"
    " used INTEGER NOT NULL)",
    "CREATE TABLE files (folder INTEGER NOT NULL, name BLOB NOT NULL, size INTEGER NOT NULL,"
    " changed_ns INTEGER NOT NULL, number INTEGER NOT NULL, stamp BLOB NOT NULL, digest TEXT,"
    " told BLOB NOT NULL, sum INTEGER NOT NULL, PRIMARY KEY (folder, name)) WITHOUT ROWID",
    f"PRAGMA application_id = {_APPLICATION}",
    f"PRAGMA user_version = {_SCHEMA}",
)
"""``used`` counts days since 1970; ``told`` is what the reader said, as JSON, and ``sum`` its
CRC-32. Paths and names are bytes, since not every one is text."""

_BROKEN: Final = frozenset({
    sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT,
    sqlite3.SQLITE_MISMATCH, sqlite3.SQLITE_CONSTRAINT,
})  # fmt: skip
"""Errors of the file's contents (a missing table is a plain "error"); all others, such as a
full disk, a lock that is not given up, a folder that cannot be written, leave it alone."""


class Identity(NamedTuple):
    """What tells a file unchanged: bytes, time of change, number in its file system.

    Where a file system makes the numbers up as it goes (FAT under Linux, at every mount), a card
    that was put in anew is read anew: slower, and never wrong.
    """

    size: int
    changed_ns: int
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the cache knows of the files asked for."""

    told: Mapping[str, Frame | None]
    """By file; ``None`` for a file that is no picture."""
    digests: Mapping[str, str]
    """By file, of those that had to be hashed before."""
    identities: Mapping[str, Identity]
    """Of every file that may be kept, taken before it is read."""
    worn: tuple[str, ...] = ()
    """Folders that were not marked as used today."""


NOTHING_KNOWN: Final = Known(told={}, digests={}, identities={})


def default_file() -> Path | None:
    """Where the cache lies: in this system's folder for caches; ``None`` without a home.

    ``XDG_CACHE_HOME`` counts on every system where it is absolute (XDG Base Directory
    Specification 0.8).
    """
    chosen = Path(os.environ.get("XDG_CACHE_HOME", ""))
    if chosen.is_absolute():
        return chosen / "grouper" / FILE_NAME
    try:
        if sys.platform == "win32":
            local = os.environ.get("LOCALAPPDATA")
            base = Path(local) if local else Path.home() / "AppData" / "Local"
            return base / "grouper" / "cache" / FILE_NAME
        if sys.platform == "darwin":
            return Path.home() / "Library" / "Caches" / "grouper" / FILE_NAME
        return Path.home() / ".cache" / "grouper" / FILE_NAME
    except RuntimeError:
        return None


def file_for(cards: Iterable[str]) -> Path | None:
    """The cache file to use for cards; ``None`` where there is none or it would lie on one."""
    file = default_file()
    if file is None:
        return None
    try:
        real = file.resolve()
    except (OSError, RuntimeError):  # a loop of links
        return None
    if any(real.is_relative_to(card) for card in cards):
        log.info("the cache folder lies on the card; read without it")
        return None
    return real


@cache
def stamp() -> bytes:
    """Of what the readers' word depends on besides the file: the code that reads.

    Taken from the code itself, so that nothing outlives a change of it.
    """
    digest = hashlib.blake2b(str(exifread.__version__).encode(), digest_size=8)
    here = Path(__file__).parent
    for path in (here.parent / "model.py", *sorted(here.glob("*.py"))):
        with suppress(OSError):
            digest.update(path.read_bytes())
    return digest.digest()


def recall(cache_file: Path, root: Path, files: Sequence[str]) -> Known:
    """What is known of files that are as they were when they were read.

    Args:
        cache_file: the cache; need not exist.
        root: absolute path of the folder that ``files`` are relative to.
        files: POSIX paths.
    """
    identities = _identities(root, files)
    told: dict[str, Frame | None] = {}
    digests: dict[str, str] = {}
    worn: list[str] = []

    def look(base: sqlite3.Connection) -> None:
        for folder, inside in groupby(sorted(identities, key=folder_of), folder_of):
            found = base.execute(
                "SELECT id, used FROM folders WHERE path = ?", (_key(root, folder),)
            ).fetchone()
            if found is None:
                continue
            if found[1] != _today():
                worn.append(folder)
            rows = _rows(base, found[0])
            folder_number = folder_number_of(f"{folder}/")
            for file in inside:
                row = rows.get(_name(file))
                if row is None or row[0] != identities[file]:
                    continue
                with suppress(ValueError, TypeError, LookupError):
                    told[file] = _frame(row[2], file, folder, folder_number)
                    if row[1]:
                        digests[file] = row[1]

    with _collector_paused():
        _attempt(cache_file, look)
    return Known(told=told, digests=digests, identities=identities, worn=tuple(worn))


def keep(
    cache_file: Path, root: Path, told: Iterable[tuple[str, Frame | None]], known: Known
) -> None:
    """Keep what was read of files whose identity is known; ``None`` is no picture."""
    rows = [
        (folder_of(file), (_name(file), *known.identities[file], stamp(), *_packed(frame)))
        for file, frame in told
        if file in known.identities
    ]
    rows.sort()

    def write(base: sqlite3.Connection) -> None:
        for folder, inside in groupby(rows, lambda row: row[0]):
            number = _mark_used(base, root, folder)
            base.executemany(
                "INSERT OR REPLACE INTO files (folder, name, size, changed_ns, number, stamp,"
                f" told, sum) VALUES ({number}, ?, ?, ?, ?, ?, ?, ?)",
                (row for _, row in inside),
            )
        _forget(base)

    if rows:
        _attempt(cache_file, write, write=True)


def keep_digests(cache_file: Path, root: Path, digests: Mapping[str, str], known: Known) -> None:
    """Keep the digests of files, and mark the folders as used that were not today."""
    new = {
        file: digest
        for file, digest in digests.items()
        if file in known.identities and known.digests.get(file) != digest
    }

    def write(base: sqlite3.Connection) -> None:
        for folder in known.worn:
            _mark_used(base, root, folder)
        base.executemany(
            "UPDATE files SET digest = ? WHERE name = ? AND size = ? AND changed_ns = ?"
            " AND number = ? AND folder = (SELECT id FROM folders WHERE path = ?)",
            (
                (digest, _name(file), *known.identities[file], _key(root, folder_of(file)))
                for file, digest in new.items()
            ),
        )
        _forget(base)

    if new or known.worn:
        _attempt(cache_file, write, write=True)


# ---- files


def _identities(root: Path, files: Iterable[str]) -> dict[str, Identity]:
    """The identity of every plain file that did not change just now."""
    found: dict[str, Identity] = {}
    start = f"{root}{os.sep}"
    now_ns = time.time_ns()
    for file in files:
        try:
            facts = os.stat(start + file)  # noqa: PTH116 - a third of the time, 100,000 times
        except (OSError, ValueError):
            continue
        number = facts.st_ino & _LARGEST
        identity = Identity(facts.st_size, facts.st_mtime_ns, number)
        settled = abs(now_ns - identity.changed_ns) > SETTLED_S * 1e9
        if settled and number and abs(identity.changed_ns) <= _LARGEST:
            found[file] = identity
    return found


def _key(root: Path, folder: str) -> bytes:
    return os.fsencode(root / folder)


def _name(file: str) -> bytes:
    return os.fsencode(file.rpartition("/")[2])


def _today() -> int:
    return int(time.time()) // _DAY_S


# ---- frames


def _packed(frame: Frame | None) -> tuple[bytes, int]:
    """A frame as it came from its reader, as JSON in ASCII, and its checksum."""
    values: list[Any] | None = None
    if frame is not None:
        values = [getattr(frame, name) for name in _PLAIN]
        held, shown = frame.attitude, frame.picture
        values += [
            None if frame.taken is None else frame.taken.isoformat(),
            held and [getattr(held, name) for name in _ATTITUDE],
            shown and (shown.kind, shown.offset, shown.length),
        ]
    data = json.dumps(values, separators=(",", ":")).encode("ascii")
    return data, zlib.crc32(data)


def _frame(data: bytes, file: str, folder: str, folder_number: int | None) -> Frame | None:
    """The frame that was packed; its path may be told from another root than before.

    Raises:
        ValueError, TypeError, LookupError: the data are not what was packed.
    """
    values, _ = _decode(data.decode("ascii"))
    if values is None:
        return None
    *plain, taken, held, shown = values
    frame = object.__new__(Frame)
    for put, value in zip(_PUT_PLAIN, plain, strict=True):
        put(frame, value)
    for put, value in zip(
        _PUT_APART,
        (
            file,
            folder,
            folder_number,
            (),
            None,
            None if taken is None else datetime.fromisoformat(taken),
            held and Attitude(**dict(zip(_ATTITUDE, held, strict=True))),
            shown and PictureSource(kind=shown[0], file=file, offset=shown[1], length=shown[2]),
        ),
        strict=True,
    ):
        put(frame, value)
    return frame


@contextmanager
def _collector_paused() -> Iterator[None]:
    """No looking for cycles while 100,000 records are built that have none: a third quicker."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


# ---- the cache file

Row = tuple[Identity, str | None, bytes]
"""Identity, digest and what was told."""


def _rows(base: sqlite3.Connection, folder: int) -> dict[bytes, Row]:
    """The sound rows of a folder by name."""
    found = base.execute(
        "SELECT name, size, changed_ns, number, digest, told, sum FROM files"
        " WHERE folder = ? AND stamp = ?",
        (folder, stamp()),
    )
    return {
        name: (Identity(size, changed_ns, number), digest, told)
        for name, size, changed_ns, number, digest, told, check in found
        if isinstance(told, bytes) and zlib.crc32(told) == check
    }


def _mark_used(base: sqlite3.Connection, root: Path, folder: str) -> int:
    """Mark a folder as used today, and return its number."""
    (number,) = base.execute(
        "INSERT INTO folders (path, used) VALUES (?, ?)"
        " ON CONFLICT (path) DO UPDATE SET used = excluded.used RETURNING id",
        (_key(root, folder), _today()),
    ).fetchone()
    return int(number)


def _forget(base: sqlite3.Connection) -> None:
    """Forget folders unused for long, then the longest unused ones while there is too much."""
    numbers = [
        number
        for (number,) in base.execute(
            "SELECT id FROM folders WHERE used < ?", (_today() - MOST_DAYS,)
        )
    ]
    _forget_folders(base, numbers)
    if _bytes_used(base) <= MOST_BYTES:
        return
    while _bytes_used(base) > KEPT_SHARE * MOST_BYTES:
        oldest = base.execute("SELECT id FROM folders ORDER BY used, id LIMIT 1").fetchone()
        if oldest is None:
            return
        _forget_folders(base, [oldest[0]])


def _forget_folders(base: sqlite3.Connection, numbers: Iterable[int]) -> None:
    for number in numbers:
        base.execute("DELETE FROM files WHERE folder = ?", (number,))
        base.execute("DELETE FROM folders WHERE id = ?", (number,))


def _bytes_used(base: sqlite3.Connection) -> int:
    pages, free = (
        base.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "freelist_count")
    )
    return int(pages - free) * _PAGE_BYTES


class _Foreign(Exception):
    """The file is not ours, or of another version."""


def _attempt(
    cache_file: Path, work: Callable[[sqlite3.Connection], object], *, write: bool = False
) -> None:
    """Do ``work`` on the cache, writing in one transaction; leave off where it cannot be used.

    Nothing is read where there is no file yet; writing makes it.
    """
    before = _file_number(cache_file)
    if before is None and not write:
        return
    try:
        if before is None:
            _make_file(cache_file)
            before = _file_number(cache_file)
        place = f"{cache_file.as_uri()}?mode={'rw' if write else 'ro'}"
        with closing(
            sqlite3.connect(place, timeout=BUSY_S, isolation_level=None, uri=True)
        ) as base:
            if write:
                _begin(base)
            if _is_ours(base, make=write):
                work(base)
            if write:
                base.execute("COMMIT")
                base.execute("PRAGMA incremental_vacuum").fetchall()
    except _Foreign:
        _set_aside(cache_file, before, "it is not ours or of another version")
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorcode", 0) & 0xFF in _BROKEN:
            _set_aside(cache_file, before, str(error))
        else:
            log.info("%s is not used this time: %s", cache_file, error)
    except (OSError, ValueError) as error:
        log.info("%s is not used this time: %s", cache_file, error)


def _begin(base: sqlite3.Connection) -> None:
    """Begin to write, alone; the two settings of the file count only while it is empty."""
    base.execute(f"PRAGMA page_size = {_PAGE_BYTES}")
    base.execute("PRAGMA auto_vacuum = INCREMENTAL")
    base.execute("PRAGMA synchronous = NORMAL")
    base.execute("BEGIN IMMEDIATE")


def _is_ours(base: sqlite3.Connection, *, make: bool) -> bool:
    """Whether the tables are there; made in an empty file where that is asked for.

    Raises:
        _Foreign: it is another program's file, or another version's.
    """
    (application,) = base.execute("PRAGMA application_id").fetchone()
    (version,) = base.execute("PRAGMA user_version").fetchone()
    if (application, version) == (_APPLICATION, _SCHEMA):
        return True
    if base.execute("SELECT count(*) FROM sqlite_master").fetchone() != (0,):
        raise _Foreign
    if make:
        for statement in _TABLES:
            base.execute(statement)
    return make


def _make_file(cache_file: Path) -> None:
    """An empty file that only its owner may read: it tells where photographs were taken."""
    cache_file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with suppress(FileExistsError):
        os.close(os.open(cache_file, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))


def _file_number(cache_file: Path) -> int | None:
    try:
        return cache_file.stat().st_ino
    except (OSError, ValueError):
        return None


def _set_aside(cache_file: Path, number: int | None, why: str) -> None:
    """Put a file out of the way, unless another run has replaced it meanwhile."""
    log.info("%s is set aside: %s", cache_file, why)
    if _file_number(cache_file) != number:
        return
    with suppress(OSError):
        cache_file.replace(cache_file.with_name(cache_file.name + SET_ASIDE))
