r"""``frames.csv``: a row per frame, for spreadsheets and scripts. Pure.

Quoted as RFC 4180 has it, with LF at the end of a line. Unknown is an empty cell. Rows stand
in shooting order per body: frames of sets, singles, dividers and previews alike.

A spreadsheet takes a cell that starts with ``=``, ``+``, ``-`` or ``@`` for a formula, and
file names, lens names and the like are foreign text. So a cell of foreign text that
starts with one of these, with a tab, a line break or an apostrophe gets one apostrophe in
front; taking one leading apostrophe off such a cell gives the value back. Numbers are never
touched. Bytes of
a file name that are no UTF-8 show as escapes such as ``\udcff``; ``card.json`` has the name
exactly.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from grouper.contracts import Writer
from grouper.model import Frame, Member, Result, Set
from grouper.write.plain import angle, ev_offset, moment, offset, rounded, significant, utf8, whole


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A frame and its place on the card, if it has one."""

    frame: Frame
    kind: str
    """A set's kind, or ``single``, ``divider`` or ``preview``."""
    set_id: str | None = None
    member: Member | None = None
    body: str | None = None


def _of_member(name: str) -> Callable[[Row], Any]:
    return lambda row: None if row.member is None else getattr(row.member, name)


def _pointing(name: str) -> Callable[[Row], Any]:
    return lambda row: None if row.member is None else angle(getattr(row.member.pointing, name))


def _yes_no(value: bool | None) -> str | None:
    return None if value is None else ("yes" if value else "no")


# Full-width forms count too: some spreadsheets fold them to the plain signs.
_RISKY = ("=", "+", "-", "@", "\t", "\r", "\n", "'", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def _foreign(text: str | None) -> str | None:
    return f"'{text}" if text is not None and text.startswith(_RISKY) else text


COLUMNS: tuple[tuple[str, Callable[[Row], Any]], ...] = (
    ("file", lambda row: _foreign(row.frame.file)),
    ("companions", lambda row: _foreign(" | ".join(row.frame.companions))),
    ("set", lambda row: row.set_id),
    ("kind", lambda row: row.kind),
    ("row", _of_member("row")),
    ("view", _of_member("view")),
    ("leg", _of_member("leg")),
    ("step", _of_member("step")),
    ("spare", lambda row: _yes_no(None if row.member is None else row.member.spare)),
    ("body", lambda row: _foreign(row.body)),
    ("make", lambda row: _foreign(row.frame.make)),
    ("model", lambda row: _foreign(row.frame.model)),
    ("serial", lambda row: _foreign(row.frame.serial)),
    ("lens", lambda row: _foreign(row.frame.lens)),
    ("taken", lambda row: moment(row.frame.taken)),
    ("utc_offset", lambda row: offset(row.frame.utc_offset_min)),
    ("exposure_s", lambda row: significant(row.frame.exposure_s)),
    ("aperture_f", lambda row: rounded(row.frame.aperture_f, 2)),
    ("iso", lambda row: whole(row.frame.iso)),
    ("bias_ev", lambda row: rounded(row.frame.bias_ev, 2)),
    ("ev_offset", lambda row: ev_offset(row.member) if row.member else None),
    ("program", lambda row: row.frame.program),
    ("white_balance", lambda row: row.frame.white_balance),
    ("flash", lambda row: _yes_no(row.frame.flash_fired)),
    ("focal_mm", lambda row: rounded(row.frame.focal_mm, 2)),
    ("focal_35mm", lambda row: rounded(row.frame.focal_35mm, 2)),
    ("focus_m", lambda row: significant(row.frame.focus_m)),
    ("width_px", lambda row: row.frame.width_px),
    ("height_px", lambda row: row.frame.height_px),
    ("orientation", lambda row: row.frame.orientation),
    ("yaw_deg", _pointing("yaw_deg")),
    ("pitch_deg", _pointing("pitch_deg")),
    ("roll_deg", _pointing("roll_deg")),
    ("latitude_deg", lambda row: rounded(row.frame.latitude_deg, 7)),
    ("longitude_deg", lambda row: rounded(row.frame.longitude_deg, 7)),
    ("altitude_m", lambda row: rounded(row.frame.altitude_m, 2)),
)
"""Name of each column and how a cell is filled. New columns go to the end of their kind;
read the table by name, not by place."""


def rows(result: Result) -> Iterator[Row]:
    """Every frame of the card once, in shooting order per body, strays last."""
    found = {row.frame.file: row for row in _placed(result)}
    for body, order in zip(result.grouping.bodies, result.grouping.order, strict=False):
        for file in order:
            row = found.pop(file, None)
            if row is not None:
                yield Row(
                    frame=row.frame,
                    kind=row.kind,
                    set_id=row.set_id,
                    member=row.member,
                    body=body.id,
                )
    yield from found.values()


def _placed(result: Result) -> Iterator[Row]:
    grouping = result.grouping
    for one in grouping.sets:
        yield from _members(one)
    for kind, frames in (("single", grouping.singles), ("divider", grouping.dividers)):
        for frame in frames:
            yield Row(frame=frame, kind=kind)
    known = {frame.file: frame for frame in result.scan.frames}
    for preview in grouping.previews:
        frame = known.get(preview.file, Frame(file=preview.file))
        yield Row(frame=frame, kind="preview", set_id=preview.set_id)


def _members(one: Set) -> Iterator[Row]:
    for member in one.members:
        yield Row(frame=member.frame, kind=one.kind, set_id=one.id, member=member, body=one.body)


_TO_QUOTE = re.compile(r'[,"\r\n]')


def _quoted(value: Any) -> str:
    """A cell by RFC 4180; Python's own writer leaves a lone carriage return unquoted."""
    text = "" if value is None else str(value)
    if _TO_QUOTE.search(text):
        return '"' + text.replace('"', '""') + '"'
    return text


def _render(result: Result, made: str) -> Iterator[tuple[str, bytes]]:
    lines = [",".join(name for name, _ in COLUMNS)]
    lines += (",".join(_quoted(fill(row)) for _, fill in COLUMNS) for row in rows(result))
    yield "frames.csv", utf8("\n".join(lines) + "\n")


WRITER = Writer(name="table", summary="frames.csv, a row per frame", render=_render)
