"""``report.html``: for people. One self-contained file, no network, no scripts. Pure.

The template escapes all foreign text; a content security policy forbids everything but the
page's own style sheet and pictures inside the page. It holds no time of making, so that the
same card gives the same bytes.
"""

from __future__ import annotations

import base64
import hashlib
from collections import Counter
from collections.abc import Iterator
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from grouper.contracts import Writer
from grouper.model import SEVERITIES, Finding, Result
from grouper.write.clean import shown
from grouper.write.drawing import card_drawing, exposure, set_drawing
from grouper.write.paths import set_folder
from grouper.write.plain import utf8
from grouper.write.text import CAUTION, all_findings, by_severity, counts, many, worst

if TYPE_CHECKING:
    from jinja2 import Template


def _render(result: Result, made: str) -> Iterator[tuple[str, bytes]]:
    style = _text("report.css")
    page = _template().render(
        style=style,
        policy=f"default-src 'none'; img-src data:; style-src 'sha256-{_hash(style)}'",
        root=result.scan.root,
        counts=list(counts(result)),
        numbers=_numbers(result),
        caution=CAUTION,
        card=card_drawing(result),
        findings=_findings(result),
        sets=[
            {
                "set": one,
                "drawing": set_drawing(one),
                "worst": worst(one.findings),
                "findings": by_severity(one.findings),
                "folder": set_folder(one),
            }
            for one in result.sets
        ],
        loose=_loose(result),
    )
    yield "report.html", utf8(page)


def _numbers(result: Result) -> list[tuple[str, int]]:
    number = Counter(finding.severity for finding in all_findings(result))
    return [(severity, number[severity]) for severity in SEVERITIES]


def _findings(result: Result) -> list[tuple[str | None, Finding]]:
    """(set id, finding), worst first, the card's own before those of sets."""
    found: list[tuple[str | None, Finding]] = [(None, finding) for finding in result.findings]
    found += [(one.id, finding) for one in result.sets for finding in one.findings]
    return sorted(found, key=lambda pair: SEVERITIES.index(pair[1].severity))


def _loose(result: Result) -> list[tuple[str, list[str]]]:
    """What is in no set, by kind."""
    grouping = result.grouping
    loose = [
        ("Singles", [frame.file for frame in grouping.singles]),
        ("Dividers", [frame.file for frame in grouping.dividers]),
        ("Previews", [f"{one.file} ({one.set_id or 'no set'})" for one in grouping.previews]),
        ("Unread files", [f"{one.file}: {one.reason} {one.detail}" for one in result.scan.unread]),
    ]
    return [(title, files) for title, files in loose if files]


def _hash(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def _text(name: str) -> str:
    return resources.files("grouper.write").joinpath(name).read_text("utf-8")


@cache
def _template() -> Template:
    from jinja2 import Environment, StrictUndefined  # late: --help needs no templates

    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    # What the page shows of foreign text is cleaned first and escaped after.
    environment.finalize = _clean
    environment.filters["many"] = many
    environment.filters["exposure"] = exposure
    return environment.from_string(_text("report.html"))


def _clean(value: Any) -> Any:
    """Plain strings with hidden characters made visible; trusted markup stays."""
    return shown(value) if type(value) is str else value


WRITER = Writer(name="report", summary="report.html, for people", render=_render)
