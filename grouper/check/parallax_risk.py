"""Near things may not join, for the camera turned about the wrong point.

What it looks for
    Sweeps focused on something near, where a camera turned about the given point beside its
    entrance pupil moves near things against the background by more than blending hides.

Why it matters
    The seam cuts through a railing or a stone that stands in two places.

When it is wrong
    The offset is assumed unless you give it: with a panorama head set up for the lens nothing
    shifts, and the setting should be 0. Where the focus distance is not recorded nothing is
    said.

What to do
    Turn about the entrance pupil: slide the camera back on a rail until near and far posts keep
    their distance while turning. By hand, turn about the lens and not about yourself, and keep
    near things out of the seams.

Settings
    check.parallax_offset_mm, check.parallax_shift_px, check.parallax_near_m.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper import optics
from grouper.check import words
from grouper.check.gaps import judge_neighbours
from grouper.check.norm import median
from grouper.check.views import frames_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when something at the focus distance would shift visibly."""
    focus = [frame.focus_m for frame in frames_in_use(found) if frame.focus_m]
    scale = _focal_px(found)
    pairs = judge_neighbours(found, settings.check)
    steps = [pair.step_deg for pair in pairs if pair.axis == "yaw" and pair.step_deg]
    if not focus or scale is None or not steps:
        return
    near, step = median(focus), median(steps)
    offset_mm, limit_px = settings.check.parallax_offset_mm, settings.check.parallax_shift_px
    baseline = optics.pupil_baseline_m(offset_mm / 1000.0, step)
    if near > settings.check.parallax_near_m or baseline == 0.0:
        return
    shift = optics.parallax_shift_px(scale, baseline, near)
    if shift <= limit_px:
        return
    safe = optics.nearest_safe_m(scale, baseline, limit_px)
    yield Problem(
        frames=(),
        message=(
            f"Turned about a point {offset_mm:.0f} mm from the entrance pupil, in steps of "
            f"{words.degrees(step)}, things at the focus distance of {words.distance(near)} shift "
            f"by {shift:.0f} px against the background; up to {limit_px:g} px only from "
            f"{words.distance(safe)} on."
        ),
        advice=(
            "On location, turn about the entrance pupil (rail or panorama head), or keep near "
            "things out of the seams; at the desk, place the seams around near things by hand. "
            "If your head is set up for the lens, set the offset to 0."
        ),
        measured={
            "offset_mm": offset_mm,
            "focus_m": round(near, 3),
            "shift_px": round(shift, 1),
            "nearest_safe_m": round(safe, 2),
        },
    )


def _focal_px(found: Set) -> float | None:
    if found.layout is None or found.layout.fov_deg is None:
        return None
    widths = [frame.upright_px[0] for frame in frames_in_use(found) if frame.upright_px]
    return optics.focal_px_from_fov(found.layout.fov_deg[0], median(widths)) if widths else None


CHECK = SetCheck(code="parallax-risk", severity="note", kinds=("panorama",), find=find)
