"""The set is not what the brief asks for.

What it looks for
    Every rule of the brief in the settings file, held against each set: aperture, ISO, slowest
    shutter, focal length, orientation, exposures a view, views, rows, overlap, span, full turn,
    and what must not be left automatic.

Why it matters
    Whoever shot the set has gone home by the time somebody else finds that it cannot be used.

When it is wrong
    The brief is about panoramas unless it names other kinds, so a rig test counts as well. What
    the camera did not record is not known, and neither meets nor breaks a rule. Frames that
    another one replaces are not judged. A frame that breaks a rule may also differ from its
    fellows: then both are told, for the one is about the order and the other about the join. Only
    neighbours that share too little are told once: as missing-frame where a view is missing, to
    which the brief's table refers, and here instead of as thin-overlap.

What to do
    Shoot the set again as asked while you are there. Give the assistant a file such as this one
    and run grouper check CARD --settings brief.toml before the card leaves the place:

        [brief]
        aperture_f = [8, 11]
        iso_most = 200
        slowest_s = "1/15"
        focal_mm = [24, 35]
        orientation = "upright"
        views = [6, 12]
        legs = 3
        overlap_least = 0.25
        locked = ["exposure", "white-balance", "focus"]

Settings
    brief.kinds, brief.aperture_f, brief.iso_most, brief.slowest_s, brief.orientation,
    brief.focal_mm, brief.views, brief.rows, brief.legs, brief.overlap_least,
    brief.span_deg_least, brief.closed, brief.locked. Ranges are [least, most], or one number;
    focal_mm lists the lengths allowed.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import get_args

from grouper.check.brief import judge_brief
from grouper.contracts import Problem, SetCheck
from grouper.model import Set, SetKind
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each rule that is not met."""
    for line in judge_brief(found, settings):
        if line.passed is not False:
            continue
        again = "the named frames" if 0 < len(line.frames) < len(found.members) else "the whole set"
        yield Problem(
            frames=line.frames if len(line.frames) < len(found.members) else (),
            message=(
                f"The brief's rule on {line.rule} is not met: asked for {line.asked}, found "
                f"{line.found}."
            ),
            advice=(
                f"On location, shoot {again} again as the brief asks; at the desk, let whoever "
                "wrote the brief say whether it will do."
            ),
            measured={"rule": line.rule, "asked": line.asked, "found": line.found},
        )


CHECK = SetCheck(code="brief-unmet", severity="problem", kinds=get_args(SetKind), find=find)
