"""Focus stacks: one view, one exposure, focus moved step by step."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import FAST_S, Evidence, evenness_weight, still_weight
from grouper.group.focusing import FAR_M, focus_weight
from grouper.group.rhythm import drive_pauses, stands_out
from grouper.group.stretches import ends_at, grow

FEWEST_FRAMES = 3
"""Two distances are a second try at one; three may be steps (common practice, no source)."""
START = -3.0
"""Weight for a stack starting at a given frame: rarer than a bracket."""
STRONG = 2.0
"""Pairs above this weight lie inside a stack in every way to cut the strand."""
DRIVEN = math.log(0.25 / 0.06)
"""Bodies that step the focus themselves fire as fast as a burst, and bursts are commoner."""
EXPOSED = math.log(0.03 / 0.30)
"""The exposure stays as it is through a stack; elsewhere it moves often. Shares estimated."""
SURELY_TURNED = 0.8
"""A lens that breathes shifts nothing: one sure turn, and it is not one view."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose focus stacks among the frames ``first`` to ``last`` of the strand."""
    pairs = evidence.pairs
    pause = np.minimum(evidence.pause, evidence.usual_pause)
    fast = drive_pauses(pairs) < FAST_S
    weights = (
        still_weight(evidence)
        + np.where(fast, np.minimum(pause, DRIVEN), pause)
        + np.where(evidence.exposed, EXPOSED, 0.0)
        + evidence.settings
        + evidence.exposure
    )
    starts, ends = ends_at(weights, (weights < STRONG) | _may_begin_again(evidence), first, last)
    for start in starts:
        if weights[start] < 0:
            continue
        for end, weight in grow(start, last, lambda i: float(weights[i])):
            if end not in ends or end - start + 1 < FEWEST_FRAMES or weights[end - 1] < 0:
                continue
            proposal = _judge(evidence, start, end, weight)
            if proposal is not None and proposal.weight > 0:
                yield proposal


def _may_begin_again(evidence: Evidence) -> NDArray[np.bool_]:
    """Pairs at which a second stack of the same view might begin.

    The focus turns back, or the pause is longer than the ones before and after.
    """
    pairs = evidence.pairs
    focus = np.array([math.nan if f.focus_m is None else f.focus_m for f in pairs.frames])
    with np.errstate(invalid="ignore"):
        way = np.sign(np.diff(np.minimum(focus, FAR_M)))
    padded = np.concatenate([[np.nan], way, [np.nan]])
    turns = (way != 0) & ((padded[:-2] * way < 0) | (padded[2:] * way < 0))
    found: NDArray[np.bool_] = turns | stands_out(evidence.log_pause)
    return found


def _judge(evidence: Evidence, start: int, end: int, weight: float) -> Proposal | None:
    focus = focus_weight(evidence, start, end)
    span = slice(start, end)
    if focus is None or focus[0] <= 0:
        return None  # without focus that moves it is something else, however even and still
    if (evidence.turned[span] > SURELY_TURNED).any():
        return None
    weight += START + focus[0]
    weight += evenness_weight(evidence.log_pause[span], evidence.pairs.pause_slack_s[span])
    reasons = (f"{end - start + 1} frames of one view at one exposure", focus[1])
    return Proposal(kind="focus-stack", first=start, last=end, weight=weight, evidence=reasons)


RULE = Rule(kind="focus-stack", propose=propose)
