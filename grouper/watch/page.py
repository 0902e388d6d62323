"""``index.html``: all cards on one page, what needs doing first. Pure.

Self-contained and without a script, in the style of the cards' own reports. All foreign text
is cleaned and escaped; a content security policy forbids everything but the page's own style.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from urllib.parse import quote

from grouper.watch.state import Record, iso
from grouper.write.html import page_template, page_text, source_hash
from grouper.write.plain import utf8
from grouper.write.text import CAUTION
from grouper.write.verdict import many

FILE_NAME: Final = "index.html"
REFRESH_S: Final = 15
"""While something is under way the page renews itself so often."""
OPEN_WHOLE: Final = 60
"""So many whole cards are shown at once, the newest; older ones are folded away."""
MOST_GONE: Final = 200
"""Cards that left the inbox and are listed; the latest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A card as the page shows it."""

    name: str
    sign: str
    """reshoot, look, whole or note."""
    report: str | None
    """Link to its report, if there is one."""
    headline: Sequence[tuple[str, str]]
    facts: str
    findings: Sequence[Mapping[str, Any]]
    error: str
    hook_error: str
    stage: str
    grouped: str
    grouped_iso: str


def page(
    records: Sequence[Record],
    *,
    inbox: str,
    now: float,
    running: bool,
    once: bool = False,
    troubles: Sequence[str] = (),
    strays: Sequence[str] = (),
) -> bytes:
    """The page.

    Args:
        records: all cards, in any order.
        inbox: the folder that is watched.
        now: seconds since 1970.
        running: whether the service goes on after this page.
        once: it was made by a single run.
        troubles: what is wrong with the service itself, a sentence each.
        strays: names of what lies in the inbox and is no card.
    """
    here = [record for record in records if record.gone_at is None]
    gone = [record for record in records if record.gone_at is not None and record.grouped_at]
    entries = [_entry(record) for record in sorted(here, key=_newest_first)]
    moving = [entry for entry in entries if entry.stage in _STAGES]
    style = page_text("grouper.write", "report.css") + page_text("grouper.watch", "page.css")
    html = page_template("grouper.watch", "page.html").render(
        style=style,
        policy=f"default-src 'none'; style-src {source_hash(style)}; "
        "base-uri 'none'; form-action 'none'",
        refresh=REFRESH_S if running and moving else None,
        inbox=inbox,
        now=_moment(now),
        now_iso=iso(now),
        running=running,
        once=once,
        headline=_headline(entries),
        caution=CAUTION,
        troubles=list(troubles),
        strays=[strays[:20], len(strays)],
        todo=[entry for entry in entries if entry.sign == "reshoot"],
        look=[entry for entry in entries if entry.sign == "look"],
        whole=[entry for entry in entries if entry.sign == "whole"][:OPEN_WHOLE],
        more_whole=[entry for entry in entries if entry.sign == "whole"][OPEN_WHOLE:],
        under_way=[entry for entry in entries if entry.sign == "note"],
        gone=[
            (_entry(record), _moment(record.gone_at or 0.0))
            for record in sorted(gone, key=lambda one: -(one.gone_at or 0.0))[:MOST_GONE]
        ],
        stages=_STAGES,
        signs=_SIGNS,
    )
    return utf8(html)


def _newest_first(record: Record) -> tuple[float, int]:
    return -(record.grouped_at or record.first_seen), -record.id


_SIGNS: Final = {"problem": "reshoot", "warning": "look", "note": "note"}
_STAGES: Final = {
    "arriving": "arriving: waiting until its files were still for a while",
    "waiting": "still, and waiting for its turn",
    "grouping": "being grouped now",
}


def _entry(record: Record) -> Entry:
    told = record.told
    has_report = record.grouped_at is not None and not record.cleaned
    sign = str(told.get("verdict", "note")) if record.grouped_at else "note"
    error = record.error or ""
    if error and record.stage == "failed":
        sign = "reshoot"
    return Entry(
        name=record.name,
        sign=sign if sign in ("reshoot", "look", "whole") else "note",
        report=f"{quote(record.out)}/report.html" if has_report else None,
        headline=_pairs(told.get("headline")) if record.grouped_at else [],
        facts=_facts(record),
        findings=[one for one in told.get("findings", ()) if isinstance(one, dict)],
        error=error,
        hook_error=record.hook_error or "",
        stage=record.stage,
        grouped=_moment(record.grouped_at) if record.grouped_at else "",
        grouped_iso=iso(record.grouped_at) if record.grouped_at else "",
    )


def _pairs(value: Any) -> list[tuple[str, str]]:
    keys = ("reshoot", "look", "whole")
    found = [one for one in value or () if isinstance(one, list) and len(one) == 2]
    return [(key if key in keys else "", str(words)) for key, words in found]


def _facts(record: Record) -> str:
    told = record.told
    if not record.grouped_at:
        return f"{many(record.files, 'file')} so far" if record.files else ""
    bodies = [str(body) for body in told.get("bodies") or ()]
    parts = [_span(told.get("first"), told.get("last")), ", ".join(bodies)]
    parts.append(f"{many(told.get('frames', 0), 'frame')}, {many(told.get('sets', 0), 'set')}")
    if told.get("unread"):
        parts.append(f"{many(told['unread'], 'file')} that cannot be read")
    return " · ".join(part for part in parts if part)


def _span(first: Any, last: Any) -> str:
    try:
        begin, end = datetime.fromisoformat(first), datetime.fromisoformat(last)
    except (TypeError, ValueError):
        return "no times recorded"
    day = f"{begin.day} {begin:%B %Y}"
    if begin.date() == end.date():
        hours = sorted({f"{begin:%H:%M}", f"{end:%H:%M}"})
        return f"{day}, {' to '.join(hours)}"
    return f"{day} to {end.day} {end:%B %Y}"


def _headline(entries: Sequence[Entry]) -> list[tuple[str, str]]:
    """What ten seconds are enough for, worst first."""
    said = []
    for sign, words in (("reshoot", "to look after"), ("look", "to look at closer")):
        number = sum(entry.sign == sign for entry in entries)
        if number:
            said.append((sign, f"{many(number, 'card')} {words}"))
    whole = sum(entry.sign == "whole" for entry in entries)
    if whole:
        said.append(("whole", f"{many(whole, 'card')} whole"))
    coming = sum(entry.sign == "note" for entry in entries)
    if coming:
        said.append(("", f"{many(coming, 'card')} not grouped yet"))
    return said or [("", "no card in the inbox")]


def _moment(at: float) -> str:
    when = datetime.fromtimestamp(at).astimezone()
    return f"{when:%A} {when.day} {when:%B %Y}, {when:%H:%M}"
