"""Panoramas: two or more views that hang together by overlap, each one frame or a bracket."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from grouper.group.choose import Proposal, Rule
from grouper.group.evidence import (
    SEEN_AT_BOUNDARY,
    STEP_TAKEN,
    STILL,
    Evidence,
    evenness_weight,
    still_weight,
)
from grouper.group.exposures import exposure_levels, ladder_weight
from grouper.group.focusing import focus_weight
from grouper.group.looking import LONGEST_PAUSE_S, is_still
from grouper.group.pairs import STOP_EV, Floats, moved_on
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
LOST_ONE = 1.6
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
RUNS_ON, TURNS_OFF, TURNS_ROUND = 0.4, -1.0, -2.0
"""From step to step, and over a lost frame, a sweep goes on the way it went, turns off into its
next row, and seldom goes back over what it has; a re-framing hand goes back as often as on, and
another subject is swept either way (estimated)."""
ON_DEG, BACK_DEG = 45.0, 135.0
"""Changes of the way that are still on, and already back: between them the way is across."""
TOO_LATE = -12.0
"""Hardly anybody goes on with a sweep after so long (see ``looking``), even where another begins
just where it ended."""
MOST_AGAINST_EXPOSURE = -5.0
"""An exposure that wanders through a whole sweep is one slip, not one at every frame."""
SAME_SECOND_LIMIT = 1.0
"""Two frames of a hasty hand may fall into one whole-second stamp."""
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
    stops = find_stops(evidence)
    weights = link_weights(evidence, stops)
    strong = np.where(evidence.looked, STRONG, STRONG_BLIND)
    # Within one view a sweep begins or ends only where something sets the frames apart.
    apart = (evidence.settings < 0) | stands_out(evidence.log_pause)
    starts, ends = ends_at(weights, (weights < strong) & (stops.begins | apart), first, last)
    for start in starts:
        stretch = _Stretch(evidence, stops, weights, start)
        for end, weight in grow(start, last, stretch.link_weight):
            if end not in ends:
                continue
            proposal = _judge(evidence, stops, weights, start, end, weight)
            if proposal is not None and proposal.weight > 0:
                yield proposal


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
    lost = stops.gap & (number >= 2) & (number <= 4)
    # Where no overlap is seen, an hour's pause is a boundary even on a card with few pauses to
    # learn from.
    unseen = np.minimum(evidence.pause, evidence.usual_pause)
    pause = np.where(stops.turned | stops.still, evidence.pause, unseen)
    weight: Floats = (
        np.where(leg, legs + STEP_TAKEN, turning + evidence.exposure)
        + evidence.settings
        + np.where(leg, evidence.pause, np.minimum(pause, _hand_limit(evidence)))
        + np.where(lost, LOST_ONE, 0.0)
        + np.where(stops.gap & (number == 1), NEVER_FIRED, 0.0)
        + np.where(evidence.pairs.pause_s > LONGEST_PAUSE_S, TOO_LATE, 0.0)
    )
    return weight


def _hand_limit(evidence: Evidence) -> Floats:
    """The most a pause may speak for a sweep: nobody turns a camera as fast as a drive runs."""
    coarse = evidence.pairs.pause_slack_s >= 1.0
    pause = np.nan_to_num(evidence.pairs.pause_s, nan=np.inf)
    limit = np.where(coarse & (pause < COARSE_S), SAME_SECOND_LIMIT, np.inf)
    return np.where(evidence.driven, 0.0, limit)


def _seen_weight(evidence: Evidence) -> Floats:
    """Weight of what was seen of neighbours; how far they overlap tells more of a turn."""
    inside, boundary = _overlap_shares(evidence.overlap)
    chances = {"same": evidence.same, "turned": evidence.turned, "apart": evidence.apart}
    here = sum(
        chances[name] * share * (inside if name == "turned" else 1.0)
        for name, share in SWEPT.items()
    )
    there = sum(
        chances[name] * share * (boundary if name == "turned" else 1.0)
        for name, share in SEEN_AT_BOUNDARY.items()
    )
    weight: Floats = np.where(evidence.looked, np.log(here / there), 0.0)
    return weight


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


def _judge(
    evidence: Evidence, stops: Stops, weights: Floats, start: int, end: int, weight: float
) -> Proposal | None:
    """The panorama of frames ``start`` to ``end``, whose links together have ``weight``."""
    span = slice(start, end)
    views = int(stops.begins[span].sum()) + 1
    if views < 2 or not _hangs_together(evidence, stops, span):
        return None
    told = bool((stops.turned[span] | stops.gap[span] | stops.still[span]).any())
    if not told and views < FEWEST_BLIND_VIEWS:
        return None
    parts = [START if told else _blind_start(evidence, start, end)]
    if views == 2:
        parts.append(PAIR_ONLY)
    if told:
        parts.append(_lone_views_weight(evidence, stops, weights, start, end))
    parts.append(_direction_weight(evidence, stops, start, end))
    by_hand = ~evidence.driven[span]  # a panning burst is even and goes one way by nature
    parts.append(_steering_weight(stops, start, end, by_hand))
    parts.append(_rhythm_weight(evidence, stops, start, end, by_hand))
    swept = stops.turned[span] & by_hand
    row = np.cumsum(stops.gap[span])  # a new row, or another go, may step otherwise than the last
    for number in np.unique(row[swept]):
        parts.append(_steadiness_weight(stops.shift[span][swept & (row == number)]))
    parts.append(_squareness_weight(stops.heading[span][swept]))
    parts.append(_brackets_weight(evidence, stops, start, end))
    parts.append(_stacks_weight(evidence, stops, start, end))
    return Proposal(
        kind="panorama",
        first=start,
        last=end,
        weight=sum(parts, weight),
        evidence=_reasons(evidence, stops, span),
    )


def _hangs_together(evidence: Evidence, stops: Stops, span: slice) -> bool:
    """Whether at least as many views overlap as not, shot from one standpoint."""
    gaps, steps = stops.gap[span], stops.begins[span]
    if gaps.sum() > steps.sum() - gaps.sum():
        return False
    # Walked or flown from view to view there is no standpoint to join them from.
    return not moved_on(evidence.pairs.moved_m[span][steps])


def _blind_start(evidence: Evidence, start: int, end: int) -> float:
    """Weight for a sweep of which no picture tells anything."""
    shown = any(glance is not None for glance in evidence.pairs.glances[start : end + 1])
    return PLAIN_START if shown else BLIND_START


def _rhythm_weight(
    evidence: Evidence, stops: Stops, start: int, end: int, by_hand: NDArray[np.bool_]
) -> float:
    """Weight of the pauses between views being one rhythm."""
    span = slice(start, end)
    # The way back to a new row breaks the rhythm without breaking the set.
    tied = [evidence.tie(link + 1, start) is not None for link in range(start, end)]
    kept = stops.begins[span] & by_hand & ~(stops.gap[span] & np.array(tied))
    slack = evidence.pairs.pause_slack_s[span]
    return evenness_weight(evidence.log_pause[span][kept], slack[kept])


def _lone_views_weight(
    evidence: Evidence, stops: Stops, weights: Floats, start: int, end: int
) -> float:
    """Weight against views that no picture ties to anything else of the stretch."""
    if not (stops.begins[start:end] & ~stops.turned[start:end]).any():
        return 0.0
    joined, seen = _joined_views(evidence, stops, start, end)
    each = np.where(joined, 0.0, np.where(seen, LONE_VIEW, UNSEEN_VIEW))
    for way, outer, inner in ((1, start - 1, start), (-1, end, end - 1)):
        ending = each[::way][: int(np.argmax(joined[::way]))]  # a view of the writable array
        if not 0 <= outer < len(weights) or weights[outer] < PLAIN_BREAK:
            if len(ending) == 1 and stops.begins[inner]:  # more frames than one are a set
                ending[:] = np.where(seen[::way][:1], LEFT_OVER, 0.0)
            elif _is_plain_row(len(ending), joined, seen[::way]):
                ending[:] = np.maximum(ending, UNSEEN_ROW / len(ending))
        else:
            ending[:] = np.minimum(ending, UNSEEN_BESIDE_OTHERS)
    return float(each.sum())


def _joined_views(
    evidence: Evidence, stops: Stops, start: int, end: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """For each view whether a picture ties it to another one, and whether a gap beside it shows."""
    # number of the view of every frame of the stretch
    view = np.concatenate([[0], np.cumsum(stops.begins[start:end])])
    joined = np.zeros(int(view[-1]) + 1, dtype=bool)
    seen = np.zeros(len(joined), dtype=bool)
    for link in np.flatnonzero(stops.begins[start:end]):
        sides = [view[link], view[link + 1]]
        joined[sides] |= stops.turned[start + link]
        seen[sides] |= stops.gap[start + link]
    for frame in range(start + 2, end + 1):
        for earlier, _ in evidence.tied.get(frame, ()):
            if earlier >= start and view[earlier - start] != view[frame - start]:
                joined[view[earlier - start]] = joined[view[frame - start]] = True
    return joined, seen


def _is_plain_row(count: int, joined: NDArray[np.bool_], seen: NDArray[np.bool_]) -> bool:
    """Whether the first ``count`` views, none of them matched, may be a row of sky or water."""
    known = int(joined.sum())
    return count >= FEWEST_IN_ROW and not seen[: count - 1].any() and known % count == 0


def _direction_weight(evidence: Evidence, stops: Stops, start: int, end: int) -> float:
    """Weight of the sweep going on the way it went across every gap that nothing ties over.

    Across a gap the way only goes on or back: what lies between was not seen.
    """
    gaps = [start + int(k) for k in np.flatnonzero(stops.gap[start:end])]
    weight = 0.0
    for gap in gaps:
        if evidence.tie(gap + 1, start) is not None:
            continue
        before = np.flatnonzero(stops.turned[start:gap])
        after = np.flatnonzero(stops.turned[gap + 1 : end])
        if len(before) and len(after):
            ways = stops.heading[[start + int(before[-1]), gap + 1 + int(after[0])]]
            on = math.cos(math.radians(float(ways[1] - ways[0]))) > 0
            weight += RUNS_ON if on else TURNS_ROUND
    return weight


def _steering_weight(stops: Stops, start: int, end: int, by_hand: NDArray[np.bool_]) -> float:
    """Weight of every step going on the way of the step before, where nothing lies between."""
    weight = 0.0
    swept = stops.turned[start:end] & by_hand
    for run in np.split(np.arange(end - start), np.flatnonzero(stops.gap[start:end])):
        ways = stops.heading[start + run[swept[run]]]
        off = np.abs((np.diff(ways) + 180.0) % 360.0 - 180.0)
        kinds = [off < ON_DEG, off < BACK_DEG]
        weight += float(np.select(kinds, [RUNS_ON, TURNS_OFF], TURNS_ROUND).sum())
    return weight


def _steadiness_weight(shift: Floats) -> float:
    """Weight of the steps being alike: a turned head clicks, a re-framing hand wanders."""
    if len(shift) < 2:
        return 0.0
    off = np.log(shift / np.median(shift))
    tight = np.exp(-0.5 * (off / STEP_SPREAD) ** 2) / STEP_SPREAD
    loose = np.exp(-0.5 * (off / LOOSE_SPREAD) ** 2) / LOOSE_SPREAD
    weight = np.log(STEADY_SHARE * tight / loose + (1.0 - STEADY_SHARE))
    return float(np.clip(weight, *STEADY_LIMITS).sum())


def _squareness_weight(heading: Floats) -> float:
    """Weight of the steps running along the frame's sides rather than any which way.

    ``heading`` is the direction of each step in degrees. A sweep runs sideways or up and down;
    a re-framing hand goes anywhere, evenly over the 90 degrees between two sides.
    """
    off = (heading + 45.0) % 90.0 - 45.0
    square = np.exp(-0.5 * (off / SQUARE_DEG) ** 2) / (SQUARE_DEG * math.sqrt(2 * math.pi))
    weight = np.log(SQUARE_SHARE * square * 90.0 + (1.0 - SQUARE_SHARE))
    return float(np.clip(weight, *SQUARE_LIMITS).sum())


def _brackets_weight(evidence: Evidence, stops: Stops, start: int, end: int) -> float:
    """Weight of the brackets at the views, as the bracket rule would have it."""
    pairs = evidence.pairs
    begins = np.flatnonzero(stops.begins[start:end])
    cuts = [start - 1, *(start + int(k) for k in begins), end]
    weight = 0.0
    for before, last in itertools.pairwise(cuts):
        first = before + 1
        if last > first:
            ladder, _ = ladder_weight(pairs.frames[first : last + 1], pairs.light[first : last + 1])
            span = slice(first, last)
            weight += ladder
            weight += evenness_weight(evidence.log_pause[span], pairs.pause_slack_s[span])
    return weight


def _stacks_weight(evidence: Evidence, stops: Stops, start: int, end: int) -> float:
    """What to give back where every view holds the same number of equally exposed frames.

    Such repeats are focus steps, not spares: they count as they would in stacks of their own.
    """
    begins = np.flatnonzero(stops.begins[start:end]) + start
    firsts, lasts = [start, *(begins + 1)], [*begins, end]
    lengths = np.array(lasts) - np.array(firsts) + 1
    usual = int(np.median(lengths))
    if len(lengths) < FEWEST_STACKS or usual < 2 or (lengths == usual).mean() < EVEN_STACKS:
        return 0.0
    repeats = stops.still[start:end] & ~stops.begins[start:end] & ~evidence.exposed[start:end]
    weight = math.log(STILL["same"] / SWEPT["same"]) * float(repeats.sum())
    for first, last in zip(firsts, lasts, strict=True):
        if last > first and not evidence.exposed[first:last].any():
            focus = focus_weight(evidence, int(first), int(last))
            weight += focus[0] if focus is not None else 0.0
            weight += evenness_weight(
                evidence.log_pause[first:last], evidence.pairs.pause_slack_s[first:last]
            )
    return weight


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


RULE = Rule(kind="panorama", propose=propose)
