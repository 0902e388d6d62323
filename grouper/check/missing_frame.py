"""A frame is missing from a sweep.

What it looks for
    Neighbours in a row that do not meet. By angle: a step much longer than the sweep's own
    steps that leaves too little overlap, or one that leaves none. By the pictures: two that
    show no common ground while all their neighbours do; in an even sweep, two whose best fit is
    most likely chance. By the file numbers, where angles are not known: numbers left out between
    two frames of the sweep that are not on the card. In an interval series: a pause of two
    intervals or more and, where positions are recorded and the camera travels, a way as long.

Why it matters
    Nothing at the desk fills the gap: the sweep falls apart into two pictures.

When it is wrong
    Featureless pictures (sky, fog, night) cannot be compared, so angles may be guesses. A
    number left out may be a frame that was deleted because it had been shot again; where angles
    are known and the neighbours meet, nothing is said. A sweep meant as two pictures is
    reported until it is split, and so is a series that was stopped and started again.

What to do
    Go back to the spot if you can and shoot the views between the two named frames again with
    the same settings, or the whole sweep if the light has changed. Look for the missing numbers
    on your other cards before anything is erased, and never format a card before a second copy
    exists. At a roadside, set the tripod up clear of the traffic; with a drone, mind the local
    rules before flying again.

Settings
    check.missing_frame_steps, check.missing_frame_overlap, check.covered_overlap,
    check.even_steps, check.trusted_sighting, check.rejected_sighting, check.rejected_score,
    check.missing_frame_intervals.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise

from grouper import optics
from grouper.check import words
from grouper.check.gaps import Pair, judge_neighbours
from grouper.check.norm import median
from grouper.check.views import find_views, members_in_use
from grouper.contracts import Problem, SetCheck
from grouper.model import Member, Set
from grouper.settings import Settings

_TRAVELS_M = 5.0
"""From one frame to the next; less may be the receiver's error (common practice, no source)."""

_AT_THE_DESK = (
    "at the desk, look for the missing frame on other cards and copies before anything is erased."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """One problem for each gap, at the pair of frames either side."""
    if found.kind == "interval":
        yield from _find_lost_intervals(found, settings)
        return
    for pair in judge_neighbours(found, settings.check):
        if pair.verdict == "gap" and not pair.is_seam:
            yield _problem(pair, found)


def _problem(pair: Pair, found: Set) -> Problem:
    first, second = (words.base_name(file) for file in pair.frames)
    missing = words.counted(pair.views_missing, "view")
    per_view = max(len(view.members) for view in find_views(found))
    if per_view > 1:
        missing += f" of {per_view} frames" + (" each" if pair.views_missing > 1 else "")
    is_are = words.is_are(pair.views_missing)
    if pair.evidence == "numbers":
        message = (
            f"The file numbers leave out a place between {first} and {second} inside the sweep: "
            f"{missing} {is_are} missing."
        )
    elif pair.evidence == "pictures":
        message = (
            f"{first} and {second} show no common ground although all other neighbours overlap: "
            f"most likely at least {missing} {is_are} missing between them."
        )
    else:
        message = f"{_gap(pair, first, second)}: {missing} {is_are} missing."
    look = "Look at the two frames first. " if pair.evidence == "pictures" else ""
    return Problem(
        frames=pair.frames,
        message=message,
        advice=(
            f"{look}On location, shoot the view between {first} and {second} again with the same "
            f"settings, or the whole sweep if the light has changed; {_AT_THE_DESK}"
        ),
        measured={
            "evidence": pair.evidence,
            "gap_deg": None if pair.step_deg is None else round(pair.step_deg, 1),
            "usual_deg": None
            if pair.usual_deg is None
            else [round(value, 1) for value in pair.usual_deg],
            "overlap_left": None if pair.overlap is None else round(pair.overlap, 3),
            "views_missing": pair.views_missing,
        },
    )


def _gap(pair: Pair, first: str, second: str) -> str:
    left = "no overlap" if not pair.overlap else f"{words.share(pair.overlap)} overlap"
    if pair.step_deg is None:
        return f"{first} and {second} have {left}"
    text = f"Gap of {words.degrees(pair.step_deg)} between {first} and {second} with {left} left"
    if pair.usual_deg is not None:
        usual = words.span(*(words.degrees(value) for value in pair.usual_deg))
        text += f", where the other steps are {usual}"
    return text


def _find_lost_intervals(found: Set, settings: Settings) -> Iterator[Problem]:
    members = [member for member in members_in_use(found) if member.frame.taken is not None]
    pauses = [_seconds(a, b) for a, b in pairwise(members)]
    if len(pauses) < 3:
        return
    usual = median(pauses)
    went_on = _way_test(members, settings.check.missing_frame_intervals)
    for (a, b), pause in zip(pairwise(members), pauses, strict=True):
        # Two time stamps in whole seconds may be off by one each.
        rounding = a.frame.taken_resolution_s + b.frame.taken_resolution_s
        is_long = pause - rounding >= settings.check.missing_frame_intervals * usual
        if usual > 0 and is_long and went_on(a, b):
            missing = max(1, round(pause / usual) - 1)
            yield Problem(
                frames=(a.frame.file, b.frame.file),
                message=(
                    f"{words.duration(pause)} lie between {a.frame.name} and {b.frame.name} in a "
                    f"series that runs every {words.duration(usual)}: "
                    f"{words.counted(missing, 'frame')} {words.is_are(missing)} missing."
                ),
                advice=(
                    "On location, check the timer, the buffer and the card, and start the series "
                    "again if the jump will show; at the desk, look for the frame on other "
                    "cards, else bridge the jump with a blend of its neighbours."
                ),
                measured={
                    "evidence": "time",
                    "gap_s": round(pause, 2),
                    "usual_s": round(usual, 2),
                    "frames_missing": missing,
                },
            )


def _way_test(members: Sequence[Member], least_steps: float) -> Callable[[Member, Member], bool]:
    """Whether a travelling camera went on between two frames as far as in so many steps.

    At the end of a survey's line it turns instead. True of all where it does not travel.
    """
    ways = [_moved_m(a, b) for a, b in pairwise(members)]
    known = [way for way in ways if way is not None]
    if len(known) < len(ways) or median(known) < _TRAVELS_M:
        return lambda a, b: True
    usual = median(known)
    return lambda a, b: (_moved_m(a, b) or 0.0) >= least_steps * usual


def _moved_m(a: Member, b: Member) -> float | None:
    one, other = a.frame, b.frame
    return optics.ground_distance_m(
        one.latitude_deg, one.longitude_deg, other.latitude_deg, other.longitude_deg
    )


def _seconds(a: Member, b: Member) -> float:
    assert a.frame.taken is not None
    assert b.frame.taken is not None
    return (b.frame.taken - a.frame.taken).total_seconds()


CHECK = SetCheck(
    code="missing-frame", severity="problem", kinds=("panorama", "interval"), find=find
)
