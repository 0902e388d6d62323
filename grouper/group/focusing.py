"""Focus that moves on one view, by recorded distances or by where the pictures are sharp."""

from __future__ import annotations

import math

import numpy as np

from grouper.group.evidence import Evidence
from grouper.group.pairs import Floats

MOVED, HELD = math.log(0.95 / 0.15), math.log(0.03 / 0.70)
"""Weight of a recorded focus distance that moved, and of one that did not."""
ONE_WAY = 2.0
"""Focus that runs one way from frame to frame is a stack, not a second try."""
TURNED_BACK = -3.0
"""Focus that jumps back begins another stack."""
WANDERS, STANDS = 2.5, -2.0
"""Weight for the series where focus is seen to move, and per pair where it is not. Where no
focus distance was recorded the pictures must show focus moving: fields that grow
sharp while others blur, in one direction through the series."""
LEAST_WANDERING = 0.04
"""Root mean square change of the log gradient energy between fields: JPEG noise on an unchanged
view stays below it."""
ONE_WAY_SHARE = 0.75
"""Share of the change along its main direction; a subject that moves spreads over several."""
ONE_WAY_ORDER = 0.8
"""Correlation of the main direction with the order of shooting."""
STOOD_SHARE = 0.01
"""Frames shifted by more of the frame were not shot from a tripod, nor in one go: their fields show
other parts of the subject, and that those are sharp elsewhere says nothing of focus. A tripod
holds to a third of this, a hand that shoots again is off by twice as much or more (measured on
rendered cards and on real stacks)."""
FAR_M = 1e9
"""Stands for infinity where only the order of distances counts."""


def focus_weight(evidence: Evidence, start: int, end: int) -> tuple[float, str] | None:
    """Weight of focus moving one way through frames ``start`` to ``end``, and how it shows.

    ``None`` where neither distances nor pictures can tell.
    """
    frames = evidence.pairs.frames[start : end + 1]
    distances = [frame.focus_m for frame in frames]
    if all(distance is not None for distance in distances):
        values = np.array([float(distance) for distance in distances if distance is not None])
        return _recorded(values, evidence.pairs.changed["focus"][start:end])
    return _wandering(evidence, start, end)


def _recorded(distances: Floats, moved: np.ndarray) -> tuple[float, str]:
    weight = float(np.where(moved, MOVED, HELD).sum())
    steps = np.sign(np.diff(np.minimum(distances, FAR_M)))
    steps = steps[steps != 0]
    turns = int((np.diff(steps) != 0).sum())
    weight += TURNED_BACK * turns if turns else ONE_WAY
    return weight, f"focus runs from {distances[0]:.2f} to {distances[-1]:.2f} m"


def _stood(evidence: Evidence, start: int, end: int) -> bool:
    """Whether most neighbours were matched, and none of those is shifted."""
    known = evidence.same[start:end] + evidence.turned[start:end] > 0.5  # likelier than not
    shift = evidence.shift[start:end][known]
    return len(shift) * 2 > end - start and float(shift.max()) <= STOOD_SHARE


def _wandering(evidence: Evidence, start: int, end: int) -> tuple[float, str] | None:
    glances = evidence.pairs.glances[start : end + 1]
    maps = [glance.focus_map for glance in glances if glance is not None and glance.focus_map]
    if len(maps) != end - start + 1 or len(maps) < 3 or not _stood(evidence, start, end):
        return None
    change = np.array(maps) - np.mean(maps, axis=0)
    if math.sqrt(float((change**2).mean())) < LEAST_WANDERING:
        return STANDS * (end - start), "the same parts are sharp throughout"
    left, size, _ = np.linalg.svd(change, full_matrices=False)
    share = float(size[0] ** 2 / (size**2).sum())
    order = abs(float(np.corrcoef(left[:, 0], np.arange(len(maps)))[0, 1]))
    if share >= ONE_WAY_SHARE and order >= ONE_WAY_ORDER:
        return WANDERS, "sharpness wanders through the picture"
    return STANDS * (end - start), "sharpness does not wander one way"
