"""Neighbours overlap too little to be joined safely.

What it looks for
    Neighbours in a row whose common share of the frame, as seen in the pictures or else worked
    out from the angles, is below the limit but which still meet. Pairs that do not meet at all
    are missing-frame.

Why it matters
    Joining needs common detail in both frames. Below about a fifth of the frame there are too
    few details, and they lie at the edges, where lenses draw worst.

When it is wrong
    Rich detail joins with less, moving water or foliage needs more. Where overlap is worked out
    from angles it carries the error of the focal length.

What to do
    Shoot the named pairs again with a frame in between. Plan a quarter to a third of the frame
    on a tripod, two fifths to a half by hand or with very wide lenses.

Settings
    check.thin_overlap_share; what counts as a gap instead, see missing-frame.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.check.gaps import Pair, judge_neighbours
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem that names every thin pair."""
    pairs = judge_neighbours(found, settings.check)
    thin = [pair for pair in pairs if pair.verdict == "thin"]
    if not thin:
        return
    overlaps = [pair.overlap for pair in thin if pair.overlap is not None]
    told = words.listed(
        [
            f"{' and '.join(words.base_name(file) for file in pair.frames)} ({_said(pair)})"
            for pair in thin
        ]
    )
    yield Problem(
        frames=_in_order(found, {file for pair in thin for file in pair.frames}),
        message=(
            f"{len(thin)} of {words.counted(len(pairs), 'pair')} of neighbours "
            f"{'overlaps' if len(thin) == 1 else 'overlap'} by less than "
            f"{words.share(settings.check.thin_overlap_share)}: {told}."
        ),
        advice=(
            "On location, shoot a frame in between, or the sweep again with smaller steps; at the "
            "desk, expect to set control points for these pairs by hand."
        ),
        measured={
            "pairs": [
                {"frames": list(pair.frames), "overlap": _rounded(pair.overlap)} for pair in thin
            ],
            "least_overlap": _rounded(min(overlaps)) if overlaps else None,
        },
    )


def _said(pair: Pair) -> str:
    return "nothing seen" if pair.overlap is None else words.share(pair.overlap)


def _rounded(overlap: float | None) -> float | None:
    return None if overlap is None else round(overlap, 3)


def _in_order(found: Set, files: set[str]) -> tuple[str, ...]:
    return tuple(frame.file for frame in found.frames if frame.file in files)


CHECK = SetCheck(code="thin-overlap", severity="warning", kinds=("panorama",), find=find)
