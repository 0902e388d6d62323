"""A view was shot twice.

What it looks for
    Frames that fill a place (view, leg and focus step) which another frame already fills.
    Byte-for-byte copies are duplicate-frame instead.

Why it matters
    Only one of them is used. The later one is taken, unless it is worse; the choice is worth a
    look, as the first may hold what moved out of the second.

When it is wrong
    Frames of moving things shot several times on purpose, to choose from or to blend.

What to do
    Compare the two and keep both until the panorama is joined.

Settings
    None.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check import words
from grouper.contracts import Problem, SetCheck
from grouper.model import Member, Set
from grouper.settings import Settings


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem that names all spares and the frames used instead."""
    spares = [member for member in found.members if member.spare]
    if not spares:
        return
    used = {_place(member): member.frame for member in found.members if not member.spare}
    told = [
        f"{spare.frame.name} (used: {used[_place(spare)].name})"
        if _place(spare) in used
        else spare.frame.name
        for spare in spares
    ]
    number = len({spare.view for spare in spares})
    yield Problem(
        frames=tuple(
            member.frame.file
            for member in found.members
            if member.spare or _place(member) in {_place(spare) for spare in spares}
        ),
        message=(
            f"{words.counted(number, 'view')} {'was' if number == 1 else 'were'} shot more than "
            f"once; {'spare is' if len(spares) == 1 else 'spares are'} {words.listed(told)}."
        ),
        advice=(
            "At the desk, compare the spare with the frame used at full size, keep both until "
            "the set is finished, and swap them if the spare is better."
        ),
        measured={
            "spares": {
                spare.frame.file: used[_place(spare)].file if _place(spare) in used else None
                for spare in spares
            }
        },
    )


def _place(member: Member) -> tuple[int, int, int]:
    return member.view, member.leg, member.step


CHECK = SetCheck(
    code="spare-take",
    severity="note",
    kinds=("panorama", "bracket", "focus-stack", "interval"),
    find=find,
)
