"""The tripod's base leaned.

What it looks for
    The lean of the turning axis and the height that straightening costs. The level or the
    elevation that the body recorded with each frame shows it, or an open horizon in the pictures:
    one straight line through at least six views over 120 degrees and more.

Why it matters
    On a leaning base the horizon runs as a wave through the joined picture. Straightened, it
    has to be cropped at top and bottom.

When it is wrong
    Levels in bodies are good to about half a degree to one degree, so a lean is only told from
    several frames over a good part of a turn. Comparing neighbours does not show one: where no
    level was recorded and hills, houses or a coast hide the horizon it is simply not known.

What to do
    Level the base, not the camera: turn the camera by 90 degrees and check the bubble again. At
    the desk, straighten the horizon before cropping.

Settings
    check.tilted_base_deg, check.tilted_base_loss.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper import optics
from grouper.check import words
from grouper.contracts import Problem, SetCheck
from grouper.model import Layout, Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when the lean, or what it costs, is beyond the limit."""
    layout = found.layout
    if layout is None:
        return
    if layout.base_tilt_deg is None:
        return
    tilt = abs(layout.base_tilt_deg)
    loss = _loss(layout, tilt)
    costs = loss is not None and loss >= settings.check.tilted_base_loss
    if tilt < settings.check.tilted_base_deg and not costs:
        return
    cost = "" if loss is None else f"; straightening costs up to {words.share(loss)} of the height"
    yield Problem(
        frames=(),
        message=f"The base leaned by {words.degrees(tilt)}{cost}.",
        advice=(
            "On location, level the base itself (turn by 90° and check again) and shoot the sweep "
            "again if the height matters; at the desk, straighten the horizon, then crop."
        ),
        measured={
            "tilt_deg": round(tilt, 2),
            "crop_loss": None if loss is None else round(loss, 3),
        },
    )


def _loss(layout: Layout, tilt_deg: float) -> float | None:
    """The height lost in the worst case, if the angles are known."""
    if layout.fov_deg is None or layout.span_deg is None:
        return layout.crop_loss
    return optics.tilt_crop_loss(tilt_deg, layout.span_deg[0], layout.fov_deg[1])


CHECK = SetCheck(code="tilted-base", severity="warning", kinds=("panorama",), find=find)
