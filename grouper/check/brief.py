"""The brief held against a set: one line per rule that was given.

Frames that another frame replaces are not judged. What was not recorded neither meets nor
breaks a rule.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from typing import TypeVar

from grouper.check import words
from grouper.check.gaps import Pair, judge_neighbours
from grouper.check.views import find_views, frames_in_use
from grouper.model import BriefLine, Frame, Set
from grouper.settings import BriefSettings, Settings

T = TypeVar("T", bound=Hashable)


def judge_brief(found: Set, settings: Settings) -> tuple[BriefLine, ...]:
    """Every rule of the brief that is about sets of this kind, in the order of the rules."""
    brief = settings.brief
    if not brief.asks or found.kind not in brief.kinds:
        return ()
    lines = [rule(found, settings) for rule in _RULES]
    if found.kind == "panorama":
        lines += [rule(found, settings) for rule in _PANORAMA_RULES]
    lines += [_locked(found, brief, what) for what in brief.locked or ()]
    return tuple(line for line in lines if line is not None)


# --- Rules about every frame --------------------------------------------------------------


def _aperture(found: Set, settings: Settings) -> BriefLine | None:
    wanted = settings.brief.aperture_f
    if wanted is None:
        return None
    slack = settings.check.same_exposure_ev

    def good(value: float) -> bool:
        # Marks and exact values lie close together: f/11 may be recorded as 11.3.
        low, high = (2.0 * math.log2(value / limit) for limit in wanted)
        return low >= -slack and high <= slack

    return _each(
        found,
        "aperture",
        words.span(words.aperture(wanted[0]), words.aperture(wanted[1])),
        lambda frame: _positive(frame.aperture_f),
        words.aperture,
        good,
    )


def _iso(found: Set, settings: Settings) -> BriefLine | None:
    most = settings.brief.iso_most
    if most is None:
        return None
    slack = settings.check.same_exposure_ev
    return _each(
        found,
        "ISO",
        f"at most {words.iso(most)}",
        lambda frame: _positive(frame.iso),
        words.iso,
        lambda value: math.log2(value / most) <= slack,
    )


def _shutter(found: Set, settings: Settings) -> BriefLine | None:
    slowest = settings.brief.slowest_s
    if slowest is None:
        return None
    slack = settings.check.same_exposure_ev
    return _each(
        found,
        "shutter",
        f"{words.shutter(slowest)} or faster",
        lambda frame: _positive(frame.exposure_s),
        words.shutter,
        lambda value: math.log2(value / slowest) <= slack,
    )


def _focal_length(found: Set, settings: Settings) -> BriefLine | None:
    allowed = settings.brief.focal_mm
    if allowed is None:
        return None
    slack = settings.check.mixed_focal_length_share
    return _each(
        found,
        "focal length",
        _either(allowed),
        lambda frame: _positive(frame.focal_mm),
        words.millimetres,
        lambda value: any(abs(value - wanted) <= slack * wanted for wanted in allowed),
    )


def _either(allowed: Sequence[float]) -> str:
    """``24 mm``, ``16, 24 or 35 mm``."""
    *most, last = (words.millimetres(value) for value in allowed)
    if not most:
        return last
    return ", ".join(value.removesuffix(" mm") for value in most) + f" or {last}"


def _orientation(found: Set, settings: Settings) -> BriefLine | None:
    wanted = settings.brief.orientation
    if wanted is None:
        return None
    steep = settings.check.steep_pitch_deg
    # Tilted far up or down, a body cannot tell how it is held.
    steeply = {
        member.frame.file
        for member in found.members
        if member.pointing.pitch_deg is not None and abs(member.pointing.pitch_deg) > steep
    }
    frames = [frame for frame in frames_in_use(found) if frame.file not in steeply]
    return _judged(
        "orientation",
        wanted,
        [(frame.file, _held(frame)) for frame in frames],
        str,
        lambda held: held == wanted,
    )


def _held(frame: Frame) -> str | None:
    if frame.is_upright is None:
        return None
    return "upright" if frame.is_upright else "across"


_LOCKED: dict[str, tuple[str, str, Callable[[Frame], bool | None]]] = {
    "exposure": (
        "exposure lock",
        "manual exposure",
        lambda frame: None if frame.program is None else frame.program == "manual",
    ),
    "iso": (
        "ISO lock",
        "fixed ISO",
        lambda frame: None if frame.iso_auto is None else not frame.iso_auto,
    ),
    "white-balance": (
        "white balance lock",
        "fixed white balance",
        lambda frame: None if frame.white_balance is None else frame.white_balance == "manual",
    ),
    "focus": (
        "focus lock",
        "manual focus",
        lambda frame: None if frame.focus_auto is None else not frame.focus_auto,
    ),
}


def _locked(found: Set, brief: BriefSettings, what: str) -> BriefLine:
    rule, asked, read = _LOCKED[what]
    return _each(
        found,
        rule,
        asked,
        read,
        lambda locked: asked if locked else "automatic",
        lambda locked: locked,
    )


# --- Rules about the views ----------------------------------------------------------------


def _legs(found: Set, settings: Settings) -> BriefLine | None:
    wanted = settings.brief.legs
    if wanted is None:
        return None
    views = find_views(found)
    return _judged(
        "legs",
        f"{_range(wanted, 'leg')} a view",
        [(view.files, len({member.leg for member in view.members})) for view in views],
        lambda number: words.counted(number, "leg"),
        lambda number: wanted[0] <= number <= wanted[1],
    )


def _views(found: Set, settings: Settings) -> BriefLine | None:
    return _count("views", "view", len(find_views(found)), settings.brief.views)


def _rows(found: Set, settings: Settings) -> BriefLine | None:
    rows = len({view.row for view in find_views(found)})
    return _count("rows", "row", rows, settings.brief.rows)


def _count(rule: str, noun: str, number: int, wanted: tuple[int, int] | None) -> BriefLine | None:
    if wanted is None:
        return None
    return BriefLine(
        rule=rule,
        asked=_range(wanted, noun),
        found=words.counted(number, noun),
        passed=wanted[0] <= number <= wanted[1],
    )


def _overlap(found: Set, settings: Settings) -> BriefLine | None:
    least = settings.brief.overlap_least
    if least is None:
        return None
    pairs = judge_neighbours(found, settings.check)
    return _judged(
        "overlap",
        f"at least {words.share(least)}",
        [(pair.frames, _common(pair)) for pair in pairs],
        lambda value: words.share(value) if value > 0.0 else "none",
        lambda value: value >= least - _ROUNDING,
        at="between",
    )


_ROUNDING = 0.005
"""What reads as 25 % is 25 %: shares are told in whole hundredths."""


def _common(pair: Pair) -> float | None:
    return 0.0 if pair.verdict == "gap" else pair.overlap


def _span(found: Set, settings: Settings) -> BriefLine | None:
    least = settings.brief.span_deg_least
    if least is None:
        return None
    span = None if found.layout is None else found.layout.span_deg
    return BriefLine(
        rule="span",
        asked=f"at least {words.degrees(least)} across",
        found="not known" if span is None else f"{words.degrees(span[0])} across",
        # Angles are told in whole degrees.
        passed=None if span is None else span[0] >= least - 0.5,
    )


def _closed(found: Set, settings: Settings) -> BriefLine | None:
    wanted = settings.brief.closed
    if wanted is None:
        return None
    layout = found.layout
    known = layout is not None and layout.pointing_from != "assumed"
    closed = layout is not None and layout.closed
    said = {True: "a full turn", False: "an open sweep"}
    return BriefLine(
        rule="full turn",
        asked=said[wanted],
        found=said[closed] if known or closed else "not known",
        passed=closed == wanted if known or closed else None,
    )


_RULES = (_aperture, _iso, _shutter, _focal_length, _orientation, _legs)
_PANORAMA_RULES = (_views, _rows, _overlap, _span, _closed)


# --- From values to a line ----------------------------------------------------------------


def _each(
    found: Set,
    rule: str,
    asked: str,
    read: Callable[[Frame], T | None],
    show: Callable[[T], str],
    good: Callable[[T], bool],
) -> BriefLine:
    """A rule that every frame in use has to meet."""
    values = [(frame.file, read(frame)) for frame in frames_in_use(found)]
    return _judged(rule, asked, values, show, good)


def _judged(
    rule: str,
    asked: str,
    values: Sequence[tuple[str | tuple[str, ...], T | None]],
    show: Callable[[T], str],
    good: Callable[[T], bool],
    at: str = "in",
) -> BriefLine:
    """A rule held against the values of some frames: broken by any that is known and wrong.

    ``values`` are pairs of the file, or the files, and what was recorded there.
    """
    known = [(files, value) for files, value in values if value is not None]
    bad = [(files, value) for files, value in known if not good(value)]
    if bad:
        every = len(bad) == len(values)
        frames = tuple(dict.fromkeys(file for files, _ in bad for file in _files(files)))
        where = "" if every else f" {at} {words.names(frames)}"
        return BriefLine(
            rule=rule, asked=asked, found=_shown(bad, show) + where, passed=False, frames=frames
        )
    if not known:
        return BriefLine(rule=rule, asked=asked, found="not recorded", passed=None)
    unknown = len(values) - len(known)
    more = f", not recorded {unknown} of {len(values)} times" if unknown else ""
    return BriefLine(
        rule=rule, asked=asked, found=_shown(known, show) + more, passed=None if unknown else True
    )


def _files(files: str | tuple[str, ...]) -> tuple[str, ...]:
    return (files,) if isinstance(files, str) else files


def _shown(values: Sequence[tuple[object, T]], show: Callable[[T], str]) -> str:
    """The different values: numbers from the least to the most, words one by one."""
    different = {value for _, value in values}
    numbers = [value for value in different if isinstance(value, int | float)]
    if len(numbers) == len(different) and bool not in map(type, numbers):
        return words.span(show(min(numbers)), show(max(numbers)))
    return words.listed(sorted({show(value) for value in different}))


def _range(wanted: tuple[int, int], noun: str) -> str:
    if wanted[0] == wanted[1]:
        return words.counted(wanted[0], noun)
    return f"{wanted[0]} to {words.counted(wanted[1], noun)}"


def _positive(value: float | None) -> float | None:
    return value if value is not None and value > 0.0 else None
