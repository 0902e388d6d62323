"""Sets without measured angles as an honest strip in shooting order. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from grouper.model import Finding, Member, Set
from grouper.write.shots import Album, Shot, duration, exposure, pair_findings, signed

FIRST = 48
"""Frames of a strip shown at once; the rest of a long interval series can be unfolded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A frame of a strip with what stands below it, or a hole (``shot`` is ``None``)."""

    shot: Shot | None
    note: str = ""
    others: tuple[Shot, ...] = ()
    """The other legs and steps of the same view."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """Frames in shooting order, and a sentence that says what is known of them."""

    items: tuple[Item, ...]
    words: str

    @property
    def first(self) -> tuple[Item, ...]:
        """What is shown at once."""
        return self.items[:FIRST]

    @property
    def rest(self) -> tuple[Item, ...]:
        """What can be unfolded."""
        return self.items[FIRST:]


def draw_strip(one: Set, album: Album) -> Strip:
    """The frames of a set in shooting order, the legs and steps of a view below each other."""
    if one.kind == "panorama":
        return Strip(items=_by_view(one, album), words=_unmeasured(one))
    pairs = pair_findings(one, ("missing-frame",))
    items: list[Item] = []
    for before, member in zip((None, *one.members), one.members, strict=False):
        hole = pairs.get(frozenset((before.frame.file, member.frame.file))) if before else None
        if hole is not None:
            items.append(_hole(hole))
        items.append(Item(shot=album.member(one, member, *_captions(one, member))))
    items += [
        Item(shot=None, note="leg missing" if one.kind == "bracket" else "step missing")
        for finding in one.findings
        if finding.code in ("short-bracket", "short-stack")
    ]
    return Strip(items=tuple(items), words=_time_words(one))


def _by_view(one: Set, album: Album) -> tuple[Item, ...]:
    pairs = pair_findings(one, ("missing-frame", "thin-overlap"))
    views: dict[tuple[int, int], list[Member]] = {}
    for member in one.members:
        views.setdefault((member.row, member.view), []).append(member)
    groups = list(views.values())
    items: list[Item] = []
    for before, group in zip(([], *groups), groups, strict=False):
        found = [
            pairs[key]
            for a in before
            for b in group
            if (key := frozenset((a.frame.file, b.frame.file))) in pairs
        ]
        items += [_hole(finding) for finding in found[:1]]
        middle = min(group, key=lambda m: (m.spare, abs(m.ev_offset)))
        items.append(
            Item(
                shot=album.member(one, middle, *_captions(one, middle)),
                others=tuple(
                    album.member(one, member, *_captions(one, member))
                    for member in group
                    if member is not middle
                ),
            )
        )
    return tuple(items)


def _hole(finding: Finding) -> Item:
    if finding.code == "thin-overlap":
        return Item(shot=None, note="thin overlap")
    missing = finding.measured.get("views_missing", finding.measured.get("frames_missing", 1))
    return Item(shot=None, note=f"{missing} missing")


def _captions(one: Set, member: Member) -> tuple[str, ...]:
    """What changes from frame to frame in a set of this kind."""
    frame = member.frame
    legs = len({other.leg for other in one.members}) > 1
    steps = len({other.step for other in one.members}) > 1
    said = []
    if legs:
        said.append(f"{signed(member.ev_offset)} EV")
        said += [exposure(frame.exposure_s)] if frame.exposure_s is not None else []
    if steps:
        said.append(f"step {member.step + 1}")
        if frame.focus_m is not None:
            said.append("∞" if math.isinf(frame.focus_m) else f"{frame.focus_m:.3g} m")
    if one.kind in ("burst", "interval") and frame.taken is not None:
        start = next((other.taken for other in one.frames if other.taken is not None), None)
        if start is not None:
            said.append("+" + duration(max((frame.taken - start).total_seconds(), 0.0)))
    if member.spare:
        said.append("spare")
    return tuple(said)


def _unmeasured(one: Set) -> str:
    counts = len({(member.row, member.view) for member in one.members})
    return (
        f"{counts} views in shooting order. Their angles are not measured, so this is no "
        "picture of the sweep: overlaps and gaps cannot be drawn."
    )


def _time_words(one: Set) -> str:
    times = [frame.taken for frame in one.frames if frame.taken is not None]
    words = f"{len(one.members)} frames in shooting order"
    if len(times) < 2:
        return words + "."
    words += f" within {duration((max(times) - min(times)).total_seconds())}"
    if one.kind == "interval":
        pauses = sorted((b - a).total_seconds() for a, b in pairwise(sorted(times)))
        words += f", one every {duration(pauses[len(pauses) // 2])}"
    return words + "."


def shots_of(items: Sequence[Item]) -> list[Shot]:
    """All frames in a strip."""
    return [
        shot
        for item in items
        for shot in ((item.shot, *item.others) if item.shot is not None else item.others)
    ]
