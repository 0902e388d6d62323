"""Panoramas: two or more views that hang together by overlap, each one frame or a bracket."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from grouper.group.burst import FAST
from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import (
    SEEN_AT_BOUNDARY,
    STEP_TAKEN,
    STILL,
    Evidence,
    evenness_weight,
    seen_weight,
    still_weight,
)
from grouper.group.exposures import exposure_levels, ladder_weight
from grouper.group.focusing import focus_weight
from grouper.group.interval import clock_runs, clockwork
from grouper.group.looking import LONGEST_PAUSE_S, is_still
from grouper.group.pairs import STOP_EV, Floats, middle, moved_on
from grouper.group.rhythm import COARSE_S, stands_out
from grouper.group.stops import Stops, find_stops
from grouper.group.stretches import ends_at, grow

START = -2.5
"""Weight for a sweep starting at a given frame."""
BLIND_START = -4.5
"""Without pictures the same rhythm and settings are all there is, and singles have them too."""
PLAIN_START = -6.5
"""Pictures that were looked at and show nothing to match by, or the sea that looks alike all round,
say less than none: most sweeps show something somewhere, and of the singles shot in fog or of one
plain thing there are as many as of all others."""
PAIR_ONLY = -1.5
"""Two overlapping frames are more often one subject re-framed than a panorama."""
FEWEST_BLIND_VIEWS = 3
"""One pause has no rhythm; two can be even."""
STRONG = 4.0
"""Pairs above this weight hold together in every way to cut the strand."""
STRONG_BLIND = 2.0
"""Pairs above this weight hold together in every way to cut the strand; unseen ones weigh less."""
TIED_ONCE, TIED_TWICE = math.log(0.50 / 0.04), math.log(0.40 / 0.005)
"""The later frame overlaps one, or several, earlier ones of the stretch though not its
neighbour: a new row, a second sweep at another exposure, the end of a circle. At a boundary one
such match is rare, and two are an accident."""
LOST_ONE, MOST_LOST = 1.6, 3
"""A jump of two to four in the file numbers where no overlap is seen: frames were lost."""
UNSEEN_VIEW = -2.0
"""A view whose picture shows nothing to go by, among views that do hang together, may be the
sweep's patch of sky or a single in the same rhythm."""
UNSEEN_BESIDE_OTHERS = -3.5
"""Where the like goes on beyond the sweep's end, such a view is likelier one of those."""
UNSEEN_ROW = -4.0
"""As many such views at the end as make a row of the others are a row of sky or water: one cause,
that counts as two views do, not as all (estimated)."""
FEWEST_IN_ROW = 3
"""Every other number of views is a multiple of two, and that says nothing."""
FEWEST_STACKS = 3
"""Views of equally many frames from which repeating is a plan; two may be a second try."""
EVEN_STACKS = 0.6
"""Three views with equally many repeats, and most of all views, are no accident."""
LONE_VIEW = -4.0
"""A view that overlaps nothing is more often a single than what two lost frames left behind."""
PLAIN_BREAK = -5.0
"""A pair that weighs less is a boundary whatever else: with even odds before, one in 150 is not."""
LEFT_OVER = 1.0
"""For a view at an end of the sweep that overlaps nothing, where beyond it all breaks off: singles
in a sweep's own rhythm and settings come in a series. One alone is rarer than an overlap that was
not found, which the weights of the pictures and of the running file numbers count in full
(estimated)."""
SWEPT = {"same": 0.03, "turned": 0.90, "apart": 0.07}
"""What is seen between the views of a sweep: spares and lost frames are rare."""
NEVER_FIRED = -0.7
"""The file numbers run on though no overlap is seen: half of all lost frames were never fired,
nearly all boundaries look like this."""
LOST_MORE = math.log(0.3)
"""Of views lost in a row every further one is this much rarer (estimated)."""
FOUND_WITHIN = 0.85
"""Frames shifted by less than this share of the frame are seen to overlap, as a rule; what the lost
ones left between them is at least this wide."""
RUNS_ON, TURNS_OFF, TURNS_ROUND = 0.4, -1.0, -2.0
"""From step to step, and over a lost frame, a sweep goes on the way it went, turns off into its
next row, and seldom goes back over what it has; a re-framing hand goes back as often as on, and
another subject is swept either way (estimated)."""
OTHER_ROW = math.log(0.3 / 0.03)
"""Across a gap that nothing ties over, a sweep at another height: of such gaps in a sweep a third
lie between rows with nothing in common but sky or water; of two sweeps of different subjects hardly
one in thirty is not as level as the other (estimated)."""
ROWS_APART_DEG = 15.0
"""Rows lie further apart than this, or they would show nothing new; a base that leans and a hand
that is unsteady move the pitch that a few steps tell by less (estimated)."""
ON_DEG, BACK_DEG = 45.0, 135.0
"""Changes of the way that are still on, and already back: between them the way is across."""
TOO_LATE = -12.0
"""Hardly anybody goes on with a sweep after so long (see ``looking``), even where another begins
just where it ended."""
MOST_AGAINST_EXPOSURE = -5.0
"""An exposure that wanders through a whole sweep is one slip, not one at every frame."""
SAME_SECOND_LIMIT = 1.0
"""Two frames of a hasty hand may fall into one whole-second stamp."""
REACH, REACH_WEIGHT = (0.1, 0.25, 0.5), (-5.0, -2.5, 0.0)
"""Weight against a sweep by how far it reaches in all, in frames. A sweep is made to show more than
one frame does; a thing that is shot again by hand comes to lie a tenth of the frame to this side
or that, however often (estimated)."""
STEP_SPREAD = 0.15
"""Spread of a sweep's steps about the usual one, as a share of it: even by click stops or by eye
(estimated)."""
LOOSE_SPREAD = 0.6
"""The same of turns between frames that are no sweep (estimated)."""
SQUARE_DEG = 10.0
"""A hand keeps a sweep within this of level, a base well within."""
STEADY_SHARE, SQUARE_SHARE = 0.65, 0.75
"""Shares of a sweep's steps that are even, and along the frame's sides; the rest may be anything,
by a hurried hand or where a new row begins (estimated)."""
STEADY_LIMITS, SQUARE_LIMITS = (-1.0, 0.8), (-1.2, 0.9)
"""Least and most that one step counts either way: the steps of a hand come of one habit and are
not so many witnesses (estimated)."""


def propose(evidence: Evidence, first: int, last: int) -> Iterator[Proposal]:
    """Propose panoramas among the frames ``first`` to ``last`` of the strand."""
    judge = _judge_of(evidence)
    starts, ends = ends_at(judge.weights, judge.is_weak, first, last)
    for start in starts:
        stretch = _Stretch(evidence, judge.stops, judge.weights, start)
        for end, weight in grow(start, last, stretch.link_weight):
            if end not in ends:
                continue
            total = judge.weight(start, end, weight)
            if total is not None and total > 0:
                yield Proposal(kind="panorama", first=start, last=end, weight=total)


def link_weights(evidence: Evidence, stops: Stops) -> Floats:
    """Weight of each pair being neighbours in a sweep, before what the stretch excuses."""
    seen = _seen_weight(evidence)
    # Where neighbours cannot be compared, another frame of the stop may have been.
    told_turned = _overlap_weight(stops.overlap) + math.log(
        SWEPT["turned"] / SEEN_AT_BOUNDARY["turned"]
    )
    told_still = math.log(SWEPT["same"] / SEEN_AT_BOUNDARY["same"])
    told = evidence.apart <= 0.5  # by an even bet; false where nothing was seen
    seen = np.where(stops.turned & ~told, told_turned, seen)
    turning = np.where(stops.still & ~told, told_still, seen)
    leg = ~stops.begins & evidence.exposed
    legs = np.where(
        stops.still & ~told,
        math.log(STILL["same"] / SEEN_AT_BOUNDARY["same"]),
        still_weight(evidence),
    )
    number = evidence.pairs.number_step
    lost = stops.gap & (number >= 2) & (number <= MOST_LOST + 1)
    # Where no overlap is seen, an hour's pause is a boundary even on a card with few pauses to
    # learn from.
    unseen = np.minimum(evidence.pause, evidence.usual_pause)
    pause = np.where(stops.turned | stops.still, evidence.pause, unseen)
    weight: Floats = (
        np.where(leg, legs + STEP_TAKEN, turning + evidence.exposure)
        + evidence.settings
        + np.where(leg, evidence.pause, np.minimum(pause, _pause_limit(evidence, stops)))
        + np.where(lost, LOST_ONE, 0.0)
        + np.where(stops.gap & (number == 1), NEVER_FIRED, 0.0)
        + np.where(evidence.pairs.pause_s > LONGEST_PAUSE_S, TOO_LATE, 0.0)
    )
    return weight


def _pause_limit(evidence: Evidence, stops: Stops) -> Floats:
    """The most a pause may speak for a sweep.

    Nobody turns a camera as fast as a drive runs, or to the clock while no picture shows a turn.
    """
    coarse = evidence.pairs.pause_slack_s >= 1.0
    pause = np.nan_to_num(evidence.pairs.pause_s, nan=np.inf)
    limit = np.where(coarse & (pause < COARSE_S), SAME_SECOND_LIMIT, np.inf)
    return np.where(evidence.driven | _by_clock(evidence, stops), 0.0, limit)


def _by_clock(evidence: Evidence, stops: Stops) -> NDArray[np.bool_]:
    """Pauses of a clock's runs in which no picture shows that the camera turned."""
    kept = np.zeros(len(stops.turned), dtype=bool)
    for first, last in clock_runs(evidence):
        unturned = not stops.turned[first:last].any()
        kept[first:last] = unturned and _is_shown(evidence, first, last)
    return kept


def _seen_weight(evidence: Evidence) -> Floats:
    """Weight of what was seen of neighbours; how far they overlap tells more of a turn."""
    return seen_weight(evidence, SWEPT, _overlap_shares(evidence.overlap))


def _overlap_weight(overlap: Floats) -> Floats:
    inside, boundary = _overlap_shares(overlap)
    weight: Floats = np.log(inside / boundary)
    return weight


def _overlap_shares(overlap: Floats) -> tuple[Floats, Floats]:
    """How common an overlap is, against all equally common, in a sweep and at a boundary.

    Sweeps overlap by 15-60 %, re-framed singles mostly by more. A step by a tenth of the frame
    shows nothing new: that is a hand that shifted. Unknown overlaps are as common in both.
    """
    inside = np.interp(
        overlap, [0.0, 0.1, 0.25, 0.5, 0.8, 0.9, 1.0], [0.5, 1.0, 1.6, 1.4, 0.5, 0.1, 0.02]
    )
    boundary = np.interp(overlap, [0.0, 0.5, 1.0], [0.6, 1.0, 1.4])
    known = np.isfinite(overlap)
    return np.where(known, inside, 1.0), np.where(known, boundary, 1.0)


class _Stretch:
    """The weight of adding one more frame to a stretch that began at ``start``."""

    def __init__(self, evidence: Evidence, stops: Stops, weights: Floats, start: int) -> None:
        self._evidence = evidence
        self._stops = stops
        self._weights = weights
        self._start = start
        self._levels = [float(evidence.pairs.light[start])]
        self._has_legs = False
        self._exposure = 0.0

    def link_weight(self, link: int) -> float:
        evidence = self._evidence
        weight = float(self._weights[link])
        leg = not self._stops.begins[link] and bool(evidence.exposed[link])
        if not leg:
            weight += self._excused(link)
        self._has_legs |= leg
        tie = evidence.tie(link + 1, self._start) if self._stops.gap[link] else None
        if tie is not None:
            weight += TIED_TWICE if evidence.ties(link + 1, self._start) > 1 else TIED_ONCE
            again = is_still(tie) and evidence.exposed[link]
            if again and not evidence.pairs.changed["aperture"][link]:
                weight -= float(evidence.exposure[link])  # the sweep again at another exposure
        return weight

    def _excused(self, link: int) -> float:
        """What to give back of the weight of a changed exposure."""
        evidence = self._evidence
        exposure = float(evidence.exposure[link])
        light = float(evidence.pairs.light[link + 1])
        known = any(abs(light - level) <= STOP_EV for level in self._levels)
        self._levels.append(light)
        if self._has_legs and known and not evidence.pairs.changed["aperture"][link]:
            return -exposure  # back to the bracket's first exposure
        before = max(self._exposure, MOST_AGAINST_EXPOSURE)
        self._exposure += exposure
        return max(self._exposure, MOST_AGAINST_EXPOSURE) - before - exposure


@lru_cache(maxsize=1)
def _judge_of(evidence: Evidence) -> _Judge:
    """The judge of the strand at hand: the rule is asked in every run between dividers."""
    stops = find_stops(evidence)
    return _Judge(evidence, stops, link_weights(evidence, stops))


class _Judge:
    """Weighs stretches of a strand as panoramas.

    Thousands of stretches share their links, so what a link adds whatever the stretch is summed
    up once, and what depends on one view alone is remembered.
    """

    def __init__(self, evidence: Evidence, stops: Stops, weights: Floats) -> None:
        self.stops, self.weights = stops, weights
        self._evidence = evidence
        strong = np.where(evidence.looked, STRONG, STRONG_BLIND)
        # Within one view a sweep begins or ends only where something sets the frames apart.
        apart = (evidence.settings < 0) | stands_out(evidence.log_pause)
        self.is_weak = (weights < strong) & (stops.begins | apart)
        self._begins = _Places(stops.begins)
        self._gaps = _Places(stops.gap)
        self._turned = _Places(stops.turned)
        self._told = _Places(stops.turned | stops.gap | stops.still)
        self._unjoined = _Places(stops.begins & ~stops.turned)
        self._moved = _Places(stops.begins & np.isfinite(evidence.pairs.moved_m))
        # A panning burst is even and goes one way by nature.
        self._by_hand = ~(evidence.driven | _by_clock(evidence, stops))
        self._swept = _Places(stops.turned & self._by_hand)
        swept = self._swept.at
        self._row = self._gaps.before[swept]
        self._shift, heading = stops.shift[swept], stops.heading[swept]
        self._step = stops.shift[self._turned.at]
        ways = np.radians(stops.heading[self._turned.at])
        self._way = self._step[:, None] * np.stack([np.cos(ways), np.sin(ways)], axis=1)
        self._steering = _running(_steering_weights(heading, self._row))
        self._squareness = _running(_squareness_weights(heading))
        ties = sorted((j, i) for j, tied in evidence.tied.items() for i, _ in tied)
        self._ties = np.array(ties, dtype=np.intp).reshape(-1, 2)
        self._brackets: dict[tuple[int, int], float] = {}
        self._stacks: dict[tuple[int, int], float] = {}

    def weight(self, start: int, end: int, weight: float) -> float | None:
        """The weight of frames ``start`` to ``end``, whose links together have ``weight``.

        ``None`` where they cannot be a panorama.
        """
        views = self._begins.count(start, end) + 1
        if views < 2 or not self._hangs_together(start, end, views - 1):
            return None
        told = self._told.count(start, end) > 0
        if not told and views < FEWEST_BLIND_VIEWS:
            return None
        parts = [START if told else _blind_start(self._evidence, start, end)]
        if views == 2:
            parts.append(PAIR_ONLY)
        if told and self._unjoined.count(start, end):
            parts.append(self._lone_views_weight(start, end))
        parts += self._ways_weights(start, end)
        parts.append(self._lost_weight(start, end))
        parts.append(self._reach_weight(start, end))
        parts.append(self._rhythm_weight(start, end))
        if not self._turned.count(start, end) and _is_shown(self._evidence, start, end):
            # No picture shows that anybody turned the camera, and a clock turns none.
            parts.append(-clockwork(self._evidence, start, end))
        if views < end - start + 1:
            cuts = [start - 1, *self._begins.within(start, end).tolist(), end]
            held = [(before + 1, last) for before, last in itertools.pairwise(cuts)]
            parts.append(sum(self._bracket_weight(*view) for view in held if view[1] > view[0]))
            parts.append(self._stacks_weight(held))
        return sum(parts, weight)

    def _hangs_together(self, start: int, end: int, steps: int) -> bool:
        """Whether at least as many views overlap as not, shot from one standpoint."""
        if 2 * self._gaps.count(start, end) > steps:
            return False
        # Walked or flown from view to view there is no standpoint to join them from.
        moved_m = self._evidence.pairs.moved_m
        return not moved_on(moved_m[self._moved.within(start, end)])

    def _rhythm_weight(self, start: int, end: int) -> float:
        """Weight of the pauses between views being one rhythm."""
        kept = self.stops.begins[start:end] & self._by_hand[start:end]
        for gap in self._gaps.within(start, end).tolist():
            # The way back to a new row breaks the rhythm without breaking the set.
            if gap in self._between_rows or self._evidence.tie(gap + 1, start) is not None:
                kept[gap - start] = False
        slack = self._evidence.pairs.pause_slack_s[start:end]
        return evenness_weight(self._evidence.log_pause[start:end][kept], slack[kept])

    def _ways_weights(self, start: int, end: int) -> list[float]:
        """Weights of the ways and lengths of a stretch's steps."""
        parts = [self._direction_weight(start, end)]
        steps = self._swept.span(start, end)
        if steps.stop > steps.start:
            # What lies before the first step of the stretch is none of its business.
            parts.append(self._steering[steps.stop] - self._steering[steps.start + 1])
            parts.append(self._squareness[steps.stop] - self._squareness[steps.start])
        # A new row, or another go, may step otherwise than the last.
        row, shift = self._row[steps], self._shift[steps]
        cuts = [0, *(np.flatnonzero(row[1:] != row[:-1]) + 1).tolist(), len(row)]
        parts += [_steadiness_weight(shift[a:b]) for a, b in itertools.pairwise(cuts)]
        return parts

    def _reach_weight(self, start: int, end: int) -> float:
        """Weight of how far the widest part between two gaps reaches across or up."""
        steps = self._turned.span(start, end)
        if steps.start == steps.stop or (self._step[steps] >= REACH[-1]).any():
            return 0.0
        widest = 0.0
        for ways in self._way[steps].T:
            rows = self._gaps.before[self._turned.at[steps]]
            for part in np.split(ways, np.flatnonzero(np.diff(rows)) + 1):
                at = np.cumsum(part)
                widest = max(widest, float(max(at.max(), 0.0) - min(at.min(), 0.0)))
        return float(np.interp(widest, REACH, REACH_WEIGHT))

    @cached_property
    def _between_rows(self) -> frozenset[int]:
        """Gaps on either side of which a sweep goes at another height."""
        pitch = self.stops.pitch
        cuts = [-1, *self._gaps.at.tolist(), len(pitch)]
        rows = [pitch[before + 1 : after] for before, after in itertools.pairwise(cuts)]
        rows = [row[np.isfinite(row)] for row in rows]
        heights = [middle(row) if len(row) else math.nan for row in rows]
        return frozenset(
            gap
            for gap, below, above in zip(cuts[1:], heights, heights[1:], strict=False)
            if abs(above - below) > ROWS_APART_DEG
        )

    def _untied_gaps(self, start: int, end: int) -> list[int]:
        """The gaps of a stretch over which no picture ties its frames."""
        gaps = self._gaps.within(start, end).tolist()
        return [gap for gap in gaps if self._evidence.tie(gap + 1, start) is None]

    def _direction_weight(self, start: int, end: int) -> float:
        """Weight of the sweep going on the way it went across every gap that nothing ties over.

        Across a gap the way only goes on or back: what lies between was not seen. A row at another
        height may begin anywhere.
        """
        weight = 0.0
        for gap in self._untied_gaps(start, end):
            before, after = self._turned.within(start, gap), self._turned.within(gap + 1, end)
            if len(before) and len(after):
                if gap in self._between_rows:
                    weight += OTHER_ROW
                    continue
                ways = self.stops.heading[[before[-1], after[0]]]
                on = math.cos(math.radians(float(ways[1] - ways[0]))) > 0
                weight += RUNS_ON if on else TURNS_ROUND
        return weight

    def _lost_weight(self, start: int, end: int) -> float:
        """Weight against so many views being lost in a row as a gap has room for at the least.

        Where neighbours overlap by two thirds, those on either side of a lost frame still overlap:
        to part them it takes two. As many as the file numbers leave out are accounted for.
        """
        steps = self._step[self._turned.span(start, end)]
        if not len(steps):
            return 0.0
        least = math.ceil(FOUND_WITHIN / middle(steps)) - 1
        if least < 2:
            return 0.0
        further = 0.0
        for gap in self._untied_gaps(start, end):
            if gap in self._between_rows:
                continue
            told = float(self._evidence.pairs.number_step[gap]) - 1
            told = told if 1 <= told <= MOST_LOST else 1.0  # also where it is not known
            further += max(0.0, least - told)
        return LOST_MORE * further

    def _lone_views_weight(self, start: int, end: int) -> float:
        """Weight against views that no picture ties to anything else of the stretch."""
        joined, seen = self._joined_views(start, end)
        each = np.where(joined, 0.0, np.where(seen, LONE_VIEW, UNSEEN_VIEW))
        for way, outer, inner in ((1, start - 1, start), (-1, end, end - 1)):
            ending = each[::way][: int(np.argmax(joined[::way]))]  # a view of the writable array
            if not 0 <= outer < len(self.weights) or self.weights[outer] < PLAIN_BREAK:
                # More frames than one are a set.
                if len(ending) == 1 and self.stops.begins[inner]:
                    ending[:] = np.where(seen[::way][:1], LEFT_OVER, 0.0)
                elif _is_plain_row(len(ending), joined, seen[::way]):
                    ending[:] = np.maximum(ending, UNSEEN_ROW / len(ending))
            else:
                ending[:] = np.minimum(ending, UNSEEN_BESIDE_OTHERS)
        return float(each.sum())

    def _joined_views(self, start: int, end: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """For each view whether a picture ties it to another, and whether a gap beside it shows."""
        begins = self._begins.within(start, end)
        joined = np.zeros(len(begins) + 1, dtype=bool)
        seen = np.zeros(len(begins) + 1, dtype=bool)
        for sides in (np.s_[:-1], np.s_[1:]):
            joined[sides] |= self.stops.turned[begins]
            seen[sides] |= self.stops.gap[begins]
        among = self._ties[slice(*np.searchsorted(self._ties[:, 0], [start + 2, end + 1]))]
        view = self._begins.before[among[among[:, 1] >= start]] - self._begins.before[start]
        joined[view[view[:, 0] != view[:, 1]]] = True
        return joined, seen

    def _bracket_weight(self, first: int, last: int) -> float:
        """Weight of the bracket of one view, as the bracket rule would have it."""
        known = self._brackets.get((first, last))
        if known is None:
            pairs, span = self._evidence.pairs, slice(first, last)
            frames, light = pairs.frames[first : last + 1], pairs.light[first : last + 1]
            known = ladder_weight(frames, light) or 0.0
            known += evenness_weight(self._evidence.log_pause[span], pairs.pause_slack_s[span])
            self._brackets[first, last] = known
        return known

    def _stacks_weight(self, views: Sequence[tuple[int, int]]) -> float:
        """What to give back where every view holds the same number of equally exposed frames.

        Such repeats are focus steps, not spares: they count as they would in stacks of their own.
        """
        lengths = np.array([last - first + 1 for first, last in views])
        usual = int(middle(lengths))
        alike = lengths == usual
        if usual < 2 or alike.sum() < FEWEST_STACKS or alike.mean() < EVEN_STACKS:
            return 0.0
        return sum(self._stack_weight(first, last) for first, last in views if last > first)

    def _stack_weight(self, first: int, last: int) -> float:
        known = self._stacks.get((first, last))
        if known is None:
            evidence, span = self._evidence, slice(first, last)
            exposed = evidence.exposed[span]
            repeats = self.stops.still[span] & ~exposed
            known = math.log(STILL["same"] / SWEPT["same"]) * int(repeats.sum())
            # Where a drive steps the focus at each view its pauses weigh as in a burst.
            driven = repeats & evidence.driven[span]
            known += float(np.maximum(FAST - evidence.pause[span], 0.0)[driven].sum())
            if not exposed.any():
                focus = focus_weight(evidence, first, last)
                known += focus[0] if focus is not None else 0.0
                known += evenness_weight(
                    evidence.log_pause[span], evidence.pairs.pause_slack_s[span]
                )
            self._stacks[first, last] = known
        return known


class _Places:
    """Where a mark stands on the links of a strand, and how many of it in any stretch."""

    def __init__(self, marked: NDArray[np.bool_]) -> None:
        self.at = np.flatnonzero(marked)
        self.before: NDArray[np.intp] = np.concatenate([[0], np.cumsum(marked)])
        self._before: list[int] = self.before.tolist()  # quicker to ask one by one

    def count(self, start: int, end: int) -> int:
        return self._before[end] - self._before[start]

    def span(self, start: int, end: int) -> slice:
        """Which of the marks lie on the links from ``start`` up to ``end``."""
        return slice(self._before[start], max(self._before[start], self._before[end]))

    def within(self, start: int, end: int) -> NDArray[np.intp]:
        return self.at[self.span(start, end)]


def _running(weights: Floats) -> list[float]:
    """Sums of the first so many weights."""
    sums: list[float] = np.concatenate([[0.0], np.cumsum(weights)]).tolist()
    return sums


def _blind_start(evidence: Evidence, start: int, end: int) -> float:
    """Weight for a sweep of which no picture tells anything."""
    return PLAIN_START if _is_shown(evidence, start, end) else BLIND_START


def _is_shown(evidence: Evidence, start: int, end: int) -> bool:
    """Whether there are pictures to look at among frames ``start`` to ``end``."""
    return any(glance is not None for glance in evidence.pairs.glances[start : end + 1])


def _is_plain_row(count: int, joined: NDArray[np.bool_], seen: NDArray[np.bool_]) -> bool:
    """Whether the first ``count`` views, none of them matched, may be a row of sky or water."""
    known = int(joined.sum())
    return count >= FEWEST_IN_ROW and not seen[: count - 1].any() and known % count == 0


def _steering_weights(heading: Floats, row: NDArray[np.intp]) -> Floats:
    """Weight of every step going on the way of the step before, where nothing lies between.

    Args:
        heading: the direction of each step in degrees.
        row: how many gaps lie before each step.
    """
    off = np.abs((np.diff(heading) + 180.0) % 360.0 - 180.0)
    weights = np.zeros(len(heading))
    weights[1:] = np.select([off < ON_DEG, off < BACK_DEG], [RUNS_ON, TURNS_OFF], TURNS_ROUND)
    weights[1:][row[1:] != row[:-1]] = 0.0
    return weights


def _steadiness_weight(shift: Floats) -> float:
    """Weight of the steps being alike: a turned head clicks, a re-framing hand wanders."""
    if len(shift) < 2:
        return 0.0
    off = np.log(shift / middle(shift))
    tight = np.exp(-0.5 * (off / STEP_SPREAD) ** 2) / STEP_SPREAD
    loose = np.exp(-0.5 * (off / LOOSE_SPREAD) ** 2) / LOOSE_SPREAD
    weight = np.log(STEADY_SHARE * tight / loose + (1.0 - STEADY_SHARE))
    least, most = STEADY_LIMITS
    return float(np.minimum(np.maximum(weight, least), most).sum())


def _squareness_weights(heading: Floats) -> Floats:
    """Weight of each step running along the frame's sides rather than any which way.

    ``heading`` is the direction of each step in degrees. A sweep runs sideways or up and down;
    a re-framing hand goes anywhere, evenly over the 90 degrees between two sides.
    """
    off = (heading + 45.0) % 90.0 - 45.0
    square = np.exp(-0.5 * (off / SQUARE_DEG) ** 2) / (SQUARE_DEG * math.sqrt(2 * math.pi))
    weight = np.log(SQUARE_SHARE * square * 90.0 + (1.0 - SQUARE_SHARE))
    return np.clip(weight, *SQUARE_LIMITS)


def explain(evidence: Evidence, first: int, last: int) -> tuple[str, ...]:
    """What speaks for frames ``first`` to ``last`` being a panorama, in words."""
    return _reasons(evidence, find_stops(evidence), slice(first, last))


def _reasons(evidence: Evidence, stops: Stops, span: slice) -> tuple[str, ...]:
    reasons: list[str] = []
    turned, steps = stops.turned[span], stops.begins[span]
    if turned.any():
        overlap = stops.overlap[span][turned]
        reasons.append(
            f"{int(turned.sum())} of {int(steps.sum())} neighbours overlap by "
            f"{_range(overlap.min() * 100, overlap.max() * 100, 0)} %"
        )
    elif not evidence.looked[span].any():
        reasons.append("pictures were not looked at: same settings in one rhythm")
    pauses = evidence.pairs.pause_s[span][steps]
    pauses = pauses[np.isfinite(pauses)]
    if len(pauses):
        reasons.append(f"pauses {_range(max(pauses.min(), 0), max(pauses.max(), 0), 1)} s")
    levels = exposure_levels(evidence.pairs.light[span.start : span.stop + 1])
    if levels is not None and len(set(levels)) > 1:
        reasons.append(f"{len(set(levels))} exposure levels")
    return tuple(reasons)


def _range(low: float, high: float, digits: int) -> str:
    """Both ends, or one where they read the same."""
    first, last = f"{low:.{digits}f}", f"{high:.{digits}f}"
    return first if first == last else f"{first}-{last}"


RULE = Rule(kind="panorama", propose=propose, explain=explain)
