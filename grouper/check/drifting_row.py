"""A row climbs or sinks.

What it looks for
    The lowest and the highest frame of each row, as a share of the frame's height.

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
    check.drifting_row_share.
"""

from __future__ import annotations

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
    for views in find_rows(found):
        known = [view for view in views if view.pitch_deg is not None]
        if len(known) < 2:
            continue
        low = min(known, key=_pitch)
        high = max(known, key=_pitch)
        drift = _pitch(high) - _pitch(low)
        if drift <= settings.check.drifting_row_share * height:
            continue
        yield Problem(
            frames=(low.files[0], high.files[0]),
            message=(
                f"The row drifts by {words.degrees(drift)} from {words.base_name(low.files[0])} "
                f"(lowest) to {words.base_name(high.files[0])} (highest): "
                f"{words.share(drift / height)} of the frame's height."
            ),
            advice=(
                "On location, shoot the row again along the horizon, or on a tripod; at the desk, "
                "expect to crop about that share of the height."
            ),
            measured={"drift_deg": round(drift, 1), "height_share": round(drift / height, 3)},
        )


def _pitch(view: View) -> float:
    return view.pitch_deg or 0.0


CHECK = SetCheck(code="drifting-row", severity="warning", kinds=("panorama",), find=find)
