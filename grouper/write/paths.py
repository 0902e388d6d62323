"""Names that become paths in the output folder are checked here, and only here. Pure."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from grouper.errors import CannotWrite
from grouper.model import Set

OWN_PREFIX = ".grouper-"
"""Names that grouper keeps for its own book-keeping in the output folder."""

# 100 characters leave room for suffixes below the 255 bytes that file systems allow a name.
_SET_ID = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,98}[A-Za-z0-9_-]|[A-Za-z0-9]")


def set_folder(one: Set) -> str:
    """The folder of a set, relative to the output folder.

    Raises:
        CannotWrite: the id is no safe path part. Ids hold pieces of file names, which are
            foreign text.
    """
    if _SET_ID.fullmatch(one.id) is None or ".." in one.id:
        raise CannotWrite(f"set id {one.id!r} cannot be used as a folder name; nothing was written")
    return f"sets/{one.id}"


def check_unique_ids(sets: Iterable[Set]) -> None:
    """Make sure that no two sets share a folder, also where case makes no difference.

    Raises:
        CannotWrite: naming the id.
    """
    for folder, times in Counter(set_folder(one).casefold() for one in sets).items():
        if times > 1:
            raise CannotWrite(f"{times} sets share the folder {folder}; nothing was written")


def checked(path: str, writer: str) -> str:
    """A writer's path relative to the output folder, if it is one.

    Raises:
        CannotWrite: the path is absolute, leads out of the folder, or is grouper's own.
    """
    parts = path.split("/")
    bad = any(part in ("", ".", "..") or "\\" in part or "\0" in part for part in parts)
    if bad or parts[0].startswith(OWN_PREFIX) or ":" in parts[0]:
        raise CannotWrite(f"writer {writer!r} asked for the path {path!r}, which is not allowed")
    return path


def unique_names(files: Iterable[str]) -> dict[str, str]:
    """A file name for each file, without its folders, different from all the others.

    Names that occur in several folders get the folders in front
    (``101QMARK_QMK_0001.JPG``); case is not trusted to tell names apart.
    """
    files = list(files)
    times = Counter(_last(file).casefold() for file in files)
    taken: set[str] = set()
    names: dict[str, str] = {}
    for file in files:
        name = _last(file)
        if times[name.casefold()] > 1:
            name = file.replace("/", "_")
        wanted, number = name, 2
        while name.casefold() in taken:
            name, number = f"{number}_{wanted}", number + 1
        taken.add(name.casefold())
        names[file] = name
    return names


def _last(file: str) -> str:
    return file.rsplit("/", 1)[-1]
