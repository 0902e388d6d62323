"""Pointings of a panorama's frames, with the extra pairs that a first solution asks for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median

from grouper import optics
from grouper.contracts import Eye
from grouper.group.evidence import is_sure_tie
from grouper.group.layout import field_of_view_deg
from grouper.group.looking import SAME_VIEW_SHARE, ask, is_sure
from grouper.group.pairs import Pairs
from grouper.model import Frame, Pointing, Sighting, Solution

CROSS_PER_FRAME = 3
"""Extra pairs asked for per frame: the row above and below and the end of a circle."""
MOST_ANCHORS = 12
"""Tied frames that a stray run is held against, spread over the set."""
LEAST_LIKENESS = 0.8
"""Frames of one set that overlap agree about as well as its neighbours do: of 2,072 true ties on
rendered cards 96 % agree by more than this share of their median, of four false ones none."""
SAME_VIEW_OVERLAP = 1.0 - SAME_VIEW_SHARE
"""Frames that overlap more look at one view, by what tells stills from steps."""
LEAST_CROSS_OVERLAP = 0.2
"""Predicted overlap from which an extra pair is worth the look."""


def solve_stretch(pairs: Pairs, eye: Eye, first: int, last: int) -> Solution | None:
    """Solve the pointings of frames ``first`` to ``last``, looking twice.

    The first solution rests on neighbours; it predicts which other frames overlap (rows, the
    ends of a circle), these are looked at, and all is solved again.
    """
    solution = _solve(pairs, eye, first, last)
    if solution is None:
        return None
    if strays := _strays(solution.pointings):
        ask(pairs, eye, [(first + i, first + j) for i, j in strays])
        solution = _solve(pairs, eye, first, last) or solution
    wanted = _crossings(pairs.frames[first : last + 1], solution.pointings)
    ask(pairs, eye, [(first + i, first + j) for i, j in wanted], quick=True)
    if not any(is_sure_tie(pairs.seen(first + i, first + j)) for i, j in wanted):
        return solution
    return _solve(pairs, eye, first, last) or solution


def _solve(pairs: Pairs, eye: Eye, first: int, last: int) -> Solution | None:
    inside = [
        (i, j, sighting)
        for i, j, sighting in pairs.sightings.within(first, last)
        if sighting is not None
    ]
    steps = [seen.score for i, j, seen in inside if j == i + 1 and is_sure(seen)]
    least = LEAST_LIKENESS * median(steps) if steps else 0.0
    seen = [
        (i - first, j - first, sighting)
        for i, j, sighting in inside
        if (is_sure(sighting) if j == i + 1 else _holds(sighting, least))
    ]
    return eye.solve(pairs.frames[first : last + 1], seen)


def _holds(tie: Sighting, least_score: float) -> bool:
    """Whether a tie is believed: one of dozens that were tried, it must be surer and as alike."""
    return is_sure_tie(tie) and tie.score >= least_score


def _strays(pointings: Sequence[Pointing]) -> list[tuple[int, int]]:
    """Pairs that may tie frames which hang together among themselves only to the rest."""
    tied = [i for i, pointing in enumerate(pointings) if pointing.yaw_deg is not None]
    stray = [i for i, pointing in enumerate(pointings) if pointing.yaw_deg is None]
    if not tied or not stray:
        return []
    runs: list[list[int]] = []
    for i in stray:
        if runs and runs[-1][-1] == i - 1:
            runs[-1].append(i)
        else:
            runs.append([i])
    step = max(1, len(tied) // MOST_ANCHORS)
    ends = {end for run in runs for end in (run[0], run[len(run) // 2], run[-1])}
    return [(min(i, j), max(i, j)) for i in sorted(ends) for j in tied[::step]]


def _crossings(frames: Sequence[Frame], pointings: Sequence[Pointing]) -> list[tuple[int, int]]:
    """Pairs (i, j), j > i + 1, that the pointings predict to overlap well, best first per frame."""
    fov = field_of_view_deg(frames[0])
    if fov is None:
        return [(0, len(frames) - 1)] if len(frames) > 2 else []
    wanted: list[tuple[int, int]] = []
    began = 0  # the first of the frames one after the other that look at j's view
    for j in range(1, len(frames)):
        if _predicted_overlap(pointings[began], pointings[j], fov) < SAME_VIEW_OVERLAP:
            began = j
        # Frames of one view hang together one by one: more pairs of them tell nothing new.
        ranked = sorted(
            (
                (_predicted_overlap(pointings[i], pointings[j], fov), i)
                for i in range(min(j - 1, began))
            ),
            reverse=True,
        )
        wanted += [(i, j) for share, i in ranked[:CROSS_PER_FRAME] if share > LEAST_CROSS_OVERLAP]
    if len(frames) > 2 and (0, len(frames) - 1) not in wanted:
        wanted.append((0, len(frames) - 1))
    return wanted


def _predicted_overlap(a: Pointing, b: Pointing, fov: tuple[float, float]) -> float:
    if None in (a.yaw_deg, a.pitch_deg, b.yaw_deg, b.pitch_deg):
        return 0.0
    across = optics.within_half_turn(float(b.yaw_deg or 0) - float(a.yaw_deg or 0))
    up = abs(float(b.pitch_deg or 0) - float(a.pitch_deg or 0))
    lean = math.radians((float(a.pitch_deg or 0) + float(b.pitch_deg or 0)) / 2)
    across = abs(across) * max(math.cos(lean), 0.1)
    return optics.overlap_angular(across, fov[0]) * optics.overlap_angular(up, fov[1])


def _from_middle(yaw_deg: float | None, middle: float, closed: bool) -> float | None:
    if yaw_deg is None:
        return None
    # A full turn with a little more than a circle comes round to where it began.
    return optics.within_half_turn(yaw_deg - middle) if closed else yaw_deg - middle


def centred(solution: Solution) -> tuple[Pointing, ...]:
    """Pointings with yaw counted from the middle of the set, -180 to 180 where closed."""
    yaws = [p.yaw_deg for p in solution.pointings if p.yaw_deg is not None]
    if not yaws:
        return solution.pointings
    middle = (min(yaws) + max(yaws)) / 2
    return tuple(
        Pointing(
            yaw_deg=_from_middle(p.yaw_deg, middle, solution.closed),
            pitch_deg=p.pitch_deg,
            roll_deg=p.roll_deg,
        )
        for p in solution.pointings
    )
