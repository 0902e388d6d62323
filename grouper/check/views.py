"""A set as the checks look at it: the frames in use, by view and by row."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from grouper.check.norm import median
from grouper.model import Frame, Member, Set


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """One pointing of the camera and the frames in use there, in shooting order."""

    number: int
    row: int
    members: tuple[Member, ...]
    yaw_deg: float | None
    pitch_deg: float | None

    @property
    def files(self) -> tuple[str, ...]:
        """The frames' files, in shooting order."""
        return tuple(member.frame.file for member in self.members)


def members_in_use(found: Set) -> tuple[Member, ...]:
    """Every member that is not a spare, in shooting order."""
    return tuple(member for member in found.members if not member.spare)


def frames_in_use(found: Set) -> tuple[Frame, ...]:
    """Every frame that is not a spare, in shooting order."""
    return tuple(member.frame for member in members_in_use(found))


def find_views(found: Set) -> tuple[View, ...]:
    """The views in the order of their numbers."""
    by_view: dict[tuple[int, int], list[Member]] = defaultdict(list)
    for member in members_in_use(found):
        by_view[member.view, member.row].append(member)
    return tuple(
        View(
            number=number,
            row=row,
            members=tuple(members),
            yaw_deg=_middle([member.pointing.yaw_deg for member in members]),
            pitch_deg=_middle([member.pointing.pitch_deg for member in members]),
        )
        for (number, row), members in sorted(by_view.items())
    )


def find_rows(found: Set) -> tuple[tuple[View, ...], ...]:
    """The rows of views, each in the order of the views' numbers (that is, of yaw)."""
    rows: dict[int, list[View]] = defaultdict(list)
    for view in find_views(found):
        rows[view.row].append(view)
    return tuple(tuple(rows[row]) for row in sorted(rows))


def _middle(values: list[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if known else None
