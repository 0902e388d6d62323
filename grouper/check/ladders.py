"""Brackets as ladders of light: which legs a view has and how far apart they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from grouper import optics
from grouper.check.norm import median
from grouper.check.views import View
from grouper.model import Member, Set

Place = Literal["leg", "step"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lack:
    """A view that lacks legs or steps its neighbours have."""

    view: View
    missing: tuple[int, ...]


_MOST = 0.6
"""Share of the views that must have a leg for the others to lack it. Where nearly every other
view lacks one, the views were told apart wrongly, not shot so; two views suffice to compare."""


def place_of(member: Member, place: Place) -> int:
    """The member's leg or step."""
    return member.leg if place == "leg" else member.step


def find_lacks(views: Sequence[View], place: Place) -> tuple[Lack, ...]:
    """Views without a leg (or step) that most views have.

    In a set of brackets and focus steps each view is judged for its legs over all steps and
    for its steps over all legs. Nothing is expected of views where most hold one frame. Nor is
    anything lacking where a view that the pictures could not place holds just what another one
    lacks: it is the rest of that view.
    """
    held = {view.number: {place_of(m, place) for m in view.members} for view in views}
    every = sorted({value for values in held.values() for value in values})
    usual = {
        value
        for value in every
        if sum(value in values for values in held.values()) >= _MOST * len(views)
    }
    if len(views) == 2:
        usual = set(every)
    if len(usual) < 2 or len(views) < 2:
        return ()
    lacks = [
        Lack(view=view, missing=tuple(sorted(usual - held[view.number])))
        for view in views
        if usual - held[view.number]
    ]
    return _without_halves(lacks, held)


def _without_halves(lacks: list[Lack], held: dict[int, set[int]]) -> tuple[Lack, ...]:
    """The lacks, less each unplaced view and the placed one that it completes."""
    left = list(lacks)
    for lost in lacks:
        for lack in lacks:
            halves = held[lost.view.number], held[lack.view.number]
            is_rest = not set(lost.missing) & set(lack.missing) and not halves[0] & halves[1]
            is_lost = lost.view.yaw_deg is None and lack.view.yaw_deg is not None
            if is_lost and is_rest and lost in left and lack in left:
                left.remove(lost)
                left.remove(lack)
    return tuple(left)


def light_of_leg(found: Set, leg: int) -> float | None:
    """Light of a leg against the set's middle one, in EV; ``None`` when no frame tells."""
    offsets = [member.ev_offset for member in found.members if member.leg == leg]
    return median(offsets) if offsets else None


def ladder(found: Set, view: View) -> tuple[tuple[Member, float], ...]:
    """The legs of a view, dark to light, with the light recorded in EV (exact marks).

    Empty when a frame's exposure is not known. Of frames at the same leg the first counts.
    """
    grid = optics.recognise_grid(frame.exposure_s for frame in found.frames)
    firsts: dict[int, Member] = {}
    for member in view.members:
        firsts.setdefault(member.leg, member)
    rungs = []
    for member in firsts.values():
        frame = member.frame
        light = optics.snapped_light_ev(frame.exposure_s, frame.aperture_f, frame.iso, grid)
        if light is None:
            return ()
        rungs.append((member, light))
    return tuple(sorted(rungs, key=lambda rung: rung[1]))


def uneven_steps(rungs: Sequence[tuple[Member, float]], tolerance_ev: float) -> list[float]:
    """The steps of a ladder in EV where they differ by more than the tolerance, else none."""
    steps = [b - a for (_, a), (_, b) in pairwise(rungs)]
    if len(steps) < 2 or max(steps) - min(steps) <= tolerance_ev:
        return []
    return steps
