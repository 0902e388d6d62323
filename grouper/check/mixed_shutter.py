"""The shutter speed changed within a set.

What it looks for
    The exposure time of every frame in use against the one most frames share, marks snapped to
    the exact series (1/60 stands for 1/64). With a bracket frames are compared within one leg.
    Brackets on one spot, bursts and interval series are not judged: there the shutter may move.

Why it matters
    Neighbours of different brightness join with visible bands, worst in the sky. Highlights
    that one frame holds are lost in the next.

When it is wrong
    A sweep towards and away from the sun may have been metered frame by frame on purpose;
    software that evens out exposure copes with about one stop, within what the frames hold
    (common practice, no source).

What to do
    Meter once, at the brightest part that must hold detail, and set that exposure by hand for
    the whole sweep. Mind your eyes: never look for the sun through an optical viewfinder.

Settings
    check.same_exposure_ev: exposure times count as equal within this many EV.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from grouper import optics
from grouper.check import words
from grouper.check.mixed import find_mixed
from grouper.check.traits import automatic_frames, shutter_trait
from grouper.check.views import members_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ON_LOCATION = (
    "On location, meter once, set that exposure by hand and shoot the odd frames again (or the "
    "whole sweep if the light has changed)"
)
_AT_THE_DESK = "at the desk, bring all frames to one brightness in the raw files before joining."


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose shutter speed differs, and say if the camera chose it."""
    programs = {frame.program for frame in automatic_frames(found) if frame.program is not None}
    cause = (
        f"The camera chose the shutter speed "
        f"({words.listed([words.program(name) for name in sorted(programs)])}). "
        if programs
        else ""
    )
    trait = shutter_trait(found, settings.check)
    for problem in find_mixed(found, trait, f"{cause}{_ON_LOCATION}; {_AT_THE_DESK}"):
        lights = [
            light
            for member in members_in_use(found)
            if (light := optics.light_ev(trait.read(member))) is not None
        ]
        yield replace(
            problem, measured={**problem.measured, "shutter_range_ev": _span(found, lights)}
        )


def _span(found: Set, lights: list[float]) -> float | None:
    """Range of the shutter in EV; ``None`` for a bracket, whose legs make it meaningless."""
    if any(member.leg for member in found.members):
        return None
    return round(max(lights) - min(lights), 2)


CHECK = SetCheck(
    code="mixed-shutter", severity="warning", kinds=("panorama", "focus-stack"), find=find
)
