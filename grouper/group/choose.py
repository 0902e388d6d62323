"""Choosing between ways to cut a strand into sets.

Every kind of set proposes stretches of the strand with a weight of evidence. The stretches
that fit together best are chosen for the whole strand at once (a semi-Markov chain: each frame
is a single or lies in exactly one stretch), and the same recursion gives the chance that a
chosen stretch is right, summed over every other way to cut. Rabiner 1989 describes the
recursions; Sarawagi and Cohen 2004 the semi-Markov form.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from grouper.group.evidence import Evidence
from grouper.model import SetKind

Reading = SetKind | Literal["tries"]
"""What frames that hang together are read as: a kind of set, or singles after all (see ``tries``),
which are only weighed against the sets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """Frames ``first`` to ``last`` (both included) of a strand as one set of a kind."""

    kind: Reading
    first: int
    last: int
    weight: float
    """Natural-log weight against the same frames being singles."""
    evidence: tuple[str, ...] = ()
    """What it rests on, in words, unless the rule is asked (see ``Rule.explain``)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A kind of set: ``propose(evidence, first, last)`` yields what the frames may be."""

    kind: Reading
    propose: Callable[[Evidence, int, int], Iterator[Proposal]]
    explain: Callable[[Evidence, int, int], tuple[str, ...]] | None = None
    """What a proposal rests on, in words; asked for the few that are chosen of the many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A chosen proposal and the chance that exactly this stretch is right."""

    proposal: Proposal
    chance: float


def choose(proposals: Iterable[Proposal], count: int, temper: float = 1.0) -> tuple[Choice, ...]:
    """Choose the best non-overlapping proposals on a strand of ``count`` frames.

    Args:
        proposals: any number, in any order.
        count: frames on the strand.
        temper: divides the weights in the chances (not in the choice): pieces of evidence
            that depend on one another add up to more than they are worth.

    Returns:
        The chosen proposals in order, each with its chance.
    """
    ending: dict[int, list[Proposal]] = defaultdict(list)
    starting: dict[int, list[Proposal]] = defaultdict(list)
    for proposal in proposals:
        ending[proposal.last + 1].append(proposal)
        starting[proposal.first].append(proposal)
    back = _best(ending, count)
    forward = _forward(ending, count, temper)
    backward = _backward(starting, count, temper)
    chosen: list[Choice] = []
    end = count
    while end > 0:
        taken = back[end]
        if taken is None:
            end -= 1
            continue
        log_chance = forward[taken.first] + taken.weight / temper + backward[end] - forward[count]
        chosen.append(Choice(proposal=taken, chance=min(1.0, math.exp(log_chance))))
        end = taken.first
    return tuple(reversed(chosen))


def _best(ending: dict[int, list[Proposal]], count: int) -> list[Proposal | None]:
    best = [0.0] * (count + 1)
    back: list[Proposal | None] = [None] * (count + 1)
    for end in range(1, count + 1):
        best[end] = best[end - 1]
        for proposal in ending.get(end, ()):
            weight = best[proposal.first] + proposal.weight
            if weight > best[end]:
                best[end], back[end] = weight, proposal
    return back


def _forward(ending: dict[int, list[Proposal]], count: int, temper: float) -> list[float]:
    total = [0.0] * (count + 1)
    for end in range(1, count + 1):
        terms = [total[end - 1]]
        terms += [total[p.first] + p.weight / temper for p in ending.get(end, ())]
        total[end] = _log_sum(terms)
    return total


def _backward(starting: dict[int, list[Proposal]], count: int, temper: float) -> list[float]:
    total = [0.0] * (count + 1)
    for first in range(count - 1, -1, -1):
        terms = [total[first + 1]]
        terms += [total[p.last + 1] + p.weight / temper for p in starting.get(first, ())]
        total[first] = _log_sum(terms)
    return total


def _log_sum(terms: Sequence[float]) -> float:
    most = max(terms)
    return most + math.log(sum(math.exp(term - most) for term in terms))
