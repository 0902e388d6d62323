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
from numpy.typing import NDArray

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
_MOST_GUESSES = 4 * MOST_LINES
"""Lines by votes that are looked at closely: most are no line, or one that was found already."""
_LEAST_VOTES = 0.75 * _LEAST_SUPPORT
"""Share of the columns that must vote for a guess: rows are whole pixels and slopes in steps, so
that a line's edges scatter over a few guesses (estimated)."""
_TRIMS = 3
"""Fits, each to what lay near the last: a few for boats and heads to drop out (estimated)."""
_APART_PX = 4.0
"""Lines that are closer than this at the middle and at both ends are one."""
_APART_ROWS = math.ceil(_APART_PX)
"""Rows above and below beyond which no line is that close."""


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


@dataclass(frozen=True, slots=True)
class _Line:
    """A line in pixels of the small picture: its row in the middle column, and as above."""

    row: float
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
    found: list[_Line] = []
    for line in _refined(step, *_most_voted(step)):
        if not any(_is_same(line, other, width) for other in found):
            found.append(line)
    middle = (height - 1) / 2
    lines = [
        HorizonLine((line.row - middle) / full_px, line.slope, line.support, line.rough_px)
        for line in found[:MOST_LINES]
    ]
    return tuple(sorted(lines, key=lambda line: -line.support))


def _brighter_above(luma: FloatArray) -> FloatArray:
    """How much brighter it is above each pixel than below: natural log, negatives cut off."""
    grey = np.log(luma + np.float32(_SOFT_LEVELS))
    smooth = cv2.GaussianBlur(grey, (0, 0), sigmaX=1.5, sigmaY=0.8)
    step = np.zeros_like(smooth)
    step[2:-2] = smooth[:-4] - smooth[4:]
    return np.asarray(np.maximum(step, 0.0), dtype=np.float32)


def _most_voted(step: FloatArray) -> tuple[DoubleArray, DoubleArray]:
    """First guesses, the best first: rows in the middle column, and slopes, each of shape (n,).

    Every edge votes for the lines through it (Hough transform, Duda & Hart 1972).
    """
    height, width = step.shape
    y, x = np.nonzero((step >= _LEAST_STEP) & (step >= _ridge(step)))
    # Slopes so close together that the ends of neighbouring lines are two pixels apart.
    count = math.ceil(_STEEPEST * width / 2 / 2.0)
    slopes = np.linspace(-_STEEPEST, _STEEPEST, 2 * count + 1)
    fall = np.rint(slopes[:, None] * _across(width)).astype(np.intp)
    # Room for lines that pass the middle above or below the picture.
    room = int(fall.max()) + 1
    tall = height + 2 * room
    voted = y + room - fall[:, x] + tall * np.arange(len(slopes))[:, None]
    votes = np.bincount(voted.ravel(), minlength=tall * len(slopes)).reshape(-1, tall)
    # An edge votes for the rows beside its own as well.
    votes = votes[:, :-2] + votes[:, 1:-1] + votes[:, 2:]
    rows, at_slope = _peaks(votes[:, room - 1 : room - 1 + height], slopes * width / 2, width)
    return rows.astype(np.float64), slopes[at_slope]


def _ridge(step: FloatArray) -> FloatArray:
    """The larger of the two steps beside each pixel, above and below it."""
    beside = np.zeros_like(step)
    beside[1:-1] = np.maximum(step[:-2], step[2:])
    return beside


def _peaks(
    votes: NDArray[np.intp], ends: DoubleArray, width: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Places of the most votes that are apart from each other: rows and slopes, of shape (n,).

    Args:
        votes: for each line, of shape (slopes, rows).
        ends: how much lower each slope lies at the right end than in the middle, in pixels.
        width: how many columns there are to vote.
    """
    left = votes.copy()
    rows = np.arange(votes.shape[1])
    found: list[tuple[int, int]] = []
    while len(found) < _MOST_GUESSES:
        at_slope, row = divmod(int(np.argmax(left)), len(rows))
        if left[at_slope, row] < _LEAST_VOTES * width:
            break
        found.append((row, at_slope))
        near = slice(max(0, row - _APART_ROWS), row + _APART_ROWS + 1)
        apart = np.abs(ends - ends[at_slope])[:, None] + np.abs(rows[near] - row)
        left[:, near][apart < _APART_PX] = 0
    places = np.array(found, dtype=np.intp).reshape(-1, 2)
    return places[:, 0], places[:, 1]


def _refined(step: FloatArray, row: DoubleArray, slope: DoubleArray) -> list[_Line]:
    """Lines through the edges' own places near first guesses, worst places left out.

    Args:
        step: how much brighter it is above, of shape (height, width).
        row: of the guesses in the middle column, of shape (n,).
        slope: of the guesses, of shape (n,).
    """
    height, width = step.shape
    x = _across(width)
    reach = 3.0
    is_line = np.ones(len(row), dtype=bool)
    support, rough = np.zeros(len(row)), np.zeros(len(row))
    for _ in range(_TRIMS):
        about = row[:, None] + slope[:, None] * x
        place, strength = _edges_near(step, about, reach)
        known = (strength >= _LEAST_STEP) & (np.abs(place - about) <= reach)
        is_line &= known.mean(axis=1) >= _LEAST_SUPPORT / 2
        row, slope = _fitted(x, place, known)
        off = place - (row[:, None] + slope[:, None] * x)
        near = known & (np.abs(off) <= _NEAR_PX)
        count = near.sum(axis=1)
        support = count / width
        rough = np.sqrt((off * off * near).sum(axis=1) / np.maximum(count, 1))
        reach = max(_NEAR_PX, reach / 2)
    is_line &= (row >= 3) & (row < height - 3) & (np.abs(slope) <= _STEEPEST)
    is_line &= (support >= _LEAST_SUPPORT) & (rough <= _ROUGHEST_PX)
    return [
        _Line(float(row[at]), float(slope[at]), float(support[at]), float(rough[at]))
        for at in np.flatnonzero(is_line)
    ]


def _fitted(
    x: DoubleArray, y: DoubleArray, known: NDArray[np.bool_]
) -> tuple[DoubleArray, DoubleArray]:
    """Least-squares lines through the known points: heights at ``x = 0`` and slopes.

    Args:
        x: of shape (points,).
        y: of shape (lines, points).
        known: which points count, of shape (lines, points).
    """
    weight: DoubleArray = known.astype(np.float64)
    weight /= np.maximum(weight.sum(axis=1, keepdims=True), 1.0)
    middle_x, middle_y = weight @ x, (weight * y).sum(axis=1)
    from_x = x - middle_x[:, None]
    spread = (weight * from_x * from_x).sum(axis=1)
    slope: DoubleArray = (weight * from_x * y).sum(axis=1) / np.maximum(spread, 1e-9)
    return middle_y - slope * middle_x, slope


def _across(width: int) -> DoubleArray:
    """Columns counted from the middle of the picture."""
    return np.arange(width, dtype=np.float64) - (width - 1) / 2


def _edges_near(
    step: FloatArray, about: DoubleArray, reach: float
) -> tuple[DoubleArray, DoubleArray]:
    """In each column the strongest step near a row, to a part of a pixel, and its strength.

    Args:
        step: of shape (height, width).
        about: the rows, of shape (lines, width).
        reach: how far from them to look, in pixels.
    """
    height, width = step.shape
    columns = np.arange(width)
    window = np.arange(-math.ceil(reach), math.ceil(reach) + 1)
    middle = np.rint(about).astype(np.intp)
    there = (middle + window[:, None, None]).clip(1, height - 2)
    # Places in the flat array: they are read in half the time of rows and columns.
    strongest = np.argmax(step.take(there * width + columns), axis=0)
    best = (middle + window.take(strongest)).clip(1, height - 2)
    cells = best * width + columns
    before, at, after = (step.take(cells + by * width).astype(np.float64) for by in (-1, 0, 1))
    bend = before - 2 * at + after
    # The top of the parabola through three steps.
    part = np.where(bend < 0, (before - after) / np.where(bend < 0, 2 * bend, 1.0), 0.0)
    return best + np.clip(part, -0.5, 0.5), at


def _is_same(one: _Line, other: _Line, width: int) -> bool:
    ends = abs(one.slope - other.slope) * width / 2
    return abs(one.row - other.row) + ends < _APART_PX
