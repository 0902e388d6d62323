"""Highlights hold no detail in any exposure.

What it looks for
    The share of each view that is white, in the exposure that holds the most detail, as far as
    the small picture shows. A blue sky or a lamp of which one colour alone has reached its end
    still holds detail in the others and does not count.

Why it matters
    A burnt-out sky stays white whatever is done to it.

When it is wrong
    The sun, lamps and their reflections clip and should. Small previews are developed with a
    steep curve: a raw file may hold about a stop more. Small highlights vanish in a small
    picture.

What to do
    Expose for the brightest part that must hold detail, or add a darker leg to the bracket.
    Never look for the sun through an optical viewfinder.

Settings
    check.clipped_highlights_share.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.tones import find_lost_tones
from grouper.contracts import Problem, SetCheck
from grouper.model import Glance, Set
from grouper.settings import Settings

_ADVICE = (
    "On location, shoot the named views again with a darker exposure added; at the desk, see "
    "whether the raw file holds more than the preview."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the views whose darkest exposure still clips."""
    yield from find_lost_tones(
        found,
        _lost,
        settings.check.clipped_highlights_share,
        "highlights hold no detail",
        _ADVICE,
    )


def _lost(glance: Glance) -> float:
    return glance.clipped_share if glance.white_share is None else glance.white_share


CHECK = SetCheck(
    code="clipped-highlights", severity="note", kinds=("panorama", "bracket"), find=find
)
