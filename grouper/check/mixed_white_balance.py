"""The white balance changed within a set.

What it looks for
    Automatic or fixed white balance, and the light source or colour temperature where it is
    recorded, against what most frames share.

Why it matters
    The colour of the sky jumps from frame to frame. Raw files can be set right afterwards,
    JPEGs only in part.

When it is wrong
    Temperatures recorded by automatic white balance wander a little without being seen. Raw
    files lose nothing.

What to do
    Use a fixed setting (daylight, or a temperature) whenever frames belong together, also when
    shooting raw: it spares a step at the desk.

Settings
    check.mixed_white_balance_mired: colour temperatures count as equal within this many mired.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import white_balance_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, set one fixed white balance; at the desk, raw files take any white "
    "balance, so give all frames the same before joining; JPEGs have to be corrected one "
    "by one."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose white balance differs."""
    yield from find_mixed(found, white_balance_trait(settings.check), _ADVICE)


CHECK = SetCheck(
    code="mixed-white-balance",
    severity="warning",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
        "interval",
    ),
    find=find,
)
