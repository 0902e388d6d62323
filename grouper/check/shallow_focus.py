"""Sharpness does not reach the background.

What it looks for
    Panoramas without focus steps whose recorded focus distance, focal length and aperture give
    a far limit of sharpness nearer than the background.

Why it matters
    The distance looks soft at full size, and no joining mends it.

When it is wrong
    A near subject with a soft background on purpose. Focus distances are recorded coarsely. The
    limits hold for a circle of confusion of 0.030 mm on a 36 mm wide sensor; large prints ask
    for less.

What to do
    Focus at the hyperfocal distance, stop down, or shoot focus steps at each view.

Settings
    check.shallow_focus_far_m.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from grouper import optics
from grouper.check import words
from grouper.check.norm import median
from grouper.check.views import frames_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when the frames' usual setting leaves the background soft."""
    if any(member.step for member in found.members):
        return
    frames = [
        frame
        for frame in frames_in_use(found)
        if frame.focus_m and frame.focal_mm and frame.aperture_f
    ]
    if not frames:
        return
    focus = median([frame.focus_m or 0.0 for frame in frames])
    focal = median([frame.focal_mm or 0.0 for frame in frames])
    aperture = median([frame.aperture_f or 0.0 for frame in frames])
    circle = optics.circle_of_confusion_mm(frames[0].sensor_long_mm or 36.0)
    if math.isinf(focus):
        return
    far = optics.far_limit_m(focus, focal, aperture, circle)
    if far >= settings.check.shallow_focus_far_m:
        return
    near = optics.near_limit_m(focus, focal, aperture, circle)
    hyperfocal = optics.hyperfocal_m(focal, aperture, circle)
    yield Problem(
        frames=(),
        message=(
            f"Focused at {words.distance(focus)} with {words.millimetres(focal)} at "
            f"{words.aperture(aperture)}, sharpness reaches from {words.distance(near)} to "
            f"{words.distance(far)}: the background is soft."
        ),
        advice=(
            f"On location, focus at {words.distance(hyperfocal)} (the hyperfocal distance) or "
            f"shoot focus steps if the background matters; at the desk, check it at full size."
        ),
        measured={
            "focus_m": round(focus, 3),
            "near_limit_m": round(near, 3),
            "far_limit_m": round(far, 3),
            "hyperfocal_m": round(hyperfocal, 3),
        },
    )


CHECK = SetCheck(code="shallow-focus", severity="note", kinds=("panorama",), find=find)
