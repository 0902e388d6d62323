"""Grouping: frames and what was seen of them become sets.

Strands (one per body) -> pairs of neighbours, looked at -> weighed evidence -> every kind of
set proposes stretches -> the best cut of the whole strand -> places within each set.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import replace

from grouper.contracts import Eye, Progress
from grouper.group import bracket, burst, focus_stack, interval, panorama, tries
from grouper.group.apart import attach_previews, find_dividers, split_previews
from grouper.group.build import build_sets, with_poles
from grouper.group.choose import Choice, Proposal, Rule, choose
from grouper.group.clocks import with_offsets
from grouper.group.crosscheck import cross_check
from grouper.group.evidence import Evidence, weigh
from grouper.group.interruptions import find_interruptions
from grouper.group.looking import look_at_neighbours
from grouper.group.names import by_start, set_id
from grouper.group.pairs import Pairs, gather_pairs
from grouper.group.poles import closing_frames
from grouper.group.stops import find_stops
from grouper.group.strands import Strand, build_strands
from grouper.group.takes import Built, link_takes
from grouper.model import (
    Body,
    Frame,
    Grouping,
    Scan,
    Set,
)
from grouper.settings import Settings

RULES: tuple[Rule, ...] = (
    panorama.RULE,
    bracket.RULE,
    focus_stack.RULE,
    burst.RULE,
    interval.RULE,
    tries.RULE,
)
"""The kinds of set, and what may be taken for one. The order does not matter: all proposals are
weighed together."""

TEMPER = 2.0
"""Pieces of evidence depend on one another, so their sum overstates: chances are taken from
half of it. What is left is set right by ``confidence``."""


def group_frames(
    scan: Scan, eye: Eye, settings: Settings, progress: Progress | None = None
) -> Grouping:
    """Group a card's frames into sets.

    Args:
        scan: what was read.
        eye: looks at the small pictures.
        settings: thresholds in force.
        progress: told how many frames have been grouped.

    Returns:
        Every frame in exactly one place: a set, the singles, the dividers or the previews.
    """
    ordinary, previews = split_previews(scan.frames)
    strands = build_strands(ordinary)
    sets: list[Set] = []
    singles: list[Frame] = []
    dividers: list[Frame] = []
    done = 0
    for strand in strands:
        found, left, blank = _group_strand(strand, eye)
        sets += found
        singles += left
        dividers += blank
        done += len(strand.frames)
        if progress is not None:
            progress("grouping", done, len(ordinary))
    named = _named(sets)
    return Grouping(
        bodies=with_offsets([_body(strand) for strand in strands], strands, named, eye),
        sets=named,
        singles=tuple(sorted(singles, key=lambda frame: frame.file)),
        dividers=tuple(sorted(dividers, key=lambda frame: frame.file)),
        previews=attach_previews(previews, named, settings.group.preview_within_s),
        order=tuple(tuple(frame.file for frame in strand.frames) for strand in strands),
        clock_steps=tuple(
            (strand.frames[i - 1].file, strand.frames[i].file, jump)
            for strand in strands
            for i, jump in strand.clock_steps
        ),
    )


def _body(strand: Strand) -> Body:
    return Body(
        id=strand.body,
        make=strand.make,
        model=strand.model,
        serial=strand.serial,
        frames=len(strand.frames),
    )


def _group_strand(strand: Strand, eye: Eye) -> tuple[list[Set], list[Frame], list[Frame]]:
    """Sets, singles and dividers of one body."""
    pairs = gather_pairs(strand)
    _look(pairs, eye)
    pairs = replace(pairs, glances=tuple(eye.glance(strand.frames)))
    blank = find_dividers(pairs)
    runs = find_interruptions(pairs, blank)
    if not runs:
        return _group_line(pairs, blank, eye)
    within = {i for run in runs for i in run}
    rest = pairs.only([i for i in range(len(pairs.frames)) if i not in within])
    _look(rest, eye)
    lines = [rest, *(pairs.only(run) for run in runs)]
    parts = [_group_line(line, find_dividers(line), eye) for line in lines]
    sets, singles, dividers = zip(*parts, strict=True)
    return [*itertools.chain(*sets)], [*itertools.chain(*singles)], [*itertools.chain(*dividers)]


def _look(pairs: Pairs, eye: Eye) -> None:
    """Fill the sightings of pairs, and hold those in doubt against the others."""
    look_at_neighbours(pairs, eye)
    cross_check(pairs)


def _group_line(
    pairs: Pairs, blank: frozenset[int], eye: Eye
) -> tuple[list[Set], list[Frame], list[Frame]]:
    """Sets, singles and dividers, which are ``blank``, of frames shot one after the other."""
    frames = pairs.frames
    evidence = weigh(pairs)
    stops = find_stops(evidence)
    chosen = [
        _explained(evidence, choice)
        for choice in choose(_proposals(evidence, blank), len(frames), TEMPER)
        if choice.proposal.kind != "tries"
    ]
    built: list[Built] = []
    taken: set[int] = set(blank)
    for choice in chosen:
        taken |= set(range(choice.proposal.first, choice.proposal.last + 1))
    for choice in chosen:
        sets = build_sets(pairs, stops, eye, choice, pairs.strand.body)
        poles = closing_frames(pairs, sets[-1].group.layout, sets[-1].first, sets[-1].last, taken)
        if poles:
            taken |= set(poles)
            sets[-1] = with_poles(pairs, sets[-1], poles)
        built += sets
    singles = [frame for i, frame in enumerate(frames) if i not in taken]
    return _with_takes(pairs, eye, built), singles, [frames[i] for i in sorted(blank)]


def _with_takes(pairs: Pairs, eye: Eye, built: Sequence[Built]) -> list[Set]:
    """The sets, with the first files of their other takes where ids will stand."""
    sets = [item.group for item in built]
    for chain in link_takes(pairs, eye, built):
        for i in chain:
            others = tuple(built[j].group.frames[0].file for j in chain if j != i)
            sets[i] = replace(sets[i], takes=others)
    return sets


def _proposals(evidence: Evidence, blank: frozenset[int]) -> Iterator[Proposal]:
    """What every kind proposes in every run between dividers."""
    first = 0
    for stop in (*sorted(blank), len(evidence.pairs.frames)):
        if stop - first >= 2:
            for rule in RULES:
                yield from rule.propose(evidence, first, stop - 1)
        first = stop + 1


def _explained(evidence: Evidence, choice: Choice) -> Choice:
    """The choice with what it rests on, where its rule is to be asked."""
    chosen = choice.proposal
    explain = next(rule.explain for rule in RULES if rule.kind == chosen.kind)
    if explain is None:
        return choice
    reasons = explain(evidence, chosen.first, chosen.last)
    return replace(choice, proposal=replace(chosen, evidence=reasons))


def _named(sets: Sequence[Set]) -> tuple[Set, ...]:
    """Sets in order of their start, with ids, takes knowing of each other."""
    ordered = sorted(sets, key=lambda group: by_start(group.frames))
    used: set[str] = set()
    ids = {group.frames[0].file: set_id(group.frames[0], used) for group in ordered}
    return tuple(
        replace(
            group,
            id=ids[group.frames[0].file],
            takes=tuple(ids[first] for first in group.takes),
        )
        for group in ordered
    )


__all__ = ["RULES", "group_frames"]
