"""Something moved between the exposures of a view.

What it looks for
    How well the pictures of one view (the legs of a bracket, a spare and the frame used) agree
    where they overlap, against the set's other views, or on its own where there is none to
    compare.

Why it matters
    What stands in two places leaves ghosts when the exposures are merged.

When it is wrong
    A camera that was nudged between the legs looks the same. So does a leg so dark or bright
    that it shows little.

What to do
    Shoot the bracket again when the walkers or the wind have passed; at the desk, merge with
    ghost removal from one leg.

Settings
    check.moved_subject_drop, check.moved_subject_least.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from grouper.check import words
from grouper.check.norm import median
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each view whose frames disagree."""
    scores = _scores(found, settings)
    if not scores:
        return
    worst = {view: min(pairs, key=lambda pair: pair[0]) for view, pairs in scores.items()}
    usual = median([score for score, _ in worst.values()]) if len(worst) >= 3 else None
    for view, (score, files) in sorted(worst.items()):
        limit = (
            settings.check.moved_subject_least
            if usual is None
            else usual - settings.check.moved_subject_drop
        )
        if score >= limit:
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


def _scores(found: Set, settings: Settings) -> dict[int, list[tuple[float, tuple[str, str]]]]:
    """Agreement of the pairs within each view that were seen to overlap."""
    view_of = {member.frame.file: member.view for member in found.members}
    scores: dict[int, list[tuple[float, tuple[str, str]]]] = defaultdict(list)
    for link in found.links:
        a, b = view_of.get(link.a), view_of.get(link.b)
        sighting = link.sighting
        if a is None or a != b or sighting is None:
            continue
        if sighting.certainty >= settings.check.trusted_sighting:
            scores[a].append((sighting.score, (link.a, link.b)))
    return dict(scores)


CHECK = SetCheck(code="moved-subject", severity="note", kinds=("panorama", "bracket"), find=find)
