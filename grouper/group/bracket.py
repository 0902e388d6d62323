"""Exposure brackets: one view at several exposures, in any firing order."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import (
    SEEN_AT_BOUNDARY,
    Evidence,
    evenness_weight,
    is_still,
    relation_weight,
)
from grouper.group.exposures import exposure_levels, is_even_ladder
from grouper.group.pairs import Floats
from grouper.group.stretches import grow

MOST_FRAMES = 40
"""Bodies bracket up to 9 frames, people by hand up to about 20 in one go."""
START = -2.5
"""Weight for a bracket starting at a given frame: about one frame in a dozen."""
PAIR_ONLY = -1.5
"""Two frames at two exposures are more often a correction than a bracket."""
FLAGGED = 2.5
"""The body itself says that it was bracketing."""
LADDER = 1.5
"""Equally spaced exposures seldom happen by accident."""
REPEATED_LEVEL = -3.0
"""A bracket does not repeat an exposure; a second bracket of the view does."""
STEP_TAKEN, STEP_MISSED = math.log(0.95 / 0.30), math.log(0.04 / 0.70)
"""Weight of a deliberate change of exposure, and of none, on an unchanged view."""
QUICK_S = 2.0
BLIND_QUICK_STEP = 1.2
"""Without pictures a quick change of exposure with everything else locked says as much."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose brackets among the frames ``first`` to ``last`` of the strand."""
    pairs = evidence.pairs
    relation = relation_weight(evidence, same=0.96, turned=0.03, apart=0.01)
    quick = np.nan_to_num(pairs.pause_s, nan=math.inf) < QUICK_S
    blind = np.where(~evidence.looked & quick & evidence.exposed, BLIND_QUICK_STEP, 0.0)
    exposure = np.where(evidence.exposed, STEP_TAKEN, STEP_MISSED)
    weights = relation + blind + exposure + evidence.settings + evidence.pause
    for start in range(first, last):
        if not evidence.exposed[start]:
            continue
        stretch = _Stretch(evidence, weights, relation, start)
        for end, weight in grow(start, last, stretch.link_weight, MOST_FRAMES):
            proposal = _judge(evidence, start, end, weight)
            if proposal is not None and proposal.weight > 0:
                yield proposal


class _Stretch:
    """The weight of adding one more frame to a bracket that began at ``start``.

    Exposures far apart may show nothing in common with each other and all with a third.
    """

    def __init__(self, evidence: Evidence, weights: Floats, relation: Floats, start: int) -> None:
        self._evidence, self._weights, self._start = evidence, weights, start
        self._unmoved = math.log(0.96 / SEEN_AT_BOUNDARY["same"])
        self._relation = relation

    def link_weight(self, link: int) -> float:
        weight = float(self._weights[link])
        if self._evidence.apart[link] > 0.5:
            tie = self._evidence.tie(link + 1, self._start)
            if tie is not None and is_still(tie):
                weight += self._unmoved - float(self._relation[link])
        return weight


def _judge(evidence: Evidence, start: int, end: int, weight: float) -> Proposal | None:
    pairs = evidence.pairs
    frames = pairs.frames[start : end + 1]
    light = pairs.light[start : end + 1]
    levels = exposure_levels(light)
    if levels is None or len(set(levels)) < 2:
        return None
    weight += START + REPEATED_LEVEL * (len(levels) - len(set(levels)))
    span = slice(start, end)
    weight += evenness_weight(evidence.log_pause[span], pairs.pause_slack_s[span])
    reasons = [f"{len(set(levels))} exposures over {np.ptp(light):.1f} EV"]
    if len(frames) == 2:
        weight += PAIR_ONLY
    flagged = all(frame.bracketing for frame in frames)
    if flagged:
        weight += FLAGGED
        reasons.append("the body recorded that it was bracketing")
    if len(frames) > 2 and is_even_ladder(light):
        weight += LADDER
        reasons.append("equal exposure steps")
    looked = evidence.looked[span]
    if looked.any():
        reasons.append(
            f"one view: {int((evidence.same[span][looked] > 0.5).sum())} of "
            f"{int(looked.sum())} neighbours unmoved"
        )
    return Proposal(kind="bracket", first=start, last=end, weight=weight, evidence=tuple(reasons))


RULE = Rule(kind="bracket", propose=propose)
