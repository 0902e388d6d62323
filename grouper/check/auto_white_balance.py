"""White balance was left automatic, and is not seen to have changed.

What it looks for
    Frames with automatic white balance in a set where nothing recorded shows that it moved.
    Once it does, mixed-white-balance speaks instead.

Why it matters
    Automatic white balance follows what is in the frame, so the colour of one sky differs from
    frame to frame. Many bodies do not record what they chose: then the pictures have to be
    compared.

When it is wrong
    Raw files lose nothing: white balance is set at the desk.

What to do
    With raw files, give all frames one white balance before joining. With JPEGs, compare the
    sky at the seams. Next time choose daylight or a fixed temperature.

Settings
    check.mixed_white_balance_mired: colour temperatures count as equal within this many mired.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.automatic import left_automatic
from grouper.check.mixed import find_odd
from grouper.check.traits import white_balance_trait
from grouper.check.views import frames_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "At the desk, give all frames one white balance before joining (raw files take any; with "
    "JPEGs compare the colours at the seams); next time choose a fixed one."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames with automatic white balance, unless it moved."""
    if find_odd(found, white_balance_trait(settings.check)):
        return
    frames = [frame for frame in frames_in_use(found) if frame.white_balance == "auto"]
    is_recorded = all(frame.white_balance_detail for frame in frames)
    yield from left_automatic(
        found, frames, "automatic white balance", _ADVICE, is_recorded=is_recorded
    )


CHECK = SetCheck(
    code="auto-white-balance",
    severity="note",
    kinds=("panorama", "bracket", "focus-stack"),
    find=find,
)
