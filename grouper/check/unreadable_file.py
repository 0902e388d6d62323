"""A picture file cannot be read.

What it looks for
    Files that should have become frames and did not: empty, truncated, damaged, in no known
    format, not permitted, or gone while the card was read. Files that merely hold no metadata
    are no-capture-time instead.

Why it matters
    The frame may be lost. If its number falls inside a set, the set has a hole.

When it is wrong
    A format that is read by other programs but not here yet; a file still being copied.

What to do
    Copy the file from the card once more, with another reader or cable, and compare the sizes.
    Until it is recovered write nothing to the card and do not format it: recovery reads what is
    still there. Never format a card before a second copy of everything exists.

Settings
    None.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise

from grouper.check import words
from grouper.check.card_numbers import folder_of, number_of, stem_of
from grouper.check.gaps import skipped_numbers, step_in_numbers
from grouper.contracts import CardCheck, Problem
from grouper.model import Grouping, Scan, Unread
from grouper.settings import Settings

_SAID = {
    "empty": ("is empty", "are empty"),
    "truncated": ("is cut short", "are cut short"),
    "damaged": ("is damaged", "are damaged"),
    "unknown-format": ("is in no known picture format", "are in no known picture format"),
    "not-permitted": ("may not be opened", "may not be opened"),
    "vanished": (
        "disappeared while the card was read",
        "disappeared while the card was read",
    ),
}
_ADVICE = {
    "not-permitted": "At the desk, put the permissions right and read the card again.",
    "vanished": "At the desk, check the cable and the reader and read the card again.",
}
_RECOVER = (
    "On location, shoot the frame again if the scene is still there; at the desk, copy the file "
    "from the card once more with another reader, and write nothing to the card until the frame "
    "is recovered or shot again."
)


def find(scan: Scan, grouping: Grouping, settings: Settings) -> Iterator[Problem]:
    """One problem for each file that falls inside a set, one per reason for the others."""
    others: dict[str, list[Unread]] = defaultdict(list)
    for record in sorted(scan.unread, key=lambda record: record.file):
        if record.reason not in _SAID:
            continue
        place = _place(record, scan, grouping)
        if place is None:
            others[record.reason].append(record)
        else:
            yield _problem([record], place)
    for reason in _SAID:
        if others[reason]:
            yield _problem(others[reason], None)


def _problem(records: Sequence[Unread], place: str | None) -> Problem:
    reason = records[0].reason
    detail = f" ({records[0].detail})" if len(records) == 1 and records[0].detail else ""
    text = f"{words.names(r.file for r in records)} {_SAID[reason][len(records) > 1]}{detail}"
    if place is not None:
        text += f"; by its name it {place}"
    return Problem(
        frames=tuple(record.file for record in records),
        message=f"{text}.",
        advice=_ADVICE.get(reason, _RECOVER),
        measured={"reason": reason, "files": len(records)},
    )


def _place(record: Unread, scan: Scan, grouping: Grouping) -> str | None:
    """Where the file belongs by its name: a frame's other half, or a hole in a set."""
    stem = stem_of(record.file)
    for frame in scan.frames:
        if stem_of(frame.file) == stem:
            return f"is the other half of {frame.name}, which can be read"
    number = number_of(record.file)
    if number is None:
        return None
    for found in grouping.sets:
        for a, b in pairwise(found.frames):
            distance = step_in_numbers(a, b)
            if distance is None or not 1 < distance < _NEAR or a.folder != folder_of(record.file):
                continue
            if number in skipped_numbers(a, distance):
                return f"belongs between {a.name} and {b.name} in the set {found.id}"
    return None


_NEAR = 50
"""A longer hole between two frames is no place to belong to (common practice, no source)."""

CHECK = CardCheck(code="unreadable-file", severity="problem", find=find)
