"""Folders to candidate files: what on a card could be a picture, and what is passed over.

Nothing is opened here but a possible manifest of our own. Links to folders are not followed,
so no loop can hold the walk; pipes, sockets and devices are never touched.
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final, Literal, cast

from grouper.errors import NoSuchCard, explain_disk
from grouper.model import Scan, Unread, UnreadReason
from grouper.settings import Settings

_OTHER: Final = """
    .mov .mp4 .m4v .avi .mts .m2ts .mpg .mpeg .3gp .3g2 .mkv .webm .wmv .mxf .insv .lrv .lrf
    .wav .mp3 .m4a .aac .ogg .amr
    .xmp .thm .aae .srt .gpx .nmea .kml .csv .log
    .ctg .mrk .inf .ind .dat .bin .int .tdt .bdm .cpi .mpl .bnp .inp .ini .db .lnk .tmp
    .txt .md .json .xml .html .htm .pdf .doc .docx .xls .xlsx .svg .gif .bmp .psd .ico
    .zip .rar .7z .tar .gz .py .css .js
"""
"""A line each: moving pictures; sound; what stands beside a picture (settings, thumbnails of
films, tracks, captions); camera and card housekeeping; writing and drawing; the rest."""

OTHER_SUFFIXES: Final = frozenset(_OTHER.split())
"""Suffixes of files that are no frames; they are not even opened. (A .thm is a JPEG, but of a
film.) Other names are judged by their first bytes: recovered files have odd ones."""

SYSTEM_FOLDERS: Final = frozenset(
    {"system volume information", "$recycle.bin", "recycler", "__macosx", "@eadir", "#recycle"}
)
"""Folders that operating systems and file servers leave on cards; lower case."""

OUR_MANIFEST: Final = "card.json"
_OURS: Final = re.compile(rb'"manifest"\s*:\s*"grouper-card"')
_MANIFEST_BYTES: Final = 4096
"""The mark stands first in the manifest; no more of a foreign file is read to find it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What lies on the cards. Paths are POSIX and relative to ``root``, sorted."""

    root: str
    """Absolute path of the card, or of the deepest folder common to several."""
    cards: tuple[str, ...]
    """Absolute paths of the cards read, in the order given, none inside another."""
    files: tuple[str, ...] = ()
    """Files that may be pictures."""
    ignored: tuple[str, ...] = ()
    """Files that are none."""
    unread: tuple[Unread, ...] = ()
    """Folders that could not be opened and links that lead nowhere."""


@dataclass(slots=True)
class _Pile:
    """What a walk has gathered so far, by path relative to the root."""

    files: list[str] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)


def find_files(cards: Sequence[Path], settings: Settings) -> Found:
    """List the files of one or more cards, read together as one dump.

    A card inside another, or named twice, is read once. Folders that hold a manifest of
    ours are passed over and not counted: they are results, not part of the card.

    Raises:
        NoSuchCard: a card is missing, no folder, or cannot be opened.
    """
    folders = _outermost([_opened(card) for card in cards])
    if not folders:
        raise NoSuchCard("no card was named: give the folder of a camera card to read")
    try:
        root = os.path.commonpath(folders)
    except ValueError as error:
        named = ", ".join(folders)
        raise NoSuchCard(f"{named}: these share no folder; read them one at a time") from error
    pile = _Pile()
    for folder in folders:
        _walk(folder, root, folders, settings, pile)
    return Found(
        root=root,
        cards=tuple(folders),
        files=tuple(sorted(pile.files)),
        ignored=tuple(sorted(pile.ignored)),
        unread=tuple(sorted(pile.unread, key=lambda item: item.file)),
    )


def refuse_empty(scan: Scan) -> None:
    """Refuse a folder without any photograph: most often it is not the card that was meant.

    One that holds nothing but pictures that cannot be read is a card, with findings.

    Raises:
        NoSuchCard: there is neither a frame nor a file that should have become one.
    """
    if scan.frames or scan.unread:
        return
    others = len(scan.ignored)
    beside = f" among {others} other file{'' if others == 1 else 's'}" if others else ""
    raise NoSuchCard(
        f"{', '.join(scan.cards)}: no photographs found{beside}; is this the folder of the card?"
    )


def _opened(card: Path) -> str:
    """The real absolute path of a card that can be listed."""
    try:
        folder = Path(card).resolve(strict=True)
        with os.scandir(folder):
            return str(folder)
    except FileNotFoundError as error:
        raise NoSuchCard(f"{card}: there is no such folder; is the card in the reader?") from error
    except NotADirectoryError as error:
        raise NoSuchCard(f"{card}: this is a file; name the folder it lies in") from error
    except PermissionError as error:
        raise NoSuchCard(
            f"{card}: not allowed to open this folder; make it readable or run as its owner"
        ) from error
    except (OSError, RuntimeError, ValueError) as error:  # loops of links; NUL in a name
        raise NoSuchCard(f"{card}: cannot open this folder: {error}") from error


def _outermost(folders: Sequence[str]) -> list[str]:
    kept: list[str] = []
    for folder in dict.fromkeys(folders):
        if not any(other != folder and _is_inside(folder, other) for other in folders):
            kept.append(folder)
    return kept


def _is_inside(path: str, folder: str) -> bool:
    return path == folder or path.startswith(folder.rstrip(os.sep) + os.sep)


def _walk(card: str, root: str, cards: Sequence[str], settings: Settings, pile: _Pile) -> None:
    """Gather the files under one card. ``hidden`` folders are walked, to count their files."""
    todo = [(card, False)]
    while todo:
        folder, hidden = todo.pop()
        entries, error = _listing(folder)
        if error is not None and not hidden:
            pile.unread.append(_closed(_relative(folder, root), error))
        if folder != card and any(_is_our_manifest(entry) for entry in entries):
            continue
        start = "" if folder == root else f"{_relative(folder, root)}/"
        for entry in entries:
            passed = hidden or _is_hidden(entry.name)
            file = start + entry.name
            kind = _kind(entry)
            if kind == "folder":
                todo.append((entry.path, passed))
            elif passed or _is_ignored(file, settings) or not _may_be_picture(file):
                pile.ignored.append(file)
            elif kind == "link":
                _place_link(entry, file, cards, pile, follow=settings.read.follow_links)
            elif kind == "file":
                pile.files.append(file)
            else:
                pile.ignored.append(file)


def _listing(folder: str) -> tuple[list[os.DirEntry[str]], OSError | None]:
    """What lies in a folder, as far as it can be listed, and what ended the listing early."""
    entries: list[os.DirEntry[str]] = []
    try:
        with os.scandir(folder) as listing:
            entries.extend(listing)  # what came before an error stays
    except OSError as error:
        return entries, error
    return entries, None


def _kind(entry: os.DirEntry[str]) -> Literal["folder", "link", "file", "other"]:
    """What an entry is. Where even that cannot be told it counts as a file: reading it will
    say what is wrong.
    """  # noqa: D205
    try:
        if entry.is_symlink():
            return "link"
        if entry.is_dir(follow_symlinks=False):
            return "folder"
        return "file" if entry.is_file(follow_symlinks=False) else "other"
    except OSError:
        return "file"


def _relative(path: str, root: str) -> str:
    return os.path.relpath(path, root).replace(os.sep, "/")


def _closed(file: str, error: OSError) -> Unread:
    reason, detail = explain_disk(error)
    return Unread(
        file=file,
        reason=cast(UnreadReason, reason),
        detail=f"the folder cannot be listed: {detail}",
    )


def _is_hidden(name: str) -> bool:
    """Hidden files and folders, the forks that macOS leaves beside files, and system folders."""
    return name.startswith(".") or name.lower() in SYSTEM_FOLDERS


def _is_ignored(file: str, settings: Settings) -> bool:
    if not settings.read.ignore:
        return False
    name = file.rpartition("/")[2]
    return any(
        fnmatchcase(file, pattern) or fnmatchcase(name, pattern) for pattern in settings.read.ignore
    )


def _may_be_picture(file: str) -> bool:
    name = file.rpartition("/")[2].lower()
    stem, dot, suffix = name.rpartition(".")
    return not (dot and stem and f".{suffix}" in OTHER_SUFFIXES)


def _place_link(
    entry: os.DirEntry[str], file: str, cards: Sequence[str], pile: _Pile, *, follow: bool
) -> None:
    """Judge a link: to a file outside the cards it counts as that file, else it is passed over.

    Where links are not to be followed none is, nor looked through.
    """
    if not follow:
        pile.ignored.append(file)
        return
    try:
        target = os.path.realpath(entry.path, strict=True)
        plain = entry.is_file()
    except (OSError, ValueError):
        pile.unread.append(Unread(file=file, reason="vanished", detail="a link that leads nowhere"))
        return
    if plain and not any(_is_inside(target, card) for card in cards):
        pile.files.append(file)
    else:
        pile.ignored.append(file)


def _is_our_manifest(entry: os.DirEntry[str]) -> bool:
    if entry.name != OUR_MANIFEST or _kind(entry) != "file":
        return False
    try:
        with open(entry.path, "rb") as stream:  # noqa: PTH123 - may be an undecodable name
            return _OURS.search(stream.read(_MANIFEST_BYTES)) is not None
    except OSError:
        return False
