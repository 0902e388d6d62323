"""What lies in the inbox and in a card, from names, sizes and times alone; nothing is opened.

Links are never followed. A ``Look`` is small however large the card is: two digests, a few
sums and a sample of its files.
"""

from __future__ import annotations

import heapq
import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from hashlib import blake2b
from typing import Final, Literal, NamedTuple

from grouper.discover import SYSTEM_FOLDERS

SAMPLE: Final = 256
"""Files in a card's sample. Of two states of one card that share a tenth of their files, the
samples share some twenty."""
_HASH_BYTES: Final = 8
_MOST_FOLDERS_KEPT: Final = 2000
"""Folders of a card that events are asked for; a card as cameras write it has some ten."""

Trouble = Literal["", "gone", "link", "closed", "too-many", "stopped"]


class Folder(NamedTuple):
    """A folder to hear events from; another one under the same path has another number."""

    path: str
    number: tuple[int, int]
    """Of its disk and on it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One look at a card.

    ``identity`` changes with what grouping could read (names, sizes, times of change);
    ``stillness`` changes also when anything at all was done to a file, so that a copy that
    sets sizes and times beforehand is not taken for finished.
    """

    identity: bytes = b""
    stillness: bytes = b""
    files: int = 0
    size_bytes: int = 0
    sample: bytes = b""
    """Hashes of up to ``SAMPLE`` files (path and size), the smallest ones, in order."""
    folders: tuple[Folder, ...] = ()
    """Absolute paths, the card's own first."""
    trouble: Trouble = ""
    detail: str = ""


class Listing(NamedTuple):
    """What lies directly in the inbox."""

    cards: tuple[str, ...]
    """Names of folders, sorted; bytes that are no UTF-8 as lone surrogates (PEP 383)."""
    strays: tuple[str, ...]
    """Names of what is no card: files, links, devices. Hidden names are left out."""
    folder: Folder | None = None
    error: str = ""


def list_inbox(inbox: str) -> Listing:
    """The cards in an inbox; an inbox that cannot be listed has an ``error``."""
    cards: list[str] = []
    strays: list[str] = []
    try:
        with os.scandir(inbox) as entries:
            for entry in entries:
                if is_passed_over(entry.name):
                    continue
                (cards if _is_folder(entry) else strays).append(entry.name)
        folder = _folder(inbox)
    except OSError as error:
        return Listing((), (), error=error.strerror or str(error))
    return Listing(tuple(sorted(cards)), tuple(sorted(strays)), folder)


def _folder(path: str) -> Folder:
    facts = os.lstat(path)
    return Folder(path, (facts.st_dev, facts.st_ino))


def is_passed_over(name: str) -> bool:
    """Hidden folders (copies under way are often hidden) and those of systems are no cards."""
    return name.startswith(".") or name.lower() in SYSTEM_FOLDERS


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir(follow_symlinks=False)
    except OSError:
        return False


def look_at(card: str, files_most: int, stopped: Callable[[], bool] = lambda: False) -> Look:
    """Look at a card.

    Args:
        card: its folder.
        files_most: with more files, folders included, the look ends as "too-many".
        stopped: asked now and then; when it says so the look ends as "stopped".
    """
    try:
        facts = os.lstat(card)
    except OSError as error:
        return Look(trouble="gone", detail=error.strerror or str(error))
    if not stat.S_ISDIR(facts.st_mode):
        return Look(trouble="link", detail="it is no plain folder")
    walk = _Walk(card, files_most)
    for _ in walk.folder_by_folder():
        if stopped():
            return Look(trouble="stopped")
        if walk.entries > files_most:
            return Look(trouble="too-many", detail=f"it holds more than {files_most} files")
    return walk.look()


class _Walk:
    """A walk through a card, folder by folder, in an order that does not depend on the disk."""

    def __init__(self, card: str, files_most: int) -> None:
        self._card = card
        self._files_most = files_most
        self._identity = blake2b(digest_size=16)
        self._touched = blake2b(digest_size=16)
        self._sample: list[int] = []
        """The smallest hashes, negated: a heap whose first is the largest of them."""
        self._folders: list[Folder] = []
        self._closed = ""
        self.entries = 0
        self._files = 0
        self._bytes = 0

    def folder_by_folder(self) -> Iterator[None]:
        """Walk; yields after each folder."""
        todo = [""]
        while todo:
            folder = todo.pop()
            found = self._listing(folder)
            for name, entry in sorted(found.items()):
                path = f"{folder}/{name}" if folder else name
                if self._note(path, entry):
                    todo.append(path)
            yield

    def _listing(self, folder: str) -> dict[str, os.DirEntry[str]]:
        place = f"{self._card}/{folder}" if folder else self._card
        found: dict[str, os.DirEntry[str]] = {}
        try:
            if len(self._folders) < _MOST_FOLDERS_KEPT:
                self._folders.append(_folder(place))
            with os.scandir(place) as entries:
                for entry in entries:
                    found[entry.name] = entry
                    if len(found) + self.entries > self._files_most:
                        break
        except OSError as error:
            self._feed(folder, f"closed {error.errno}")
            if not folder:
                self._closed = error.strerror or str(error)
        return found

    def _note(self, path: str, entry: os.DirEntry[str]) -> bool:
        """Take an entry in; whether it is a folder to be walked."""
        self.entries += 1
        try:
            facts = entry.stat(follow_symlinks=False)
        except OSError as error:
            self._feed(path, f"closed {error.errno}")
            return False
        kind = stat.S_IFMT(facts.st_mode)
        if kind == stat.S_IFDIR:
            self._feed(path, "folder")  # its times change with its files, which are told below
            return True
        self._files += 1
        self._bytes += facts.st_size
        self._feed(path, f"{kind} {facts.st_size} {facts.st_mtime_ns}", f"{facts.st_ctime_ns}")
        self._take_sample(path, facts.st_size)
        return False

    def _feed(self, path: str, what: str, touched: str = "") -> None:
        line = os.fsencode(path) + b"\0" + what.encode() + b"\0"
        self._identity.update(line)
        self._touched.update(line + touched.encode() + b"\0")

    def _take_sample(self, path: str, size: int) -> None:
        digest = blake2b(os.fsencode(path) + b"\0%d" % size, digest_size=_HASH_BYTES).digest()
        number = -int.from_bytes(digest, "big")
        if len(self._sample) < SAMPLE:
            heapq.heappush(self._sample, number)
        else:
            heapq.heappushpop(self._sample, number)

    def look(self) -> Look:
        """What was seen."""
        if self._closed:
            return Look(trouble="closed", detail=f"its folder cannot be listed: {self._closed}")
        smallest = sorted(-number for number in self._sample)
        return Look(
            identity=self._identity.digest(),
            stillness=self._touched.digest(),
            files=self._files,
            size_bytes=self._bytes,
            sample=b"".join(number.to_bytes(_HASH_BYTES, "big") for number in smallest),
            folders=tuple(self._folders),
        )


def share_files(one: bytes, other: bytes) -> bool:
    """Whether two samples are of cards that have files in common, as far as they tell."""
    return bool(_split(one) & _split(other))


def _split(sample: bytes) -> set[bytes]:
    return {sample[at : at + _HASH_BYTES] for at in range(0, len(sample), _HASH_BYTES)}
