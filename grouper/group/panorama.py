"""Panoramas: two or more views that hang together by overlap, each one frame or a bracket."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import (
    STEP_TAKEN,
    Evidence,
    evenness_weight,
    relation_weight,
    still_weight,
)
from grouper.group.exposures import exposure_levels, ladder_weight
from grouper.group.pairs import STOP_EV, Floats
from grouper.group.stretches import grow

START = -2.5
"""Weight for a sweep starting at a given frame."""
BLIND_START = -4.5
"""Without pictures the same rhythm and settings are all there is, and singles have them too."""
PAIR_ONLY = -1.5
"""Two overlapping frames are more often one subject re-framed than a panorama."""
FEWEST_BLIND_VIEWS = 3
STRONG = 4.0
"""Pairs above this weight hold together in every way to cut the strand."""
TIED_BACK = math.log(0.80 / 0.04)
"""The later frame overlaps an earlier one of the stretch though not its neighbour: a new row,
a second sweep at another exposure, the end of a circle. At a boundary that is rare."""
LOST_ONE = 1.6
"""A jump of two to four in the file numbers where no overlap is seen: frames were lost."""
MOST_AGAINST_EXPOSURE = -5.0
"""An exposure that wanders through a whole sweep is one slip, not one at every frame."""
MOVED_M = 10.0
"""Positions this far apart are another standpoint: twice the usual error of a receiver under
open sky (common practice, no source)."""
MOVED, STAYED = math.log(0.03 / 0.60), 0.2
STEP_SPREAD = 0.15
LOOSE_SPREAD = 0.6
SQUARE_DEG = 10.0
"""A hand keeps a sweep within this of level, a base well within."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose panoramas among the frames ``first`` to ``last`` of the strand."""
    weights = link_weights(evidence)
    starts = [first, *(k + 1 for k in range(first, last) if weights[k] < STRONG)]
    ends = {last, *(k for k in range(first, last) if weights[k] < STRONG)}
    for start in starts:
        stretch = _Stretch(evidence, weights, start)
        for end, weight in grow(start, last, stretch.link_weight):
            if end not in ends:
                continue
            proposal = _judge(evidence, start, end, weight)
            if proposal is not None and proposal.weight > 0:
                yield proposal


def link_weights(evidence: Evidence) -> Floats:
    """Weight of each pair being neighbours in a sweep, before what the stretch excuses."""
    turning = relation_weight(evidence, same=0.03, turned=0.90, apart=0.07) + evidence.exposure
    legs = still_weight(evidence) + STEP_TAKEN
    overlap = np.where(evidence.turned > 0.5, _overlap_weight(evidence.overlap), 0.0)
    seen = np.where(evidence.exposed, np.maximum(turning, legs), turning) + overlap
    number = evidence.pairs.number_step
    lost = (evidence.apart > 0.5) & (number >= 2) & (number <= 4)
    with np.errstate(invalid="ignore"):
        moved = evidence.pairs.moved_m > MOVED_M
    stood = np.where(np.isfinite(evidence.pairs.moved_m), np.where(moved, MOVED, STAYED), 0.0)
    weight: Floats = (
        seen + evidence.settings + evidence.pause + np.where(lost, LOST_ONE, 0.0) + stood
    )
    return weight


def _overlap_weight(overlap: Floats) -> Floats:
    """Sweeps overlap by 15-60 %, re-framed singles mostly by more."""
    inside = np.interp(overlap, [0.0, 0.1, 0.25, 0.5, 0.8, 1.0], [0.5, 1.0, 1.6, 1.4, 0.5, 0.3])
    boundary = np.interp(overlap, [0.0, 0.5, 1.0], [0.6, 1.0, 1.4])
    weight: Floats = np.log(inside / boundary)
    return weight


class _Stretch:
    """The weight of adding one more frame to a stretch that began at ``start``."""

    def __init__(self, evidence: Evidence, weights: Floats, start: int) -> None:
        self._evidence = evidence
        self._weights = weights
        self._start = start
        self._levels = [float(evidence.pairs.light[start])]
        self._has_legs = False
        self._exposure = 0.0

    def link_weight(self, link: int) -> float:
        evidence = self._evidence
        weight = float(self._weights[link])
        light = float(evidence.pairs.light[link + 1])
        known = any(abs(light - level) <= STOP_EV for level in self._levels)
        if not known:
            self._levels.append(light)
        leg = bool(evidence.exposed[link]) and not evidence.turned[link] > 0.5
        if self._has_legs and known and evidence.exposed[link] and not leg:
            weight -= float(evidence.exposure[link])  # back to the bracket's first exposure
        elif not leg:
            weight += self._excess(float(evidence.exposure[link]))
        self._has_legs |= leg
        if evidence.apart[link] > 0.5 and evidence.tie(link + 1, self._start) is not None:
            weight += TIED_BACK
        return weight

    def _excess(self, exposure: float) -> float:
        """What to give back of an exposure weight that goes beyond the most for a stretch."""
        before = max(self._exposure, MOST_AGAINST_EXPOSURE)
        self._exposure += exposure
        counted = max(self._exposure, MOST_AGAINST_EXPOSURE) - before
        return counted - exposure


def _judge(evidence: Evidence, start: int, end: int, weight: float) -> Proposal | None:
    span = slice(start, end)
    looked = evidence.looked[span]
    turned = evidence.turned[span] > 0.5
    blind = ~looked & ~evidence.exposed[span]
    steps = turned | blind | (evidence.apart[span] > 0.5)
    if looked.any() and turned.sum() + blind.sum() < steps.sum() - turned.sum() - blind.sum():
        return None  # more gaps than overlaps: it does not hang together
    views = int(steps.sum()) + 1
    if views < 2 or (not turned.any() and not blind.any()):
        return None
    if not looked.any():
        if views < FEWEST_BLIND_VIEWS:
            return None
        weight += BLIND_START
    else:
        weight += START
    if views == 2:
        weight += PAIR_ONLY
    slack = evidence.pairs.pause_slack_s[span]
    weight += evenness_weight(evidence.log_pause[span][steps], slack[steps])
    weight += _steadiness_weight(evidence.shift[span][turned])
    weight += _squareness_weight(evidence.heading[span][turned])
    weight += _brackets_weight(evidence, start, end, steps)
    return Proposal(
        kind="panorama",
        first=start,
        last=end,
        weight=weight,
        evidence=_reasons(evidence, span, turned, steps),
    )


def _steadiness_weight(shift: Floats) -> float:
    """Weight of the steps being alike: a turned head clicks, a re-framing hand wanders."""
    if len(shift) < 2:
        return 0.0
    off = np.log(shift / np.median(shift))
    tight = np.exp(-0.5 * (off / STEP_SPREAD) ** 2) / STEP_SPREAD
    loose = np.exp(-0.5 * (off / LOOSE_SPREAD) ** 2) / LOOSE_SPREAD
    weight = np.log(0.65 * tight / loose + 0.35)
    return float(np.clip(weight, -1.0, 0.8).sum())


def _squareness_weight(heading: Floats) -> float:
    """Weight of the steps running along the frame's sides rather than any which way.

    ``heading`` is the direction of each step in degrees. A sweep runs sideways or up and down;
    a re-framing hand goes anywhere, evenly over the 90 degrees between two sides.
    """
    off = (heading + 45.0) % 90.0 - 45.0
    square = np.exp(-0.5 * (off / SQUARE_DEG) ** 2) / (SQUARE_DEG * math.sqrt(2 * math.pi))
    weight = np.log(0.75 * square * 90.0 + 0.25)
    return float(np.clip(weight, -1.2, 0.9).sum())


def _brackets_weight(evidence: Evidence, start: int, end: int, steps: np.ndarray) -> float:
    """Weight of the brackets at the views, as the bracket rule would have it."""
    pairs = evidence.pairs
    cuts = [start - 1, *(start + int(k) for k in np.flatnonzero(steps)), end]
    weight = 0.0
    for before, last in itertools.pairwise(cuts):
        first = before + 1
        if last > first:
            ladder, _ = ladder_weight(pairs.frames[first : last + 1], pairs.light[first : last + 1])
            span = slice(first, last)
            weight += ladder
            weight += evenness_weight(evidence.log_pause[span], pairs.pause_slack_s[span])
    return weight


def _reasons(
    evidence: Evidence, span: slice, turned: np.ndarray, steps: np.ndarray
) -> tuple[str, ...]:
    reasons: list[str] = []
    if turned.any():
        overlap = evidence.overlap[span][turned]
        reasons.append(
            f"{int(turned.sum())} of {int(steps.sum())} neighbours overlap by "
            f"{overlap.min() * 100:.0f}-{overlap.max() * 100:.0f} %"
        )
    elif not evidence.looked[span].any():
        reasons.append("pictures were not looked at: same settings in one rhythm")
    pauses = evidence.pairs.pause_s[span][steps]
    pauses = pauses[np.isfinite(pauses)]
    if len(pauses):
        reasons.append(f"pauses {max(pauses.min(), 0):.1f}-{max(pauses.max(), 0):.1f} s")
    levels = exposure_levels(evidence.pairs.light[span.start : span.stop + 1])
    if levels is not None and len(set(levels)) > 1:
        reasons.append(f"{len(set(levels))} exposure levels")
    return tuple(reasons)


RULE = Rule(kind="panorama", propose=propose)
