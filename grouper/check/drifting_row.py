"""A row climbs or sinks.

What it looks for
    The lowest and the highest frame of each row, as a share of the frame's height. A slight
    roll of the camera, too small to be reported, lets a row climb in the same way and is counted
    in.

Why it matters
    A row shot by hand that drifts upwards leaves a slanting strip; cropped to a rectangle it
    loses that much height.

When it is wrong
    A row that follows a hillside on purpose. A leaning base and a rolled camera let a row drift
    as well and are reported instead.

What to do
    Follow the horizon with a grid line or the level in the viewfinder; leave room above and
    below when shooting by hand.

Settings
    check.drifting_row_share, check.rolled_camera_deg.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from grouper.check import words
from grouper.check.views import View, find_rows
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each row that drifts, at its lowest and highest frame."""
    layout = found.layout
    if layout is None or layout.fov_deg is None or layout.pointing_from == "assumed":
        return
    height = layout.fov_deg[1]
    roll_deg = layout.camera_roll_deg or 0.0
    if abs(roll_deg) >= settings.check.rolled_camera_deg:
        roll_deg = 0.0  # told as rolled-camera
    rows = find_rows(found)
    for views in rows:
        known = [view for view in views if view.pitch_deg is not None]
        if len(known) < 2:
            continue
        climb = {view.number: _climb_deg(view, roll_deg) for view in known}
        low = min(known, key=lambda view: climb[view.number])
        high = max(known, key=lambda view: climb[view.number])
        drift = climb[high.number] - climb[low.number]
        if drift <= settings.check.drifting_row_share * height:
            continue
        which = "The row" if len(rows) == 1 else f"Row {views[0].row + 1} of {len(rows)}"
        yield Problem(
            frames=(low.files[0], high.files[0]),
            message=(
                f"{which} drifts by {words.degrees(drift)} from {words.base_name(low.files[0])} "
                f"(lowest) to {words.base_name(high.files[0])} (highest): "
                f"{words.share(drift / height)} of the frame's height."
            ),
            advice=(
                "On location, shoot the row again along the horizon, or on a tripod; at the desk, "
                "expect to crop about that share of the height."
            ),
            measured={"drift_deg": round(drift, 1), "height_share": round(drift / height, 3)},
        )


def _climb_deg(view: View, roll_deg: float) -> float:
    """Height of a view's middle in the row as it is joined.

    A row that sinks and a camera rolled a little on a level base turn alike from frame to
    frame, so what the solution split between the two is put together again: a roll lifts each
    frame by the tangent of the roll times the yaw.
    """
    return (view.pitch_deg or 0.0) + (view.yaw_deg or 0.0) * math.tan(math.radians(roll_deg))


CHECK = SetCheck(code="drifting-row", severity="warning", kinds=("panorama",), find=find)
