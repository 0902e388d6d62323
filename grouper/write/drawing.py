"""Sets and cards as shapes in drawing units, for the report's template to draw. Pure.

A drawing is ``WIDTH`` units wide. Angles run right and up, drawings run right and down.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from grouper.model import Finding, Member, Result, Set

WIDTH = 1000.0
_MARGIN = 24.0
_TALLEST = 420.0
"""So that a drawing and its caption fit a screen together."""
_LONGEST_PAUSE_S = 120.0
"""Longer pauses are drawn as this long, with the time written behind the break: a day with
two sweeps in it would otherwise be an empty line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle with a word in it and a text to show on hovering."""

    x: float
    y: float
    width: float
    height: float
    label: str = ""
    title: str = ""
    look: str = ""
    """What it is, as class names: ``frame``, ``spare``, ``odd``, ``gap``, ``span`` ..."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A mark on a ruler."""

    x: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Boxes over a ruler, ``height`` units high, and a sentence that says it in words."""

    height: float
    boxes: tuple[Box, ...]
    ticks: tuple[Tick, ...]
    ruler_y: float
    words: str


def set_drawing(one: Set) -> Drawing | None:
    """A panorama at its measured angles, any other set along its time; ``None``: unknown."""
    placed = [member for member in one.members if member.pointing.yaw_deg is not None]
    fov = one.layout.fov_deg if one.layout is not None else None
    if placed and fov is not None:
        return _sweep(one, _one_per_place(placed), fov)
    return _strip(one)


@dataclass(frozen=True, slots=True)
class _Field:
    """What a frame covers, in degrees."""

    member: Member
    left: float
    right: float
    bottom: float
    top: float


def _sweep(one: Set, members: Sequence[Member], fov: tuple[float, float]) -> Drawing:
    fields = [_field(member, fov) for member in members]
    left, right = min(f.left for f in fields), max(f.right for f in fields)
    bottom, top = min(f.bottom for f in fields), max(f.top for f in fields)
    scale = min(
        (WIDTH - 2 * _MARGIN) / (right - left), _TALLEST / max(top - bottom, 1e-6), 12.0
    )  # units per degree; no more than 12, or two frames of a long lens fill the screen
    start = (WIDTH - scale * (right - left)) / 2

    def box(x0: float, x1: float, y0: float, y1: float, **rest: str) -> Box:
        return Box(
            x=_r(start + (x0 - left) * scale),
            y=_r(_MARGIN + (top - y1) * scale),
            width=_r((x1 - x0) * scale),
            height=_r((y1 - y0) * scale),
            **rest,
        )

    odd = _odd_files(one.findings)
    boxes = [
        box(
            f.left,
            f.right,
            f.bottom,
            f.top,
            label=_label(f.member, odd),
            title=_title(f.member),
            look=_look(f.member, odd),
        )
        for f in fields
    ]
    gaps = _gaps(fields)
    boxes += [
        box(a, b, low, high, label=f"gap {b - a:.0f}°", title=f"gap of {b - a:.1f}°", look="gap")
        for a, b, low, high in gaps
    ]
    ruler = _MARGIN + (top - bottom) * scale + 8
    ticks = [
        Tick(x=_r(start + (degree - left) * scale), label=f"{degree}°")
        for degree in _degrees(left, right)
    ]
    words = (
        f"{len(fields)} frames over {right - left:.0f} by {top - bottom:.0f} degrees, "
        f"{len(gaps) or 'no'} gap{'' if len(gaps) == 1 else 's'}"
    )
    return Drawing(
        height=_r(ruler + 26),
        boxes=tuple(boxes),
        ticks=tuple(ticks),
        ruler_y=_r(ruler),
        words=words,
    )


def _field(member: Member, fov: tuple[float, float]) -> _Field:
    """Towards the poles a frame covers more of the yaw circle: by 1 / cos(pitch)."""
    yaw, pitch = member.pointing.yaw_deg or 0.0, member.pointing.pitch_deg or 0.0
    half = min(fov[0] / 2 / max(math.cos(math.radians(pitch)), 1e-3), 180.0)
    bottom, top = max(pitch - fov[1] / 2, -90.0), min(pitch + fov[1] / 2, 90.0)
    return _Field(member, yaw - half, yaw + half, bottom, top)


def _gaps(fields: Sequence[_Field]) -> list[tuple[float, float, float, float]]:
    """(left, right, bottom, top) of what lies between neighbours of a row that do not meet."""
    gaps = []
    for row in sorted({field.member.row for field in fields}):
        in_row = sorted((f for f in fields if f.member.row == row), key=lambda f: f.left)
        reached = in_row[0].right
        for field in in_row[1:]:
            if field.left > reached:
                gaps.append((reached, field.left, field.bottom, field.top))
            reached = max(reached, field.right)
    return gaps


def _degrees(left: float, right: float) -> range:
    """Round degrees for a ruler, about ten of them."""
    for step in (1, 2, 5, 10, 30, 45, 90):
        if (right - left) / step <= 12:
            break
    return range(math.ceil(left / step) * step, math.floor(right) + 1, step)


def _one_per_place(members: Iterable[Member]) -> list[Member]:
    """The middle leg and step of each view, and every spare of it."""
    places: dict[tuple[int, int, bool], list[Member]] = {}
    for member in members:
        places.setdefault((member.row, member.view, member.spare), []).append(member)
    middle = [
        sorted(group, key=lambda m: (abs(m.ev_offset), m.step))[0] for group in places.values()
    ]
    return sorted(middle, key=lambda m: (not m.spare, m.row, m.view))


def _odd_files(findings: Iterable[Finding]) -> frozenset[str]:
    return frozenset(
        file for finding in findings if finding.severity != "note" for file in finding.frames
    )


def _look(member: Member, odd: frozenset[str]) -> str:
    words = ["frame", "spare" if member.spare else "", "odd" if member.frame.file in odd else ""]
    return " ".join(word for word in words if word)


def _label(member: Member, odd: frozenset[str]) -> str:
    frame = member.frame
    number = f"{frame.counter:04d}" if frame.counter is not None else str(member.view)
    return f"! {number}" if frame.file in odd else number


def _title(member: Member) -> str:
    frame, pointing = member.frame, member.pointing
    parts = [frame.file]
    if frame.exposure_s is not None:
        parts.append(exposure(frame.exposure_s))
    if frame.aperture_f is not None:
        parts.append(f"f/{frame.aperture_f:g}")
    if frame.iso is not None:
        parts.append(f"ISO {frame.iso:g}")
    if pointing.yaw_deg is not None:
        parts.append(f"yaw {pointing.yaw_deg:.1f}°")
    if pointing.pitch_deg is not None:
        parts.append(f"pitch {pointing.pitch_deg:.1f}°")
    return ", ".join(parts)


def exposure(seconds: float) -> str:
    """An exposure time as photographers write it: 1/60 s, 2.5 s."""
    if 0 < seconds < 0.3:  # 1/4 s and shorter are marked as fractions (common practice)
        return f"1/{1 / seconds:.0f} s"
    return f"{seconds:.3g} s"


def _strip(one: Set) -> Drawing | None:
    """Frames along time, brighter ones higher."""
    times = [member.frame.taken for member in one.members if member.frame.taken is not None]
    if not times:
        return None
    first, last = min(times), max(times)
    span = max((last - first).total_seconds(), 1.0)
    spread = max((abs(member.ev_offset) for member in one.members), default=0.0) or 1.0
    odd = _odd_files(one.findings)
    room = (WIDTH - 2 * _MARGIN - 16) / span
    boxes = tuple(
        Box(
            x=_r(_MARGIN + (member.frame.taken - first).total_seconds() * room),
            y=_r(_MARGIN + 24 - 24 * member.ev_offset / spread),
            width=16,
            height=28,
            title=_title(member),
            look=_look(member, odd),
        )
        for member in one.members
        if member.frame.taken is not None
    )
    ticks = (
        Tick(x=_MARGIN, label=f"{first:%H:%M:%S}"),
        Tick(x=WIDTH - _MARGIN, label=f"{last:%H:%M:%S}"),
    )
    words = f"{len(one.members)} frames within {(last - first).total_seconds():.1f} seconds"
    return Drawing(height=130, boxes=boxes, ticks=ticks, ruler_y=106, words=words)


def card_drawing(result: Result) -> Drawing | None:
    """The time line of a card: a span per set, a line per single; ``None`` without times."""
    spans = sorted(_spans(result), key=lambda span: (span[0], span[1], span[2].title))
    if not spans:
        return None
    axis = _Axis([moment for start, end, _ in spans for moment in (start, end)])
    boxes = tuple(
        Box(
            x=_r(axis.at(start)),
            y=_MARGIN + (0 if look.look == "single" else 10),
            width=_r(max(axis.at(end) - axis.at(start), 3.0)),
            height=44 if look.look == "single" else 24,
            title=look.title,
            look=look.look,
        )
        for start, end, look in spans
    )
    lost = sum(frame.taken is None for frame in result.scan.frames)
    words = "Sets and singles over time; pauses of more than two minutes are cut short" + (
        f"; {lost} frames without a time are not shown" if lost else ""
    )
    return Drawing(height=120, boxes=boxes, ticks=axis.ticks(), ruler_y=78, words=words)


def _spans(result: Result) -> Iterable[tuple[datetime, datetime, Box]]:
    for one in result.sets:
        times = [frame.taken for frame in one.frames if frame.taken is not None]
        if times:
            title = f"{one.kind} {one.id}, {len(one.members)} frames"
            look = "span odd" if _odd_files(one.findings) else "span"
            yield (
                min(times),
                max(times),
                Box(x=0, y=0, width=0, height=0, title=title, look=look),
            )
    for frame in result.grouping.singles:
        if frame.taken is not None:
            title = f"single {frame.file}"
            box = Box(x=0, y=0, width=0, height=0, title=title, look="single")
            yield frame.taken, frame.taken, box


class _Axis:
    """Times to places, long pauses cut short."""

    def __init__(self, moments: Iterable[datetime]) -> None:
        ordered = sorted(set(moments))
        self._place = {ordered[0]: 0.0}
        self._breaks = [ordered[0]]
        for before, after in pairwise(ordered):
            pause = (after - before).total_seconds()
            self._place[after] = self._place[before] + min(pause, _LONGEST_PAUSE_S)
            if pause > _LONGEST_PAUSE_S:
                self._breaks.append(after)
        self._scale = (WIDTH - 2 * _MARGIN) / max(self._place[ordered[-1]], 1.0)

    def at(self, moment: datetime) -> float:
        """Where a time lies."""
        return _MARGIN + self._place[moment] * self._scale

    def ticks(self) -> tuple[Tick, ...]:
        """The time at the start and behind each break, as far as there is room for it."""
        ticks: list[Tick] = []
        for moment in self._breaks:
            if not ticks or self.at(moment) - ticks[-1].x > 90:
                ticks.append(Tick(x=_r(self.at(moment)), label=f"{moment:%d %b %H:%M}"))
        return tuple(ticks)


def _r(value: float) -> float:
    return round(value, 1) + 0.0
