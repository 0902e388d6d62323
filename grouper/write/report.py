"""``report.html``: for people. One self-contained file that opens from disk. Pure.

The template escapes all foreign text; a content security policy forbids everything but the
page's own style sheet, its own script (which the page can do without) and pictures inside
the page. It holds no time of making, so that the same card gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from grouper.contracts import Writer
from grouper.model import Finding, Frame, Result, Set, Severity
from grouper.write.brief import brief_in_short
from grouper.write.facts import Facts, files_of_set, settings_of
from grouper.write.html import page_template, page_text, source_hash
from grouper.write.lists import without_lists
from grouper.write.paths import set_folder
from grouper.write.plain import utf8
from grouper.write.shots import Album, Shot, album, exposure
from grouper.write.strip import Strip, draw_strip
from grouper.write.sweep import Sweep, draw_sweep
from grouper.write.text import CAUTION, by_severity, counts, many
from grouper.write.timeline import draw_timeline
from grouper.write.verdict import (
    VERDICTS,
    Verdict,
    headline,
    unplaced_views,
    verdict_of,
)

_TODO_PICTURES = 150
"""Pictures repeated beside what needs doing. Each costs its size again, about 6 kB."""
_TODO_EACH = 3
OPEN_LOOSE = 40
"""Up to so many singles (dividers, previews) are shown at once; more are folded away."""
_SIGNS = {"problem": "reshoot", "warning": "look", "note": "note"}
_PASSED = {True: ("whole", "met"), False: ("reshoot", "not met"), None: ("look", "not known")}
"""Sign and word of a rule of the brief, by whether it is met."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A set as the page shows it."""

    set: Set
    number: int
    body: int
    """The number of its body, as the time line has it."""
    verdict: Verdict
    title: str
    facts_line: str
    findings: list[Finding]
    takes: tuple[tuple[str, int], ...]
    """(id, number) of the other takes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Details:
    """All that the page shows of a set's frames: too much to hold for all sets at once."""

    sweep: Sweep | None
    strip: Strip | None
    settings: Facts
    folder: str
    files: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Todo:
    """A set, or the card itself, that needs doing something about."""

    severity: Severity
    word: str
    entry: Entry | None
    findings: tuple[tuple[Finding, tuple[Shot, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loose:
    """Frames outside all sets, of one sort."""

    key: str
    title: str
    what: str
    shots: tuple[Shot, ...]

    @property
    def is_open(self) -> bool:
        """Whether they are shown at once."""
        return len(self.shots) <= OPEN_LOOSE


_PIECE_SIGNS = 1 << 16
"""The page is encoded by so much at once."""


def _render(result: Result, made: str) -> Iterator[tuple[str, Iterator[bytes]]]:
    yield "report.html", _pieces(result)


def _pieces(result: Result) -> Iterator[bytes]:
    """The page piece by piece: that of a large card is 40 MB."""
    gathered: list[str] = []
    signs = 0
    for text in _texts(result):
        gathered.append(text)
        signs += len(text)
        if signs >= _PIECE_SIGNS:
            yield utf8("".join(gathered))
            gathered, signs = [], 0
    yield utf8("".join(gathered))


def _texts(result: Result) -> Iterator[str]:
    style, script = (page_text("grouper.write", name) for name in ("report.css", "report.js"))
    book = album(result)
    entries = _entries(result)
    unlisted = frozenset(without_lists(result))
    return page_template("grouper.write", "report.html").generate(
        style=style,
        script=script,
        policy=(
            "default-src 'none'; img-src data:; "
            f"style-src {source_hash(style)}; script-src {source_hash(script)}; "
            "base-uri 'none'; form-action 'none'"
        ),
        name=_last(result.scan.root),
        root=result.scan.root,
        when=_when([frame.taken for frame in result.scan.frames if frame.taken is not None]),
        bodies=result.grouping.bodies,
        counts=list(counts(result)),
        brief=brief_in_short(result.sets),
        passed=_PASSED,
        verdicts=[
            (verdict, [entry for entry in entries if entry.verdict is verdict])
            for verdict in VERDICTS
        ],
        headline=headline(result),
        caution=CAUTION,
        timeline=draw_timeline(result),
        kinds=sorted({one.kind for one in result.sets}),
        todo=_todo(result, entries, book),
        notes=_notes(result, entries),
        entries=entries,
        loose=_loose(result, book),
        unread=result.scan.unread,
        ignored=result.scan.ignored,
        left_out=book.left_out,
        signs=_SIGNS,
        details_of=lambda entry: _details(entry.set, book, has_lists=entry.set.id not in unlisted),
    )


# --- Sets -------------------------------------------------------------------------------------


def _entries(result: Result) -> list[Entry]:
    numbers = {one.id: number for number, one in enumerate(result.sets, 1)}
    bodies = {body.id: at for at, body in enumerate(result.grouping.bodies)}
    return [
        Entry(
            set=one,
            number=numbers[one.id],
            body=bodies.get(one.body, 0),
            verdict=verdict_of(one.findings),
            title=_title(one),
            facts_line=_facts_line(one),
            findings=by_severity(one.findings),
            takes=tuple((take, numbers[take]) for take in one.takes if take in numbers),
        )
        for one in result.sets
    ]


def _details(one: Set, book: Album, *, has_lists: bool) -> Details:
    sweep = draw_sweep(one, book)
    folder = set_folder(one)
    return Details(
        sweep=sweep,
        strip=draw_strip(one, book) if sweep is None else None,
        settings=settings_of(one, book),
        folder=folder,
        files=tuple(files_of_set(one, folder, has_lists=has_lists)),
    )


_KINDS = {
    "panorama": "Panorama",
    "bracket": "Bracket",
    "focus-stack": "Focus stack",
    "burst": "Burst",
    "interval": "Interval series",
}


def _title(one: Set) -> str:
    layout = one.layout
    parts = [_KINDS[one.kind]]
    if layout is not None:
        parts.append(many(layout.views, "view"))
        shape = ((layout.rows, "row"), (layout.legs, "leg"), (layout.steps, "step"))
        parts += [f"{many(number, word)}" for number, word in shape if number > 1]
        parts += ["full circle"] if layout.closed else []
    parts.append(many(len(one.members), "frame"))
    if layout is not None and layout.views == len(one.members):
        parts.remove(many(len(one.members), "frame"))
    return ", ".join(parts)


def _facts_line(one: Set) -> str:
    times = [frame.taken for frame in one.frames if frame.taken is not None]
    parts = [_span(times)] if times else ["time not known"]
    parts.append(one.body)
    focal = sorted({frame.focal_mm for frame in one.frames if frame.focal_mm is not None})
    if focal:
        ends = [f"{focal[0]:.4g}", f"{focal[-1]:.4g}"]
        parts.append(("-".join(ends) if len(focal) > 1 else ends[0]) + " mm")
    layout = one.layout
    if layout is not None and layout.size_px is not None:
        width, height = layout.size_px
        part = " for the part that hangs together" if unplaced_views(one) else ""
        parts.append(f"about {width} × {height} px{part}, {layout.projection or 'no'} projection")
    return " · ".join(part for part in parts if part)


def _span(times: Sequence[datetime]) -> str:
    first, last = min(times), max(times)
    if first == last:
        return f"{first:%H:%M:%S}"
    return f"{first:%H:%M:%S} to {last:%H:%M:%S}"


def _when(times: Sequence[datetime]) -> str:
    if not times:
        return "no times recorded"
    first, last = min(times), max(times)
    begin = f"{first:%A} {first.day} {first:%B %Y}, {first:%H:%M}"
    if first.date() == last.date():
        return f"{begin} to {last:%H:%M}"
    return f"{begin} to {last:%A} {last.day} {last:%B %Y}, {last:%H:%M}"


# --- What needs doing -------------------------------------------------------------------------


def _todo(result: Result, entries: Sequence[Entry], book: Album) -> list[Todo]:
    """Problems first; among equals the card itself, then sets by time."""
    room = [_TODO_PICTURES]
    found: list[Todo] = []
    for severity, verdict in (("problem", VERDICTS[0]), ("warning", VERDICTS[1])):
        own = tuple(
            (finding, _pictures(finding, book, room))
            for finding in result.findings
            if finding.severity == severity
        )
        if own:
            found.append(Todo(severity=own[0][0].severity, word=severity, entry=None, findings=own))
        for entry in entries:
            if entry.verdict is verdict:
                bad = tuple(
                    (finding, _pictures(finding, book, room))
                    for finding in entry.findings
                    if finding.severity != "note"
                )
                found.append(
                    Todo(severity=bad[0][0].severity, word=verdict.word, entry=entry, findings=bad)
                )
    return found


def _pictures(finding: Finding, book: Album, room: list[int]) -> tuple[Shot, ...]:
    """The first few frames that a finding names, as long as there is room on the page."""
    if room[0] <= 0 or len(finding.frames) > 2 * _TODO_EACH:
        return ()
    known = [book.frames[file] for file in finding.frames if file in book.frames]
    shots = tuple(book.loose(frame, finding.code) for frame in known[:_TODO_EACH])
    shots = tuple(shot for shot in shots if shot.picture is not None)
    room[0] -= len(shots)
    return shots


def _notes(result: Result, entries: Sequence[Entry]) -> list[tuple[Finding, Entry | None]]:
    found: list[tuple[Finding, Entry | None]] = [
        (finding, None) for finding in result.findings if finding.severity == "note"
    ]
    found += [
        (finding, entry)
        for entry in entries
        for finding in entry.findings
        if finding.severity == "note"
    ]
    return found


# --- The rest of the card ---------------------------------------------------------------------


def _loose(result: Result, book: Album) -> list[Loose]:
    grouping = result.grouping
    numbers = {one.id: number for number, one in enumerate(result.sets, 1)}
    previews = [
        book.loose(
            book.frames[preview.file],
            "preview",
            f"of set {numbers[preview.set_id]}" if preview.set_id in numbers else "of no set",
        )
        for preview in grouping.previews
        if preview.file in book.frames
    ]
    return [
        Loose(
            key="singles",
            title="Singles",
            what="Frames in no set.",
            shots=tuple(book.loose(f, "single", *_short(f)) for f in grouping.singles),
        ),
        Loose(
            key="dividers",
            title="Dividers",
            what="Frames shot to mark a boundary: lens cap, hand, sky at nothing.",
            shots=tuple(book.loose(f, "divider", *_short(f)) for f in grouping.dividers),
        ),
        Loose(
            key="previews",
            title="Previews",
            what="Composites that the camera or a phone made of a scene.",
            shots=tuple(previews),
        ),
    ]


def _short(frame: Frame) -> tuple[str, ...]:
    said = [f"{frame.taken:%H:%M:%S}"] if frame.taken is not None else []
    said += [exposure(frame.exposure_s)] if frame.exposure_s is not None else []
    return (*said, *("+ " + _last(companion) for companion in frame.companions))


def _last(path: str) -> str:
    return path.rstrip("/").rsplit("/", 1)[-1] or path


WRITER = Writer(name="report", summary="report.html, for people", render=_render)
