"""What the commands print: the summary of a card, its findings, the place of a frame. Pure.

Everything takes the width of the terminal and a ``Style``; colour is never the only sign.
Foreign text goes through ``clean.shown``.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from grouper.model import SEVERITIES, Finding, Result, Set
from grouper.write.brief import brief_in_short, brief_lines
from grouper.write.clean import shown
from grouper.write.verdict import headline, sure_percent, unplaced_views
from grouper.write.verdict import many as many
from grouper.write.verdict import worst as worst

CAUTION = (
    "A checked card is not a backup: format it only after a second copy exists and was verified."
)

_COLOURS: Mapping[str, str] = {"problem": "1;31", "warning": "33", "note": "36", "bold": "1"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Style:
    """How wide lines may be (``None``: as long as they are), and whether in colour."""

    width: int | None = 80
    colour: bool = False

    def paint(self, text: str, name: str) -> str:
        """``text`` in the colour called ``name``, where there is colour."""
        if not self.colour or name not in _COLOURS:
            return text
        return f"\x1b[{_COLOURS[name]}m{text}\x1b[0m"

    def wrap(self, text: str, indent: str = "", hanging: str | None = None) -> str:
        """``text`` broken to the width; later lines start with ``hanging``."""
        if self.width is None:
            return indent + text
        return textwrap.fill(
            text,
            max(self.width, 40),
            initial_indent=indent,
            subsequent_indent=indent if hanging is None else hanging,
            break_long_words=False,
            break_on_hyphens=False,
        )


def all_findings(result: Result) -> list[Finding]:
    """Findings about the card and about its sets."""
    return [*result.findings, *(finding for one in result.sets for finding in one.findings)]


def summary(result: Result, style: Style) -> str:
    """A line per set, worst first, and counts that add up."""
    lines = list(_set_table(result, style))
    if result.findings:
        lines += ["", "About the card:"]
        for finding in by_severity(result.findings):
            lines += finding_lines(finding, style)
    lines += ["", *(style.wrap(line) for line in counts(result))]
    lines.append(style.paint(style.wrap(in_short(result)), "bold"))
    return "\n".join(lines).lstrip("\n")


def findings_by_set(result: Result, style: Style) -> str:
    """All findings, the card's first, then set by set, the worst set first."""
    lines: list[str] = []
    if result.findings:
        lines.append(style.paint("The card", "bold"))
        for finding in by_severity(result.findings):
            lines += finding_lines(finding, style)
    for one in _worst_first(result.sets):
        told = [finding for finding in one.findings if finding.code not in _FACTS]
        if told or one.brief:
            lines += ["", style.paint(style.wrap(_title(one)), "bold")]
            lines += brief_lines(one, style)
            for finding in by_severity(told):
                lines += finding_lines(finding, style, of=len(one.members))
    lines += _facts(result, style)
    lines += ["", *(style.wrap(line) for line in counts(result))]
    if brief := brief_in_short(result.sets):
        lines.append(style.wrap(brief))
    lines.append(style.paint(style.wrap(in_short(result)), "bold"))
    return "\n".join(lines).lstrip("\n")


_FACTS = {"too-wide": "too wide for a flat picture: join on a cylinder or a sphere"}
"""Notes that state a fact and ask for nothing on location. Half of all sweeps have one; told once
for the whole card, they do not bury the findings that matter."""


def _facts(result: Result, style: Style) -> Iterator[str]:
    for code, words in _FACTS.items():
        found = [
            one for one in result.sets if any(finding.code == code for finding in one.findings)
        ]
        if found:
            severity = next(f.severity for f in found[0].findings if f.code == code)
            label = style.paint(f"{severity:<8}", severity)
            text = f"{code}: {many(len(found), 'set')} {words}."
            yield ""
            yield "  " + label + " " + style.wrap(text, " " * 11, " " * 11).lstrip()
            names = [one.id for one in found]
            yield style.wrap("sets: " + _some(names), " " * 11)


def counts(result: Result) -> Iterator[str]:
    """Sentences in which files, frames and findings add up."""
    scan, grouping = result.scan, result.grouping
    companions = sum(len(frame.companions) for frame in scan.frames)
    yield (
        f"{many(scan.files, 'file')}: {many(len(scan.frames), 'frame')}, "
        f"{many(companions, 'companion')}, {len(scan.unread)} unread, "
        f"{len(scan.ignored)} ignored."
    )
    members = sum(len(one.members) for one in result.sets)
    yield (
        f"{many(len(scan.frames), 'frame')}: {members} in {many(len(result.sets), 'set')}, "
        f"{many(len(grouping.singles), 'single')}, {many(len(grouping.dividers), 'divider')}, "
        f"{many(len(grouping.previews), 'preview')}."
    )
    number = Counter(finding.severity for finding in all_findings(result))
    silent = sum(not one.findings for one in result.sets)
    yield (
        f"{many(number.total(), 'finding')}: "
        + ", ".join(many(number[severity], severity) for severity in SEVERITIES)
        + f". {many(silent, 'set')} without findings."
    )


def in_short(result: Result) -> str:
    """What to reshoot and what is whole, in one sentence."""
    words = ", ".join(text for _, text in headline(result))
    return words[:1].upper() + words[1:] + "."


def finding_lines(finding: Finding, style: Style, of: int | None = None) -> list[str]:
    """A finding with its severity in words, what was seen, and what to do.

    Of a set of more than two frames (``of``) all of which are meant, none is named.
    """
    frames = () if of is not None and 2 < of == len(finding.frames) else finding.frames
    return _finding(finding.severity, finding.code, frames, finding.message, finding.advice, style)


def frame_place(card: Mapping[str, Any], file: str, style: Style) -> str:
    """Why a frame of a grouped card stands where it stands, from the card's manifest."""
    lines: list[str] = []
    for one in card["sets"]:
        for member in one["frames"]:
            if member["file"] == file:
                lines += _place_in_set(one, member, style)
    for key, words in (("singles", "a single: in no set"), ("dividers", _DIVIDER)):
        if file in card[key]:
            lines.append(style.wrap(f"{shown(file)} is {words}."))
    for preview in card["previews"]:
        if preview["file"] == file:
            near = f"attached to set {preview['set']}" if preview["set"] else "near no set"
            lines.append(style.wrap(f"{shown(file)} is {_PREVIEW}, {near}."))
    for unread in card["unread"]:
        if unread["file"] == file:
            why = f"{unread['reason']} {unread['detail']}".strip()
            lines.append(style.wrap(f"{shown(file)} could not be read: {shown(why)}."))
    about = [finding for finding in card["findings"] if file in finding["frames"]]
    return "\n".join([*lines, *_about_it(about, "Findings of the card about it:", style)])


_DIVIDER = "a divider: shot to mark a boundary, in no set"
_PREVIEW = "a preview, a composite that the camera or a phone made"


def _place_in_set(one: Mapping[str, Any], member: Mapping[str, Any], style: Style) -> list[str]:
    number = one["frames"].index(member) + 1
    layout = one["layout"] or {}
    place = [f"frame {number} of {len(one['frames'])} in shooting order"]
    for word, key in (("row", "rows"), ("view", "views"), ("leg", "legs"), ("step", "steps")):
        several = layout.get(key) or len({other[word] for other in one["frames"]})
        if several > 1:
            place.append(f"{word} {member[word] + 1} of {several}")
    if member["spare"]:
        place.append("a spare: another frame fills its place")
    lines = [
        style.wrap(
            f"{shown(member['file'])} is in the {one['kind']} {shown(one['id'])}: "
            f"{', '.join(place)}."
        ),
        style.wrap(_pointing(member, layout)),
        f"Confidence of the set: {one['confidence']:.2f}. It rests on:",
        *(style.wrap(shown(why), "  - ", "    ") for why in one["evidence"]),
    ]
    if one["takes"]:
        lines.append(style.wrap(f"Other takes: {', '.join(map(shown, one['takes']))}."))
    about = [finding for finding in one["findings"] if member["file"] in finding["frames"]]
    return [line for line in lines if line] + _about_it(about, "Findings about it:", style)


def _pointing(member: Mapping[str, Any], layout: Mapping[str, Any]) -> str:
    yaw, pitch = member["yaw_deg"], member["pitch_deg"]
    if yaw is None or pitch is None:
        return "Where it points within the set is not known."
    return (
        f"It points {abs(yaw):.1f}° {'right' if yaw >= 0 else 'left'} of the set's middle and "
        f"{abs(pitch):.1f}° {'up' if pitch >= 0 else 'down'} "
        f"(from {layout.get('pointing_from', 'pictures')})."
    )


def _about_it(findings: Sequence[Mapping[str, Any]], title: str, style: Style) -> list[str]:
    lines = [title] if findings else []
    for one in findings:
        lines += _finding(
            one["severity"], one["code"], one["frames"], one["message"], one["advice"], style
        )
    return lines


def _finding(
    severity: str, code: str, frames: Sequence[str], message: str, advice: str, style: Style
) -> list[str]:
    label = style.paint(f"{severity:<8}", severity)
    head = style.wrap(f"{shown(code)}: {shown(message)}", "  " + " " * 9, " " * 11)
    lines = ["  " + label + " " + head.lstrip()]
    if frames:
        lines.append(style.wrap("frames: " + _some(frames), " " * 11))
    if advice:
        lines.append(style.wrap("do: " + shown(advice), " " * 11))
    return lines


def _some(frames: Sequence[str], most: int = 6) -> str:
    """Names of frames, cut short; the manifest has them all."""
    names = [shown(frame) for frame in frames[:most]]
    rest = len(frames) - len(names)
    return ", ".join(names) + (f" and {rest} more" if rest else "")


def by_severity(findings: Iterable[Finding]) -> list[Finding]:
    """Findings worst first, otherwise as they come."""
    return sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))


def _worst_first(sets: Iterable[Set]) -> list[Set]:
    def rank(one: Set) -> int:
        severity = worst(one.findings)
        return len(SEVERITIES) if severity is None else SEVERITIES.index(severity)

    return sorted(sets, key=rank)


def _title(one: Set) -> str:
    return f"{one.kind} {shown(one.id)}, {many(len(one.members), 'frame')}"


def _set_table(result: Result, style: Style) -> Iterator[str]:
    sets = _worst_first(result.sets)
    if not sets:
        return
    head = ("set", "kind", "frames", "layout", "span", "sure", "worst finding")
    rows = [
        (
            shown(one.id),
            one.kind,
            str(len(one.members)),
            _layout(one),
            _span(one),
            f"{sure_percent(one.confidence)} %",
            _worst_code(one),
        )
        for one in sets
    ]
    kept = _columns_kept((head, *rows), style.width)
    lines = [[row[at] for at in kept] for row in (head, *rows)]
    widths = [max(_columns(line[at]) for line in lines) for at in range(len(kept) - 1)]
    yield _row(lines[0], widths, style.width)
    for cells, one in zip(lines[1:], sets, strict=True):
        line = _row(cells, widths, style.width)
        severity = worst(one.findings)
        yield style.paint(line, severity) if severity == "problem" else line


_DROPPED_FIRST = (5, 4, 3, 2, 1)
"""Columns of the table in the order in which a narrow terminal loses them: sure, span, layout,
frames, kind. The id and the worst finding are what the table is for."""


def _columns_kept(rows: Sequence[Sequence[str]], width: int | None) -> list[int]:
    kept = list(range(len(rows[0])))
    for column in _DROPPED_FIRST:
        wide = sum(max(_columns(row[at]) for row in rows) + 2 for at in kept) - 2
        if width is None or wide <= width:
            break
        kept.remove(column)
    return kept


def _row(cells: Sequence[str], widths: Sequence[int], width: int | None) -> str:
    padded = [
        cell + " " * (room - _columns(cell)) for cell, room in zip(cells, widths, strict=False)
    ]
    line = "  ".join([*padded, cells[-1]]).rstrip()
    if width is None or _columns(line) <= width:
        return line
    return line if width < 60 else _cut(line, width)  # too narrow to cut: let it break


def _cut(line: str, width: int) -> str:
    while _columns(line) > width - 1:
        line = line[:-1]
    return line + "…"


def _columns(text: str) -> int:
    """How many columns of a terminal ``text`` takes (Unicode TR 11: wide signs take two)."""
    return sum(
        0
        if unicodedata.combining(sign)
        else 2
        if unicodedata.east_asian_width(sign) in ("W", "F")
        else 1
        for sign in text
    )


def _layout(one: Set) -> str:
    if one.layout is None:
        legs = len({member.leg for member in one.members})
        steps = len({member.step for member in one.members})
        shape = [(legs, "leg"), (steps, "step")]
    else:
        layout = one.layout
        shape = [(layout.views, "view"), (layout.rows, "row")]
        shape += [(layout.legs, "leg"), (layout.steps, "step")]
    words = [many(number, word) for number, word in shape if number > 1 or word == "view"]
    if one.layout is not None and one.layout.closed:
        words.append("closed")
    return ", ".join(words) or "-"


def _span(one: Set) -> str:
    if one.layout is None or one.layout.span_deg is None:
        return "-"
    span = "x".join(f"{side:.0f}" for side in one.layout.span_deg) + "°"
    return f"{span} and more" if unplaced_views(one) else span


def _worst_code(one: Set) -> str:
    findings = by_severity(one.findings)
    if not findings:
        return "-"
    more = f" (+{len(findings) - 1})" if len(findings) > 1 else ""
    return f"{findings[0].severity}: {shown(findings[0].code)}{more}"
