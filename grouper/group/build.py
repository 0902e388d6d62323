"""A chosen stretch of a strand becomes a set: places, pointings, layout, links."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from grouper.contracts import Eye
from grouper.group.choose import Choice
from grouper.group.confidence import calibrated
from grouper.group.layout import build_layout, field_of_view_deg
from grouper.group.pairs import Pairs, changed_names
from grouper.group.solving import centred, solve_stretch
from grouper.group.stops import Stops
from grouper.group.takes import Built, follows_soon, second_take_starts
from grouper.group.views import members, place_panorama, place_still
from grouper.model import Frame, Link, Member, Pointing, PointingSource, Set, Solution


def build_sets(pairs: Pairs, stops: Stops, eye: Eye, choice: Choice, body: str) -> list[Built]:
    """Build the set of a chosen stretch, or its takes where it holds several goes at one thing.

    Looks at the pairs that solving asks for; what is seen is added to ``pairs``.
    """
    first, last = choice.proposal.first, choice.proposal.last
    if choice.proposal.kind != "panorama":
        return [Built(group=_still_set(pairs, choice, body), first=first, last=last)]
    return _panorama_sets(pairs, stops, eye, choice, body, first, last)


def _confidence(pairs: Pairs, choice: Choice) -> float:
    first, last = choice.proposal.first, choice.proposal.last
    seen = any(pairs.seen(i, i + 1) is not None for i in range(first, last))
    return calibrated(choice.chance, seen=seen)


def _still_set(pairs: Pairs, choice: Choice, body: str) -> Set:
    """A set of one view."""
    kind = choice.proposal.kind
    assert kind != "tries"  # these stay singles
    first, last = choice.proposal.first, choice.proposal.last
    frames = pairs.frames[first : last + 1]
    light, glances = pairs.light[first : last + 1], pairs.glances[first : last + 1]
    places = place_still(kind, frames, light, glances)
    return Set(
        id="",
        kind=kind,
        body=body,
        members=members(frames, places, light, [Pointing()] * len(frames), glances),
        confidence=_confidence(pairs, choice),
        evidence=choice.proposal.evidence,
        links=_links(pairs, first, [(i, i + 1) for i in range(len(frames) - 1)]),
    )


def _panorama_sets(
    pairs: Pairs, stops: Stops, eye: Eye, choice: Choice, body: str, first: int, last: int
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
        [False, *(not begins for begins in stops.begins[first:last].tolist())],
        field_of_view_deg(frames[0], solution),
        glances,
    )
    cut = second_take_starts(places)
    if cut is not None:
        takes = _panorama_sets(pairs, stops, eye, choice, body, first, first + cut - 1)
        others = _panorama_sets(pairs, stops, eye, choice, body, first + cut, last)
        again = follows_soon(pairs, first + cut - 1, first + cut)
        return [*takes, replace(others[0], again=again), *others[1:]]
    placed = members(frames, places, light, pointings, glances)
    beside = _links(pairs, first, _neighbours(placed, pairs, first))
    within = _links(pairs, first, _repeats(placed))
    found = Set(
        id="",
        kind="panorama",
        body=body,
        members=placed,
        confidence=_confidence(pairs, choice),
        evidence=choice.proposal.evidence,
        layout=build_layout(placed, solution, beside, _pointing_from(solution, pointings)),
        links=(*beside, *within),
    )
    return [Built(group=found, first=first, last=last)]


def with_poles(pairs: Pairs, built: Built, poles: Sequence[int]) -> Built:
    """Add to a full turn the frames that close its sphere, each a view and a row of its own.

    No picture tells which of them looks up, so they are counted after the ring, as shot.
    """
    views = max(member.view for member in built.group.members) + 1
    rows = max(member.row for member in built.group.members) + 1
    added = tuple(
        Member(frame=pairs.frames[i], row=rows + k, view=views + k, glance=pairs.glances[i])
        for k, i in enumerate(poles)
    )
    layout = built.group.layout
    assert layout is not None  # only a closed panorama has poles
    one = len(added) == 1
    closing = "1 frame follows that closes" if one else f"{len(added)} frames follow that close"
    group = replace(
        built.group,
        members=(*built.group.members, *added),
        layout=replace(layout, rows=layout.rows + len(added), views=layout.views + len(added)),
        evidence=(*built.group.evidence, f"{closing} the sphere"),
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
