"""The same file is on the card twice.

What it looks for
    Files with the same content, byte for byte, under two names or in two folders.

Why it matters
    Copies would be taken for a second shot. They take up room and make it unclear which copy is
    the one that was worked on.

When it is wrong
    It is not: equal content is equal content. Copies kept on purpose as a second copy belong on
    another disk.

What to do
    Leave the copies alone until the card has been read into two places. Then keep one of each
    at the desk.

Settings
    None.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from grouper.check import words
from grouper.contracts import CardCheck, Problem
from grouper.model import Frame, Grouping, Scan
from grouper.settings import Settings


def find(scan: Scan, grouping: Grouping, settings: Settings) -> Iterator[Problem]:
    """One problem for each pair of folders that hold copies of each other."""
    alike: dict[tuple[str, int], list[Frame]] = defaultdict(list)
    for frame in scan.frames:
        if frame.digest is not None:
            alike[frame.digest, frame.size_bytes].append(frame)
    by_folders: dict[tuple[str, str], list[tuple[Frame, Frame]]] = defaultdict(list)
    for frames in alike.values():
        # "QMK_0500 (1).JPG" and "QMK_0500 copy.JPG" are the copies: the plain name is shorter.
        first, *copies = sorted(frames, key=lambda frame: (len(frame.name), frame.file))
        for copy in copies:
            by_folders[first.folder, copy.folder].append((first, copy))
    for (folder, copy_folder), pairs in sorted(by_folders.items()):
        yield _problem(folder, copy_folder, sorted(pairs, key=lambda pair: pair[1].file))


def _problem(folder: str, copy_folder: str, pairs: list[tuple[Frame, Frame]]) -> Problem:
    files = dict.fromkeys(frame.file for pair in pairs for frame in pair)
    if len(pairs) == 1:
        first, copy = pairs[0]
        there = f" in {copy_folder or 'the root'}" if copy_folder != folder else ""
        message = f"{copy.name}{there} is a copy of {first.name}, byte for byte."
    else:
        told = words.names(copy.file for _, copy in pairs)
        where = (
            f"in {copy_folder or 'the root'} are copies of frames in {folder or 'the root'}"
            if copy_folder != folder
            else f"in {folder or 'the root'} are copies of others there"
        )
        message = f"{len(pairs)} files {where}, byte for byte: {told}."
    return Problem(
        frames=tuple(files),
        message=message,
        advice=(
            "At the desk, keep one of each, and only once the card has been read into two places."
        ),
        measured={"copies": {copy.file: first.file for first, copy in pairs}},
    )


CHECK = CardCheck(code="duplicate-frame", severity="note", find=find)
