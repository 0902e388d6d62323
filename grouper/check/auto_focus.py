"""Focus was left automatic, and is not seen to have moved.

What it looks for
    Frames taken with automatic focus in a panorama without focus steps, or in a bracket, whose
    recorded distance did not change or is not recorded. Once it moves, mixed-focus speaks
    instead. Focus stacks are not judged: bodies need automatic focus to step through them.

Why it matters
    The camera focuses afresh on whatever lies in the middle of the next frame, a near branch or
    the empty sky.

When it is wrong
    Focus triggered by a separate button, or held with the lock, is still recorded as automatic.

What to do
    Look at near and far details of each frame at full size. Next time focus once and switch to
    manual focus.

Settings
    check.mixed_focus_dioptres: distances count as equal within this many 1/m.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.automatic import left_automatic
from grouper.check.mixed import find_odd
from grouper.check.traits import focus_trait
from grouper.check.views import frames_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "Compare the sharpness of the frames at full size; next time focus once, then switch to "
    "manual focus for the whole set."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames with automatic focus, unless it moved or was meant to."""
    if any(member.step for member in found.members):
        return
    if find_odd(found, focus_trait(settings.check)):
        return
    frames = [frame for frame in frames_in_use(found) if frame.focus_auto]
    is_recorded = all(frame.focus_m for frame in frames)
    yield from left_automatic(found, frames, "automatic focus", _ADVICE, is_recorded=is_recorded)


CHECK = SetCheck(code="auto-focus", severity="note", kinds=("panorama", "bracket"), find=find)
