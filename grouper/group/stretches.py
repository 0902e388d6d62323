"""Walking over the stretches of a strand that a kind of set may propose."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from grouper.group.pairs import Floats

PLAIN_CUT = -0.5
"""A pair that weighs less than this is a boundary to be reckoned with in any case."""
MOST_DOUBTFUL = 80
"""Doubtful pairs between two plain cuts at which stretches may start or end: more frames than
all but giant sweeps have, and 80 squared ways to cut them take seconds, not hours."""
HOPELESS = -9.0
"""A stretch this far below nothing is given up: no later frame makes up for it."""
FALLEN = 12.0
"""Nor for a stretch that has lost this much against its own best beginning."""


def grow(
    first: int, last: int, link_weight: Callable[[int], float], longest: int | None = None
) -> Iterator[tuple[int, float]]:
    """Grow a stretch from ``first`` one frame at a time towards ``last``.

    Args:
        first: first frame of the stretch.
        last: last frame it may reach.
        link_weight: weight of the pair (i, i + 1), called in order.
        longest: most frames in the stretch.

    Yields:
        (last frame so far, summed weight), until the stretch is hopeless.
    """
    total = best = 0.0
    stop = last if longest is None else min(last, first + longest - 1)
    for end in range(first + 1, stop + 1):
        total += link_weight(end - 1)
        best = max(best, total)
        if total < HOPELESS or total < best - FALLEN:
            return
        yield end, total


def ends_at(
    weights: Floats, weak: NDArray[np.bool_], first: int, last: int
) -> tuple[tuple[int, ...], frozenset[int]]:
    """Where stretches may start and end: only at pairs that might be boundaries.

    A series of thousands of frames that plainly hang together would otherwise be proposed in
    every one of its millions of parts. So would one of which nothing much is known, pair by
    pair: there the likeliest of every few pairs stands for the others.

    Args:
        weights: weight of each pair, shape (n - 1,).
        weak: pairs that might be boundaries, shape (n - 1,).
        first: first frame of the run.
        last: last frame of the run.

    Returns:
        Frames to start from, in order, and frames to end at.
    """
    cuts: list[int] = []
    doubtful: list[int] = []
    for k in (int(k) + first for k in np.flatnonzero(weak[first:last])):
        if weights[k] >= PLAIN_CUT:
            doubtful.append(k)
            continue
        cuts += [*_likeliest(weights, doubtful), k]
        doubtful = []
    cuts += _likeliest(weights, doubtful)
    return (first, *(k + 1 for k in cuts if k + 1 < last)), frozenset((*cuts, last))


def _likeliest(weights: Floats, doubtful: list[int]) -> list[int]:
    """At most so many of the doubtful pairs: of every few neighbours the one that weighs least."""
    few = math.ceil(len(doubtful) / MOST_DOUBTFUL)
    return [
        min(doubtful[at : at + few], key=lambda k: float(weights[k]))
        for at in range(0, len(doubtful), max(few, 1))
    ]
