"""The body's clock jumped while shooting.

What it looks for
    Places where the time of capture runs backwards or leaps against the file numbers, as
    grouping found them.

Why it matters
    Order by time is wrong across the jump, other cameras and a track log no longer agree, and a
    set that was cut by it may be in two pieces.

When it is wrong
    Files that were renamed out of order. A pause of hours is no jump: only time against the
    numbers counts.

What to do
    Add the difference to the times on one side of the jump at the desk. Set the clock once
    before a trip and leave it alone, also on the night when summer time ends.

Settings
    check.clock_jump_s: smaller steps are rounding.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.check.clocks import explain_offset
from grouper.contracts import CardCheck, Problem
from grouper.model import Grouping, Scan
from grouper.settings import Settings

_ADVICE = (
    "At the desk, shift the times on one side of the jump before merging with other cameras or a "
    "track log; on location, set the clock once and leave it."
)

_PAUSE_S = 300.0
"""The pause between the two frames is not known and hides in the jump: a few minutes at most
where shooting went on (common practice, no source)."""


def find(scan: Scan, grouping: Grouping, settings: Settings) -> Iterator[Problem]:
    """One problem for each jump."""
    for before, after, seconds in grouping.clock_steps:
        if abs(seconds) <= settings.check.clock_jump_s:
            continue
        way = "back" if seconds < 0 else "forward"
        yield Problem(
            frames=(before, after),
            message=(
                f"The clock jumped {way} by about {words.duration(seconds)} between "
                f"{words.base_name(before)} and {words.base_name(after)}"
                f"{explain_offset(seconds, _PAUSE_S)}."
            ),
            advice=_ADVICE,
            measured={"jump_s": round(seconds, 3)},
        )


CHECK = CardCheck(code="clock-jump", severity="warning", find=find)
