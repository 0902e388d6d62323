"""Something moved between the exposures of a view.

What it looks for
    How well the pictures of one view, shot one after the other, agree where they overlap:
    against the set's other views, or on their own where there are too few to compare.

Why it matters
    What stands in two places leaves ghosts when the exposures are merged.

When it is wrong
    A camera that was nudged between the legs looks the same. A leg so dark or bright that it
    shows little is not compared, nor in a lone bracket are exposures far apart, so what moved
    there is not seen; nor is what is smaller than a few pixels of the small picture.

What to do
    Shoot the bracket again when the walkers or the wind have passed; at the desk, merge with
    ghost removal from one leg.

Settings
    check.moved_subject_drop, check.moved_subject_least, check.trusted_sighting.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator

from grouper.check import words
from grouper.check.norm import median
from grouper.check.views import find_views
from grouper.contracts import Problem, SetCheck
from grouper.model import Member, Set
from grouper.settings import Settings

_LEAST_VIEWS = 3
"""Of fewer views none can be told to be the usual one."""
_MOST_EV = 4.5
"""In a lone bracket exposures further apart do not compare: measured, still pairs up to 4 EV
apart agree to 0.85 and better, beyond it down to 0.82 and less."""
_STANDS_OUT = 3.0
"""A view falls out of line where it lies this many times as far below the usual as the lowest of
the others does (three times the reach of all the others: practice)."""
_CLOSE_DROP = 0.08
"""Where the other views agree closely, less than this still does not count: measured, a tenth of
the picture that moved costs 0.13."""
_FEATURELESS = 0.03
"""Spread of grey levels below which there is nothing to agree on but noise and the codec."""
_TOO_BARE = 0.4
"""Share of clipped and blocked picture beyond which agreement means nothing: measured, still
pairs with such a leg agree to 0.44-0.98, whatever the step."""


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each view whose frames disagree."""
    compares_views = len(find_views(found)) >= _LEAST_VIEWS
    scores = _scores(found, settings, most_ev=math.inf if compares_views else _MOST_EV)
    if not scores:
        return
    worst = {view: min(pairs, key=lambda pair: pair[0]) for view, pairs in scores.items()}
    usual = median([score for score, _ in worst.values()]) if len(worst) >= _LEAST_VIEWS else None
    for view, (score, files) in sorted(worst.items()):
        others = [low for other, (low, _) in worst.items() if other != view]
        if score >= _limit(usual, others, settings):
            continue
        first, second = (words.base_name(file) for file in files)
        against = "" if usual is None else f", where the other views reach {usual:.2f}"
        yield Problem(
            frames=files,
            message=(
                f"{first} and {second} show the same view but agree only to {score:.2f}{against}: "
                f"something moved between them."
            ),
            advice=(
                "On location, shoot this view again when nothing moves; at the desk, take what "
                "moved from one exposure only."
            ),
            measured={
                "score": round(score, 3),
                "usual_score": None if usual is None else round(usual, 3),
                "view": view,
            },
        )


def _limit(usual: float | None, others: list[float], settings: Settings) -> float:
    """The agreement below which something moved, by that of the other views."""
    if usual is None:
        return settings.check.moved_subject_least
    most = settings.check.moved_subject_drop
    if len(others) < _LEAST_VIEWS:
        return usual - most
    return usual - min(most, max(_CLOSE_DROP, _STANDS_OUT * (usual - min(others))))


def _scores(
    found: Set, settings: Settings, most_ev: float
) -> dict[int, list[tuple[float, tuple[str, str]]]]:
    """Agreement of the pairs within each view that were seen to overlap."""
    members = {member.frame.file: member for member in found.members}
    scores: dict[int, list[tuple[float, tuple[str, str]]]] = defaultdict(list)
    for link in found.links:
        a, b = members.get(link.a), members.get(link.b)
        sighting = link.sighting
        if a is None or b is None or a.view != b.view or sighting is None:
            continue
        is_trusted = sighting.certainty >= settings.check.trusted_sighting
        if is_trusted and _are_comparable(a, b, most_ev):
            scores[a.view].append((sighting.score, (link.a, link.b)))
    return dict(scores)


def _are_comparable(a: Member, b: Member, most_ev: float) -> bool:
    glances = [member.glance for member in (a, b) if member.glance is not None]
    if any(glance.spread < _FEATURELESS for glance in glances):
        return False
    bare = [glance.clipped_share + glance.blocked_share for glance in glances]
    return abs(a.ev_offset - b.ev_offset) <= most_ev and max(bare, default=0.0) <= _TOO_BARE


CHECK = SetCheck(code="moved-subject", severity="note", kinds=("panorama", "bracket"), find=find)
