"""Exposure was left automatic, and by luck did not change.

What it looks for
    Frames of a panorama or focus stack whose shutter or aperture the camera chose, in a set
    where both stayed the same. Once they move, mixed-shutter or mixed-aperture speaks instead.

Why it matters
    This time the light was even. The next cloud, or the sun entering the frame, changes the
    exposure in the middle of the sweep.

When it is wrong
    Exposure held with the lock button is still recorded as automatic.

What to do
    Nothing has to be shot again. Before the next sweep meter once and set the exposure by hand,
    or hold the exposure lock from the first frame to the last.

Settings
    check.same_exposure_ev: exposures count as equal within this many EV.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.check.automatic import left_automatic
from grouper.check.mixed import find_odd
from grouper.check.traits import aperture_trait, automatic_frames, shutter_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "Nothing to shoot again; before the next set meter once and switch to manual exposure, or "
    "hold the exposure lock from the first frame to the last."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames exposed automatically, unless shutter or aperture moved."""
    if find_odd(found, shutter_trait(found, settings.check)):
        return
    if find_odd(found, aperture_trait(settings.check)):
        return
    frames = automatic_frames(found)
    programs = sorted({frame.program for frame in frames if frame.program is not None})
    what = words.listed([words.program(name) for name in programs])
    yield from left_automatic(found, frames, what, _ADVICE)


CHECK = SetCheck(
    code="auto-exposure", severity="note", kinds=("panorama", "focus-stack"), find=find
)
