"""Near things may not join, for the camera turned about the wrong point.

What it looks for
    Sweeps focused on something near, where a camera turned about the given point beside its
    entrance pupil moves near things against the background by more than blending hides. With a
    rig that names the rail marks of your lenses it says which mark the set needed; where the rig
    says where the rail stood, every sweep is judged, focused near or far.

Why it matters
    The seam cuts through a railing or a stone that stands in two places.

When it is wrong
    The offset is assumed unless you give it: with a panorama head set up for the lens nothing
    shifts, and the setting should be 0. Where neither the focus distance is recorded nor the
    place of the rail given, nothing is said. A zoom between two measured marks is interpolated;
    beyond the outer marks its mark is not known.

What to do
    Turn about the entrance pupil: slide the camera back on a rail until near and far posts keep
    their distance while turning. By hand, turn about the lens and not about yourself, and keep
    near things out of the seams. Note the rail's mark for each focal length, from a zero of your
    own, in the settings file:

        [rig."Quillmark 24-70mm f/4"]
        marks_mm = [[24, 120], [35, 128], [70, 141]]  # focal length, rail mark
        stood_mm = 120  # where the rail stood, if it was left alone

Settings
    check.parallax_offset_mm, check.parallax_shift_px, check.parallax_near_m; the section rig,
    whose lenses are told by the name that the camera recorded, else by focal length.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from grouper import optics
from grouper.check import words
from grouper.check.gaps import judge_neighbours
from grouper.check.norm import find_norm, median
from grouper.check.rail import Rail, find_rail
from grouper.check.views import frames_in_use
from grouper.contracts import Problem, SetCheck
from grouper.lenses import focal_px_from_fov
from grouper.model import Set
from grouper.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class _Turn:
    """How the camera turned from one view to the next."""

    offset_mm: float
    step_deg: float
    focal_px: float

    @property
    def baseline_m(self) -> float:
        return optics.pupil_baseline_m(self.offset_mm / 1000.0, self.step_deg)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when something near would shift visibly."""
    rail = _rail(found, settings)
    turn = _turn(found, settings, rail)
    if turn is None or turn.baseline_m == 0.0:
        return
    limit_px = settings.check.parallax_shift_px
    safe = optics.nearest_safe_m(turn.focal_px, turn.baseline_m, limit_px)
    focus = [frame.focus_m for frame in frames_in_use(found) if frame.focus_m]
    near = median(focus) if focus else None
    if near is not None and near <= settings.check.parallax_near_m:
        shift = optics.parallax_shift_px(turn.focal_px, turn.baseline_m, near)
        seen = (
            f"things at the focus distance of {words.distance(near)} shift by {shift:.0f} px "
            f"against the background; up to {limit_px:g} px only from {words.distance(safe)} on"
        )
        speaks = shift > limit_px
    else:
        # Only where the rail is known to have stood wrong: an assumed offset would speak of
        # every sweep.
        shift = None
        seen = f"things nearer than {words.distance(safe)} shift by more than {limit_px:g} px"
        speaks = _is_given(rail) and safe > settings.check.parallax_near_m
    if speaks:
        yield Problem(
            frames=(),
            message=f"{_turned(turn, rail)}, {seen}.{_needed(rail)}",
            advice=_advice(rail),
            measured={
                "offset_mm": round(turn.offset_mm, 2),
                "focus_m": None if near is None else words.plain_distance(near),
                "shift_px": None if shift is None else round(shift, 1),
                "nearest_safe_m": round(safe, 2),
                **({} if rail is None else rail.measured),
            },
        )


def _turn(found: Set, settings: Settings, rail: Rail | None) -> _Turn | None:
    scale = _focal_px(found)
    pairs = judge_neighbours(found, settings.check)
    steps = [pair.step_deg for pair in pairs if pair.axis == "yaw" and pair.step_deg]
    if scale is None or not steps:
        return None
    offset = settings.check.parallax_offset_mm
    if rail is not None and rail.offset_mm is not None:
        offset = rail.offset_mm
    return _Turn(offset_mm=offset, step_deg=median(steps), focal_px=scale)


def _rail(found: Set, settings: Settings) -> Rail | None:
    """What the rig says of the lens and focal length that most frames share."""
    lens = find_norm([frame.lens for frame in frames_in_use(found)], str.__eq__)
    focal = find_norm([frame.focal_mm for frame in frames_in_use(found)], float.__eq__)
    if focal is None:
        return None
    return find_rail(None if lens is None else lens.value, focal.value, settings.rig)


def _is_given(rail: Rail | None) -> bool:
    return rail is not None and rail.offset_mm is not None


def _turned(turn: _Turn, rail: Rail | None) -> str:
    beside = f"{turn.offset_mm:.3g} mm from the entrance pupil"
    if rail is not None and _is_given(rail):
        about = f"With the rail at {rail.stood_mm:g}, {beside}"
    else:
        about = f"Turned about a point {beside}"
    return f"{about}, in steps of {words.degrees(turn.step_deg)}"


def _needed(rail: Rail | None) -> str:
    return "" if rail is None else f" {rail.said}"


def _advice(rail: Rail | None) -> str:
    desk = "at the desk, place the seams around near things by hand."
    if rail is not None and rail.mark_mm is not None:
        return f"On location, set the rail to {rail.mark_mm:.4g} and shoot the sweep again; {desk}"
    return (
        "On location, turn about the entrance pupil (rail or panorama head), or keep near things "
        f"out of the seams; {desk} If your head is set up for the lens, set the offset to 0."
    )


def _focal_px(found: Set) -> float | None:
    if found.layout is None or found.layout.fov_deg is None:
        return None
    widths = [frame.upright_px[0] for frame in frames_in_use(found) if frame.upright_px]
    return (
        focal_px_from_fov(found.layout.fov_deg[0], median(widths), found.layout.mapping)
        if widths
        else None
    )


CHECK = SetCheck(code="parallax-risk", severity="note", kinds=("panorama",), find=find)
