"""Sets for the tests of the checks, built by a few lines of code.

Cameras, people and places are invented. Angles are those of a 24 mm lens held upright on
36 x 24 mm unless said otherwise: 53.13 by 73.74 degrees.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from grouper import optics
from grouper.check import find_all
from grouper.contracts import CardCheck, Problem, SetCheck
from grouper.model import (
    Body,
    Finding,
    Frame,
    Glance,
    Grouping,
    Layout,
    Link,
    Member,
    Pointing,
    Scan,
    Set,
    SetKind,
    Sighting,
    Unread,
)
from grouper.settings import CheckSettings, Settings
from tests.support import frame

FOV = (53.13, 73.74)
BODY = "quillmark-q5-5005001"


def glance(**changes: Any) -> Glance:
    """A well exposed, sharp picture."""
    base = Glance(
        mean=0.45,
        spread=0.2,
        clipped_share=0.0,
        blocked_share=0.0,
        sharpness=0.10,
        aspect=2 / 3,
    )
    return replace(base, **changes)


def sighting(overlap: float, **changes: Any) -> Sighting:
    """What a good comparison says: overlapping as told, or no common ground."""
    seen = overlap > 0.05
    base = Sighting(
        overlap=overlap if seen else 0.0,
        certainty=0.97 if seen else 0.03,
        score=0.9 if seen else 0.1,
        margin=2.0 if seen else 1.1,
    )
    return replace(base, **changes)


def sweep(
    views: int = 7,
    step_deg: float = 36.0,
    *,
    yaws_deg: Sequence[float] | None = None,
    pitches_deg: Sequence[float] = (0.0,),
    serpentine: bool = False,
    legs_ev: Sequence[float] = (0.0,),
    skipped: Iterable[int] = (),
    deleted: Iterable[int] = (),
    lost: Iterable[int] = (),
    angles: bool = True,
    pictures: bool = True,
    pause_s: float = 5.0,
    first: int = 417,
    fov_deg: tuple[float, float] = FOV,
    closed: bool = False,
    odd: dict[int, dict[str, Any]] | None = None,
    layout: dict[str, Any] | None = None,
    **changes: Any,
) -> Set:
    """A panorama: rows of views, each with its legs, shot view by view.

    Views are counted in shooting order over all rows. ``skipped`` views were never fired;
    ``deleted`` ones were (their numbers are used up) but are not in the set; ``lost`` are
    single shots, counted over all that were fired, that are not in the set. ``odd`` changes
    frames by their place among those left; ``changes`` changes them all.
    """
    row_yaws = list(yaws_deg) if yaws_deg is not None else [i * step_deg for i in range(views)]
    middle = (max(row_yaws) + min(row_yaws)) / 2
    spots = []
    for row, pitch in enumerate(pitches_deg):
        ordered = sorted(row_yaws, reverse=serpentine and row % 2 == 1)
        spots.extend((row, pitch, yaw - middle) for yaw in ordered)
    shots, number, clock = [], first, 0.0
    for place, (row, pitch, yaw) in enumerate(spots):
        if place in set(skipped):
            clock += pause_s
            continue
        for leg, ev in enumerate(legs_ev):
            shots.append((place, row, pitch, yaw, leg, ev, number, clock))
            number = optics.next_counter(number)
            clock += 0.3 if leg + 1 < len(legs_ev) else pause_s
    gone, dropped = set(deleted), set(lost)
    left = [s for i, s in enumerate(shots) if s[0] not in gone and i not in dropped]
    places = sorted({(s[1], s[3]) for s in left})
    members = []
    for i, (_, row, pitch, yaw, leg, ev, number, clock) in enumerate(left):
        own = {"exposure_s": 2.0**ev / 64, **changes, **(odd or {}).get(i, {})}
        members.append(
            Member(
                frame=frame(number, clock, **own),
                row=row,
                view=places.index((row, yaw)),
                leg=leg,
                ev_offset=ev,
                pointing=Pointing(yaw_deg=yaw, pitch_deg=pitch, roll_deg=0.0)
                if angles
                else Pointing(),
                glance=glance(),
            )
        )
    plan = Layout(
        rows=len(pitches_deg),
        views=len(places),
        legs=len(legs_ev),
        steps=1,
        closed=closed,
        direction="right",
        span_deg=(
            min(360.0, max(row_yaws) - min(row_yaws) + fov_deg[0]),
            max(pitches_deg) - min(pitches_deg) + fov_deg[1],
        ),
        fov_deg=fov_deg,
        overlap_min=None,
        overlap_median=None,
        base_tilt_deg=None,
        camera_roll_deg=None,
        crop_loss=None,
        projection="cylindrical",
        size_px=None,
        pointing_from="pictures" if angles else "assumed",
    )
    found = make_set("panorama", members, layout=replace(plan, **(layout or {})))
    return replace(found, links=_links(found, fov_deg[0])) if pictures else found


def _links(found: Set, width: float) -> tuple[Link, ...]:
    firsts: dict[int, Member] = {}
    for member in found.members:
        firsts.setdefault(member.view, member)
    links = []
    for view in sorted(firsts):
        a, b = firsts[view], firsts.get(view + 1)
        if b is None or a.row != b.row or a.pointing.yaw_deg is None:
            continue
        step = (b.pointing.yaw_deg or 0.0) - a.pointing.yaw_deg
        seen = sighting(optics.overlap_angular(step, width), turn_deg=(0.0, step, 0.0))
        links.append(Link(a=a.frame.file, b=b.frame.file, sighting=seen))
    return tuple(links)


def blind(found: Set, *pairs: int) -> Set:
    """The sweep without angles; the pictures of these pairs (by place) do not match."""
    links = tuple(
        replace(link, sighting=sighting(0.0 if place in pairs else 0.33))
        for place, link in enumerate(found.links)
    )
    members = tuple(replace(member, pointing=Pointing()) for member in found.members)
    assert found.layout is not None
    layout = replace(found.layout, pointing_from="assumed")
    return replace(found, members=members, links=links, layout=layout)


def seen(found: Set, overlap: float) -> Set:
    """The set with every link's pictures overlapping by this much."""
    links = tuple(replace(link, sighting=sighting(overlap)) for link in found.links)
    return replace(found, links=links)


def unmatched(found: Set, pair: int, score: float = 0.2, **changes: Any) -> Set:
    """The set whose pictures of one pair of neighbours do not match."""
    links = tuple(
        replace(link, sighting=sighting(0.0, score=score, **changes)) if place == pair else link
        for place, link in enumerate(found.links)
    )
    return replace(found, links=links)


def rolled(found: Set, roll_deg: float) -> Set:
    """The set with the camera rolled."""
    assert found.layout is not None
    return replace(found, layout=replace(found.layout, camera_roll_deg=roll_deg))


def steps(found: Set) -> Set:
    """The set with its legs made focus steps."""
    members = tuple(replace(member, step=member.leg, leg=0) for member in found.members)
    return replace(found, members=members)


def scored(found: Set, score: float) -> Set:
    """The set with every link's pictures agreeing to this score."""
    links = tuple(replace(link, sighting=sighting(0.33, score=score)) for link in found.links)
    return replace(found, links=links)


def within(found: Set, scores: Sequence[float]) -> Set:
    """The set with links between frames of one view that follow each other, so scored."""
    pairs = [(a.frame.file, b.frame.file) for a, b in pairwise(found.members) if a.view == b.view]
    links = tuple(
        Link(a=a, b=b, sighting=sighting(0.98, score=score))
        for (a, b), score in zip(pairs, scores, strict=True)
    )
    return replace(found, links=found.links + links)


def unclosed(found: Set) -> Set:
    """The full turn whose first and last pictures show no common ground."""
    first, last = found.members[0].frame.file, found.members[-1].frame.file
    return replace(found, links=(*found.links, Link(a=first, b=last, sighting=sighting(0.0))))


def drifting(found: Set, step_deg: float) -> Set:
    """The row climbing by this much from frame to frame."""
    return replace(
        found,
        members=tuple(
            replace(member, pointing=replace(member.pointing, pitch_deg=place * step_deg))
            for place, member in enumerate(found.members)
        ),
    )


def bricks(views: int) -> Set:
    """Two rows of which the upper one stands half a step to the right."""
    found = sweep(views, pitches_deg=(0.0, 30.0))
    return replace(
        found,
        members=tuple(
            replace(
                member,
                pointing=replace(
                    member.pointing, yaw_deg=(member.pointing.yaw_deg or 0.0) + 18.0 * member.row
                ),
            )
            for member in found.members
        ),
    )


def halves(found: Set, pair: int) -> Set:
    """The sweep with no common ground at this pair and no angles beyond it."""
    links = tuple(
        replace(link, sighting=sighting(0.0)) if place == pair else link
        for place, link in enumerate(found.links)
    )
    members = tuple(
        replace(member, pointing=Pointing()) if place > pair else member
        for place, member in enumerate(found.members)
    )
    return replace(found, members=members, links=links)


def tangled(found: Set) -> Set:
    """The sweep with its third view a hair to the left of the second."""
    second = found.members[1].pointing.yaw_deg or 0.0
    return regard(found, [2], pointing=Pointing(yaw_deg=second - 0.4, pitch_deg=0.0))


def detailed(found: Set, *sharpness: float) -> Set:
    """The set with these sharpnesses of its pictures."""
    return replace(
        found,
        members=tuple(
            replace(member, glance=glance(sharpness=value))
            for member, value in zip(found.members, sharpness, strict=True)
        ),
    )


def renumbered(found: Set, place: int, view: int) -> Set:
    """The sweep with one view numbered as if it came later; the others close up."""
    order = [member.view for member in found.members]
    moved = order.pop(place)
    order.insert(view, moved)
    members = tuple(replace(m, view=order.index(m.view)) for m in found.members)
    return replace(found, members=members)


def column(views: int = 5, step_deg: float = 40.0, *, deleted: Iterable[int] = ()) -> Set:
    """An up-and-down sweep: rows of one view each."""
    pitches = [step_deg * (i - (views - 1) / 2) for i in range(views)]
    return sweep(1, pitches_deg=pitches, deleted=deleted, layout={"direction": "up"})


def make_set(kind: SetKind, members: Sequence[Member], **changes: Any) -> Set:
    """A set of these members."""
    base = Set(
        id=f"20260314-091412-qmk{members[0].frame.counter or 0:04d}",
        kind=kind,
        body=BODY,
        members=tuple(members),
        confidence=0.97,
    )
    return replace(base, **changes)


def bracket(
    ev: Sequence[float] = (0.0, -2.0, 2.0),
    *,
    first: int = 417,
    lost: Iterable[int] = (),
    **changes: Any,
) -> Set:
    """A bracket on one spot, its exposures in firing order; ``lost`` ones are gone."""
    return make_set("bracket", _series(len(ev), 0.3, first, lost, ev, **changes))


def stack(
    focus_m: Sequence[float | None], *, first: int = 417, lost: Iterable[int] = (), **changes: Any
) -> Set:
    """A focus stack on one spot, near to far."""
    members = _series(len(focus_m), 0.5, first, (), (), **changes)
    members = [
        replace(member, step=step, frame=replace(member.frame, focus_m=distance))
        for step, (member, distance) in enumerate(zip(members, focus_m, strict=True))
    ]
    gone = set(lost)
    return make_set("focus-stack", [m for i, m in enumerate(members) if i not in gone])


def interval(
    frames: int = 10, every_s: float = 10.0, *, lost: Iterable[int] = (), **changes: Any
) -> Set:
    """An interval series; ``lost`` frames are gone."""
    return make_set("interval", _series(frames, every_s, 417, lost, (), **changes))


def burst(frames: int = 6, **changes: Any) -> Set:
    """A burst on one spot."""
    return make_set("burst", _series(frames, 0.1, 417, (), (), **changes))


def _series(
    count: int,
    pause_s: float,
    first: int,
    lost: Iterable[int],
    ev: Sequence[float],
    *,
    odd: dict[int, dict[str, Any]] | None = None,
    **changes: Any,
) -> list[Member]:
    gone = set(lost)
    rank = sorted(range(len(ev)), key=ev.__getitem__)
    left = [index for index in range(count) if index not in gone]
    members = []
    for place, index in enumerate(left):
        own = {**changes, **(odd or {}).get(place, {})}
        if ev:
            own = {"exposure_s": 2.0 ** ev[index] / 64, **own}
        kept = [leg for leg in rank if leg not in gone]
        members.append(
            Member(
                frame=frame(first + index, index * pause_s, **own),
                leg=kept.index(index) if ev else 0,
                ev_offset=ev[index] if ev else 0.0,
                glance=glance(),
            )
        )
    return members


def change(found: Set, places: Iterable[int], **changes: Any) -> Set:
    """The set with some members' frames changed, by their place in it."""
    chosen = set(places)
    return replace(
        found,
        members=tuple(
            replace(member, frame=replace(member.frame, **changes)) if i in chosen else member
            for i, member in enumerate(found.members)
        ),
    )


def regard(found: Set, places: Iterable[int], **changes: Any) -> Set:
    """The set with some members themselves changed (pointing, glance, spare ...)."""
    chosen = set(places)
    return replace(
        found,
        members=tuple(
            replace(member, **changes) if i in chosen else member
            for i, member in enumerate(found.members)
        ),
    )


def names(found: Iterable[str]) -> list[str]:
    """File names as the messages give them, without folder and suffix."""
    return [file.rsplit("/", 1)[-1].split(".")[0] for file in found]


def check_settings(**changes: Any) -> Settings:
    """Settings with some thresholds of the checks changed."""
    return Settings(check=replace(CheckSettings(), **changes))


def ask(check: SetCheck, found: Set, **changes: Any) -> list[Problem]:
    """What a check says of a set; nothing if the check is not for its kind."""
    if found.kind not in check.kinds:
        return []
    return list(check.find(found, check_settings(**changes)))


def card(
    *sets: Set,
    singles: Sequence[Frame] = (),
    unread: Sequence[Unread] = (),
    ignored: Sequence[str] = (),
    order: Sequence[Sequence[str]] | None = None,
    bodies: Sequence[Body] = (),
    **changes: Any,
) -> tuple[Scan, Grouping]:
    """A card with these sets and singles, one body unless said otherwise."""
    frames = [f for found in sets for f in found.frames] + list(singles)
    by_time = sorted(frames, key=lambda f: (f.taken is None, f.taken or 0, f.counter or 0))
    scan = Scan(
        root="/cards/tavrin",
        cards=("/cards/tavrin",),
        frames=tuple(sorted(frames, key=lambda f: f.file)),
        unread=tuple(unread),
        ignored=tuple(ignored),
    )
    grouping = Grouping(
        bodies=tuple(bodies)
        or (Body(id=BODY, make="Quillmark", model="Q5", serial="5005001", frames=len(frames)),),
        sets=tuple(sets),
        singles=tuple(singles),
        order=tuple(tuple(files) for files in order)
        if order is not None
        else (tuple(f.file for f in by_time),),
        **changes,
    )
    return scan, grouping


def ask_card(check: CardCheck, on: tuple[Scan, Grouping], **changes: Any) -> list[Problem]:
    """What a check says of a card."""
    return list(check.find(*on, check_settings(**changes)))


def findings(
    *sets: Set, settings: Settings | None = None, **about: Any
) -> tuple[list[Finding], list[Finding]]:
    """All findings of a card with these sets: those in the sets, those of the card."""
    scan, grouping = card(*sets, **about)
    checked, on_card = find_all(scan, grouping, settings or Settings())
    return [finding for found in checked.sets for finding in found.findings], list(on_card)
