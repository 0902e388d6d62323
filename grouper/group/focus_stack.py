"""Focus stacks: one view, one exposure, focus moved step by step."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import Evidence, evenness_weight, relation_weight
from grouper.group.pairs import Floats
from grouper.group.stretches import grow

FEWEST_FRAMES = 3
START = -3.0
"""Weight for a stack starting at a given frame: rarer than a bracket."""
MOVED, HELD = math.log(0.95 / 0.15), math.log(0.03 / 0.70)
"""Weight of a recorded focus distance that moved, and of one that did not."""
ONE_WAY = 2.0
"""Focus that runs one way from frame to frame is a stack, not a second try."""
WANDERS, STANDS = 2.5, -4.0
"""Where no focus distance was recorded the pictures must show focus moving: fields that grow
sharp while others blur, in one direction through the series."""
LEAST_WANDERING = 0.06
"""Root mean square change of the log gradient energy between fields: JPEG noise on an unchanged
view stays below half of it."""
ONE_WAY_SHARE = 0.75
"""Share of the change along its main direction; a subject that moves spreads over several."""
ONE_WAY_ORDER = 0.8
"""Correlation of the main direction with the order of shooting."""
EXPOSED = math.log(0.03 / 0.30)


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose focus stacks among the frames ``first`` to ``last`` of the strand."""
    pairs = evidence.pairs
    focus = np.array([math.nan if f.focus_m is None else f.focus_m for f in pairs.frames])
    known = np.isfinite(focus[:-1]) & np.isfinite(focus[1:])
    moved = np.where(pairs.changed["focus"], MOVED, HELD)
    weights = (
        relation_weight(evidence, same=0.95, turned=0.04, apart=0.01)
        + np.where(known, moved, 0.0)
        + np.where(evidence.exposed, EXPOSED, 0.0)
        + evidence.settings
        + np.minimum(evidence.pause, evidence.usual_pause)
    )
    for start in range(first, last):
        if weights[start] < 0:
            continue
        for end, weight in grow(start, last, lambda i: float(weights[i])):
            if end - start + 1 < FEWEST_FRAMES or weights[end - 1] < 0:
                continue
            proposal = _judge(evidence, focus, start, end, weight)
            if proposal is not None and proposal.weight > 0:
                yield proposal


def _judge(
    evidence: Evidence, focus: Floats, start: int, end: int, weight: float
) -> Proposal | None:
    span = slice(start, end)
    distances = focus[start : end + 1]
    weight += START + evenness_weight(evidence.log_pause[span], evidence.pairs.pause_slack_s[span])
    reasons = [f"{end - start + 1} frames of one view at one exposure"]
    if np.isfinite(distances).all():
        steps = np.diff(distances)
        if (steps > 0).all() or (steps < 0).all():
            weight += ONE_WAY
            reasons.append(f"focus runs from {distances[0]:.2f} to {distances[-1]:.2f} m")
    else:
        wandering = _wandering(evidence, start, end)
        if wandering is None:
            return None
        weight += wandering
        reasons.append("sharpness wanders through the picture")
    return Proposal(
        kind="focus-stack", first=start, last=end, weight=weight, evidence=tuple(reasons)
    )


def _wandering(evidence: Evidence, start: int, end: int) -> float | None:
    """Weight of sharpness wandering one way through the frames; ``None`` without pictures."""
    glances = evidence.pairs.glances[start : end + 1]
    maps = [glance.focus_map for glance in glances if glance is not None and glance.focus_map]
    if len(maps) != end - start + 1:
        return None
    change = np.array(maps) - np.mean(maps, axis=0)
    if math.sqrt(float((change**2).mean())) < LEAST_WANDERING:
        return STANDS
    left, size, _ = np.linalg.svd(change, full_matrices=False)
    share = float(size[0] ** 2 / (size**2).sum())
    order = abs(float(np.corrcoef(left[:, 0], np.arange(len(maps)))[0, 1]))
    return WANDERS if share >= ONE_WAY_SHARE and order >= ONE_WAY_ORDER else STANDS


RULE = Rule(kind="focus-stack", propose=propose)
