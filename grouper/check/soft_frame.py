"""A frame is blurred where its fellows are sharp.

What it looks for
    The sharpness of each small picture against its fellows: the other legs and takes of its
    view, the other frames of a bracket, the frames just before and after in a burst or an
    interval series. Where a sweep has three views or more, what each leg usually loses is allowed
    for. In a row of four views or more each view is also compared with the views beside it, the
    first and the last with the two next to them: it must fall far below them and well below every
    other view of its row. Focus stacks are not judged.

Why it matters
    A shaken or misfocused frame shows as a soft patch, and spoils the merge of its bracket.

When it is wrong
    A small picture shows only gross blur: frames that pass may still be soft at full size.
    Moving water, clouds and panning change sharpness by themselves.

What to do
    Look at the frame at full size. Use the remote or the two-second timer; hang weight on the
    tripod in wind.

Settings
    check.soft_frame_share, check.soft_frame_below.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from grouper.check import words
from grouper.check.norm import median
from grouper.check.views import find_rows
from grouper.contracts import Problem, SetCheck
from grouper.model import Member, Set
from grouper.settings import Settings

_FELLOWS = 2
"""A frame of a burst or an interval series is compared with so many before and after: what such
a series shows changes as it goes on."""
_LEAST_VIEWS = 3
"""Fewer other views in a row do not show what is usual there (common practice, no source)."""
_FEATURELESS = 0.03
"""Spread of grey levels below which there is nothing to be sharp: plain sky or fog."""
_TOO_BARE = 0.4
"""Share of clipped and blocked picture beyond which sharpness means nothing (practice)."""


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem that names every soft frame."""
    if any(member.step for member in found.members):
        return
    soft = dict(_against_fellows(found, settings))
    for file, ratio in _against_views(found, settings):
        soft.setdefault(file, ratio)
    if not soft:
        return
    members = [member for member in found.members if member.frame.file in soft]
    told = words.listed([f"{m.frame.name} ({words.share(soft[m.frame.file])})" for m in members])
    yield Problem(
        frames=tuple(member.frame.file for member in members),
        message=(
            f"{told} {words.is_are(len(members))} blurred: that share of the sharpness of the "
            f"frames beside."
        ),
        advice=_advice(found, members),
        measured={"sharpness_share": {m.frame.file: round(soft[m.frame.file], 2) for m in members}},
    )


def _against_fellows(found: Set, settings: Settings) -> Iterator[tuple[str, float]]:
    """Frames far softer than others of the same view."""
    usual_loss = _loss_of_legs(found)
    for member, fellows in _fellows(found):
        own = _sharpness(member, usual_loss)
        others = [s for m in fellows if (s := _sharpness(m, usual_loss)) is not None]
        if own is None or not others:
            continue
        ratio = own / median(others)
        if ratio < settings.check.soft_frame_share:
            yield member.frame.file, ratio


def _against_views(found: Set, settings: Settings) -> Iterator[tuple[str, float]]:
    """Views far softer than the views beside them and softer than the whole row.

    Views differ in what they show; so a lone view must stand out from all of them.
    """
    if found.kind != "panorama":
        return
    usual_loss = _loss_of_legs(found)
    for row in find_rows(found):
        by_view = [
            (view, [s for m in view.members if (s := _sharpness(m, usual_loss)) is not None])
            for view in row
        ]
        known = [(view, median(values)) for view, values in by_view if values]
        for place, (view, own) in enumerate(known):
            others = [value for other, (_, value) in enumerate(known) if other != place]
            if len(others) < _LEAST_VIEWS or own >= settings.check.soft_frame_below * min(others):
                continue
            # At its end a row has no view on the other side: the two next to it count.
            first = min(max(place - 1, 0), len(known) - 3)
            beside = [known[other][1] for other in range(first, first + 3) if other != place]
            ratio = own / median(beside)
            if ratio < settings.check.soft_frame_share:
                yield from ((file, ratio) for file in view.files)


def _fellows(found: Set) -> Iterator[tuple[Member, list[Member]]]:
    by_view: dict[int, list[Member]] = defaultdict(list)
    for member in found.members:
        by_view[member.view].append(member)
    for place, member in enumerate(found.members):
        near = by_view[member.view]
        if found.kind in ("burst", "interval"):
            near = list(found.members[max(0, place - _FELLOWS) : place + _FELLOWS + 1])
        yield member, [other for other in near if other is not member]


def _sharpness(member: Member, usual_loss: dict[int, float]) -> float | None:
    glance = member.glance
    if glance is None or glance.sharpness <= 0.0 or glance.spread < _FEATURELESS:
        return None
    if glance.clipped_share + glance.blocked_share > _TOO_BARE:
        return None
    return glance.sharpness / usual_loss.get(member.leg, 1.0)


def _loss_of_legs(found: Set) -> dict[int, float]:
    """What each leg's sharpness usually is against its view's, over three views or more."""
    by_view: dict[int, list[Member]] = defaultdict(list)
    for member in found.members:
        if _sharpness(member, {}) is not None:
            by_view[member.view].append(member)
    shares: dict[int, list[float]] = defaultdict(list)
    for members in by_view.values():
        middle = median([_sharpness(member, {}) or 0.0 for member in members])
        for member in members:
            shares[member.leg].append((_sharpness(member, {}) or 0.0) / middle)
    return {leg: median(values) for leg, values in shares.items() if len(values) >= 3}


def _advice(found: Set, soft: list[Member]) -> str:
    used = {member.view for member in soft if not member.spare}
    spare = [m.frame.name for m in found.members if m.spare and m.view in used and m not in soft]
    if spare:
        return f"At the desk, look at both at full size and use {words.listed(spare)} instead."
    return (
        "On location, shoot the frame again with a remote or the timer; at the desk, look at it "
        "at full size before using it."
    )


CHECK = SetCheck(
    code="soft-frame",
    severity="warning",
    kinds=("panorama", "bracket", "burst", "interval"),
    find=find,
)
