"""The ISO changed within a set.

What it looks for
    The ISO of every frame in use against the one most frames share; with a bracket, among the
    frames of one leg, since some bodies bracket by ISO.

Why it matters
    Noise and brightness change from frame to frame, and in a panorama it shows as bands in the
    sky.

When it is wrong
    Bodies that write the ISO actually measured rather than the one that was set.

What to do
    Set a fixed, low ISO. If automatic ISO served to keep a hand-held shutter speed, fix it at
    the highest value it chose.

Settings
    check.same_exposure_ev: ISO values count as equal within this many EV.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import iso_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, switch automatic ISO off and shoot the odd frames again; at the desk, "
    "even out the brightness before joining and expect more noise in the frames with the "
    "higher ISO."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose ISO differs."""
    yield from find_mixed(found, iso_trait(settings.check), _ADVICE)


CHECK = SetCheck(
    code="mixed-iso",
    severity="warning",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
    ),
    find=find,
)
