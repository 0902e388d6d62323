"""Interval series: a timer firing evenly for a long time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache

import numpy as np

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import Evidence, relation_weight, unmatched_alike
from grouper.group.pairs import Floats, middle, moved_on
from grouper.group.stretches import grow

FEWEST_FRAMES = 6
"""Five equal pauses are no accident; three may be."""
START = -4.0
"""Weight for a series starting at a given frame: about one in fifty (estimated)."""
SHORTEST_S = 0.9
"""Timers start at one second; faster is a burst."""
JITTER_S = 0.25
"""A timer is even to a fraction of a second (common practice, no source); a person is not."""
CLOCK_JITTER_S = 0.03
"""One that runs in the body itself is even to a few hundredths (common practice, no source)."""
CLOCK_SHARE = 0.5
"""Share of timers that are as even as that (estimated)."""
JITTER_SHARE = 0.01
"""Slow timers count in coarser ticks: a per cent of the interval on top (estimated)."""
SKIPPED = 0.04
"""Share of pauses that are a multiple of the interval: frames thrown away or not fired."""
INTERRUPTED = 0.01
"""Share of pauses that have nothing to do with the beat: a change of battery (estimated)."""
SAME_BEAT, SAME_BEAT_S = 0.05, 0.1
"""A beat that comes back after a break is the same one to a twentieth and a tick (estimated)."""
SURE_CLOCK = math.log(1000.0)
"""From these odds on a run of pauses is a clock's doing: of a thousand sweeps by hand one is as
even."""
LOG_RANGE = math.log(1e4)
"""Pauses at boundaries spread over four powers of ten, evenly in the logarithm."""
HAND_SHARE = 0.35
"""A person who shoots steadily is even to about a third of the pause (estimated)."""
SHORTEST_HAND_S = 0.5
"""Nobody looks up and presses again sooner (common practice, no source)."""
MOST_PER_PAIR = 4.0
"""One even pause says no more than this, however fine the stamps."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose interval series among the frames ``first`` to ``last`` of the strand."""
    pairs = evidence.pairs
    if last - first + 1 < FEWEST_FRAMES:
        return
    still = _still(evidence)
    starts_s = _start_to_start(evidence)
    start = first
    while start + FEWEST_FRAMES <= last + 1:
        end = _reach(starts_s, pairs.pause_slack_s, start, last)
        if end - start + 1 < FEWEST_FRAMES:
            start += 1
            continue
        interval = _beat(starts_s[start:end])
        timing = _timing(starts_s, pairs.pause_s[start:end], pairs.pause_slack_s, interval)
        weights = still + timing
        # A series begins where the beat begins: after a pair that does not keep it.
        begins = [
            k for k in range(start, end) if weights[k] > 0 and (k == start or weights[k - 1] <= 0)
        ]
        for begin in begins:
            yield from _grown(begin, end, weights, interval, pairs.moved_m)
        start = max(end - 1, start + 1)


def ticking(evidence: Evidence, start: int, end: int) -> float:
    """Weight of the frames ``start`` to ``end`` being a timer's.

    Minus infinity where no timer runs so fast, or too few frames tell.
    """
    starts_s = _start_to_start(evidence)[start:end]
    if len(starts_s) + 1 < FEWEST_FRAMES or not np.isfinite(starts_s).all():
        return -math.inf
    interval = _beat(starts_s)
    if not interval >= SHORTEST_S:
        return -math.inf
    pairs, span = evidence.pairs, slice(start, end)
    timing = _timing(starts_s, pairs.pause_s[span], pairs.pause_slack_s[span], interval)
    return float((timing + _still(evidence)[start:end]).sum())


def clockwork(evidence: Evidence, start: int, end: int) -> float:
    """How much likelier a timer keeps the pauses of frames ``start`` to ``end`` than a hand does.

    Natural-log weight, at least 0: 0 where a hand might as well, or too few frames tell.
    """
    if end - start + 1 < FEWEST_FRAMES:
        return 0.0
    starts_s = _start_to_start(evidence)[start:end]
    if not np.isfinite(starts_s).all():
        return 0.0
    interval = _beat(starts_s)
    if not interval >= SHORTEST_S:
        return 0.0
    slack_s = evidence.pairs.pause_slack_s[start:end]
    broken = INTERRUPTED / (np.maximum(starts_s, 0.1) * LOG_RANGE)
    timer = _even(starts_s - interval, slack_s, interval) + broken
    hand = _by_hand(starts_s - interval, slack_s, evidence.pairs.pause_s[start:end]) + broken
    return max(0.0, float(np.minimum(np.log(timer / hand), MOST_PER_PAIR).sum()))


@lru_cache(maxsize=1)
def clock_runs(evidence: Evidence) -> tuple[tuple[int, int], ...]:
    """First and last frames of the runs in which surely no hand kept the pauses."""
    runs: list[tuple[int, int]] = []
    starts_s, slack_s = _start_to_start(evidence), evidence.pairs.pause_slack_s
    start, last = 0, len(starts_s)
    while start + FEWEST_FRAMES <= last + 1:
        end = _reach(starts_s, slack_s, start, last)
        if clockwork(evidence, start, end) > SURE_CLOCK:
            runs.append((start, end))
        start = max(end - 1, start + 1)
    return tuple(runs)


def _still(evidence: Evidence) -> Floats:
    """Weight of everything about each pair but its pause, shape (n - 1,)."""
    relation = relation_weight(evidence, same=0.90, turned=0.08, apart=0.02)
    # From one frame of a series to the next the sea may change altogether.
    weight: Floats = np.where(unmatched_alike(evidence), 0.0, relation) + evidence.settings
    return weight


def _grown(
    begin: int, end: int, weights: Floats, interval: float, moved_m: Floats
) -> Iterator[Proposal]:
    for stop, weight in grow(begin, end, lambda i: float(weights[i])):
        count = stop - begin + 1
        if count < FEWEST_FRAMES or weight + START <= 0 or weights[stop - 1] <= 0:
            continue
        # Carried on from frame to frame it is a survey: a series watches one place.
        if not moved_on(moved_m[begin:stop]):
            yield Proposal(
                kind="interval",
                first=begin,
                last=stop,
                weight=weight + START,
                evidence=(f"{count} frames every {interval:.1f} s",),
            )


@lru_cache(maxsize=1)
def _start_to_start(evidence: Evidence) -> Floats:
    """A timer counts from start to start, whatever the exposure; NaN unknown.

    Remembered for the strand at hand: every stretch of it is asked about.
    """
    at = [math.nan if time is None else time for time in evidence.pairs.strand.at_s]
    return np.diff(np.array(at))


def _tolerance(slack_s: Floats, interval: float) -> Floats:
    return np.sqrt(JITTER_S**2 + (JITTER_SHARE * interval) ** 2 + slack_s**2 / 6)


def _reach(starts_s: Floats, slack_s: Floats, start: int, last: int) -> int:
    """The last frame of the series that might start at ``start``."""
    ahead = starts_s[start : min(start + 5, last)]
    known = ahead[np.isfinite(ahead)]
    if not len(known):
        return start
    interval = middle(known)
    limit = 4 * float(_tolerance(slack_s[start : start + 1], interval)[0])
    # Two seconds are no late tick of a timer of one, however fine its ticks.
    limit = min(limit, HAND_SHARE * interval + float(slack_s[start]))
    if not interval >= SHORTEST_S or not abs(starts_s[start] - interval) <= limit:
        return start  # a series begins on the beat
    end = start
    while end < last:
        if not abs(starts_s[end] - interval) <= limit and not _goes_on(
            starts_s[end:last][:3], interval, limit, float(slack_s[start])
        ):
            break
        end += 1
    return end


def _beat(starts_s: Floats) -> float:
    """The interval of a series: the median of the pauses near its first five's."""
    first = float(np.nanmedian(starts_s[:5]))
    near = starts_s[np.abs(starts_s - first) < 0.5 * first]
    return middle(near) if len(near) else first


def _goes_on(ahead: Floats, interval: float, limit: float, slack_s: float) -> bool:
    """Whether a series goes on after the broken pause that ``ahead`` begins with.

    After a frame lost (a multiple of the interval) the beat comes back within two frames, or
    the series is over with it; after any other break (the timer restarted) at once and twice.
    """
    gap = float(ahead[0])
    on_beat = np.abs(ahead[1:] - interval) < SAME_BEAT * interval + SAME_BEAT_S + slack_s
    if math.isfinite(gap):
        multiple = max(2.0, round(gap / interval))
        if abs(gap - interval * multiple) <= limit:
            return bool(on_beat.any()) or len(on_beat) == 0
    return len(on_beat) == 2 and bool(on_beat.all())


def _timing(starts_s: Floats, pause_s: Floats, slack_s: Floats, interval: float) -> Floats:
    """Weight of each pause being a timer's, shape (n - 1,).

    ``pause_s`` are the series' own, which a hand would keep after each exposure.
    """
    sigma = _tolerance(slack_s, interval)
    known = np.where(np.isfinite(starts_s), starts_s, interval * 0.5)
    even = _even(known - interval, slack_s, interval)
    multiple = np.maximum(2.0, np.round(known / interval))
    # One frame lost is commoner than two: without the halving the multiples would add up to
    # more than everything, and any long pause would be one of them.
    skipped = 0.5 ** (multiple - 1) * _bell((known - interval * multiple) / sigma) / sigma
    spread = 1 / (np.maximum(known, 0.1) * LOG_RANGE)
    hand = _by_hand(known - interval, slack_s, pause_s)
    there = 0.5 * spread + 0.5 * hand
    here = (1 - SKIPPED - INTERRUPTED) * even + SKIPPED * skipped + INTERRUPTED * spread
    weight: Floats = np.minimum(np.log(here / there), MOST_PER_PAIR)
    return weight


def _even(off_s: Floats, slack_s: Floats, interval: float) -> Floats:
    """Density of a timer's pauses at so far off its interval."""
    loose = _tolerance(slack_s, interval)
    tight = np.sqrt(CLOCK_JITTER_S**2 + (JITTER_SHARE * interval) ** 2 + slack_s**2 / 6)
    density: Floats = (
        CLOCK_SHARE * _bell(off_s / tight) / tight
        + (1 - CLOCK_SHARE) * _bell(off_s / loose) / loose
    )
    return density


def _by_hand(off_s: Floats, slack_s: Floats, pause_s: Floats) -> Floats:
    """The same of a person's, who keeps a rhythm too, to about a third of the usual pause."""
    usual = max(float(np.nanmedian(pause_s)), SHORTEST_HAND_S)
    sigma = np.sqrt((HAND_SHARE * usual) ** 2 + slack_s**2 / 6)
    density: Floats = _bell(off_s / sigma) / sigma
    return density


def _bell(x: Floats) -> Floats:
    density: Floats = np.exp(-0.5 * x**2) / math.sqrt(2 * math.pi)
    return density


RULE = Rule(kind="interval", propose=propose)
