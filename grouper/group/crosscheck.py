"""Neighbours that are found in doubt, held against what other frames say of them.

Where an earlier frame is known to overlap both, the turn from one neighbour to the other follows:
so a match by chance is told from a right one.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from grouper.group.looking import is_settled, is_sure
from grouper.group.pairs import Floats, Pairs
from grouper.model import Sighting
from grouper.rotations import rotation

SAME_TURN_DEG = 8.0
"""Turns this near are one: half a degree for each step on the way round, a hand's parallax, and the
smallest step of a sweep is still longer. Turns found by chance may be any."""


def cross_check(pairs: Pairs) -> None:
    """Make sure of neighbours in ``pairs.sightings`` that were found in doubt, or drop them."""
    for i in range(len(pairs.frames) - 1):
        seen = pairs.seen(i, i + 1)
        if seen is None or not is_sure(seen) or is_settled(seen):
            continue
        others = [
            (tie.certainty, way.T @ _turn(tie))
            for k, _, tie in pairs.sightings.back_from([i + 1])
            if k < i and tie is not None and is_settled(tie)
            for way in [_way(pairs, k, i)]
            if way is not None
        ]
        if not others:
            continue
        certainty, expected = max(others, key=lambda other: other[0])
        is_same = _angle_deg(expected.T @ _turn(seen)) < SAME_TURN_DEG
        pairs.sightings[i, i + 1] = replace(
            seen, certainty=certainty if is_same else 1.0 - certainty
        )


def _way(pairs: Pairs, first: int, last: int) -> Floats | None:
    """The turn from one frame to a later one, as a matrix; ``None`` where it is not well known."""
    direct = pairs.seen(first, last)
    if direct is not None and is_settled(direct):
        return _turn(direct)
    way: Floats = np.eye(3)
    for i in range(first, last):
        step = pairs.seen(i, i + 1)
        if step is None or not is_settled(step):
            return None
        way = way @ _turn(step)
    return way


def _turn(sighting: Sighting) -> Floats:
    return rotation(np.radians(np.array(sighting.turn_deg)))


def _angle_deg(turn: Floats) -> float:
    return math.degrees(math.acos(min(1.0, max(-1.0, (float(np.trace(turn)) - 1.0) / 2.0))))
