"""Two bodies' clocks disagree.

What it looks for
    The difference between the clocks of the bodies on the card, where frames of both show it:
    the same things seen by both at several places, hours apart, with one difference of the times.

Why it matters
    Sorted by time, the frames of two bodies end up interleaved wrongly.

When it is wrong
    What both saw tells minutes, not seconds. Two photographers of whom one followed the other
    all day long, always as late, look the same. Where they met at one place only, nothing is said.

What to do
    Shift the times of one body by the difference at the desk. Photograph one running clock with
    every body at the start and at the end of the day.

Settings
    check.clock_offset_s: smaller differences are rounding.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.check.clocks import explain_offset
from grouper.contracts import CardCheck, Problem
from grouper.model import Body, Grouping, Scan
from grouper.settings import Settings

_ADVICE = (
    "At the desk, shift the times of one body before sorting both by time; on location, set the "
    "clocks together, or photograph one running clock with every body."
)


def find(scan: Scan, grouping: Grouping, settings: Settings) -> Iterator[Problem]:
    """One problem for each body whose clock is off from the first body's."""
    if not grouping.bodies:
        return
    first = grouping.bodies[0]
    for body in grouping.bodies[1:]:
        offset = body.clock_offset_s
        if offset is None or abs(offset) <= settings.check.clock_offset_s:
            continue
        way = "behind" if offset > 0 else "ahead of"
        yield Problem(
            frames=(),
            message=(
                f"The clock of {_called(body)} is about {words.duration(offset)} {way} that of "
                f"{_called(first)}{explain_offset(offset)}."
            ),
            advice=_ADVICE,
            measured={"body": body.id, "against": first.id, "add_s": round(offset, 3)},
        )


def _called(body: Body) -> str:
    name = " ".join(part for part in (body.make, body.model) if part) or body.id
    return f"{name} ({body.serial})" if body.serial else name


CHECK = CardCheck(code="clock-offset", severity="note", find=find)
