"""The flash fired in some frames only.

What it looks for
    Whether the flash fired in every frame in use, against most frames.

Why it matters
    Light from the camera falls on near things only, from another side, and ends at a few
    metres: a frame with flash cannot be matched to one without.

When it is wrong
    A view lit on purpose, for instance to fill the dark leg of an interior. Other people's
    flashes are not seen here.

What to do
    Switch the built-in flash off. If the flash was meant, give it time to charge between
    frames.

Settings
    None.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import flash_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, switch the flash off (or let it charge) and shoot the odd frames again; "
    "at the desk, nothing evens out a flash."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose flash differs."""
    yield from find_mixed(found, flash_trait(), _ADVICE)


CHECK = SetCheck(
    code="mixed-flash",
    severity="warning",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
    ),
    find=find,
)
