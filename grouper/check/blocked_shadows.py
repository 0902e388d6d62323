"""Shadows hold no detail in any exposure.

What it looks for
    The share of each view without shadow detail, in the exposure that holds the most of it, as
    far as the small picture shows.

Why it matters
    Lifted from black, shadows show noise and bands, and joins in them become visible.

When it is wrong
    Night skies and silhouettes are black and should be. Small previews are developed with a
    steep curve: a raw file holds more.

What to do
    Add a brighter leg to the bracket, or expose longer on a tripod.

Settings
    check.blocked_shadows_share.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.tones import find_lost_tones
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, shoot the named views again with a brighter exposure added; at the desk, see "
    "how much the raw file gives before noise shows."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the views whose brightest exposure is still black in places."""
    yield from find_lost_tones(
        found,
        lambda glance: glance.blocked_share,
        settings.check.blocked_shadows_share,
        "shadows hold no detail",
        _ADVICE,
    )


CHECK = SetCheck(code="blocked-shadows", severity="note", kinds=("panorama", "bracket"), find=find)
