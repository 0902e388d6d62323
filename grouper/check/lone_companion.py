"""A frame lacks the raw file or JPEG that its neighbours have.

What it looks for
    A short run of frames with fewer kinds of file than the frames of the same body just before
    and after it. Longer runs are a change of the quality setting. Pictures the body composed
    itself are not judged.

Why it matters
    One of the two files of the frame was deleted, left behind, or never written.

When it is wrong
    The quality setting was changed for a frame or two on purpose; the raw files were moved
    elsewhere already.

What to do
    Look for the missing file on the second card slot and on other copies before anything is
    erased.

Settings
    check.lone_companion_run: the longest run of frames that counts as odd.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import groupby

from grouper.check import words
from grouper.check.card_numbers import frames_by_file, stem_of
from grouper.contracts import CardCheck, Problem
from grouper.model import Frame, Grouping, Scan
from grouper.settings import Settings

_ADVICE = (
    "At the desk, look for the missing file in the second card slot and on other copies before "
    "anything is erased."
)


def find(scan: Scan, grouping: Grouping, settings: Settings) -> Iterator[Problem]:
    """One problem for each body and kind of missing file."""
    frames = frames_by_file(scan.frames)
    unread = {stem_of(record.file) for record in scan.unread}
    set_of = {frame.file: found.id for found in grouping.sets for frame in found.frames}
    for files in grouping.order:
        own = [frames[file] for file in files if file in frames and not frames[file].composite]
        lone: dict[tuple[str, ...], list[Frame]] = defaultdict(list)
        for frame, lacks in _find_lone(own, set_of, settings.check.lone_companion_run):
            # A half that is there but unreadable is unreadable-file already.
            if stem_of(frame.file) not in unread:
                lone[lacks].append(frame)
        for lacks, odd in sorted(lone.items()):
            yield _problem(lacks, odd)


def _find_lone(
    frames: list[Frame], set_of: dict[str, str], longest: int
) -> Iterator[tuple[Frame, tuple[str, ...]]]:
    kinds = [_kinds(frame) for frame in frames]
    runs = [(kind, list(group)) for kind, group in groupby(range(len(frames)), kinds.__getitem__)]
    for place, (kind, indexes) in enumerate(runs):
        beside = [runs[other] for other in (place - 1, place + 1) if 0 <= other < len(runs)]
        if len(indexes) > longest or not beside:
            continue
        usual = beside[0][0]
        flanked = all(other == usual and len(group) >= 2 for other, group in beside)
        if flanked and len(beside) < 2:
            # At either end of the card the setting may simply have been changed, unless the
            # frames belong to the set beside them.
            flanked = _is_same_set(frames, indexes, beside[0][1], set_of)
        if flanked and kind < usual:
            lacks = tuple(sorted(usual - kind))
            yield from ((frames[index], lacks) for index in indexes)


def _is_same_set(
    frames: list[Frame], indexes: list[int], beside: list[int], set_of: dict[str, str]
) -> bool:
    near = beside[0] if beside[0] > indexes[-1] else beside[-1]
    sets = {set_of.get(frames[index].file) for index in (*indexes, near)}
    return len(sets) == 1 and None not in sets


def _kinds(frame: Frame) -> frozenset[str]:
    return frozenset(_suffix(file) for file in (frame.file, *frame.companions)) - {""}


def _suffix(file: str) -> str:
    name = file.rpartition("/")[2]
    return name.rpartition(".")[2].upper() if "." in name else ""


def _problem(lacks: tuple[str, ...], frames: list[Frame]) -> Problem:
    verb = "lacks" if len(frames) == 1 else "lack"
    which = words.listed([f"{kind} file" for kind in lacks])
    return Problem(
        frames=tuple(frame.file for frame in frames),
        message=(
            f"{words.names(frame.file for frame in frames)} {verb} the {which} that the frames "
            f"before and after have."
        ),
        advice=_ADVICE,
        measured={"lacks": list(lacks), "frames": len(frames)},
    )


CHECK = CardCheck(code="lone-companion", severity="note", find=find)
