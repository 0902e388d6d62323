"""The camera was rolled on a level base.

What it looks for
    The roll of the camera about its own axis, which shows as a staircase: each frame climbs
    against the last by the same share of the step.

Why it matters
    Every frame sticks out at one corner; the joined picture has a saw-tooth edge and loses
    height when it is straightened.

When it is wrong
    A base that leans is another fault (tilted-base). Recorded levels are good to about half a
    degree to one degree.

What to do
    Level the camera on the head with its own level, then turn. At the desk, rotate all frames
    by the same angle before joining.

Settings
    check.rolled_camera_deg.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper import optics
from grouper.check import words
from grouper.check.gaps import judge_neighbours
from grouper.check.norm import median
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem when the roll is beyond the limit."""
    layout = found.layout
    if layout is None or layout.camera_roll_deg is None:
        return
    roll = layout.camera_roll_deg
    if abs(roll) < settings.check.rolled_camera_deg:
        return
    loss = _loss(found, roll, settings)
    cost = "" if loss is None else f"; straightening costs about {words.share(loss)} of the height"
    way = "clockwise" if roll > 0 else "counter-clockwise"
    yield Problem(
        frames=(),
        message=(
            f"The camera was rolled {way} by {words.degrees(abs(roll))}, so each frame climbs "
            f"against the last{cost}."
        ),
        advice=(
            "On location, level the camera on the head and shoot the sweep again if the height "
            "matters; at the desk, rotate all frames alike before joining."
        ),
        measured={
            "roll_deg": round(roll, 2),
            "crop_loss": None if loss is None else round(loss, 3),
        },
    )


def _loss(found: Set, roll_deg: float, settings: Settings) -> float | None:
    layout = found.layout
    pairs = judge_neighbours(found, settings.check)
    steps = [pair.step_deg for pair in pairs if pair.axis == "yaw" and pair.step_deg]
    if layout is None or layout.fov_deg is None or not steps:
        return None
    return optics.roll_crop_loss(roll_deg, median(steps), layout.fov_deg[1])


CHECK = SetCheck(code="rolled-camera", severity="warning", kinds=("panorama",), find=find)
