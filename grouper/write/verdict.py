"""What a set's findings come to: reshoot it, look closer, or it is whole. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from grouper.model import SEVERITIES, Finding, Result, Set, Severity


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One of three; ``key`` names its sign and colour on the page."""

    key: str
    word: str
    rank: int


RESHOOT = Verdict(key="reshoot", word="reshoot", rank=0)
LOOK = Verdict(key="look", word="look closer", rank=1)
WHOLE = Verdict(key="whole", word="whole", rank=2)
VERDICTS = (RESHOOT, LOOK, WHOLE)
"""Worst first."""


def verdict_of(findings: Iterable[Finding]) -> Verdict:
    """A problem means reshoot, a warning look closer; notes leave a set whole."""
    return {"problem": RESHOOT, "warning": LOOK}.get(worst(findings) or "", WHOLE)


def worst(findings: Iterable[Finding]) -> Severity | None:
    """The worst severity among findings; ``None`` where there are none."""
    found = {finding.severity for finding in findings}
    return next((severity for severity in SEVERITIES if severity in found), None)


def headline(result: Result) -> Sequence[tuple[str, str]]:
    """What ten seconds are enough for: (key of a sign or nothing, words), worst first."""
    verdicts = [verdict_of(one.findings) for one in result.sets]
    reshoot, look, whole = (verdicts.count(verdict) for verdict in VERDICTS)
    said: list[tuple[str, str]] = []
    if worst(result.findings) == "problem":
        said.append(("reshoot", "trouble with the card itself"))
    if not verdicts:
        return [*said, ("", "no set on this card")]
    if reshoot:
        said.append(("reshoot", f"{many(reshoot, 'set')} to reshoot"))
    if look:
        said.append(("look", f"{many(look, 'set')} to look at closer"))
    if reshoot or look:
        return [*said, ("whole", f"{many(whole, 'set')} whole") if whole else ("", "none whole")]
    words = "the one set is whole" if whole == 1 else f"all {whole} sets are whole"
    return [*said, ("whole", words)]


def many(number: int, word: str) -> str:
    """Such as ``1 frame`` or ``3 frames``."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def unplaced_views(one: Set) -> int:
    """How many views of a panorama have no place: beyond a gap that no picture bridges.

    Frames that close the sphere of a full turn have none by nature and are not counted.
    """
    layout = one.layout
    if layout is None or layout.closed or layout.pointing_from == "assumed":
        return 0
    placed = {member.view for member in one.members if member.pointing.yaw_deg is not None}
    return len({member.view for member in one.members} - placed) if placed else 0


def sure_percent(confidence: float) -> int:
    """A confidence as people read it: never 100, nothing is certain before somebody looks."""
    return min(99, round(100 * confidence))
