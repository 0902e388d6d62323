"""Grouping: frames and what was seen of them become sets.

Strands (one per body) -> pairs of neighbours, looked at -> weighed evidence -> every kind of
set proposes stretches -> the best cut of the whole strand -> places within each set.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from grouper.contracts import Eye, Progress
from grouper.group import bracket, burst, focus_stack, interval, panorama
from grouper.group.apart import attach_previews, find_dividers, split_previews
from grouper.group.choose import Choice, Proposal, Rule, choose
from grouper.group.evidence import Evidence, weigh
from grouper.group.layout import build_layout, field_of_view_deg
from grouper.group.looking import is_sure, look_at_neighbours
from grouper.group.names import by_start, set_id
from grouper.group.pairs import Pairs, changed_names, gather_pairs
from grouper.group.poles import closing_frames
from grouper.group.solving import centred, solve_stretch
from grouper.group.strands import Strand, build_strands
from grouper.group.takes import Built, link_takes, second_take_starts
from grouper.group.views import members, place_panorama, place_still
from grouper.model import (
    Body,
    Frame,
    Grouping,
    Link,
    Member,
    Pointing,
    PointingSource,
    Scan,
    Set,
    Solution,
)
from grouper.settings import Settings

RULES: tuple[Rule, ...] = (
    panorama.RULE,
    bracket.RULE,
    focus_stack.RULE,
    burst.RULE,
    interval.RULE,
)
"""The kinds of set. The order does not matter: all proposals are weighed together."""

TEMPER = 2.0
"""Pieces of evidence depend on one another, so their sum overstates: chances are taken from
half of it (replaced by a measured value once confidences are calibrated)."""


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
        found, left, blank = _group_strand(strand, eye, settings)
        sets += found
        singles += left
        dividers += blank
        done += len(strand.frames)
        if progress is not None:
            progress("grouping", done, len(ordinary))
    named = _named(sets)
    return Grouping(
        bodies=tuple(_body(strand) for strand in strands),
        sets=named,
        singles=tuple(sorted(singles, key=lambda frame: frame.file)),
        dividers=tuple(sorted(dividers, key=lambda frame: frame.file)),
        previews=attach_previews(previews, named),
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


def _group_strand(
    strand: Strand, eye: Eye, settings: Settings
) -> tuple[list[Set], list[Frame], list[Frame]]:
    """Sets, singles and dividers of one body."""
    pairs = replace(gather_pairs(strand), glances=tuple(eye.glance(strand.frames)))
    look_at_neighbours(pairs, eye)
    blank = find_dividers(pairs)
    evidence = weigh(pairs)
    chosen = choose(_proposals(evidence, blank), len(strand.frames), TEMPER)
    built: list[Built] = []
    taken: set[int] = set(blank)
    for choice in chosen:
        taken |= set(range(choice.proposal.first, choice.proposal.last + 1))
    for choice in chosen:
        sets = _build(pairs, eye, choice, strand.body)
        poles = closing_frames(pairs, sets[-1].group.layout, sets[-1].first, sets[-1].last, taken)
        if poles:
            taken |= set(poles)
            sets[-1] = _with_poles(pairs, sets[-1], poles)
        built += sets
    singles = [frame for i, frame in enumerate(strand.frames) if i not in taken]
    return _with_takes(pairs, eye, built), singles, [strand.frames[i] for i in sorted(blank)]


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


def _build(pairs: Pairs, eye: Eye, choice: Choice, body: str) -> list[Built]:
    first, last = choice.proposal.first, choice.proposal.last
    if choice.proposal.kind != "panorama":
        return [Built(group=_still_set(pairs, choice, body), first=first, last=last)]
    return _panorama_sets(pairs, eye, choice, body, first, last)


def _still_set(pairs: Pairs, choice: Choice, body: str) -> Set:
    """A set of one view."""
    first, last = choice.proposal.first, choice.proposal.last
    frames = pairs.frames[first : last + 1]
    light, glances = pairs.light[first : last + 1], pairs.glances[first : last + 1]
    places = place_still(choice.proposal.kind, frames, light, glances)
    return Set(
        id="",
        kind=choice.proposal.kind,
        body=body,
        members=members(frames, places, light, [Pointing()] * len(frames), glances),
        confidence=choice.chance,
        evidence=choice.proposal.evidence,
        links=_links(pairs, first, [(i, i + 1) for i in range(len(frames) - 1)]),
    )


def _panorama_sets(
    pairs: Pairs, eye: Eye, choice: Choice, body: str, first: int, last: int
) -> list[Built]:
    """A panorama, or its takes where the stretch holds several complete goes."""
    frames = pairs.frames[first : last + 1]
    light, glances = pairs.light[first : last + 1], pairs.glances[first : last + 1]
    solution = solve_stretch(pairs, eye, first, last)
    pointings = centred(solution) if solution else _recorded(frames)
    places = place_panorama(
        frames,
        light,
        pointings,
        _same_as_last(pairs, first, last),
        field_of_view_deg(frames[0]),
        glances,
    )
    cut = second_take_starts(places)
    if cut is not None:
        takes = _panorama_sets(pairs, eye, choice, body, first, first + cut - 1)
        return takes + _panorama_sets(pairs, eye, choice, body, first + cut, last)
    placed = members(frames, places, light, pointings, glances)
    beside = _links(pairs, first, _neighbours(placed, pairs, first))
    within = _links(pairs, first, _repeats(placed))
    found = Set(
        id="",
        kind="panorama",
        body=body,
        members=placed,
        confidence=choice.chance,
        evidence=choice.proposal.evidence,
        layout=build_layout(placed, solution, beside, _pointing_from(solution, pointings)),
        links=(*beside, *within),
    )
    return [Built(group=found, first=first, last=last)]


def _with_poles(pairs: Pairs, built: Built, poles: Sequence[int]) -> Built:
    """A full turn with the frames that close its sphere, each a view of its own."""
    views = max(member.view for member in built.group.members) + 1
    added = tuple(
        Member(frame=pairs.frames[i], view=views + k, glance=pairs.glances[i])
        for k, i in enumerate(poles)
    )
    layout = built.group.layout
    assert layout is not None  # only a closed panorama has poles
    group = replace(
        built.group,
        members=(*built.group.members, *added),
        layout=replace(layout, views=layout.views + len(added)),
        evidence=(*built.group.evidence, f"{len(added)} frames follow that close the sphere"),
    )
    return Built(group=group, first=built.first, last=poles[-1])


def _recorded(frames: Sequence[Frame]) -> tuple[Pointing, ...]:
    """Pointings as far as the body recorded them."""
    return tuple(
        Pointing()
        if frame.attitude is None
        else Pointing(
            yaw_deg=frame.attitude.yaw_deg,
            pitch_deg=frame.attitude.pitch_deg,
            roll_deg=frame.attitude.roll_deg,
        )
        for frame in frames
    )


def _pointing_from(solution: Solution | None, pointings: Sequence[Pointing]) -> PointingSource:
    if solution is not None:
        return "pictures"
    return "metadata" if any(p.yaw_deg is not None for p in pointings) else "assumed"


def _same_as_last(pairs: Pairs, first: int, last: int) -> list[bool]:
    """Whether each frame looks where the one before looked; exposure tells where pictures don't."""
    evidence = weigh_same(pairs, first, last)
    return [False, *evidence]


def weigh_same(pairs: Pairs, first: int, last: int) -> list[bool]:
    """For each pair of the stretch, whether both frames look at one view."""
    from grouper.group.evidence import SAME_VIEW_SHARE

    same = []
    levels: list[float] = [float(pairs.light[first])]
    for i in range(first, last):
        sighting = pairs.seen(i, i + 1)
        light = float(pairs.light[i + 1])
        repeated = any(abs(light - level) <= 0.17 for level in levels) or not np.isfinite(light)
        if sighting is not None:
            still = np.hypot(*sighting.shift_share) < SAME_VIEW_SHARE
            same.append(bool(is_sure(sighting) and still))
        else:
            same.append(not repeated)
        levels = [*levels, light] if same[-1] else [light]
    return same


def _neighbours(placed: Sequence[Member], pairs: Pairs, first: int) -> list[tuple[int, int]]:
    """Pairs of frames (by index in the set) that stand side by side in the layout."""
    by_view: dict[tuple[int, int], list[int]] = defaultdict(list)
    for i, member in enumerate(placed):
        if not member.spare:
            by_view[member.row, member.view].append(i)
    order = sorted(by_view)
    wanted: list[tuple[int, int]] = []
    for a, b in itertools.pairwise(order):
        if a[0] != b[0]:
            continue
        ends = [
            (min(i, j), max(i, j))
            for i in by_view[a]
            for j in by_view[b]
            if placed[i].leg == placed[j].leg and placed[i].step == placed[j].step
        ] or [(min(by_view[a][0], by_view[b][0]), max(by_view[a][0], by_view[b][0]))]
        known = [p for p in ends if pairs.seen(first + p[0], first + p[1]) is not None]
        wanted += known[:1] or ends[:1]
    return wanted


def _repeats(placed: Sequence[Member]) -> list[tuple[int, int]]:
    """Pairs of frames, one after the other, of one view."""
    return [
        (i, i + 1)
        for i, (a, b) in enumerate(itertools.pairwise(placed))
        if a.view == b.view and not (a.spare or b.spare)
    ]


def _links(pairs: Pairs, first: int, wanted: Sequence[tuple[int, int]]) -> tuple[Link, ...]:
    links = []
    for i, j in wanted:
        a, b = pairs.frames[first + i], pairs.frames[first + j]
        pause = float(pairs.pause_s[first + i]) if j == i + 1 else float("nan")
        links.append(
            Link(
                a=a.file,
                b=b.file,
                pause_s=round(pause, 3) if np.isfinite(pause) else None,
                changed=changed_names(a, b),
                sighting=pairs.seen(first + i, first + j),
            )
        )
    return tuple(links)


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
