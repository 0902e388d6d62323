"""A view lacks an exposure that its neighbours have.

What it looks for
    In a bracketed panorama, the legs of each view against the legs that most of the views have;
    a frame that the pictures could not place is taken for the leg that just one view lacks.
    In a bracket on one spot, file numbers left out between its frames (a bracket
    whose remaining steps are uneven is reported as uneven-bracket).

Why it matters
    The view lacks highlights or shadows that its neighbours hold; merged, it stands out as a
    lighter or darker, noisier patch.

When it is wrong
    A view that was bracketed on purpose when the others were not, or a bracket stopped on
    purpose.

What to do
    Shoot the whole bracket of the named view again, from the same spot and in the same light.
    Keep the shutter pressed, or use the timer, until the series is complete.

Settings
    check.uneven_bracket_ev: steps that differ by more are uneven.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.check.gaps import find_holes
from grouper.check.ladders import find_lacks, ladder, light_of_leg, uneven_steps
from grouper.check.views import find_views
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_AT_THE_DESK = (
    "at the desk, look for the missing exposure on other cards and copies before anything is "
    "erased, else develop the nearest leg twice in its place."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each view that lacks a leg."""
    if found.kind == "bracket":
        yield from _find_hole(found, settings)
        return
    views = find_views(found)
    for lack in find_lacks(views, "leg"):
        place = views.index(lack.view) + 1
        legs = words.listed([_leg(found, leg) for leg in lack.missing])
        has = words.names(lack.view.files)
        yield Problem(
            frames=lack.view.files,
            message=(
                f"View {place} of {len(views)} ({has}) lacks the {legs} "
                f"{'frame' if len(lack.missing) == 1 else 'frames'} that the other views have."
            ),
            advice=(
                f"On location, shoot the whole bracket of this view again in the same light; "
                f"{_AT_THE_DESK}"
            ),
            measured={
                "legs_missing": list(lack.missing),
                "ev_missing": [_light(found, leg) for leg in lack.missing],
            },
        )


def _leg(found: Set, leg: int) -> str:
    light = light_of_leg(found, leg)
    return f"leg {leg}" if light is None else words.signed_stops(light)


def _light(found: Set, leg: int) -> float | None:
    light = light_of_leg(found, leg)
    return None if light is None else round(light, 2)


def _find_hole(found: Set, settings: Settings) -> Iterator[Problem]:
    views = find_views(found)
    if len(views) != 1:
        return
    if uneven_steps(ladder(found, views[0]), settings.check.uneven_bracket_ev):
        return
    for hole in find_holes(found):
        before, after = hole.before.frame, hole.after.frame
        number = len(hole.numbers)
        yield Problem(
            frames=(before.file, after.file),
            message=(
                f"The file numbers leave out {words.counted(number, 'place')} between "
                f"{before.name} and {after.name} inside the bracket: "
                f"{words.counted(number, 'exposure')} {words.is_are(number)} missing."
            ),
            advice=f"On location, shoot the bracket again in the same light; {_AT_THE_DESK}",
            measured={"evidence": "numbers", "frames_missing": number},
        )


CHECK = SetCheck(code="short-bracket", severity="problem", kinds=("panorama", "bracket"), find=find)
