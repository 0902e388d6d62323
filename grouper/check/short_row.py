"""A row ends before the others do.

What it looks for
    The left and right end of each row, frame edges included, against the middle of the other
    rows' ends. Rows that look steeply up or down need fewer frames and are not judged, nor are
    full turns; a row that stays open among full turns is. Nothing is said of an end that lacks no
    more views than the set has that the pictures could not place: they may belong there.

Why it matters
    The joined picture has a bite out of a corner and must be cropped to the shortest row.

When it is wrong
    A row meant to be shorter, such as two frames of sky above a peak.

What to do
    Shoot the missing end of the row with the frame beside it for overlap. Shooting rows to and
    fro from one marked end to the other keeps them equal.

Settings
    check.short_row_steps, check.steep_pitch_deg.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from grouper import optics
from grouper.check import words
from grouper.check.gaps import is_full_turn
from grouper.check.norm import median
from grouper.check.views import View, find_rows
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A row that can be judged: its views from left to right and the yaw it covers."""

    views: tuple[View, ...]
    left_deg: float
    right_deg: float
    is_full: bool


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each end of a row that falls short."""
    rows = _judged_rows(found, settings)
    if len(rows) < 2:
        return
    # Views that the pictures could not place may be just those that seem to lack.
    unplaced = sum(view.yaw_deg is None for views in find_rows(found) for view in views)
    for row in rows:
        others = [other for other in rows if other is not row]
        if row.is_full:
            continue
        if 2 * sum(other.is_full for other in others) > len(others):
            yield _open_row(row)
            continue
        ends = [other for other in others if not other.is_full]
        if not ends:
            continue
        step = _usual_step([*ends, row])
        least = settings.check.short_row_steps * step
        left = row.left_deg - median([other.left_deg for other in ends])
        right = median([other.right_deg for other in ends]) - row.right_deg
        if step > 0.0 and left > least and _views_in(left, step) > unplaced:
            yield _short_end(row, "left", left, step)
        if step > 0.0 and right > least and _views_in(right, step) > unplaced:
            yield _short_end(row, "right", right, step)


def _judged_rows(found: Set, settings: Settings) -> list[_Row]:
    layout = found.layout
    if layout is None or layout.fov_deg is None or layout.pointing_from == "assumed":
        return []
    judged = []
    for views in find_rows(found):
        pitch = median([view.pitch_deg or 0.0 for view in views])
        yaws = [view.yaw_deg for view in views if view.yaw_deg is not None]
        is_steep = abs(pitch) >= settings.check.steep_pitch_deg
        if is_steep or len(yaws) < len(views) or len(yaws) < 2:
            continue
        half = optics.yaw_half_width(layout.fov_deg[0], pitch)
        judged.append(
            _Row(
                views=views,
                left_deg=min(yaws) - half,
                right_deg=max(yaws) + half,
                is_full=is_full_turn(views, found),
            )
        )
    return judged


def _usual_step(rows: list[_Row]) -> float:
    steps = [
        (b.yaw_deg or 0.0) - (a.yaw_deg or 0.0) for row in rows for a, b in pairwise(row.views)
    ]
    return median(steps)


def _row_name(row: _Row) -> str:
    pitch = median([view.pitch_deg or 0.0 for view in row.views])
    where = "at the horizon" if abs(pitch) < 1.0 else f"pitched {words.degrees(abs(pitch))}"
    side = "" if abs(pitch) < 1.0 else (" up" if pitch > 0 else " down")
    return f"The row {where}{side}"


def _views_in(short_deg: float, step: float) -> int:
    return max(1, round(short_deg / step))


def _short_end(row: _Row, side: str, short_deg: float, step: float) -> Problem:
    view = row.views[0] if side == "left" else row.views[-1]
    missing = _views_in(short_deg, step)
    return Problem(
        frames=(view.files[0],),
        message=(
            f"{_row_name(row)} ends {words.degrees(short_deg)} before the others on the "
            f"{side}, at {words.base_name(view.files[0])}: about "
            f"{words.counted(missing, 'view')} short."
        ),
        advice=(
            f"On location, carry the row on to the {side} from this frame; at the desk, crop to "
            f"the shorter row."
        ),
        measured={"side": side, "short_deg": round(short_deg, 1), "views_missing": missing},
    )


def _open_row(row: _Row) -> Problem:
    ends = (row.views[0].files[0], row.views[-1].files[0])
    covered = row.right_deg - row.left_deg
    return Problem(
        frames=ends,
        message=(
            f"{_row_name(row)} covers {words.degrees(covered)} where the others go all "
            f"the way round: it ends at {words.names(ends)}."
        ),
        advice="On location, carry the row on all the way round; at the desk, crop to it.",
        measured={"covered_deg": round(covered, 1)},
    )


CHECK = SetCheck(code="short-row", severity="warning", kinds=("panorama",), find=find)
