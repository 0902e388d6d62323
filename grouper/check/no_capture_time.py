"""Frames without a capture time.

What it looks for
    Frames whose time of capture is not recorded or not usable (blanks, zeros), and picture
    files without any metadata.

Why it matters
    Sets are found by what was taken together. A frame without a time can only be placed by its
    number and its picture.

When it is wrong
    Exports, scans and pictures received from others have no capture time by nature.

What to do
    If they belong to a shoot, use the original files. Check that the body's date is set; a body
    whose battery was flat may write none.

Settings
    None.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.contracts import CardCheck, Problem
from grouper.model import Grouping, Scan
from grouper.settings import Settings

_ADVICE = (
    "At the desk, use the original files instead of exports, or put the times right; on location, "
    "check that the body's date and time are set."
)


def find(scan: Scan, grouping: Grouping, settings: Settings) -> Iterator[Problem]:
    """One problem that names every frame without a time."""
    untimed = [frame.file for frame in scan.frames if frame.taken is None]
    bare = [record.file for record in scan.unread if record.reason == "no-metadata"]
    files = sorted([*untimed, *bare])
    if not files:
        return
    verb = "has" if len(files) == 1 else "have"
    why = ""
    if bare and not untimed:
        why = " and no other metadata"
    elif bare:
        why = f" ({len(bare)} of them no metadata at all)"
    yield Problem(
        frames=tuple(files),
        message=(
            f"{words.counted(len(files), 'file')} {verb} no capture time{why}: "
            f"{words.names(files)}."
        ),
        advice=_ADVICE,
        measured={"files": len(files), "without_metadata": len(bare)},
    )


CHECK = CardCheck(code="no-capture-time", severity="warning", find=find)
