"""Settings that were left automatic although nothing moved yet: luck, not care."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from grouper.check import words
from grouper.check.views import frames_in_use
from grouper.contracts import Problem
from grouper.model import Frame, Set

_MOVED = {
    True: "this time it did not move",
    False: "what it chose is not recorded",
}


def left_automatic(
    found: Set, frames: Sequence[Frame], what: str, advice: str, *, is_recorded: bool = True
) -> Iterator[Problem]:
    """One problem for the frames that were left automatic, or none.

    ``what`` completes "... used", e.g. "automatic ISO"; ``is_recorded`` says whether the
    frames record the value it chose.
    """
    if not frames:
        return
    total = len(frames_in_use(found))
    if len(frames) == total:
        who = "Both frames" if total == 2 else f"All {total} frames"
    else:
        who = f"{len(frames)} of {total} frames ({words.names(f.file for f in frames)})"
    yield Problem(
        frames=tuple(frame.file for frame in frames),
        message=f"{who} used {what}; {_MOVED[is_recorded]}.",
        advice=advice,
        measured={"automatic_frames": len(frames), "frames": total},
    )
