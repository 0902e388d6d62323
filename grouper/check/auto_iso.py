"""ISO was left automatic, and by luck did not change.

What it looks for
    Frames recorded with automatic ISO in a set whose ISO stayed the same. Once it moves,
    mixed-iso speaks instead.

Why it matters
    With a manual shutter and aperture, automatic ISO still changes the exposure from frame to
    frame.

When it is wrong
    Bodies that record automatic ISO although a fixed value was in force through a limit.

What to do
    Nothing has to be shot again. Before the next set choose a fixed ISO.

Settings
    check.same_exposure_ev: ISO values count as equal within this many EV.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.automatic import left_automatic
from grouper.check.mixed import find_odd
from grouper.check.traits import iso_trait
from grouper.check.views import frames_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = "Nothing to shoot again; before the next set choose a fixed ISO."


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames with automatic ISO, unless it moved."""
    if find_odd(found, iso_trait(settings.check)):
        return
    frames = [frame for frame in frames_in_use(found) if frame.iso_auto]
    yield from left_automatic(found, frames, "automatic ISO", _ADVICE)


CHECK = SetCheck(
    code="auto-iso", severity="note", kinds=("panorama", "bracket", "focus-stack"), find=find
)
