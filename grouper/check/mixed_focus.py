"""The focus moved within a set.

What it looks for
    The recorded focus distance of every frame in use against the one most frames share,
    compared in dioptres; with focus steps, among the frames of one step.

Why it matters
    Sharpness jumps at the seams, and many lenses change their angle of view a little as they
    focus. In a bracket the legs no longer lie on top of each other.

When it is wrong
    Distances are recorded coarsely, and some bodies record only a nearest and a farthest mark.
    With a wide lens stopped down both distances may lie within the depth of field: then nothing
    is lost.

What to do
    Focus once (at the hyperfocal distance for a landscape), then switch to manual focus and
    leave the ring alone. Tape it if the lens is heavy.

Settings
    check.mixed_focus_dioptres: distances count as equal within this many 1/m.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import focus_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, focus once, switch to manual focus and shoot the odd frames again; at "
    "the desk, compare their sharpness at full size near and far before joining."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose focus distance differs."""
    yield from find_mixed(found, focus_trait(settings.check), _ADVICE)


CHECK = SetCheck(
    code="mixed-focus",
    severity="warning",
    kinds=(
        "panorama",
        "bracket",
    ),
    find=find,
)
