"""Interruptions: frames of something else amid a sweep that goes on as if they were not there.

Somebody turns up, a bird flies by, a finger slips: the photographer shoots that and goes on
turning. Such frames are taken off the line before it is cut, or they would cut the sweep.
"""

from __future__ import annotations

import math
from typing import TypeGuard

from grouper import optics
from grouper.group.evidence import heading_deg, is_sure_tie
from grouper.group.looking import MOST_MISSES, is_still, is_sure, shift_of
from grouper.group.pairs import Pairs
from grouper.model import Sighting

MOST_FRAMES = MOST_MISSES
"""Frames in a row that interrupt a sweep; with more it was left for another subject."""
SAME_STEP = 1.5
"""The step over an interruption may differ from those beside it by this factor: below it lies
what an unsteady hand does, above it the two steps over a view that could not be matched."""
SAME_WAY_DEG = 45.0
"""The same for its way: beyond it the way is as much across as on."""


def find_interruptions(pairs: Pairs, apart: frozenset[int] = frozenset()) -> tuple[range, ...]:
    """The runs of frames of something else amid sweeps, in order.

    A frame is taken for one only where the pictures leave no doubt: what comes before and after is
    one step of one sweep apart, so that no view has its place between, and it is not found to
    overlap any of them. It may be too plain to tell.

    Args:
        pairs: neighbours and ties, looked at.
        apart: indexes of frames that are known for something else (see ``find_dividers``).
    """
    found: list[range] = []
    first, end = 2, len(pairs.frames) - 2
    while first < end:
        stops = range(first + 1, min(first + MOST_FRAMES, end) + 1)
        runs = (range(first, stop) for stop in stops)  # the shortest first
        run = next((run for run in runs if not apart & {*run} and _interrupts(pairs, run)), None)
        if run is not None:
            found.append(run)
        first = first + 1 if run is None else run.stop + 1
    return tuple(found)


def _interrupts(pairs: Pairs, run: range) -> bool:
    before, after = run.start - 1, run.stop
    over = pairs.seen(before, after)
    if not is_sure_tie(over) or is_still(over):
        return False
    looks = pairs.sightings.back_from(range(run.start, after + 1))
    if any(is_sure(seen) for i, j, seen in looks if (i in run) != (j in run)):
        return False  # it is of the sweep after all
    beside = (pairs.seen(before - 1, before), pairs.seen(after, after + 1))
    return all(_is_step(step) and _is_alike(over, step) for step in beside)


def _is_step(sighting: Sighting | None) -> TypeGuard[Sighting]:
    return sighting is not None and is_sure(sighting) and not is_still(sighting)


def _is_alike(a: Sighting, b: Sighting) -> bool:
    """Whether two steps are about as long and go about the same way."""
    off = abs(optics.within_half_turn(heading_deg(a) - heading_deg(b)))
    longer = abs(math.log(shift_of(a) / shift_of(b)))
    return off < SAME_WAY_DEG and longer < math.log(SAME_STEP)
