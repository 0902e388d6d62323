"""What a set's findings come to: reshoot it, look closer, or it is whole. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from grouper.model import Finding
from grouper.write.text import worst


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
