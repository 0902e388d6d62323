"""The grouping of this set is unsure.

What it looks for
    Sets whose confidence, the chance that the set holds exactly the right frames, is below the
    limit. And panoramas between most of whose frames, in shooting order, the aperture or the zoom
    was changed by hand: overlapping views of one place rather than a sweep. Where most views hold
    several frames, legs may differ in aperture and nothing is concluded.

Why it matters
    A frame too many or too few changes what every other check says of the set. So what only
    comparing its frames shows (other settings, spares, ends of rows, thin overlap) is left aside
    and named here; a missing frame or exposure is told all the same, unless it is an exposure at
    either end of the set or the settings were changed from frame to frame.

When it is wrong
    Confidence is calibrated on rendered and on some real cards; unusual ways of working may be
    rated too low. A sweep of three whose middle frame alone has another aperture looks like three
    singles.

What to do
    Look at the set in the report, at its first and last frames above all, and at the evidence
    listed with it.

Settings
    check.set_in_doubt_below, check.same_exposure_ev, check.mixed_focal_length_share. Switched off
    (severity), nothing is left aside.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from grouper.check import words
from grouper.check.traits import aperture_trait, focal_length_trait
from grouper.check.views import find_views
from grouper.contracts import Problem, SetCheck
from grouper.model import Member, Set
from grouper.settings import CheckSettings, Settings

_BY_HAND = ("aperture", "manual")
"""Programs in which the photographer sets the aperture."""
_LEAST_CHANGES = 2
"""One change may be a slip, and stays (common practice, no source)."""
_MOST_CHANGED = 0.5
"""Share of the steps from frame to frame beyond which the settings are no slip: on rendered cards
no sweep reached it, one odd frame in five changes two steps of four."""


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when the set's confidence is low or its settings were changed all along."""
    changed = _changed_by_hand(found, settings.check)
    is_unsure = found.confidence < settings.check.set_in_doubt_below
    if not is_unsure and not changed:
        return
    because = f" ({'; '.join(found.evidence[:3])})" if found.evidence else ""
    told = []
    if is_unsure:
        told.append(
            f"The chance that exactly these {words.counted(len(found.members), 'frame')} belong "
            f"together is put at {words.share(found.confidence)}{because}."
        )
    if changed:
        told.append(
            f"Between most of these frames the {words.listed(changed)} was changed by hand, as "
            "nobody does within a sweep: they may be singles of one place."
        )
    measured: dict[str, object] = {"confidence": round(found.confidence, 3)}
    if changed:
        measured["changed_by_hand"] = changed
    yield Problem(
        frames=(),
        message=" ".join(told),
        advice=(
            "At the desk, look at the first and last frames of the set and at what was shot just "
            "before and after it."
        ),
        measured=measured,
    )


def _changed_by_hand(found: Set, settings: CheckSettings) -> list[str]:
    """What was turned at more than half of the steps from frame to frame: names of settings."""
    if found.kind != "panorama" or len(found.members) >= 2 * len(find_views(found)):
        return []
    changed = [_turned(a, b, settings) for a, b in pairwise(found.members)]
    number = sum(bool(nouns) for nouns in changed)
    if number < _LEAST_CHANGES or number <= _MOST_CHANGED * len(changed):
        return []
    return sorted({noun for nouns in changed for noun in nouns})


def _turned(a: Member, b: Member, settings: CheckSettings) -> list[str]:
    """What the photographer turned from one frame to the next: names of settings."""
    traits = [focal_length_trait(settings)]
    if {a.frame.program, b.frame.program} <= set(_BY_HAND):
        traits.append(aperture_trait(settings))
    turned = []
    for trait in traits:
        before, after = trait.read(a), trait.read(b)
        if before is not None and after is not None and not trait.same(before, after):
            turned.append(trait.noun)
    return turned


CHECK = SetCheck(
    code="set-in-doubt",
    severity="note",
    kinds=("panorama", "bracket", "focus-stack", "burst", "interval"),
    find=find,
)
