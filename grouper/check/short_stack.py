"""A focus step is missing.

What it looks for
    In a panorama with focus steps, the steps of each view against those that most of the views
    have. In a focus stack on one spot, file numbers left out between its frames, or,
    where focus distances are recorded, one step in dioptres much longer than the others.

Why it matters
    Between the two frames lies a band that is sharp in neither.

When it is wrong
    Focus distances are recorded coarsely. A stack shot by hand on the focus ring has uneven
    steps by nature; look at the pictures.

What to do
    Shoot the whole stack again: a single step taken later will not fit, as the light and the
    scene have moved.

Settings
    check.short_stack_steps, check.even_steps.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from grouper import optics
from grouper.check import words
from grouper.check.gaps import find_holes
from grouper.check.ladders import find_lacks
from grouper.check.norm import median
from grouper.check.views import find_views, frames_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Frame, Set
from grouper.settings import Settings

_AT_THE_DESK = (
    "at the desk, look for the missing frame on other cards and copies before anything is "
    "erased, and check the band between the two frames at full size."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each view that lacks a step, or each hole in a stack."""
    if found.kind == "focus-stack":
        yield from _find_gaps(found, settings)
        return
    views = find_views(found)
    for lack in find_lacks(views, "step"):
        place = views.index(lack.view) + 1
        number = len(lack.missing)
        steps = words.listed([str(step + 1) for step in lack.missing])
        yield Problem(
            frames=lack.view.files,
            message=(
                f"View {place} of {len(views)} ({words.names(lack.view.files)}) lacks focus "
                f"{'step' if number == 1 else 'steps'} {steps}, counted from the near end, that "
                f"the other views have."
            ),
            advice=f"On location, shoot the whole stack of this view again; {_AT_THE_DESK}",
            measured={"steps_missing": list(lack.missing)},
        )


def _find_gaps(found: Set, settings: Settings) -> Iterator[Problem]:
    spoken = set()
    for hole in find_holes(found):
        before, after = hole.before.frame, hole.after.frame
        spoken.add((before.file, after.file))
        number = len(hole.numbers)
        yield _gap(
            before,
            after,
            f"The file numbers leave out {words.counted(number, 'place')} between {before.name} "
            f"and {after.name} inside the stack: {words.counted(number, 'step')} "
            f"{words.is_are(number)} missing.",
            {"evidence": "numbers", "frames_missing": number},
        )
    for before, after, step, usual in _long_steps(found, settings):
        if (before.file, after.file) in spoken:
            continue
        yield _gap(
            before,
            after,
            f"The focus moves by {step:.2f} dioptre between {before.name} "
            f"({words.distance(before.focus_m or 0.0)}) and {after.name} "
            f"({words.distance(after.focus_m or 0.0)}), where the other steps are about "
            f"{usual:.2f}.",
            {"evidence": "focus", "step_dioptre": round(step, 3), "usual_dioptre": round(usual, 3)},
        )


def _gap(before: Frame, after: Frame, message: str, measured: dict[str, object]) -> Problem:
    return Problem(
        frames=(before.file, after.file),
        message=message,
        advice=f"On location, shoot the whole stack again; {_AT_THE_DESK}",
        measured=measured,
    )


def _long_steps(found: Set, settings: Settings) -> Iterator[tuple[Frame, Frame, float, float]]:
    """Steps far longer than the others, in a stack whose other steps are even."""
    frames = [frame for frame in frames_in_use(found) if frame.focus_m is not None]
    if len(frames) < len(found.members) or len(frames) < 5:
        return
    focus = [optics.dioptres(frame.focus_m or math.inf) for frame in frames]
    steps = [a - b for a, b in pairwise(focus)]
    if min(steps) <= 0.0 <= max(steps):
        return  # not one run of the focus from near to far or back
    usual = abs(median(steps))
    for index, step in enumerate(steps):
        rest = [abs(other) for place, other in enumerate(steps) if place != index]
        is_even = max(rest) <= settings.check.even_steps * usual
        if is_even and abs(step) >= settings.check.short_stack_steps * usual:
            yield frames[index], frames[index + 1], abs(step), usual


CHECK = SetCheck(
    code="short-stack", severity="problem", kinds=("panorama", "focus-stack"), find=find
)
