"""More than one lens within a set.

What it looks for
    The lens name of every frame in use against the one most frames share. Frames that record no
    lens are not judged.

Why it matters
    Two lenses differ in angle, distortion, colour and the place of the entrance pupil; joined
    pictures show it even where the focal length is the same.

When it is wrong
    An extender, or a firmware that spells the name in two ways, changes the name but not the
    picture. Lenses without contacts record no name or the last one chosen from a list.

What to do
    If the change was meant (a longer lens for a detail), leave the odd frames out of the join;
    otherwise shoot them again.

Settings
    None.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import lens_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, shoot the odd frames again with the lens of the others; at the desk, "
    "treat them as another set."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose lens differs."""
    yield from find_mixed(found, lens_trait(), _ADVICE)


CHECK = SetCheck(
    code="mixed-lens",
    severity="problem",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
        "interval",
    ),
    find=find,
)
