"""The exposures of a bracket are not equally spaced.

What it looks for
    The steps in EV between the exposures of each view, from time, aperture and ISO with the
    marks snapped to the exact series (1/60 stands for 1/64). Views that lack a leg are left to
    short-bracket.

Why it matters
    A step twice as long as the others leaves tones that only noisy shadows or near-clipped
    highlights hold. Most often one exposure is missing from the middle.

When it is wrong
    Brackets set by hand with a wide step at one end on purpose, such as one extra frame for the
    sun.

What to do
    Shoot the bracket again with the body's own bracketing, which spaces its exposures evenly,
    and take care that the shortest or longest time does not run into the body's limit.

Settings
    check.uneven_bracket_ev: steps may differ by this much.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.check.ladders import find_lacks, ladder, uneven_steps
from grouper.check.views import find_views
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, shoot the bracket again with even steps (check that the shutter did not run "
    "into its limit); at the desk, look for the missing exposure on other cards, and merge with "
    "care for noise where the long step lies."
)

_TOLD = 4
"""Steps told one by one; of more only the smallest and the largest."""


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for a set whose views, most of them, are unevenly spaced."""
    views = find_views(found)
    short = {lack.view.number for lack in find_lacks(views, "leg")}
    complete = [view for view in views if view.number not in short and len(view.members) > 2]
    tolerance = settings.check.uneven_bracket_ev
    uneven = [
        (view, steps)
        for view in complete
        if (steps := uneven_steps(ladder(found, view), tolerance))
    ]
    if not uneven:
        return
    view, steps = uneven[0]
    rungs = ladder(found, view)
    place = steps.index(max(steps))
    dark, bright = rungs[place][0].frame, rungs[place + 1][0].frame
    where = "" if len(views) == 1 else f" in {len(uneven)} of {len(views)} views"
    message = f"The exposures are {_told(steps)} apart{where}"
    if is_double(steps, tolerance):
        message += (
            f": between {dark.name} ({words.shutter(dark.exposure_s or 1.0)}) and {bright.name} "
            f"({words.shutter(bright.exposure_s or 1.0)}) one seems to be missing"
        )
    else:
        message += f"; the longest step lies between {dark.name} and {bright.name}"
    yield Problem(
        frames=tuple(file for view, _ in uneven for file in view.files),
        message=f"{message}.",
        advice=_ADVICE,
        measured={"steps_ev": [round(step, 2) for step in steps], "views": len(uneven)},
    )


def _told(steps: list[float]) -> str:
    if len(steps) > _TOLD:
        return words.span(words.stops(min(steps)), words.stops(max(steps)))
    return words.listed([words.stops(step) for step in steps])


def is_double(steps: list[float], tolerance: float) -> bool:
    """Whether the longest step is twice the usual one, as with an exposure left out."""
    usual = min(steps)
    return abs(max(steps) - 2.0 * usual) <= tolerance


CHECK = SetCheck(
    code="uneven-bracket", severity="warning", kinds=("panorama", "bracket"), find=find
)
