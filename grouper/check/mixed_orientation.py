"""A frame stands where the others lie, or the other way round.

What it looks for
    Whether each frame in use is upright or across once the recorded orientation is applied,
    against what most frames are. Square pictures and frames that look steeply up or down are
    not judged.

Why it matters
    An upright frame among frames taken across covers another part of the scene: it leaves gaps
    at its sides or sticks out at top and bottom.

When it is wrong
    Pointed steeply up or down a body cannot tell how it is held and keeps the last value: the
    frame may be right and only its flag wrong. Set the steep limit lower if yours errs early.

What to do
    Look at the frame. If it is right and only flagged wrongly, turn it at the desk; else shoot
    it again. For zenith and ground frames turn the orientation sensor off.

Settings
    check.steep_pitch_deg: frames pitched beyond this are not judged.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import orientation_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, shoot the odd frames again with the camera held as for the others; at "
    "the desk, check first whether the frame is only flagged wrongly, and if so turn it."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose orientation differs."""
    yield from find_mixed(found, orientation_trait(settings.check), _ADVICE)


CHECK = SetCheck(
    code="mixed-orientation",
    severity="problem",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
        "interval",
    ),
    find=find,
)
