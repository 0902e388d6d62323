"""Bursts: the drive running freely on something that moves, still or panning."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import FAST_S, Evidence, relation_weight
from grouper.group.pairs import Floats
from grouper.group.rhythm import drive_pauses
from grouper.group.stretches import ends_at, grow

FEWEST_FRAMES = 3
"""Two frames in a hurry are as often a second press (common practice, no source)."""
START = -3.0
"""Weight for a burst starting at a given frame: about one in twenty (estimated)."""
STRONG = 4.0
"""Pairs above this weight lie inside a burst in every way to cut the strand."""
FAST, NOT_FAST = math.log(0.97 / 0.03), math.log(0.01 / 0.90)
"""Pauses within a burst and elsewhere that are those of a drive: estimated, not counted."""
ENDED, ENDED_S = -8.0, 3.0
"""A drive that was let go for this long has ended its burst; the next press begins another."""
SAME_SECOND, NEXT_SECOND = math.log(0.70 / 0.05), math.log(0.28 / 0.15)
"""With whole-second stamps several frames fall into one second, now and then into the next."""
EXPOSED = math.log(0.02 / 0.30)
"""A drive keeps its exposure; one that changes on purpose is a bracket. Shares estimated."""
JUMPED = -2.0
"""A panning burst moves by little from frame to frame; a handheld sweep shot fast does not."""
JUMP_SHARE = 0.35
"""Sweeps step by 0.4 to 0.8 of a frame (overlaps of 20 to 60 %: common practice, no source)."""


def running(evidence: Evidence) -> Floats:
    """Weight of each pair lying within a run of the drive, shape (n - 1,)."""
    pairs = evidence.pairs
    coarse = pairs.pause_slack_s >= 1.0
    pause = np.nan_to_num(pairs.pause_s, nan=math.inf)
    drive = drive_pauses(pairs)
    fine = np.where(drive < FAST_S, FAST, NOT_FAST)
    rough = np.where(pause < 0.5, SAME_SECOND, np.where(pause < 1.5, NEXT_SECOND, NOT_FAST))
    jumped = np.nan_to_num(evidence.shift, nan=0.0) > JUMP_SHARE
    weights: Floats = (
        relation_weight(evidence, same=0.62, turned=0.30, apart=0.08)
        + np.where(pause > ENDED_S, ENDED, np.where(coarse & (drive >= FAST_S), rough, fine))
        + np.where(evidence.exposed, EXPOSED, 0.0)
        + np.where(jumped, JUMPED, 0.0)
        + evidence.settings
    )
    return weights


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose bursts among the frames ``first`` to ``last`` of the strand."""
    weights = running(evidence)
    pause = np.nan_to_num(evidence.pairs.pause_s, nan=math.inf)
    starts, ends = ends_at(weights, weights < STRONG, first, last)
    for start in starts:
        if weights[start] < 0:
            continue
        for end, weight in grow(start, last, lambda i: float(weights[i])):
            if end not in ends or end - start + 1 < FEWEST_FRAMES or weights[end - 1] < 0:
                continue
            if weight + START > 0:
                rate = (end - start) / max(float(np.nansum(pause[start:end])), 0.1)
                yield Proposal(
                    kind="burst",
                    first=start,
                    last=end,
                    weight=weight + START,
                    evidence=(f"{end - start + 1} frames at about {rate:.0f} a second",),
                )


RULE = Rule(kind="burst", propose=propose)
