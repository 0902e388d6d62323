"""Focus stacks: one view, one exposure, focus moved step by step."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from grouper.group.burst import running
from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import Evidence, evenness_weight, still_weight
from grouper.group.focusing import focus_of
from grouper.group.interval import ticking
from grouper.group.pairs import Floats
from grouper.group.reach import FARTHEST, Reach
from grouper.group.rhythm import stands_out
from grouper.group.stretches import ends_at, grow

FEWEST_FRAMES = 3
"""Two distances are a second try at one; three may be steps (common practice, no source)."""
START = -3.0
"""Weight for a stack starting at a given frame: rarer than a bracket."""
STRONG = 2.0
"""Pairs above this weight lie inside a stack in every way to cut the strand."""
HURRIED = math.log(0.05 / 0.06)
"""A hand that steps the focus in between hardly ever fires twice within half a second (estimated),
nor in one second where whole ones are told."""
SAME_SECOND_S = 0.5
"""Whole seconds that differ by less are the same, whatever the exposure between them."""
BY_HAND, DRIVEN, TIMED = math.log(0.5), math.log(0.3), math.log(0.2)
"""Who steps the focus: the photographer; the body, as fast as its drive; a controller or a rail,
to the clock (shares estimated). A stack that is driven or timed has the pauses of a burst or of an
interval series, so these are weighed as theirs: what tells it from them is the focus alone."""
RETRIED = 0.1
"""A thing shot several times over, focused anew each time, keeps still and has the pauses of a
stack, too, and is some four times as common as stacks by hand (estimated). Only if its frames
would come in such an order once in ten times is a stack likelier, two to one."""
EXPOSED = math.log(0.03 / 0.30)
"""The exposure stays as it is through a stack; elsewhere it moves often. Shares estimated."""
SURELY_TURNED, SURELY_APART = 0.8, 0.95
"""A lens that breathes shifts nothing: one sure turn, or two pictures that surely show nothing in
common, and it is not one view. What blurs from one step to the next still matches."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose focus stacks among the frames ``first`` to ``last`` of the strand."""
    stepped, run = _stepped(evidence), running(evidence)
    weights = np.maximum(stepped, run)
    starts, ends = ends_at(weights, (weights < STRONG) | _may_begin_again(evidence), first, last)
    whole = _lengths(weights < STRONG)
    for start in starts:
        if weights[start] < 0:
            continue
        reach = Reach(evidence)
        for end, _ in grow(start, last, lambda i: float(weights[i])):
            if reach.after(end - 1) > FARTHEST:
                break
            if end not in ends or end - start + 1 < FEWEST_FRAMES or weights[end - 1] < 0:
                continue
            tries = int(whole[start]) - (end - start)
            proposal = _judge(evidence, start, end, stepped, run, tries)
            if proposal is not None and proposal.weight > 0:
                yield proposal


def _lengths(cuts: NDArray[np.bool_]) -> NDArray[np.int_]:
    """For each frame, how many frames hang together where it stands; shape (n,)."""
    number = np.concatenate([[0], np.cumsum(cuts)])
    lengths: NDArray[np.int_] = np.bincount(number)[number]
    return lengths


def _stepped(evidence: Evidence) -> Floats:
    """Weight of each pair lying within a stack stepped by hand, shape (n - 1,)."""
    pause = np.minimum(evidence.pause, evidence.usual_pause)
    fast = evidence.driven | (evidence.pairs.pause_s < SAME_SECOND_S)
    weights: Floats = (
        still_weight(evidence)
        + np.where(fast, np.minimum(pause, HURRIED), pause)
        + np.where(evidence.exposed, EXPOSED, 0.0)
        + evidence.settings
        + evidence.exposure
    )
    return weights


def _may_begin_again(evidence: Evidence) -> NDArray[np.bool_]:
    """Pairs at which a second stack of the same view might begin.

    The focus turns back, or the pause is longer than the ones before and after.
    """
    pairs = evidence.pairs
    focus = np.array([math.nan if f.focus_m is None else f.focus_m for f in pairs.frames])
    with np.errstate(invalid="ignore"):
        way = np.sign(np.diff(1 / np.maximum(focus, 1e-3)))
    padded = np.concatenate([[np.nan], way, [np.nan]])
    turns = (way != 0) & ((padded[:-2] * way < 0) | (padded[2:] * way < 0))
    found: NDArray[np.bool_] = turns | stands_out(evidence.log_pause)
    return found


def _judge(
    evidence: Evidence, start: int, end: int, stepped: Floats, run: Floats, tries: int
) -> Proposal | None:
    """A stretch as a stack, which is one of so many ``tries`` to pick one of its length."""
    focus = focus_of(evidence, start, end)
    span = slice(start, end)
    if focus is None or focus.weight <= 0:
        return None  # without focus that moves it is something else, however even and still
    if (evidence.turned[span] > SURELY_TURNED).any() or (evidence.apart[span] > SURELY_APART).any():
        return None
    weight = DRIVEN + float(run[span].sum())
    # A hand does not hold a plane of focus over seconds.
    if focus.stood and focus.chance * max(tries, 1) <= RETRIED:
        even = evenness_weight(evidence.log_pause[span], evidence.pairs.pause_slack_s[span])
        by_hand = BY_HAND + float(stepped[span].sum()) + even
        kept = EXPOSED * float(evidence.exposed[span].sum())
        weight = max(weight, by_hand, TIMED + ticking(evidence, start, end) + kept)
    reasons = (f"{end - start + 1} frames of one view at one exposure", focus.reason)
    return Proposal(
        kind="focus-stack",
        first=start,
        last=end,
        weight=START + weight + focus.weight,
        evidence=reasons,
    )


RULE = Rule(kind="focus-stack", propose=propose)
