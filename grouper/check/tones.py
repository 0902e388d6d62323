"""Tones that no exposure of a view holds, judged from the small pictures."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from grouper.check import words
from grouper.check.views import View, find_views
from grouper.contracts import Problem
from grouper.model import Glance, Member, Set


def find_lost_tones(
    found: Set, lost: Callable[[Glance], float], most: float, what: str, advice: str
) -> Iterator[Problem]:
    """One problem that names, for each such view, its best exposure.

    A tone is only lost where every exposure of the view loses it; so the smallest share over
    the view's frames counts.
    """
    bad = []
    views = find_views(found)
    for view in views:
        best = _best(view, lost)
        if best is not None and best[1] > most:
            bad.append(best)
    if not bad:
        return
    worst, share = max(bad, key=lambda pair: pair[1])
    where = (
        f"In {len(bad)} of {words.counted(len(views), 'view')}" if len(views) > 1 else "In this set"
    )
    best_of = " even in the best exposure" if any(len(v.members) > 1 for v in views) else ""
    yield Problem(
        frames=tuple(member.frame.file for member, _ in bad),
        message=(f"{where} {what}{best_of}: at worst {words.share(share)} of {worst.frame.name}."),
        advice=advice,
        measured={
            "share": {member.frame.file: round(value, 3) for member, value in bad},
            "most": most,
        },
    )


def _best(view: View, lost: Callable[[Glance], float]) -> tuple[Member, float] | None:
    known = [(member, lost(member.glance)) for member in view.members if member.glance is not None]
    return min(known, key=lambda pair: pair[1]) if known else None
