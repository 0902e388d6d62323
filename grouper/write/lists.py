"""``frames.txt``, ``leg-<n>.txt`` and ``step-<n>.txt``: what a stitcher is fed with. Pure.

One absolute path of a main file a line, LF at the end of each. ``frames.txt`` has every
frame of the set in shooting order, spares too. The lists per leg and per step exist where a
set has several, in shooting order and without spares, so that each view stands in them once.

Paths are the bytes that the file system knows, even where those are no UTF-8. A path with a
line break cannot stand in such a list, and a list that lacked it would be stitched with a
hole: the set concerned gets no lists at all, and ``without_lists`` names it.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator

from grouper.contracts import Writer
from grouper.model import Member, Result, Set
from grouper.write.paths import set_folder


def without_lists(result: Result) -> tuple[str, ...]:
    """Ids of the sets that get no lists because a path in them holds a line break."""
    return tuple(one.id for one in result.sets if not _can_be_listed(result.scan.root, one))


def _render(result: Result, made: str) -> Iterator[tuple[str, bytes]]:
    root = result.scan.root
    for one in result.sets:
        if not _can_be_listed(root, one):
            continue
        folder = set_folder(one)
        yield f"{folder}/frames.txt", _lines(root, one.members)
        used = [member for member in one.members if not member.spare]
        legs = sorted({member.leg for member in used})
        steps = sorted({member.step for member in used})
        for leg in legs if len(legs) > 1 else []:
            yield f"{folder}/leg-{leg}.txt", _lines(root, (m for m in used if m.leg == leg))
        for step in steps if len(steps) > 1 else []:
            yield f"{folder}/step-{step}.txt", _lines(root, (m for m in used if m.step == step))


def _lines(root: str, members: Iterable[Member]) -> bytes:
    return b"".join(os.fsencode(absolute(root, m.frame.file)) + b"\n" for m in members)


def absolute(root: str, file: str) -> str:
    """The absolute path of a file that is relative to the card root."""
    return f"{root.rstrip('/')}/{file}"


def _can_be_listed(root: str, one: Set) -> bool:
    return not any(
        sign in absolute(root, member.frame.file) for member in one.members for sign in "\n\r"
    )


WRITER = Writer(
    name="lists", summary="frames.txt, leg-<n>.txt and step-<n>.txt per set", render=_render
)
