"""The aperture changed within a set.

What it looks for
    The f-number of every frame in use against the one most frames share. The legs of a bracket
    are no excuse: a bracket made with the aperture is reported as well.

Why it matters
    Another opening means another depth of field and other corner shading. Seams become visible,
    and the legs of a bracket no longer show the same sharpness.

When it is wrong
    A lens without contacts records nothing or a fixed number. A zoom whose largest opening
    changes with the focal length moves the aperture too; then the zoom is what is reported.

What to do
    Bracket with the shutter: manual exposure or aperture priority. Turn program shift and
    automatic depth modes off.

Settings
    check.same_exposure_ev: f-numbers count as equal within this many EV.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import aperture_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, fix the aperture (manual exposure or aperture priority, also while "
    "bracketing) and shoot the odd frames again; at the desk, expect depth of field and "
    "corner shading to differ in them."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose aperture differs."""
    yield from find_mixed(found, aperture_trait(settings.check), _ADVICE)


CHECK = SetCheck(
    code="mixed-aperture",
    severity="warning",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
        "interval",
    ),
    find=find,
)
