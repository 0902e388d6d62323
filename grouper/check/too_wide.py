"""The span outgrows a flat projection.

What it looks for
    Panoramas that span more than a flat (rectilinear) picture can hold without stretching its
    edges fourfold. Where no picture tells how far the camera turned, the span is reckoned from
    the number of views in one row, each sharing three fifths with the next: more than sweeps do;
    but only where the set is likelier right than not.

Why it matters
    Straight lines stay straight only in a flat picture. Beyond about 120 degrees it cannot be
    used; a cylinder or sphere bends straight lines instead.

When it is wrong
    It is a matter of fact, not a fault: wide panoramas are meant to be wide.

What to do
    Join on a cylinder, or on a sphere if the height, too, is great. For straight lines, join a
    narrower part flat.

Settings
    check.too_wide_deg.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper import optics
from grouper.check import words
from grouper.check.gaps import judge_neighbours
from grouper.check.norm import median
from grouper.check.views import find_rows
from grouper.contracts import Problem, SetCheck
from grouper.model import Layout, Set
from grouper.settings import Settings

_LIKELY = 0.5
"""Views are only counted where they are likelier one sweep than not."""
_MOST_OVERLAP = 0.6
"""More than this neighbours seldom share: a quarter to a half is taught (common practice)."""


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when either span is beyond the limit."""
    if found.layout is None:
        return
    if found.layout.span_deg is None:
        if found.confidence < _LIKELY:
            return
        (across, up), beyond = _least_span_deg(found.layout), 0.0
    else:
        across, up = found.layout.span_deg
        beyond = _beyond_gaps_deg(found, settings)
        across = min(360.0, across + beyond)
    limit = settings.check.too_wide_deg
    if max(across, up) <= limit:
        return
    use = "a sphere" if up > limit else "a cylinder"
    side = f"{words.degrees(across)} across" if across > limit else f"{words.degrees(up)} upwards"
    if found.layout.span_deg is None:
        side = f"at least {side}, judged by the number of views,"
    elif across > limit and beyond:
        side = f"about {side}, with what lies beyond the gap,"
    yield Problem(
        frames=(),
        message=(
            f"The span of {side} outgrows a flat picture, whose edges stretch "
            f"{optics.stretch('flat', limit / 2):.0f} times at {words.degrees(limit)}."
        ),
        advice=f"At the desk, join it on {use}, or a narrower part of it flat.",
        measured={"span_deg": [round(across, 1), round(up, 1)]},
    )


def _least_span_deg(layout: Layout) -> tuple[float, float]:
    """What one row of so many views covers at least; zeros where even the lens is not known."""
    if layout.fov_deg is None or layout.rows > 1:
        return 0.0, 0.0
    wide, tall = layout.fov_deg
    return min(360.0, wide * (1.0 + (layout.views - 1) * (1.0 - _MOST_OVERLAP))), tall


def _beyond_gaps_deg(found: Set, settings: Settings) -> float:
    """What views add that no picture ties to the rest: at least a usual step each.

    The span of the layout leaves them out, for nothing says how wide the gap is.
    """
    rows = find_rows(found)
    lost = sum(view.yaw_deg is None for row in rows for view in row)
    # A row that nothing ties to another lies above or below it.
    if found.layout is None or found.layout.closed or not lost or len(rows) > 1:
        return 0.0
    pairs = judge_neighbours(found, settings.check)
    steps = [pair.step_deg for pair in pairs if pair.axis == "yaw" and pair.step_deg]
    return lost * median(steps) if steps else 0.0


CHECK = SetCheck(code="too-wide", severity="note", kinds=("panorama",), find=find)
