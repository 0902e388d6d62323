"""The disk side of writing: beside and renamed, only when changed, never out of the folder.

An output folder holds three things of grouper's own: ``.grouper-files.json`` (a digest of
every file it wrote, so that it can tell its own from edited ones), ``.grouper-lock`` (while
a run writes) and, for moments, ``.grouper-tmp-*``.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import logging
import os
import re
import secrets
import shutil
import stat
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from grouper.errors import CannotWrite
from grouper.write.paths import OWN_PREFIX, checked
from grouper.write.plain import json_bytes

try:
    import fcntl
except ImportError:  # not a POSIX system: see _exclusive
    fcntl = None  # type: ignore[assignment]

LinkKind = Literal["symlink", "hard", "copy"]

_WORDS: Mapping[LinkKind, str] = {
    "symlink": "symbolic links",
    "hard": "hard links",
    "copy": "copies",
}

RECORD = f"{OWN_PREFIX}files.json"
LOCK = f"{OWN_PREFIX}lock"
TEMPORARY = f"{OWN_PREFIX}tmp-"
PHOTOGRAPH = "photograph"
"""Stands in the record for a copy or a hard link: grouper never removes a photograph, for
it may be the last one by the time that the card has been formatted."""

_log = logging.getLogger(__name__)

# The one value that may differ between two runs over the same card, exactly as the
# manifests write it: at the top level of an object indented by two spaces.
_MADE = re.compile(rb'\n  "made": \{\n    "by": "[^"\n]*",\n    "at": "[^"\n]*"\n  \},?')


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """What one call did to an output folder; paths are relative to it, POSIX, sorted.

    ``kept`` are files that were in the way or due for removal, but were not grouper's or
    were edited since: left alone, or moved aside. ``notes`` are sentences for people.
    """

    written: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()
    removed: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def check_place(out: Path, cards: tuple[Path, ...], *, onto_card: bool = False) -> None:
    """Make sure that ``out`` may be written to, before minutes of reading; touches nothing.

    Raises:
        CannotWrite: ``out`` is no folder, is not writable, or lies on one of the cards.
    """
    real = Path(os.path.realpath(out))
    with _explained(out):
        there = next(folder for folder in (real, *real.parents) if folder.exists())
        if not there.is_dir():
            raise CannotWrite(f"{there} is a file, not a folder; choose another with --out DIR")
        if not onto_card:
            _refuse_cards(out, (there, *there.parents), cards)
        if not os.access(there, os.W_OK | os.X_OK):
            raise CannotWrite(f"{there} cannot be written to; choose another with --out DIR")


def _refuse_cards(out: Path, folders: Sequence[Path], cards: Sequence[Path]) -> None:
    """Compared as the file system does: cards may be reached by several paths."""
    for card in cards:
        if card.exists() and any(folder.samefile(card) for folder in folders):
            raise CannotWrite(
                f"{out} lies on the card {card}, and grouper does not write to cards; "
                f"choose a folder elsewhere with --out DIR"
            )


_MADE_WITHIN = 1 << 16
"""Bytes at the beginning of a manifest within which ``made`` stands."""


def without_made(data: bytes) -> bytes:
    """The bytes of an output with the time and version of the run blanked."""
    return _MADE.sub(b"", data[:_MADE_WITHIN], count=1) + data[_MADE_WITHIN:]


@dataclass(frozen=True, slots=True)
class Content:
    """What is to stand in a file: its digest, and its bytes piece by piece, as often as asked."""

    digest: str
    pieces: Callable[[], Iterable[bytes]]


def digest_of(pieces: Iterable[bytes]) -> str:
    """How a file is known again: the digest of its bytes, ``made`` left out.

    Args:
        pieces: the file's bytes, cut anywhere.
    """
    digest = hashlib.sha256()
    head = b""
    rest = iter(pieces)
    for piece in rest:
        head += piece
        if len(head) >= _MADE_WITHIN:
            break
    digest.update(without_made(head))
    for piece in rest:
        digest.update(piece)
    return f"sha256:{digest.hexdigest()}"


@dataclass(slots=True)
class Folder:
    """An output folder while it is being written to. Use ``opened``."""

    root: Path
    real: Path
    known: dict[str, set[str]]
    """Digests of what earlier runs wrote, by relative path."""
    record: dict[str, str] = field(default_factory=dict)
    """The digests as they stand now."""
    written: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def put(self, path: str, content: Content, *, yields: bool = False) -> None:
        """Let ``content`` stand at ``path``, unless it does already.

        What stands there and is not grouper's own untouched work is moved aside, or, where
        the new file ``yields``, stays.
        """
        target = self._target(path)
        digest = content.digest
        if self._is_ours(path):
            if _digest_on_disk(target) == digest:
                return self._same(path, digest)
        elif os.path.lexists(target):
            if _digest_on_disk(target) == digest:
                return self._same(path, digest)
            if yields:
                self.kept.append(path)
                return None
            self._set_aside(path, target)
        with _beside(target) as temporary:
            _write_new(temporary, content.pieces())
        return self._new(path, digest)

    def put_link(self, path: str, source: Path, how: LinkKind) -> None:
        """Let ``path`` lead to the photograph ``source``.

        Falls back from a symbolic link to a hard link to a copy where one cannot be made. A
        photograph that is gone is noted.
        """
        target = self._target(path)
        if not source.is_file():
            self.notes.append(f"{source} is gone; {path} was not made")
            return None
        ways: tuple[LinkKind, ...] = ("symlink", "hard", "copy")
        for way in ways[ways.index(how) :]:
            mark = PHOTOGRAPH if way != "symlink" else f"link:{_way_to(source, target)}"
            for there in (mark, PHOTOGRAPH):  # a photograph that is there already stays
                if _leads_there(source, target, there):
                    return self._same(path, there)
            if os.path.lexists(target) and not self._is_ours(path, link=True):
                self._set_aside(path, target)
            if _made_way(way, source, target):
                if way != how:
                    self._note_once(f"{_WORDS[how]} cannot be made here; {_WORDS[way]} were made")
                return self._new(path, mark)
        return None  # not reached: a copy is made or raises

    def sweep(self) -> None:
        """Remove what earlier runs wrote and this one did not, as far as it is untouched.

        A set's folder whose set is gone goes whole or not at all.
        """
        stale = [path for path in sorted(self.known) if path not in self._done()]
        live = {_set_of(path) for path in self._done()} - {None}
        gone = sorted({one for path in stale if (one := _set_of(path)) is not None} - live)
        for one in gone:
            self._sweep_set(one, [path for path in stale if _set_of(path) == one])
        for path in stale:
            if _set_of(path) not in gone:
                self._sweep_file(path)

    def save(self) -> None:
        """Write the record of what stands in the folder."""
        data = _record_bytes(self.record)
        target = self.root / RECORD
        if _read(target) != data:
            with _beside(target) as temporary:
                _write_new(temporary, (data,))

    def announce(self, planned: Mapping[str, Content]) -> None:
        """Record what is about to be written beside what was.

        So a run that dies half-way does not leave files that the next one takes for
        somebody else's.
        """
        pending = {
            path: content.digest
            for path, content in planned.items()
            if content.digest not in self.known.get(path, set())
        }
        if pending:
            old = {path: self._likely_mark(path) for path in self.known}
            for path, digest in pending.items():
                self.known.setdefault(path, set()).add(digest)
            with _beside(self.root / RECORD) as temporary:
                _write_new(temporary, (_record_bytes(old, pending),))

    def report(self) -> Written:
        """What was done so far."""
        return Written(
            written=tuple(sorted(self.written)),
            unchanged=tuple(sorted(self.unchanged)),
            removed=tuple(sorted(self.removed)),
            kept=tuple(sorted(self.kept)),
            notes=tuple(self.notes),
        )

    def _done(self) -> set[str]:
        return {*self.written, *self.unchanged, *self.kept}

    def _target(self, path: str) -> Path:
        """The place of ``path``, its folder made, no symbolic link on the way."""
        target = self.root / checked(path, "grouper")
        self._refuse_detour(target.parent)  # first: making a folder is a write too
        _make_folder(target.parent)
        return target

    def _refuse_detour(self, folder: Path) -> None:
        """Raise where a symbolic link would lead a write or a removal elsewhere."""
        expected = self.real / folder.relative_to(self.root)
        if Path(os.path.realpath(folder)) != expected:
            raise CannotWrite(
                f"{folder} leads out through a symbolic link; grouper writes only inside "
                f"{self.root}: remove the link or choose another --out"
            )

    def _is_ours(self, path: str, *, link: bool = False) -> bool:
        """Whether ``path`` is as an earlier run left it (photographs are never ours)."""
        target = self.root / path
        marks = self.known.get(path, set()) | {self.record.get(path, "")}
        if target.is_symlink():
            return _link_mark(target) in marks
        if link or PHOTOGRAPH in marks:
            return False
        return _digest_on_disk(target) in marks

    def _likely_mark(self, path: str) -> str:
        """The one of the marks known for ``path`` that fits what is on the disk."""
        marks = sorted(self.known[path])
        if len(marks) > 1 and (digest := _digest_on_disk(self.root / path)) in marks:
            return digest
        return marks[0]

    def keep_books(self) -> None:
        """Before an early end: what the run did not come to is still as it was."""
        for path in self.known:
            if path not in self.record and os.path.lexists(self.root / path):
                self.record[path] = self._likely_mark(path)

    def _note_once(self, note: str) -> None:
        if note not in self.notes:
            self.notes.append(note)

    def _same(self, path: str, digest: str) -> None:
        self.record[path] = digest
        self.unchanged.append(path)

    def _new(self, path: str, digest: str) -> None:
        self.record[path] = digest
        self.written.append(path)

    def _set_aside(self, path: str, target: Path) -> None:
        """Move a file that is not ours, or was edited, out of the way; never lose it."""
        number, aside = 1, f"{path}.edited"
        while os.path.lexists(self.root / aside):
            number += 1
            aside = f"{path}.edited-{number}"
        with _explained(target):
            target.rename(self.root / aside)
        self.kept.append(aside)
        self.notes.append(f"{path} was not as grouper left it; it is now {aside}")

    def _sweep_file(self, path: str) -> None:
        target = self.root / path
        if not os.path.lexists(target):
            return
        self._refuse_detour(target.parent)
        if not self._is_ours(path):
            self._keep(path, self.known[path])
            return
        with _explained(target):
            target.unlink()
        self.removed.append(path)
        self._remove_empty(target.parent)

    def _sweep_set(self, folder: str, paths: list[str]) -> None:
        """Remove the folder of a set that is gone, if nothing in it is anybody else's."""
        top = self.root / folder
        if not os.path.lexists(top):
            return
        if top.is_symlink() or not top.is_dir():
            self._keep(folder, set())
            return
        self._refuse_detour(top)
        inside = {
            name.relative_to(self.root).as_posix()
            for name in top.rglob("*")
            if name.is_symlink() or not name.is_dir()
            if not name.name.startswith(TEMPORARY)
        }
        foreign = [name for name in inside if name not in paths or not self._is_ours(name)]
        if foreign:
            for path in paths:
                if os.path.lexists(self.root / path):
                    self.record[path] = self._likely_mark(path)
            self.kept.append(folder)
            self.notes.append(
                f"{folder} belongs to no set any more, but holds files that are not grouper's "
                f"or were changed ({', '.join(sorted(foreign)[:3])}); it was kept"
            )
            return
        for path in sorted(inside):
            self._sweep_file(path)

    def _keep(self, path: str, marks: set[str]) -> None:
        if marks:
            self.record[path] = self._likely_mark(path)
        self.kept.append(path)
        if PHOTOGRAPH in marks:
            folder = path.rpartition("/")[0]
            if any(new.startswith(f"{folder}/") for new in (*self.written, *self.unchanged)):
                self._note_once(
                    f"{folder} also holds photographs that are not of the set any more; "
                    f"they were kept, for they may be the last copies"
                )
        else:
            self.notes.append(f"{path} is no longer needed, but was changed; it was kept")

    def _remove_empty(self, folder: Path) -> None:
        while folder != self.root:
            for leftover in folder.glob(f"{TEMPORARY}*"):
                leftover.unlink(missing_ok=True)
            try:
                folder.rmdir()
            except OSError:
                return
            folder = folder.parent


@contextlib.contextmanager
def opened(out: Path) -> Iterator[Folder]:
    """Open an output folder for writing, alone; make it where it is missing.

    What has been done is recorded also when an error or Ctrl-C ends the run early.

    Raises:
        CannotWrite: it cannot be made, or another run is writing to it.
    """
    is_foreign = _is_foreign(out)
    _make_folder(out)
    with _exclusive(out):
        _clear_leftovers(out)
        known = _known(out / RECORD)
        folder = Folder(out, Path(os.path.realpath(out)), known)
        if is_foreign:
            folder.notes.append(
                f"{out} was not empty and is not an output folder of grouper's; what lay there "
                "was kept"
            )
        try:
            yield folder
        except BaseException:
            folder.keep_books()
            with contextlib.suppress(CannotWrite):
                folder.save()
            raise
        folder.save()


def _is_foreign(out: Path) -> bool:
    """Whether files lie in a folder that no earlier run wrote to; hidden ones do not count."""
    try:
        names = {path.name for path in out.iterdir()}
    except OSError:  # not there yet, most often; making it says what else is wrong
        return False
    return RECORD not in names and any(not name.startswith(".") for name in names)


def _set_of(path: str) -> str | None:
    """``sets/<id>`` for a path inside a set's folder."""
    parts = path.split("/")
    return "/".join(parts[:2]) if len(parts) > 2 and parts[0] == "sets" else None


def _digest_on_disk(target: Path) -> str | None:
    """The digest of a regular file; ``None`` for all else."""
    try:
        if not stat.S_ISREG(os.lstat(target).st_mode):
            return None
        with target.open("rb") as file:
            return digest_of(iter(lambda: file.read(1 << 18), b""))
    except OSError:
        return None


def _read(target: Path) -> bytes | None:
    """The bytes of a regular file; ``None`` for all else."""
    try:
        if not stat.S_ISREG(os.lstat(target).st_mode):
            return None
        return target.read_bytes()
    except OSError:
        return None


def _link_mark(target: Path) -> str:
    return f"link:{target.readlink()}"


def _way_to(source: Path, target: Path) -> str:
    """``source`` as a relative symbolic link at ``target`` has to name it."""
    return os.path.relpath(os.path.realpath(source), os.path.realpath(target.parent))


def _leads_there(source: Path, target: Path, mark: str) -> bool:
    """Whether ``target`` already is what ``mark`` says: a link, or the photograph itself.

    A copy is known by size and modification time (to 2 s, the grain of FAT): reading
    gigabytes of photographs on each run would cost more than it tells.
    """
    if mark != PHOTOGRAPH:
        return target.is_symlink() and _link_mark(target) == mark
    if target.is_symlink() or not target.is_file():
        return False
    ours, theirs = target.stat(), source.stat()
    return ours.st_size == theirs.st_size and abs(ours.st_mtime - theirs.st_mtime) <= 2


def _made_way(way: LinkKind, source: Path, target: Path) -> bool:
    """Make the link or the copy; ``False`` where this file system cannot make such a link."""
    make: dict[LinkKind, Callable[[Path], object]] = {
        "symlink": lambda temporary: temporary.symlink_to(_way_to(source, target)),
        "hard": lambda temporary: temporary.hardlink_to(source),
        "copy": lambda temporary: _copy(source, temporary),
    }
    try:
        with _beside(target, explain=way == "copy") as temporary:
            make[way](temporary)
    except (OSError, NotImplementedError):
        return False
    return True


def _copy(source: Path, temporary: Path) -> None:
    with source.open("rb") as reader, temporary.open("xb") as writer:
        shutil.copyfileobj(reader, writer, 1 << 20)
        writer.flush()
        os.fsync(writer.fileno())
    with contextlib.suppress(OSError):  # times are a courtesy; some file systems refuse
        shutil.copystat(source, temporary)


def _write_new(temporary: Path, pieces: Iterable[bytes]) -> None:
    """Write a file that must not exist yet, down to the disk."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0)
    flags |= getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(temporary, flags, 0o666), "wb") as file:
        file.writelines(pieces)
        file.flush()
        os.fsync(file.fileno())


@contextlib.contextmanager
def _beside(target: Path, *, explain: bool = True) -> Iterator[Path]:
    """A new name beside ``target`` that takes its place at the end, or vanishes."""
    temporary = target.parent / f"{TEMPORARY}{secrets.token_hex(8)}"
    try:
        with _explained(target) if explain else contextlib.nullcontext():
            yield temporary
            temporary.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


_WAYS_OUT = {
    errno.ENOSPC: "the disk is full; free some space or choose another folder with --out",
    errno.EDQUOT: "your share of the disk is used up; choose another folder with --out",
    errno.EROFS: "this file system is read-only; choose another folder with --out",
    errno.EACCES: "not permitted; choose a folder of your own with --out",
    errno.EPERM: "not permitted; choose a folder of your own with --out",
    errno.ENOTDIR: "there is a file where a folder has to be; move it or choose another --out",
    errno.EEXIST: "there is a file where a folder has to be; move it or choose another --out",
    errno.EISDIR: "there is a folder where a file has to be; move it or choose another --out",
    errno.ENAMETOOLONG: "this path is too long; choose a shorter --out",
}


@contextlib.contextmanager
def _explained(path: Path) -> Iterator[None]:
    """Turn an error of the disk into one that names the path and the way out."""
    try:
        yield
    except OSError as error:
        reason = _WAYS_OUT.get(error.errno or 0, error.strerror or str(error))
        raise CannotWrite(f"cannot write {path}: {reason}") from error


def _make_folder(folder: Path) -> None:
    with _explained(folder):
        folder.mkdir(parents=True, exist_ok=True)


def _record_bytes(files: Mapping[str, str], pending: Mapping[str, str] | None = None) -> bytes:
    table: dict[str, object] = {
        "manifest": "grouper-files",
        "version": 1,
        "files": dict(sorted(files.items())),
    }
    if pending:
        table["pending"] = dict(sorted(pending.items()))
    return json_bytes(table)


def _known(record: Path) -> dict[str, set[str]]:
    """What earlier runs wrote. A damaged record knows nothing, so nothing gets removed.

    The record lies where others can write, so its paths are foreign text.
    """
    known: dict[str, set[str]] = {}
    try:
        table = json.loads(_read(record) or b"{}")
        entries = [(p, m) for part in ("files", "pending") for p, m in table.get(part, {}).items()]
        for path, mark in entries:
            known.setdefault(checked(path, "record"), set()).add(str(mark))
    except (ValueError, AttributeError, CannotWrite):
        _log.warning("%s is damaged and was set aside as unknown", record)
        return {}
    return known


def _clear_leftovers(out: Path) -> None:
    """Remove temporary files of a run that was killed; we hold the lock, so none is in use."""
    for pattern in (f"{TEMPORARY}*", f"sets/*/{TEMPORARY}*", f"sets/*/*/{TEMPORARY}*"):
        for leftover in out.glob(pattern):
            inside = Path(os.path.realpath(leftover.parent)).is_relative_to(os.path.realpath(out))
            if inside and not leftover.is_dir():
                with contextlib.suppress(OSError):
                    leftover.unlink()


@contextlib.contextmanager
def _exclusive(out: Path) -> Iterator[None]:
    """Hold the folder's lock; the lock file is gone afterwards."""
    path = out / LOCK
    with _explained(path):
        descriptor = _locked(path, out) if fcntl is not None else _claimed(path, out)
    try:
        os.ftruncate(descriptor, 0)
        os.write(descriptor, str(os.getpid()).encode())
        yield
    finally:
        with contextlib.suppress(OSError):
            path.unlink()
        os.close(descriptor)


def _locked(path: Path, out: Path) -> int:
    """A descriptor of the lock file that nobody else has locked."""
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o666)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.pread(descriptor, 20, 0).decode("ascii", "replace") or "unknown"
            os.close(descriptor)
            raise CannotWrite(
                f"{out}: another run of grouper (process {holder}) is writing here; wait until "
                f"it is done or choose another --out"
            ) from None
        except OSError as error:  # a network file system without locks: go on without
            _log.warning("%s cannot be locked (%s)", out, error)
            return descriptor
        if _is_still(descriptor, path):
            return descriptor
        os.close(descriptor)  # its holder removed it between our opening and locking


def _is_still(descriptor: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(descriptor), path.stat())
    except FileNotFoundError:
        return False


def _claimed(path: Path, out: Path) -> int:
    """Without file locks: a file that must not exist yet."""
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666)
    except FileExistsError:
        raise CannotWrite(
            f"{out}: another run of grouper is writing here; if none is, delete {path}"
        ) from None
