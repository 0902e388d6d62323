"""Exposure brackets: one view at several exposures, in any firing order."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import (
    SEEN_AT_BOUNDARY,
    STEP_MISSED,
    STEP_TAKEN,
    STILL,
    Evidence,
    evenness_weight,
    light_after,
    still_weight,
)
from grouper.group.exposures import is_tried_out, ladder_reasons, ladder_weight
from grouper.group.looking import is_still
from grouper.group.pairs import Floats
from grouper.group.stretches import grow

MOST_FRAMES = 40
"""Bodies bracket up to 9 frames, people by hand up to about 20 in one go."""
START = -2.5
"""Weight for a bracket starting at a given frame: about one frame in a dozen."""
PAIR_ONLY = -1.5
"""Two frames at two exposures are more often a correction than a bracket."""
QUICK_S = 2.0
"""Bodies and quick hands step the exposure faster than this (common practice, no source)."""
TRIED_OUT = math.log(0.03 / 0.90)
"""Uneven exposures of which the last is that of the frame behind them were mostly tried out: a
bracket seldom ends with the exposure that is gone on with (shares estimated)."""
BLIND_QUICK_STEP = 1.2
"""Without pictures a quick change of exposure with everything else locked says as much."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose brackets among the frames ``first`` to ``last`` of the strand."""
    weights, relation = _link_weights(evidence)
    for start in range(first, last):
        if not evidence.exposed[start]:
            continue
        stretch = _Stretch(evidence, weights, relation, start)
        for end, weight in grow(start, last, stretch.link_weight, MOST_FRAMES):
            proposal = _judge(evidence, start, end, weight)
            if proposal is not None and proposal.weight > 0:
                yield proposal


@lru_cache(maxsize=1)
def _link_weights(evidence: Evidence) -> tuple[Floats, Floats]:
    """Weight of each pair being neighbours in a bracket, and what of it the pictures say.

    Remembered for the strand at hand, on which the rule is asked in every run between dividers.
    """
    pairs = evidence.pairs
    relation = still_weight(evidence)
    quick = np.nan_to_num(pairs.pause_s, nan=math.inf) < QUICK_S
    blind = np.where(~evidence.looked & quick & evidence.exposed, BLIND_QUICK_STEP, 0.0)
    exposure = np.where(evidence.exposed, STEP_TAKEN, STEP_MISSED)
    return relation + blind + exposure + evidence.settings + evidence.pause, relation


class _Stretch:
    """The weight of adding one more frame to a bracket that began at ``start``.

    Exposures far apart may show nothing in common with each other and all with a third.
    """

    def __init__(self, evidence: Evidence, weights: Floats, relation: Floats, start: int) -> None:
        self._evidence, self._weights, self._start = evidence, weights, start
        self._unmoved = math.log(STILL["same"] / SEEN_AT_BOUNDARY["same"])
        self._relation = relation

    def link_weight(self, link: int) -> float:
        weight = float(self._weights[link])
        if self._evidence.apart[link] > 0.5:
            tie = self._evidence.tie(link + 1, self._start)
            if tie is not None and is_still(tie):
                weight += self._unmoved - float(self._relation[link])
        return weight


def _judge(evidence: Evidence, start: int, end: int, weight: float) -> Proposal | None:
    frames = evidence.pairs.frames[start : end + 1]
    ladder = ladder_weight(frames, evidence.pairs.light[start : end + 1])
    if ladder is None:
        return None
    if is_tried_out(frames, evidence.pairs.light[start : end + 1], light_after(evidence, end)):
        ladder += TRIED_OUT
    span = slice(start, end)
    weight += START + ladder + (PAIR_ONLY if len(frames) == 2 else 0.0)
    weight += evenness_weight(evidence.log_pause[span], evidence.pairs.pause_slack_s[span])
    return Proposal(kind="bracket", first=start, last=end, weight=weight)


def explain(evidence: Evidence, first: int, last: int) -> tuple[str, ...]:
    """What speaks for frames ``first`` to ``last`` being a bracket, in words."""
    frames, light = evidence.pairs.frames[first : last + 1], evidence.pairs.light[first : last + 1]
    reasons = ladder_reasons(frames, light)
    looked = evidence.looked[first:last]
    if looked.any():
        unmoved = int((evidence.same[first:last][looked] > 0.5).sum())
        reasons += (f"one view: {unmoved} of {int(looked.sum())} neighbours unmoved",)
    return reasons


RULE = Rule(kind="bracket", propose=propose, explain=explain)
