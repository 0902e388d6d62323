"""The horizon in a small picture: long, straight, nearly level, brighter above. Pure.

Over open water or a plain the horizon is one great circle. A picture shows at most a piece of
it, and other straight edges as well, so a few candidates are handed on; whether they are pieces
of one circle is judged over the whole sweep (``lean.py``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from grouper.sight.sphere import DoubleArray, FloatArray

MOST_LINES = 3
"""Candidates of a picture: the horizon, and a bank of clouds and a shore that may be stronger."""
_STEEPEST = math.tan(math.radians(15.0))
"""A camera that is rolled more against the horizon was not meant to be level."""
_SOFT_LEVELS = 8.0
"""Grey levels added before the logarithm, so that noise in shadows does not count."""
_LEAST_STEP = 0.03
"""Natural log of the brightness above over that below: 3 %, three times what the noise of a small
picture leaves after smoothing (practice)."""
_NEAR_PX = 1.5
"""An edge this near to the line belongs to it; JPEG blocks shift edges by about a pixel."""
_LEAST_SUPPORT = 0.6
"""Share of the columns in which the line must be an edge: boats, heads and trees hide the rest."""
_ROUGHEST_PX = 0.35
"""Root mean square of the edge about its line. Measured on rendered thumbnails: the sea's is
0.07-0.25, which is what the codec leaves; straight pieces of skylines and shores 0.4 and more."""
_TRIMS = 3
"""Fits, each to what lay near the last: a few for boats and heads to drop out (estimated)."""
_APART_PX = 4.0
"""Lines that are closer than this at the middle and at both ends are one."""


@dataclass(frozen=True, slots=True)
class HorizonLine:
    """A straight edge: ``y = drop + slope * x``, ``x`` to the right, ``y`` down from the middle.

    ``drop`` is a share of the main picture's long side. ``support`` is the share of columns that
    show the line, ``rough_px`` how far the edge strays from it in pixels of the small picture.
    """

    drop: float
    slope: float
    support: float
    rough_px: float


def find_horizons(luma: FloatArray, full_px: float) -> tuple[HorizonLine, ...]:
    """Candidates for the horizon in an upright picture, the best supported first.

    Args:
        luma: grey levels 0..255, of shape (height, width).
        full_px: what the long side of the main picture measures at this scale.
    """
    step = _brighter_above(luma)
    height, width = step.shape
    if min(height, width) < 4 * _APART_PX:
        return ()
    found: list[tuple[float, float, float, float]] = []
    rows, slopes, score = _score_of_lines(step)
    for _ in range(4 * MOST_LINES):
        best = int(np.argmax(score))
        at_slope, at_row = divmod(best, len(rows))
        if score.ravel()[best] <= 0.0 or len(found) == MOST_LINES:
            break
        row, slope = float(rows[at_row]), float(slopes[at_slope])
        _strike_out(score, rows, slopes, row, slope, width)
        line = _refined(step, row, slope)
        if line is not None and not any(_is_same(line, other, width) for other in found):
            found.append(line)
    middle = (height - 1) / 2
    lines = [
        HorizonLine((row - middle) / full_px, slope, support, rough)
        for row, slope, support, rough in found
    ]
    return tuple(sorted(lines, key=lambda line: -line.support))


def _brighter_above(luma: FloatArray) -> FloatArray:
    """How much brighter it is above each pixel than below: natural log, negatives cut off."""
    grey = np.log(luma + np.float32(_SOFT_LEVELS))
    smooth = cv2.GaussianBlur(grey, (0, 0), sigmaX=1.5, sigmaY=0.8)
    step = np.zeros_like(smooth)
    step[2:-2] = smooth[:-4] - smooth[4:]
    return np.asarray(np.maximum(step, 0.0), dtype=np.float32)


def _score_of_lines(step: FloatArray) -> tuple[DoubleArray, DoubleArray, DoubleArray]:
    """Share of columns in which each line is an edge: rows at the middle, slopes, scores."""
    height, width = step.shape
    is_edge = (step >= _LEAST_STEP) & (step >= _ridge(step))
    thick = cv2.dilate(is_edge.astype(np.uint8), np.ones((3, 1), np.uint8)).astype(np.float32)
    x = np.arange(width) - (width - 1) / 2
    # Slopes so close together that the ends of neighbouring lines are two pixels apart.
    count = math.ceil(_STEEPEST * width / 2 / 2.0)
    slopes = np.linspace(-_STEEPEST, _STEEPEST, 2 * count + 1)
    rows = np.arange(height, dtype=np.float64)
    score = np.zeros((len(slopes), height))
    columns = np.arange(width)
    for at, slope in enumerate(slopes):
        there = np.rint(rows[:, None] + slope * x[None, :]).astype(np.intp)
        inside = (there >= 0) & (there < height)
        hits = thick[np.clip(there, 0, height - 1), columns[None, :]] * inside
        score[at] = hits.mean(axis=1)
    score[score < _LEAST_SUPPORT * 0.75] = 0.0
    return rows, slopes, score


def _ridge(step: FloatArray) -> FloatArray:
    """The larger of the two steps beside each pixel, above and below it."""
    beside = np.zeros_like(step)
    beside[1:-1] = np.maximum(step[:-2], step[2:])
    return beside


def _strike_out(
    score: DoubleArray, rows: DoubleArray, slopes: DoubleArray, row: float, slope: float, width: int
) -> None:
    """Take a line and those close to it out of the running, in place."""
    ends = np.abs(slopes - slope)[:, None] * width / 2
    middle = np.abs(rows - row)[None, :]
    score[(ends + middle) < _APART_PX] = 0.0


def _refined(
    step: FloatArray, row: float, slope: float
) -> tuple[float, float, float, float] | None:
    """The line through the edge's own places near a first guess, worst places left out."""
    height, width = step.shape
    x = np.arange(width) - (width - 1) / 2
    reach = 3.0
    support, rough = 0.0, 0.0
    for _ in range(_TRIMS):
        place, strength = _edge_near(step, row + slope * x, reach)
        known = (strength >= _LEAST_STEP) & (np.abs(place - (row + slope * x)) <= reach)
        if known.mean() < _LEAST_SUPPORT / 2:
            return None
        slope, row = (float(value) for value in np.polyfit(x[known], place[known], 1))
        off = place - (row + slope * x)
        near = known & (np.abs(off) <= _NEAR_PX)
        if not near.any():
            return None
        support, rough = float(near.mean()), float(np.sqrt((off[near] ** 2).mean()))
        reach = max(_NEAR_PX, reach / 2)
    is_inside = 3 <= row < height - 3
    if not is_inside or support < _LEAST_SUPPORT or rough > _ROUGHEST_PX or abs(slope) > _STEEPEST:
        return None
    return row, slope, support, rough


def _edge_near(
    step: FloatArray, about: DoubleArray, reach: float
) -> tuple[DoubleArray, DoubleArray]:
    """In each column the strongest step near a row, to a part of a pixel, and its strength."""
    height, width = step.shape
    columns = np.arange(width)
    window = np.arange(-math.ceil(reach), math.ceil(reach) + 1)
    there = np.clip(np.rint(about)[None, :].astype(np.intp) + window[:, None], 1, height - 2)
    values = step[there, columns[None, :]]
    best = there[np.argmax(values, axis=0), columns]
    before, at, after = (step[best + by, columns].astype(np.float64) for by in (-1, 0, 1))
    bend = before - 2 * at + after
    # The top of the parabola through three steps.
    part = np.where(bend < 0, (before - after) / np.where(bend < 0, 2 * bend, 1.0), 0.0)
    return best + np.clip(part, -0.5, 0.5), at


def _is_same(
    one: tuple[float, float, float, float], other: tuple[float, float, float, float], width: int
) -> bool:
    ends = abs(one[1] - other[1]) * width / 2
    return abs(one[0] - other[0]) + ends < _APART_PX
