"""The grouping of this set is unsure.

What it looks for
    Sets whose confidence, the chance that the set holds exactly the right frames, is below the
    limit.

Why it matters
    A frame too many or too few changes what every other check says of the set.

When it is wrong
    Confidence is calibrated on rendered and on some real cards; unusual ways of working may be
    rated too low.

What to do
    Look at the set in the report, at its first and last frames above all, and at the evidence
    listed with it.

Settings
    check.set_in_doubt_below.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when the set's confidence is low."""
    if found.confidence >= settings.check.set_in_doubt_below:
        return
    because = f" ({'; '.join(found.evidence[:3])})" if found.evidence else ""
    yield Problem(
        frames=(),
        message=(
            f"The chance that exactly these {words.counted(len(found.members), 'frame')} belong "
            f"together is put at {words.share(found.confidence)}{because}."
        ),
        advice=(
            "At the desk, look at the first and last frames of the set and at what was shot just "
            "before and after it."
        ),
        measured={"confidence": round(found.confidence, 3)},
    )


CHECK = SetCheck(
    code="set-in-doubt",
    severity="note",
    kinds=("panorama", "bracket", "focus-stack", "burst", "interval"),
    find=find,
)
