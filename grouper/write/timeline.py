"""The whole card on one time axis: a lane per body, sets, singles, pauses. Pure.

Places are shares of the width in per cent, so that the drawing can be made as wide as one
likes while its words keep their size.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from grouper.model import Frame, Result, Set
from grouper.write.shots import duration
from grouper.write.verdict import WHOLE, Verdict, verdict_of

LANE = 62
"""Height of a body's lane in px: its sets with their numbers, its singles."""
NAME = 16
"""Height of its name above, where there are several."""
TOP = 8
ZOOMS = (1, 2, 4, 8, 16)
_USUAL_PX = 1000
"""Width that words are fitted to; a narrower screen is scrolled."""
_LONGEST_PAUSE_S = 120.0
"""Longer pauses are drawn as this long, hatched, with their length: a day with two sweeps in
it would otherwise be an empty line."""
_LEAST_SHARE = 0.5
"""Per cent of the width that a set takes at the least, to be seen and hit."""
_EDGE = 1.2
_SIGN_PX = 17.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A set on the line."""

    id: str
    number: int
    kind: str
    body: int
    verdict: Verdict
    x: float
    width: float
    y: int
    title: str
    zoom: int
    """From which zoom on there is room for its number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stroke:
    """A frame in no set."""

    x: float
    y: int
    what: str
    body: int
    title: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Pause:
    """A pause that is drawn shorter than it was."""

    x: float
    width: float
    label: str
    zoom: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """A time under the line."""

    x: float
    label: str
    zoom: int
    anchor: str = "middle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """A lane per body above one axis."""

    lanes: tuple[tuple[str, int], ...]
    """(name of the body, y of its top below the name)."""
    blocks: tuple[Block, ...]
    strokes: tuple[Stroke, ...]
    pauses: tuple[Pause, ...]
    moments: tuple[Moment, ...]
    height: int
    axis_y: int
    words: str


def draw_timeline(result: Result) -> Timeline | None:
    """The card over time; ``None`` where no frame has a time."""
    clock = _Clock(result)
    times = [when for frame in result.scan.frames if (when := clock.of(frame)) is not None]
    if not times:
        return None
    axis = _Axis(times)
    names = [body.id for body in result.grouping.bodies] or [""]
    blocks = _blocks(result, clock, axis)
    bottom = _top(result, len(names) - 1) + LANE
    lost = len(result.scan.frames) - len(times)
    words = (
        "Blocks are sets, with their numbers; short strokes are singles, tall ones dividers, "
        f"open ones previews. Hatched: a pause of more than {_LONGEST_PAUSE_S / 60:.0f} minutes, "
        "drawn shorter than it was."
    )
    if lost:
        words += f" {lost} frame{'' if lost == 1 else 's'} without a time cannot stand here."
    return Timeline(
        lanes=tuple((name, _top(result, at)) for at, name in enumerate(names)),
        blocks=tuple(blocks),
        strokes=tuple(_strokes(result, clock, axis)),
        pauses=axis.pauses(),
        moments=axis.moments(),
        height=bottom + 30,
        axis_y=bottom + 4,
        words=words,
    )


def _top(result: Result, body: int) -> int:
    """Where the lane of a body begins."""
    name = NAME if len(result.grouping.bodies) > 1 else 0
    return TOP + name + (LANE + name) * body


class _Clock:
    """Times of all bodies on the first body's clock, and whose frame is whose."""

    def __init__(self, result: Result) -> None:
        bodies = result.grouping.bodies
        self._shift = [timedelta(seconds=body.clock_offset_s or 0.0) for body in bodies]
        self._body = {file: at for at, files in enumerate(result.grouping.order) for file in files}

    def of(self, frame: Frame) -> datetime | None:
        """When a frame was taken."""
        if frame.taken is None:
            return None
        at = self.body(frame)
        return frame.taken + self._shift[at] if at < len(self._shift) else frame.taken

    def body(self, frame: Frame) -> int:
        """The number of its body."""
        return self._body.get(frame.file, 0)


class _Axis:
    """Times to places in per cent, long pauses cut short."""

    def __init__(self, moments: Iterable[datetime]) -> None:
        self._ordered = sorted(set(moments))
        self._place: dict[datetime, float] = {self._ordered[0]: 0.0}
        self._long: list[tuple[datetime, datetime]] = []
        for before, after in pairwise(self._ordered):
            pause = (after - before).total_seconds()
            self._place[after] = self._place[before] + min(pause, _LONGEST_PAUSE_S)
            if pause > _LONGEST_PAUSE_S:
                self._long.append((before, after))
        self._scale = (100 - 2 * _EDGE) / max(self._place[self._ordered[-1]], 1.0)

    def at(self, moment: datetime) -> float:
        """Where a time lies."""
        return round(_EDGE + self._place[moment] * self._scale, 3)

    def pauses(self) -> tuple[Pause, ...]:
        """The pauses cut short, each with its length where there is room."""
        found = []
        for before, after in self._long:
            x, width = self.at(before), round(self.at(after) - self.at(before), 3)
            label = duration((after - before).total_seconds())
            found.append(
                Pause(x=x, width=width, label=label, zoom=_zoom(width, 7 * len(label) + 4))
            )
        return tuple(found)

    def _spans_years(self) -> bool:
        return self._ordered[0].year != self._ordered[-1].year

    def moments(self) -> tuple[Moment, ...]:
        """The time at the start, behind each pause cut short, and at the end."""
        ordered = [self._ordered[0], *(after for _, after in self._long)]
        found: list[Moment] = []
        room = _Room()
        # The year goes without saying where there is only one.
        day, year = None, None if self._spans_years() else self._ordered[0].year
        for when in (*ordered, self._ordered[-1]):
            x = self.at(when)
            label = f"{when:%H:%M}" if when.date() == day else _date(when, year)
            day, year = when.date(), when.year
            if found and found[-1].x == x:
                continue
            anchor = "start" if x < 5 else "end" if x > 95 else "middle"
            wide = 7.5 * len(label) + 10
            before = {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
            zoom = room.take(x, before, wide - before)
            found.append(Moment(x=x, label=label, zoom=zoom, anchor=anchor))
        return tuple(found)


def _date(when: datetime, year: int | None) -> str:
    """Day and time, with the year unless it is the one told before."""
    return f"{when.day} {when:%b %H:%M}" if when.year == year else f"{when.day} {when:%b %Y %H:%M}"


class _Room:
    """Which words are shown from which zoom on, so that none lies over another."""

    def __init__(self) -> None:
        self._taken: dict[int, list[tuple[float, float]]] = {zoom: [] for zoom in ZOOMS}

    def block(self, x: float, after_px: float) -> None:
        """Keep a place free at every zoom, whatever else stands there."""
        for zoom in ZOOMS:
            start = x / 100 * _USUAL_PX * zoom
            self._taken[zoom].append((start, start + after_px))

    def take(self, x: float, before_px: float, after_px: float) -> int:
        """The first zoom at which there is room around ``x`` (per cent); 99 where at none."""
        first = 99
        for zoom in ZOOMS:
            middle = x / 100 * _USUAL_PX * zoom
            low, high = middle - before_px, middle + after_px
            if first < zoom or all(b <= low or a >= high for a, b in self._taken[zoom]):
                first = min(first, zoom)
                self._taken[zoom].append((low, high))
        return first


def _zoom(width: float, needs_px: float) -> int:
    return next((zoom for zoom in ZOOMS if width / 100 * _USUAL_PX * zoom >= needs_px), 99)


def _blocks(result: Result, clock: _Clock, axis: _Axis) -> Iterable[Block]:
    drawn: list[tuple[int, Set, float, float]] = []
    for number, one in enumerate(result.sets, 1):
        times = [when for frame in one.frames if (when := clock.of(frame)) is not None]
        if times:
            x, end = axis.at(min(times)), axis.at(max(times))
            drawn.append((number, one, x, max(end - x, _LEAST_SHARE)))
    rooms: dict[int, _Room] = {}
    zooms: dict[int, int] = {}
    # What needs doing has the first claim on room: its sign is always shown, its number goes
    # before the others'.
    ranked = sorted(drawn, key=lambda item: verdict_of(item[1].findings).rank)
    signed = [item for item in ranked if verdict_of(item[1].findings) is not WHOLE]
    for _, one, x, _ in signed:
        rooms.setdefault(clock.body(one.frames[0]), _Room()).block(x, _SIGN_PX)
    for number, one, x, _ in ranked:
        lane = rooms.setdefault(clock.body(one.frames[0]), _Room())
        start = _SIGN_PX if verdict_of(one.findings) is not WHOLE else 0.0
        zooms[number] = lane.take(x, -start, start + 8 * len(str(number)) + 4)
    for number, one, x, width in drawn:
        body = clock.body(one.frames[0])
        verdict = verdict_of(one.findings)
        yield Block(
            id=one.id,
            number=number,
            kind=one.kind,
            body=body,
            verdict=verdict,
            x=x,
            width=round(width, 3),
            y=_top(result, body) + 18,
            title=f"Set {number}, {one.kind}, {len(one.members)} frames: {verdict.word}",
            zoom=zooms[number],
        )


def _strokes(result: Result, clock: _Clock, axis: _Axis) -> Iterable[Stroke]:
    by_file = {frame.file: frame for frame in result.scan.frames}
    loose = [(frame, "single") for frame in result.grouping.singles]
    loose += [(frame, "divider") for frame in result.grouping.dividers]
    loose += [
        (by_file[preview.file], "preview")
        for preview in result.grouping.previews
        if preview.file in by_file
    ]
    for frame, what in loose:
        when = clock.of(frame)
        if when is not None:
            body = clock.body(frame)
            yield Stroke(
                x=axis.at(when),
                y=_top(result, body),
                what=what,
                body=body,
                title=f"{what} {frame.file}, {when:%H:%M:%S}",
            )
