"""Tries: one thing shot again and again by hand, which is no set but looks like several.

A photographer who wants to be sure shoots a thing three times or ten: still or swaying a little,
focused anew or not, in whatever rhythm. Such frames stay singles. They are weighed against the
kinds of set all the same, because whatever hangs together would else be told as the set that
fits it least badly, and with a confidence that knows of no other reading.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import (
    STEP_TAKEN,
    Evidence,
    light_after,
    seen_weight,
    still_weight,
)
from grouper.group.exposures import is_tried_out
from grouper.group.focus_stack import HURRIED, SAME_SECOND_S
from grouper.group.interval import clockwork
from grouper.group.pairs import Floats
from grouper.group.reach import FARTHEST, Reach
from grouper.group.rhythm import usual_log_odds
from grouper.group.stretches import ends_at, grow

FEWEST_FRAMES = 2
"""Once more is a try."""
START = -2.3
"""Weight for tries starting at a given frame: four times as common as stacks by hand (see
``focus_stack.RETRIED``)."""
STRONG = 4.0
"""Pairs above this weight lie inside in every way to cut the strand."""
SEEN = {"same": 0.60, "turned": 0.35, "apart": 0.05}
"""What is seen between one try by hand and the next, for a hand sways (estimated)."""
FROM_TRIPOD = math.log(0.5)
"""Half of all tries are from a tripod, that keeps as still as between the legs of a bracket
(estimated)."""
SWAY_OVERLAP, SWAY_SHARE = (0.0, 0.6, 0.75, 0.85, 1.0), (0.02, 0.05, 0.5, 3.0, 4.5)
"""How common an overlap is, against all equally common, from one try to the next, where a hand
that holds on to one thing sways (estimated)."""
BOUNDARY_OVERLAP, BOUNDARY_SHARE = (0.0, 0.5, 1.0), (0.6, 1.0, 1.4)
"""The same between singles (see the panorama rule)."""
EXPOSED = math.log(0.10 / 0.30)
"""Exposure is changed on purpose more seldom than between subjects: what is tried again is the
focus, the moment, the hold (estimated). Unless it is the exposure that is tried out."""
TRIED_OUT = STEP_TAKEN
"""Where exposures are tried out they change as often as in a bracket."""
MOST_TRIED_OUT = 6
"""With a histogram the exposure is found in two or three frames (common practice, no source)."""
UNHURRIED_S = 4.0
"""To look at a picture and try again takes some seconds (common practice, no source): the shorter
the pause, the less it speaks for tries, down to that of a drive."""
GOES_ON = math.log(2 / 3)
"""Two of three tries are followed by another (estimated)."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose tries among the frames ``first`` to ``last`` of the strand."""
    weights, stood = _tried(evidence)
    starts, ends = ends_at(weights, weights < STRONG, first, last)
    for start in starts:
        if weights[start] < 0:
            continue
        reach = Reach(evidence)
        for end, weight in grow(start, last, lambda i: float(weights[i])):
            if reach.after(end - 1) > FARTHEST:
                break
            if end not in ends or end - start + 1 < FEWEST_FRAMES or weights[end - 1] < 0:
                continue
            # One tripod keeps all of them still.
            still = max(0.0, float(stood[end] - stood[start]) + FROM_TRIPOD)
            total = START + weight + still
            if total > 0:
                total -= clockwork(evidence, start, end)
            if total > 0:
                yield Proposal(kind="tries", first=start, last=end, weight=total)
    yield from _exposures_tried(evidence, first, last)


def _exposures_tried(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Exposures tried out on one view, before what is shot with the last of them."""
    weights, stood = _tried(evidence)
    frames, light = evidence.pairs.frames, evidence.pairs.light
    changed = np.flatnonzero(evidence.exposed[first:last]) + first
    for end in (int(link) + 1 for link in changed):
        total, after_ev = START, light_after(evidence, end)
        for start in range(end - 1, max(first, end - MOST_TRIED_OUT + 1) - 1, -1):
            if not evidence.exposed[start] or evidence.shift[start] > FARTHEST:
                break
            excused = EXPOSED + float(evidence.exposure[start])
            total += float(weights[start]) - excused + TRIED_OUT
            still = max(0.0, float(stood[end] - stood[start]) + FROM_TRIPOD)
            span = slice(start, end + 1)
            tried_out = is_tried_out(frames[span], light[span], after_ev)
            if tried_out and total + still > 0:
                yield Proposal(kind="tries", first=start, last=end, weight=total + still)


@lru_cache(maxsize=1)
def _tried(evidence: Evidence) -> tuple[Floats, Floats]:
    """Weight of each pair being two tries by hand, shape (n - 1,), and what a tripod adds.

    The latter is summed up to each frame, shape (n,). Remembered for the strand at hand: the rule
    is asked in every run between dividers.
    """
    seen = _seen_weight(evidence)
    weights: Floats = (
        np.where(evidence.looked, seen, -math.inf)
        + _pause_weight(evidence)
        + GOES_ON
        + np.where(evidence.exposed, EXPOSED, 0.0)
        + evidence.settings
        + evidence.exposure
    )
    return weights, np.concatenate([[0.0], np.cumsum(still_weight(evidence) - seen)])


def _seen_weight(evidence: Evidence) -> Floats:
    known = np.isfinite(evidence.overlap)
    sway = np.where(known, np.interp(evidence.overlap, SWAY_OVERLAP, SWAY_SHARE), 1.0)
    other = np.where(known, np.interp(evidence.overlap, BOUNDARY_OVERLAP, BOUNDARY_SHARE), 1.0)
    return seen_weight(evidence, SEEN, (sway, other))


def _pause_weight(evidence: Evidence) -> Floats:
    """Weight of each pause being one between tries, shape (n - 1,)."""
    pause = np.minimum(evidence.pause, evidence.usual_pause)
    unhurried = float(usual_log_odds(np.array([math.log(UNHURRIED_S)]))[0])
    ends = np.log([SAME_SECOND_S, UNHURRIED_S])
    most = np.interp(np.nan_to_num(evidence.log_pause), ends, [HURRIED, unhurried])
    weight: Floats = np.minimum(pause, np.where(evidence.driven, HURRIED, most))
    return weight


RULE = Rule(kind="tries", propose=propose)
