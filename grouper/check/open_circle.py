"""A full turn does not close.

What it looks for
    Rows that go so nearly all the way round that a full turn was meant, whose last frame does
    not meet the first. A gap elsewhere in the turn is missing-frame.

Why it matters
    A full turn that stays open by a few degrees cannot be shown as one: the strip ends in a
    wall.

When it is wrong
    A sweep of more than about 330 degrees that was never meant to close.

What to do
    Shoot one frame more, past the first one: going past the start is the safe habit. By day,
    mind where the sun stands before looking through an optical viewfinder.

Settings
    check.trusted_sighting, check.rejected_sighting, check.rejected_score,
    check.missing_frame_steps, check.even_steps, check.covered_overlap.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.check.gaps import Pair, judge_neighbours
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each row that should close and does not."""
    if found.layout is not None and found.layout.closed:
        return
    pairs = judge_neighbours(found, settings.check)
    for pair in pairs:
        if pair.is_seam and _is_open(pair, pairs):
            yield _problem(pair)


def _is_open(pair: Pair, pairs: tuple[Pair, ...]) -> bool:
    if pair.verdict == "gap":
        return True
    # The angles meet but the pictures do not, though all the others do.
    return pair.seen is False and all(other.seen for other in pairs if other is not pair)


def _problem(pair: Pair) -> Problem:
    first, last = (words.base_name(file) for file in pair.frames)
    step = pair.step_deg or 0.0
    if pair.overlap:
        state = f"by the angles {words.share(pair.overlap)} would overlap"
        if pair.seen is False:
            state += ", but the pictures show no common ground"
    else:
        state = "they do not overlap"
    return Problem(
        frames=pair.frames,
        message=(
            f"The full turn does not close: the last frame {last} and the first {first} point "
            f"{words.degrees(step)} apart and {state}."
        ),
        advice=(
            f"On location, shoot on from {last} until {first} is passed; at the desk, it can only "
            f"be joined as an open strip."
        ),
        measured={
            "seam_deg": round(step, 1),
            "overlap_left": None if pair.overlap is None else round(pair.overlap, 3),
        },
    )


CHECK = SetCheck(code="open-circle", severity="warning", kinds=("panorama",), find=find)
