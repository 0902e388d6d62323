"""A panorama as the sweep it is: frames at their measured angles over a degree ruler. Pure.

A drawing is ``WIDTH`` units wide. Angles run right and up, drawings run right and down. Each
row is a band of its own over the same ruler, the highest row on top, so that no row hides
another. What a view holds besides the picture shown in the sweep (other legs and steps,
spares) stands below it, one line per leg and step.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from grouper.model import Finding, Member, Pointing, Set, Severity, Sighting
from grouper.optics import overlap_angular, yaw_half_width
from grouper.write.shots import Album, Shot, files_of, pair_findings, signed
from grouper.write.verdict import unplaced_views

WIDTH = 1000.0
_MARGIN = 22.0
_LADDER_MARGIN = 84.0
"""Left of the frames where lines of legs and steps have their names."""
_TALLEST_BAND = 300.0
"""So that a row and what is said of it fit a screen together."""
_TALLEST_ROW = 190.0
"""The same where there are several rows."""
_MOST_UNITS_PER_DEGREE = 12.0
"""Or two frames of a long lens would fill the screen."""
_LADDER_TALL = 420.0
_CELL_WIDE = 84.0
_STEEP_DEG = 68.0
"""Frames that look up or down more than this go beside the sweep: on a straight ruler they
would cover most of the turn (1 / cos 68 degrees is 2.7 times their width)."""
_TURN_OPEN = 1.75
"""A full turn lacks less than this many frames' widths between its outermost views: with one
frame more it would have closed."""
_LEAST_FOV_DEG = 0.05
"""No lens sees less (12 m of focal length on 36 mm sees 0.17 degrees): a damaged record."""
_TAG_SIGN = 7.4
"""Width of a bold figure at 12 units (most sans-serif types: 0.56 em; with room for others)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A frame in the sweep."""

    shot: Shot
    x: float
    y: float
    width: float
    height: float
    roll_deg: float
    tag_y: float | None
    """Where its number stands; ``None`` where there is no room for it."""
    middle: float
    """Where its middle is, left to right."""
    mark: str = ""
    """What is odd, in words, where there is room for them under its sign."""
    mark_y: float = 0.0
    is_guess: bool = False
    """It stands beyond a gap whose width is not known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Between:
    """What lies between two neighbours: an overlap or a gap."""

    x: float
    y: float
    width: float
    height: float
    label: str
    words: str
    severity: Severity | None = None
    is_gap: bool = False
    label_x: float = 0.0
    label_y: float = 0.0
    step_label: str = ""
    step_x: float = 0.0
    roll_deg: float = 0.0
    bar_y: float = 0.0
    has_bar: bool = True
    """Whether a bar under the pictures shows how far the overlap reaches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A leg, a step or a spare below its view. ``shot`` ``None``: missing or shown above."""

    x: float
    y: float
    width: float
    height: float
    shot: Shot | None = None
    is_missing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """Text at a place."""

    x: float
    y: float
    text: str
    severity: Severity | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ghost:
    """Where a missing view should be."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """One row of the sweep (or the whole of an up-and-down sweep)."""

    title: Word | None
    placed: tuple[Placed, ...]
    between: tuple[Between, ...]
    ghosts: tuple[Ghost, ...]
    level_y: float | None
    """The height of pitch 0; ``None`` outside the row."""
    middles: str
    """The line from middle to middle, as points: level, drifting or a staircase."""
    right: float
    left: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A mark on a ruler."""

    x: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """Bands over a ruler, ``height`` units high, and a sentence that says it in words."""

    height: float
    bands: tuple[Band, ...]
    cells: tuple[Cell, ...]
    lines: tuple[Word, ...]
    """Names of the lines of cells."""
    ticks: tuple[Tick, ...]
    small_ticks: str
    """Marks without words on the ruler, as one path: a hundred of them are two in three of all
    the lines of a sweep."""
    ruler_y: float
    words: str
    beside: tuple[Shot, ...]
    """Members that have no place in the drawing: steep ones, and those of unknown pointing."""


@dataclass(frozen=True, slots=True)
class _Field:
    """What a frame covers, in degrees."""

    member: Member
    yaw: float
    pitch: float
    half: float
    bottom: float
    top: float

    @property
    def roll(self) -> float:
        roll = self.member.pointing.roll_deg or 0.0
        return roll if math.isfinite(roll) else 0.0

    @property
    def reach(self) -> tuple[float, float]:
        """Bottom and top with the corners that roll lifts."""
        more = self.half * math.sin(math.radians(min(abs(self.roll), 90.0)))
        return self.bottom - more, self.top + more

    @property
    def left(self) -> float:
        return self.yaw - self.half

    @property
    def right(self) -> float:
        return self.yaw + self.half


def is_measured(one: Set) -> bool:
    """Whether a set can be drawn at its angles."""
    layout = one.layout
    return (
        layout is not None
        and layout.fov_deg is not None
        and all(_LEAST_FOV_DEG < fov < 180.0 for fov in layout.fov_deg)
        and layout.pointing_from != "assumed"
        and any(_is_placeable(member) for member in one.members)
    )


def draw_sweep(one: Set, album: Album) -> Sweep | None:
    """The drawing of a panorama; ``None`` where its angles are not measured."""
    layout = one.layout
    if layout is None or layout.fov_deg is None or not is_measured(one):
        return None
    fov = layout.fov_deg
    guessed = beyond_gaps(one)
    shown = _one_per_view([guessed.get(m.frame.file, m) for m in one.members])
    fields = [_field(member, fov) for member in shown]
    rows = _rows(fields)
    is_column = len(rows) > 1 and all(len(row) == 1 for row in rows)
    pencil = _Pencil(one, album, fields, 1 if is_column else len(rows), guessed.keys())
    bands = [pencil.column(fields)] if is_column else [pencil.row(row, rows) for row in rows]
    cells, lines = pencil.ladder(shown, fields) if not is_column else ((), ())
    in_drawing = files_of(shown)
    in_drawing |= {cell.shot.frame.file for cell in cells if cell.shot is not None}
    beside = tuple(
        album.member(one, member, _aim(member))
        for member in one.members
        if member.frame.file not in in_drawing
    )
    ruler = pencil.y + 6
    return Sweep(
        height=_r(ruler + 28),
        bands=tuple(bands),
        cells=cells,
        lines=lines,
        ticks=pencil.ticks(),
        small_ticks=pencil.small_ticks(_r(ruler)),
        ruler_y=_r(ruler),
        words=_words(one, fields, bands, is_guessed=bool(guessed)),
        beside=beside,
    )


class _Lines:
    """Three lines of words, filled from left to right."""

    def __init__(self) -> None:
        self._ends = [float("-inf")] * 3

    @property
    def used(self) -> int:
        """How many lines hold words, at least one."""
        return max(1, sum(end > float("-inf") for end in self._ends))

    def take(self, middle: float, half: float) -> int | None:
        """The first line with room for words around ``middle``; ``None`` where none has."""
        line = next((at for at, end in enumerate(self._ends) if middle - half >= end), None)
        if line is not None:
            self._ends[line] = middle + half
        return line


class _Pencil:
    """Keeps the scale and how far down the drawing has come."""

    def __init__(
        self,
        one: Set,
        album: Album,
        fields: Sequence[_Field],
        bands: int,
        guessed: Collection[str],
    ) -> None:
        self._one, self._album, self._guessed = one, album, guessed
        self._pairs = pair_findings(one, ("missing-frame", "thin-overlap", "open-circle"))
        self._overlaps = {
            frozenset((link.a, link.b)): link.sighting.overlap
            for link in one.links
            if link.sighting is not None and link.sighting.certainty >= 0.5
        }
        self._margin = _LADDER_MARGIN if _has_ladder(one) else _MARGIN
        self._left = min(f.left for f in fields)
        right = max(f.right for f in fields)
        tall = max(f.reach[1] for f in fields) - min(f.reach[0] for f in fields)
        most = _TALLEST_BAND
        if bands > 1:
            tall = max(f.reach[1] - f.reach[0] for f in fields) + 4
            most = _TALLEST_ROW
        room = WIDTH - self._margin - _MARGIN
        self._scale = min(
            room / max(right - self._left, 1e-6), most / max(tall, 1e-6), _MOST_UNITS_PER_DEGREE
        )
        self._start = self._margin + (room - self._scale * (right - self._left)) / 2
        self._right = right
        self.y = 6.0

    def x(self, yaw: float) -> float:
        """Where a yaw lies."""
        return self._start + (yaw - self._left) * self._scale

    def row(self, fields: Sequence[_Field], rows: Sequence[Sequence[_Field]]) -> Band:
        """A row as a band, its words in lanes below it."""
        title = None
        if len(rows) > 1:
            title = Word(x=self._margin, y=_r(self.y + 13), text=_row_title(fields, rows))
            self.y += 20
        top, bottom = max(f.reach[1] for f in fields), min(f.reach[0] for f in fields)
        placed = self._place(fields, top)
        lane = self.y + (top - bottom) * self._scale
        between = [self._between(a, b, top, lane) for a, b in pairwise(fields)]
        seam = self._seam(fields, top, lane)
        between += [seam] if seam is not None else []
        between = _thinned(between)
        ghosts = [ghost for a, b in pairwise(fields) for ghost in self._ghosts(a, b, top)]
        band = self._band(title, placed, between, top, bottom, ghosts)
        self.y = lane + 58
        return band

    def column(self, fields: Sequence[_Field]) -> Band:
        """An up-and-down sweep in one piece, its words to the right of it."""
        fields = sorted(fields, key=lambda f: -f.pitch)
        top, bottom = max(f.reach[1] for f in fields), min(f.reach[0] for f in fields)
        placed = self._place(fields, top, is_column=True)
        right = self.x(max(f.right for f in fields)) + 8
        between = []
        for upper, lower in pairwise(fields):
            share, finding = self._said(upper, lower, upper.pitch - lower.pitch, "pitch")
            is_gap = upper.bottom > lower.top
            low, high = sorted((upper.bottom, lower.top))
            y0, y1 = self._y(high, top), self._y(low, top)
            label = f"gap {high - low:.0f}°" if is_gap else _percent(share)
            text = f"{label}, step {upper.pitch - lower.pitch:.0f}°"
            between.append(
                Between(
                    x=_r(self.x(max(upper.left, lower.left))),
                    y=_r(y0),
                    width=_r(
                        (min(upper.right, lower.right) - max(upper.left, lower.left)) * self._scale
                    ),
                    height=_r(y1 - y0),
                    label=text,
                    words=_between_words(upper, lower, text),
                    severity=finding,
                    is_gap=is_gap,
                    has_bar=False,
                    label_x=_r(right + 60),
                    label_y=_r((y0 + y1) / 2 + 4),
                )
            )
        band = self._band(None, placed, between, top, bottom)
        self.y += (top - bottom) * self._scale + 8
        return band

    def _band(
        self,
        title: Word | None,
        placed: Sequence[Placed],
        between: Sequence[Between],
        top: float,
        bottom: float,
        ghosts: Sequence[Ghost] = (),
    ) -> Band:
        return Band(
            title=title,
            placed=tuple(placed),
            between=tuple(between),
            ghosts=tuple(ghosts),
            level_y=_r(self._y(0.0, top)) if bottom < 0.0 < top else None,
            middles=" ".join(f"{p.middle},{_r(p.y + p.height / 2)}" for p in placed),
            left=_r(self.x(self._left)),
            right=_r(self.x(self._right)),
        )

    def _y(self, pitch: float, top: float) -> float:
        return self.y + (top - pitch) * self._scale

    def _place(
        self, fields: Sequence[_Field], top: float, *, is_column: bool = False
    ) -> list[Placed]:
        placed = []
        numbers, words = _Lines(), _Lines()
        for f in fields:
            shot = self._album.member(self._one, f.member)
            y, middle = self._y(f.top, top), self.x(f.yaw)
            if is_column:  # one below the other: each has its line to itself
                numbers, words = _Lines(), _Lines()
            # Numbers of narrow frames stand at up to three heights, and so does what is odd;
            # what finds no room is said by the frame itself when it is pointed at.
            line = numbers.take(middle, _TAG_SIGN * len(shot.label) / 2 + 3)
            if line is None and shot.marks:
                line = 0
            mark = ", ".join(one.word for one in shot.marks)
            low = words.take(middle, _TAG_SIGN * len(mark) / 2 + 3) if mark else None
            placed.append(
                Placed(
                    shot=shot,
                    x=_r(self.x(f.left)),
                    y=_r(y),
                    width=_r(2 * f.half * self._scale),
                    height=_r((f.top - f.bottom) * self._scale),
                    roll_deg=_r(f.roll),
                    tag_y=None if line is None else _r(y + 16 + 15 * line),
                    middle=_r(middle),
                    mark="" if low is None else mark,
                    mark_y=_r(y + 50 + 15 * (low or 0)),
                    is_guess=f.member.frame.file in self._guessed,
                )
            )
        below = 15.0 * (numbers.used - 1)  # words stand clear of the lowest numbers and signs
        return [replace(item, mark_y=_r(item.mark_y + below)) for item in placed]

    def _between(self, a: _Field, b: _Field, top: float, lane: float) -> Between:
        return self._join(a, b, b.left, b.yaw - a.yaw, top, lane)

    def _seam(self, fields: Sequence[_Field], top: float, lane: float) -> Between | None:
        """Where a full turn meets its own beginning."""
        if len(fields) < 3:
            return None
        first, last = fields[0], fields[-1]
        rest = 360.0 - (last.yaw - first.yaw)
        layout = self._one.layout
        is_turn = layout is not None and (layout.closed or rest < _TURN_OPEN * 2 * first.half)
        if not is_turn:
            return None
        return self._join(last, first, first.left + 360.0, rest, top, lane, is_seam=True)

    def _join(
        self,
        a: _Field,
        b: _Field,
        begins: float,
        step: float,
        top: float,
        lane: float,
        *,
        is_seam: bool = False,
    ) -> Between:
        """Overlap or gap between the right edge of ``a`` and where ``b`` begins."""
        share, severity = self._said(a, b, step, "yaw")
        is_gap = begins > a.right
        low, high = sorted((a.right, begins))
        x0, x1 = self.x(low), self.x(high)
        if is_gap and is_seam:  # as much of it as the drawing has room for
            x1 = min(x1, WIDTH - 2)
            x0 = min(x0, x1 - 6)
        y0 = self._y(min(a.top, b.top), top)
        y1 = self._y(max(a.bottom, b.bottom), top)
        is_guess = (a.member.frame.file in self._guessed) != (b.member.frame.file in self._guessed)
        finding = self._finding(a, b)
        is_unknown = is_guess and finding is not None and finding.code == "missing-frame"
        label = f"gap {high - low:.0f}°" if is_gap else _percent(share)
        if is_unknown:
            label, is_gap = "gap, width not known", True
        if is_seam:
            label = f"{label} to first" if is_gap else f"closes {label}"
        words = _between_words(a, b, label)
        wide = x1 - x0 > 40 or is_gap or severity is not None
        step_x = self.x(a.yaw + step / 2) if not is_seam else x1
        return Between(
            x=_r(x0),
            y=_r(y0),
            width=_r(x1 - x0),
            height=_r(max(y1 - y0, 4.0)),
            bar_y=_r(lane + 4),
            label=label if wide or x1 - x0 > 24 else label.removesuffix(" %"),
            words=words,
            severity=severity,
            is_gap=is_gap,
            label_x=_r(min(max((x0 + x1) / 2, 30), WIDTH - 34)),
            label_y=_r(lane + 22),
            step_label="" if is_seam or is_unknown else f"{step:.0f}°",
            step_x=_r(step_x),
            roll_deg=_r((a.roll + b.roll) / 2),
        )

    def _ghosts(self, a: _Field, b: _Field, top: float) -> Iterator[Ghost]:
        """Outlines of the views that a finding says are missing between two neighbours."""
        finding = self._finding(a, b)
        if finding is None or finding.code != "missing-frame":
            return
        number = _views_missing(finding)
        for n in range(1, number + 1):
            share = n / (number + 1)
            yaw, pitch = a.yaw + share * (b.yaw - a.yaw), a.pitch + share * (b.pitch - a.pitch)
            half, tall = (a.half + b.half) / 2, (a.top - a.bottom) / 2
            yield Ghost(
                x=_r(self.x(yaw - half)),
                y=_r(self._y(pitch + tall, top)),
                width=_r(2 * half * self._scale),
                height=_r(2 * tall * self._scale),
            )

    def _finding(self, a: _Field, b: _Field) -> Finding | None:
        pairs = (frozenset((x, y)) for x in self._files(a.member) for y in self._files(b.member))
        return next((self._pairs[pair] for pair in pairs if pair in self._pairs), None)

    def _said(self, a: _Field, b: _Field, step: float, axis: str) -> tuple[float, Severity | None]:
        """The overlap of two neighbours as the pictures show it, else by angle; and if bad."""
        views = self._files(a.member), self._files(b.member)
        keys = [frozenset((x, y)) for x in views[0] for y in views[1]]
        finding = self._finding(a, b)
        seen = [self._overlaps[key] for key in keys if key in self._overlaps]
        width = 2 * a.half if axis == "yaw" else a.top - a.bottom
        share = max(seen) if seen else overlap_angular(step, width)
        return share, finding.severity if finding is not None else None

    def _files(self, member: Member) -> list[str]:
        return [
            other.frame.file
            for other in self._one.members
            if (other.row, other.view) == (member.row, member.view)
        ]

    def ladder(
        self, shown: Sequence[Member], fields: Sequence[_Field]
    ) -> tuple[tuple[Cell, ...], tuple[Word, ...]]:
        """The other legs and steps of each view, one line per leg and step; then spares."""
        if not _has_ladder(self._one):
            return (), ()
        cells: list[Cell] = []
        lines: list[Word] = []
        rows = _rows(fields)
        count = sum(len(_lines(self._one, row[0].member.row)) for row in rows)
        for row in rows:
            wide = self._cell_width(row)
            shape = _shape(row[0].member)
            tall = min(wide * shape, _LADDER_TALL / max(count, 1), 72.0)
            wide = min(wide, tall / shape)
            by_place = self._by_place(row)
            for name, key in _lines(self._one, row[0].member.row):
                if len(rows) > 1:
                    name = f"{name}, row {row[0].member.row + 1}"
                line = [by_place[f.member.view].get(key) for f in row]
                is_above = all(m is None or m.frame.file in files_of(shown) for m in line)
                height = 15.0 if is_above and None not in line else tall
                lines.append(Word(x=4, y=_r(self.y + height / 2 + 4), text=name))
                for f, member in zip(row, line, strict=True):
                    cell = self._cell(f, member, shown, key, (wide, height))
                    cells += [cell] if cell is not None else []
                self.y += height + 4
        self.y += 4
        return tuple(cells), tuple(lines)

    def _cell_width(self, row: Sequence[_Field]) -> float:
        steps = [self.x(b.yaw) - self.x(a.yaw) for a, b in pairwise(row)]
        return max(8.0, min([_CELL_WIDE, *(0.94 * step for step in steps if step > 0)]))

    def _by_place(self, row: Sequence[_Field]) -> Mapping[int, dict[tuple[int, int, int], Member]]:
        found: dict[int, dict[tuple[int, int, int], Member]] = defaultdict(dict)
        spares: dict[int, int] = defaultdict(int)
        for member in self._one.members:
            if member.row != row[0].member.row:
                continue
            if member.spare:
                spares[member.view] += 1
                found[member.view][-1, -1, spares[member.view]] = member
            else:
                found[member.view][member.leg, member.step, 0] = member
        return found

    def _cell(
        self,
        f: _Field,
        member: Member | None,
        shown: Sequence[Member],
        key: tuple[int, int, int],
        size: tuple[float, float],
    ) -> Cell | None:
        if member is None and key[2]:  # not every view has a spare
            return None
        is_above = member is not None and member.frame.file in files_of(shown)
        return Cell(
            x=_r(self.x(f.yaw) - size[0] / 2),
            y=_r(self.y),
            width=_r(size[0]),
            height=_r(size[1]),
            shot=None if member is None or is_above else self._album.member(self._one, member),
            is_missing=member is None,
        )

    def ticks(self) -> tuple[Tick, ...]:
        """Round degrees, as many as there is room for their numbers."""
        step = _round_step(58.0 / self._scale)
        return tuple(
            Tick(x=_r(self.x(degree)), label=f"{signed(degree, 0)}°" if degree else "0°")
            for degree in _degrees(self._left, self._right, step)
        )

    def small_ticks(self, y: float) -> str:
        """Marks without words, as on a ruler, as the path of their lines down from a height."""
        step = _round_step(7.0 / self._scale)
        places = (_r(self.x(degree)) for degree in _degrees(self._left, self._right, step))
        return "".join(f"M{x} {y}v4" for x in places)


def _thinned(between: Sequence[Between]) -> list[Between]:
    """Words that would lie over the ones before are left out, never those of what is wrong."""
    kept: list[Between] = []
    end = float("-inf")
    bad = [item for item in between if item.severity is not None or item.is_gap]
    for at, item in enumerate(between):
        half = _half(item)
        crowded = item.label_x - half < end or any(
            abs(other.label_x - item.label_x) < _half(other) + half for other in bad
        )
        if crowded and item not in bad:
            item = replace(item, label="", step_label="")
        else:
            end = item.label_x + half
        kept.append(replace(item, bar_y=_r(item.bar_y + 5 * (at % 2))))
    return kept


def _half(item: Between) -> float:
    return _TAG_SIGN * len(item.label) / 2 + 2


# --- What is shown, and where it looks ----------------------------------------------------


def _is_placeable(member: Member) -> bool:
    pointing = member.pointing
    yaw, pitch = pointing.yaw_deg, pointing.pitch_deg or 0.0
    return yaw is not None and math.isfinite(yaw) and abs(pitch) <= _STEEP_DEG


def beyond_gaps(one: Set) -> dict[str, Member]:
    """Members whose pointing is not known because a gap parts them, with a guess at it.

    From the known side of a gap that a finding names, by as many usual steps as views are
    missing; from there on by what the pictures of neighbours show. Only for a single row.
    """
    groups = _views_in_order(one)
    layout = one.layout
    if layout is None or layout.rows > 1 or len(groups) < 2:
        return {}
    known = {at: view for at, group in enumerate(groups) if (view := _aim_of(group)) is not None}
    measured = set(known)
    steps = [known[at + 1][0] - known[at][0] for at in known if at + 1 in known]
    if not steps:
        return {}
    gaps = pair_findings(one, ("missing-frame",))
    turns = {(link.a, link.b): link.sighting for link in one.links if link.sighting is not None}
    turned = [_turn(a, b, turns, gaps, median(steps)) for a, b in pairwise(groups)]
    for order in (range(len(turned)), reversed(range(len(turned)))):
        for at in order:
            turn = turned[at]
            if turn is None:
                continue
            if at in known and at + 1 not in known:
                known[at + 1] = known[at][0] + turn[0], known[at][1] + turn[1]
            elif at + 1 in known and at not in known:
                known[at] = known[at + 1][0] - turn[0], known[at + 1][1] - turn[1]
    return {
        member.frame.file: replace(
            member, pointing=Pointing(yaw_deg=known[at][0], pitch_deg=known[at][1])
        )
        for at in known
        if at not in measured
        for member in groups[at]
    }


def _turn(
    a: Sequence[Member],
    b: Sequence[Member],
    turns: Mapping[tuple[str, str], Sighting],
    gaps: Mapping[frozenset[str], Finding],
    usual_deg: float,
) -> tuple[float, float] | None:
    """How far right and up the camera turned from one view to the next, as far as is known."""
    keys = [(x.frame.file, y.frame.file) for x in a for y in b]
    seen = [turns[key] for key in keys if key in turns and turns[key].certainty >= 0.5]
    if seen:
        best = max(seen, key=lambda sighting: sighting.certainty)
        return best.turn_deg[1], best.turn_deg[0]
    finding = next((gaps[frozenset(key)] for key in keys if frozenset(key) in gaps), None)
    return None if finding is None else ((1 + _views_missing(finding)) * usual_deg, 0.0)


def _views_missing(finding: Finding) -> int:
    number = finding.measured.get("views_missing")
    return min(number, 20) if isinstance(number, int) and number > 0 else 1


def _views_in_order(one: Set) -> list[list[Member]]:
    views: dict[tuple[int, int], list[Member]] = {}
    for member in one.members:
        views.setdefault((member.row, member.view), []).append(member)
    return list(views.values())


def _aim_of(group: Sequence[Member]) -> tuple[float, float] | None:
    aims = [m.pointing for m in group if m.pointing.yaw_deg is not None]
    return (aims[0].yaw_deg or 0.0, aims[0].pitch_deg or 0.0) if aims else None


def _one_per_view(members: Sequence[Member]) -> list[Member]:
    """The middle leg and step of each view that can be placed; a spare only for want of one."""
    views: dict[tuple[int, int], list[Member]] = defaultdict(list)
    for member in members:
        if _is_placeable(member):
            views[member.row, member.view].append(member)
    middle_step = median(member.step for member in members)
    return [
        min(view, key=lambda m: (m.spare, abs(m.ev_offset), abs(m.step - middle_step)))
        for _, view in sorted(views.items())
    ]


def _field(member: Member, fov: tuple[float, float]) -> _Field:
    """Towards the poles a frame covers more of the turn."""
    yaw, pitch = member.pointing.yaw_deg or 0.0, member.pointing.pitch_deg or 0.0
    return _Field(
        member=member,
        yaw=yaw,
        pitch=pitch,
        half=yaw_half_width(fov[0], pitch),
        bottom=max(pitch - fov[1] / 2, -90.0),
        top=min(pitch + fov[1] / 2, 90.0),
    )


def _rows(fields: Iterable[_Field]) -> list[list[_Field]]:
    """Rows from the highest down, each from left to right."""
    rows: dict[int, list[_Field]] = defaultdict(list)
    for f in fields:
        rows[f.member.row].append(f)
    ordered = sorted(rows.values(), key=lambda row: -_pitch(row))
    return [sorted(row, key=lambda f: f.yaw) for row in ordered]


def _pitch(row: Sequence[_Field]) -> float:
    return median(f.pitch for f in row)


def _has_ladder(one: Set) -> bool:
    return len({(m.leg, m.step) for m in one.members}) > 1 or any(m.spare for m in one.members)


def _lines(one: Set, row: int) -> list[tuple[str, tuple[int, int, int]]]:
    """(name, (leg, step, 0)) for each leg and step, dark to light, near to far; then spares."""
    used = [member for member in one.members if not member.spare]
    combos = sorted({(member.leg, member.step) for member in used})
    legs = len({leg for leg, _ in combos}) > 1
    steps = len({step for _, step in combos}) > 1
    lines = []
    for leg, step in combos if len(combos) > 1 else []:
        offsets = [member.ev_offset for member in used if member.leg == leg]
        name = f"{signed(median(offsets))} EV" if legs else ""
        name += f"{' ' if legs else ''}step {step + 1}" if steps else ""
        lines.append((name, (leg, step, 0)))
    spares: dict[int, int] = defaultdict(int)
    for member in one.members:
        if member.spare and member.row == row:
            spares[member.view] += 1
    return lines + [("spare", (-1, -1, n + 1)) for n in range(max(spares.values(), default=0))]


def _shape(member: Member) -> float:
    width, height = member.frame.upright_px or (3, 2)
    return min(max(height / max(width, 1), 0.3), 3.0)


# --- Words ----------------------------------------------------------------------------------


def _aim(member: Member) -> str:
    yaw, pitch = member.pointing.yaw_deg, member.pointing.pitch_deg
    if pitch is not None and abs(pitch) > _STEEP_DEG:
        return f"looks {'up' if pitch > 0 else 'down'} {abs(pitch):.0f}°"
    if yaw is None:
        return "where it looks is not known"
    return f"at {signed(yaw, 0)}°"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _between_words(a: _Field, b: _Field, label: str) -> str:
    return f"{a.member.frame.name} to {b.member.frame.name}: {label}"


def _row_title(row: Sequence[_Field], rows: Sequence[Sequence[_Field]]) -> str:
    at = [list(other) for other in rows].index(list(row))
    text = f"Row {row[0].member.row + 1} of {len(rows)}, pitch {signed(_pitch(row))}°"
    if at + 1 < len(rows):
        below = rows[at + 1]
        common = median(f.top for f in below) - median(f.bottom for f in row)
        tall = median(f.top - f.bottom for f in row)
        if common < 0:
            return f"{text}; GAP of {-common:.0f}° to the row below"
        text += f"; overlaps the row below by {100 * common / tall:.0f} %"
    return text


def _words(one: Set, fields: Sequence[_Field], bands: Sequence[Band], *, is_guessed: bool) -> str:
    layout = one.layout
    across = max(f.right for f in fields) - min(f.left for f in fields)
    up = max(f.top for f in fields) - min(f.bottom for f in fields)
    if layout is not None and layout.span_deg is not None and not is_guessed:
        across, up = layout.span_deg  # as findings and manifests tell it
    views = len(fields)
    gaps = sum(item.is_gap for band in bands for item in band.between)
    said = [
        f"{views} view{'' if views == 1 else 's'} over "
        + (
            f"{across:.0f}° as drawn"
            if is_guessed
            else f"{min(across, 360):.0f}° by {min(up, 180):.0f}°"
        ),
        f"{gaps or 'no'} gap{'' if gaps == 1 else 's'}",
    ]
    if layout is not None and layout.overlap_min is not None and layout.overlap_median is not None:
        said.append(
            f"overlap {100 * layout.overlap_min:.0f} % at the least, "
            f"{100 * layout.overlap_median:.0f} % usually"
        )
    drift = _drift(fields)
    if drift is not None:
        said.append(drift)
    if layout is not None:
        said.append(_level("camera roll", layout.camera_roll_deg))
        said.append(_level("lean of the base", layout.base_tilt_deg))
        said.append(f"angles from {layout.pointing_from}")
    words = "; ".join(said) + "."
    if is_guessed:
        words += (
            " The pictures do not say how wide the gap is: beyond it the frames stand as they "
            "turn from one another, after a gap of the usual steps."
        )
    if unplaced_views(one):
        words += " The span of the set covers only the part that hangs together."
    return words


def _drift(fields: Sequence[_Field]) -> str | None:
    rows = _rows(fields)
    if len(rows) > 1 or len(fields) < 3:
        return None
    pitches = [f.pitch for f in rows[0]]
    rise = pitches[-1] - pitches[0]
    if abs(rise) < 0.5:
        return "runs level"
    return f"{'rises' if rise > 0 else 'falls'} {abs(rise):.1f}° from left to right"


def _level(what: str, degrees: float | None) -> str:
    return f"{what} not known" if degrees is None else f"{what} {signed(degrees)}°"


def _round_step(least_deg: float) -> int:
    return next((step for step in (1, 2, 5, 10, 15, 30, 45, 90) if step >= least_deg), 90)


def _degrees(left: float, right: float, step: int) -> range:
    return range(math.ceil(left / step) * step, math.floor(right) + 1, step)


def _r(value: float) -> float:
    return round(value, 1) + 0.0
