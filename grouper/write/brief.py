"""The brief as a table for the terminal: a line per rule with sign and word. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from grouper.model import BriefLine, Set
from grouper.write.clean import shown
from grouper.write.verdict import many

if TYPE_CHECKING:
    from grouper.write.text import Style

_SIGNS = {True: "+ met", False: "x NOT met", None: "? not known"}
"""Signs that every terminal and encoding can show; colour only comes on top."""
_COLOURS = {True: "", False: "problem", None: "warning"}
_HEAD = ("brief", "rule", "asked", "found")


def brief_lines(one: Set, style: Style) -> Iterator[str]:
    """The brief's rules held against one set; nothing where no rule is about it."""
    if not one.brief:
        return
    rows = [_HEAD, *(_cells(line) for line in one.brief)]
    widths = [max(len(row[at]) for row in rows) for at in range(4)]
    # Two columns of indent, two between; what was found may be cut into lines of its own.
    left = 2 + sum(width + 2 for width in widths[:3])
    if style.width is not None and style.width - left < min(widths[3], _LEAST_FOUND):
        yield from _stacked(one.brief, style)
        return
    yield _row(_HEAD, widths, style, left)
    for cells, line in zip(rows[1:], one.brief, strict=True):
        yield style.paint(_row(cells, widths, style, left), _COLOURS[line.passed])


_LEAST_FOUND = 24
"""Columns for what was found below which a table is harder to read than a list."""


def _cells(line: BriefLine) -> tuple[str, str, str, str]:
    return _SIGNS[line.passed], shown(line.rule), shown(line.asked), shown(line.found)


def _row(cells: Sequence[str], widths: Sequence[int], style: Style, left: int) -> str:
    padded = "  ".join(cell.ljust(width) for cell, width in zip(cells[:3], widths, strict=False))
    # The cells' own blanks must survive the wrapping, so only the last one is wrapped.
    found = style.wrap(cells[3], " " * left)
    return "  " + padded + "  " + found.lstrip()


def _stacked(lines: Sequence[BriefLine], style: Style) -> Iterator[str]:
    for line in lines:
        sign, rule, asked, found = _cells(line)
        text = style.wrap(f"{sign}: {rule}, asked for {asked}, found {found}", "  ", "    ")
        yield style.paint(text, _COLOURS[line.passed])


def brief_in_short(sets: Sequence[Set]) -> str:
    """How many sets meet the brief, in one sentence; empty without a brief."""
    judged = [one for one in sets if one.brief]
    if not judged:
        return ""
    failed = sum(any(line.passed is False for line in one.brief) for one in judged)
    open_ = sum(
        any(line.passed is None for line in one.brief)
        and all(line.passed is not False for line in one.brief)
        for one in judged
    )
    met = len(judged) - failed - open_
    said = [f"{met} of {many(len(judged), 'set')} met"]
    said += [f"{failed} not met"] if failed else []
    said += [f"{open_} not known in every rule"] if open_ else []
    return f"The brief: {', '.join(said)}."
