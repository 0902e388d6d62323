"""The lens was zoomed within a set.

What it looks for
    The recorded focal length of every frame in use against the one most frames share (of
    equally many, the one that came first). Where the true focal length is not recorded the 35
    mm equivalent stands in. Spares are left out.

Why it matters
    A zoomed frame shows things at another size: it joins its neighbours with doubled edges, or
    not at all. In a bracket or a focus stack the frames no longer lie on top of each other.

When it is wrong
    Some zooms record a focal length that flickers by a step although nobody touched the ring.
    Prime lenses with adapters may record nothing, or whatever was typed in.

What to do
    Tape the zoom ring, or choose a mark you can see. Shoot the named frames again from the same
    spot while the light is the same; check that the lens does not creep when it points down.

Settings
    check.mixed_focal_length_share: focal lengths count as equal within this share.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import focal_length_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, set the zoom, tape it and shoot the odd frames again, best the whole "
    "set; at the desk, such a frame has to be scaled to the others before anything is "
    "joined."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose focal length differs."""
    yield from find_mixed(found, focal_length_trait(settings.check), _ADVICE)


CHECK = SetCheck(
    code="mixed-focal-length",
    severity="problem",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
        "interval",
    ),
    find=find,
)
