"""File numbers are missing between sets.

What it looks for
    Numbers left out between two frames of one body that are not both in the same set, and that
    no other file of the card bears. A gap beside a set says so, as the set's first or last
    frames may be among the missing; so does one beside what was shot amid a set. Many gaps
    outside sets are summed up. Holes inside a set are missing-frame.

Why it matters
    A sweep that lost its last frame looks complete: only the number tells.

When it is wrong
    Deleting rejects in the camera leaves such gaps, and so does a second card in use at the
    same time. Nothing is said of bodies whose files were renamed, nor of very long gaps.

What to do
    Look at both ends of the set named. If its view is cut short, look for the missing numbers
    on the other card before anything is erased.

Settings
    check.number_gap_most: longer gaps are taken for another card; check.number_gap_each: more
    gaps than this outside sets are summed up.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from grouper.check import words
from grouper.check.card_numbers import (
    CardNumbers,
    frames_by_file,
    number_of,
    read_card_numbers,
)
from grouper.check.gaps import skipped_numbers, step_in_numbers
from grouper.contracts import CardCheck, Problem
from grouper.model import Frame, Grouping, Scan, Set
from grouper.settings import Settings

_ADVICE_BESIDE = (
    "On location, check that the set begins and ends where you meant it to; at the desk, look for "
    "the missing numbers on other cards before anything is erased."
)
_ADVICE = (
    "Nothing to do if they were deleted; otherwise look for the missing numbers on other cards "
    "before anything is erased."
)


_NAMED = 6
"""Gaps told in the sentence; ``measured`` holds them all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Gap:
    before: Frame
    after: Frame
    lost: tuple[int, ...]


def find(scan: Scan, grouping: Grouping, settings: Settings) -> Iterator[Problem]:
    """One problem for each gap; where a body has many outside sets, one for all of those."""
    numbers = read_card_numbers(scan)
    frames = frames_by_file(scan.frames)
    set_of = {frame.file: found for found in grouping.sets for frame in found.frames}
    for files in grouping.order:
        own = [frames[file] for file in files if file in frames]
        ends = _ends_of_sets(own, set_of)
        elsewhere = []
        for gap in _find_gaps(own, numbers, settings.check.number_gap_most):
            before, after = set_of.get(gap.before.file), set_of.get(gap.after.file)
            if before is not None and before is after:
                continue
            if before is None and after is None:
                elsewhere.append(gap)
            else:
                yield _beside(gap, before, after, ends)
        if len(elsewhere) > settings.check.number_gap_each:
            yield _summed(elsewhere)
        else:
            yield from (_alone(gap) for gap in elsewhere)


def _find_gaps(frames: list[Frame], numbers: CardNumbers, longest: int) -> Iterator[_Gap]:
    steps = [(a, b, step_in_numbers(a, b)) for a, b in pairwise(frames)]
    plain = sum(distance == 1 for _, _, distance in steps)
    if 2 * plain < len(steps):
        return  # renamed files, or numbers that are no counter
    for a, b, distance in steps:
        if distance is None or not 1 < distance <= longest + 1:
            continue
        folders = (a.folder, b.folder)
        lost = numbers.lost(skipped_numbers(a, distance), folders)
        # A file that is there and cannot be read is unreadable-file already.
        unread = {number_of(file) for file in numbers.unread_among(lost, folders)}
        lost = tuple(number for number in lost if number not in unread)
        if lost:
            yield _Gap(before=a, after=b, lost=lost)


def _ends_of_sets(own: list[Frame], set_of: Mapping[str, Set]) -> frozenset[str]:
    """The files shot first and last of their sets: what was shot amid one parts others of it."""
    members = [(set_of[frame.file].id, frame.file) for frame in own if frame.file in set_of]
    first, last = dict(reversed(members)), dict(members)
    return frozenset((*first.values(), *last.values()))


def _beside(gap: _Gap, before: Set | None, after: Set | None, ends: frozenset[str]) -> Problem:
    where, is_beside = [], False
    for word, frame, end, found in (
        ("after", gap.before, "last", before),
        ("before", gap.after, "first", after),
    ):
        if found is not None:
            is_end = frame.file in ends
            what = f"the {end} frame of" if is_end else "amid"
            where.append(f"{word} {frame.name}, {what} the {_called(found)}")
            is_beside |= is_end
    noun = "number" if len(gap.lost) == 1 else "numbers"
    return Problem(
        frames=(gap.before.file, gap.after.file),
        message=(
            f"File {noun} {words.file_numbers(gap.lost)} {words.is_are(len(gap.lost))} missing "
            f"{' and '.join(where)}."
        ),
        advice=_ADVICE_BESIDE if is_beside else _ADVICE,
        measured={
            "numbers_lost": list(gap.lost),
            "set_before": None if before is None else before.id,
            "set_after": None if after is None else after.id,
        },
    )


def _called(found: Set) -> str:
    return f"{found.kind.replace('-', ' ')} {found.id}"


def _alone(gap: _Gap) -> Problem:
    noun = "number" if len(gap.lost) == 1 else "numbers"
    return Problem(
        frames=(gap.before.file, gap.after.file),
        message=(
            f"File {noun} {words.file_numbers(gap.lost)} {words.is_are(len(gap.lost))} missing "
            f"between {gap.before.name} and {gap.after.name}, outside any set."
        ),
        advice=_ADVICE,
        measured={"numbers_lost": list(gap.lost)},
    )


def _summed(gaps: list[_Gap]) -> Problem:
    total = sum(len(gap.lost) for gap in gaps)
    told = "; ".join(words.file_numbers(gap.lost) for gap in gaps[:_NAMED])
    if len(gaps) > _NAMED:
        told += f"; and {words.counted(len(gaps) - _NAMED, 'place')} more"
    files = dict.fromkeys(frame.file for gap in gaps for frame in (gap.before, gap.after))
    verb = words.is_are(total)
    return Problem(
        frames=tuple(files),
        message=(
            f"{words.counted(total, 'file number')} {verb} missing outside any set, in "
            f"{words.counted(len(gaps), 'place')}: {told}."
        ),
        advice=_ADVICE,
        measured={
            "numbers_lost": total,
            "gaps": [
                {"before": gap.before.file, "after": gap.after.file, "lost": list(gap.lost)}
                for gap in gaps
            ],
        },
    )


CHECK = CardCheck(code="number-gap", severity="note", find=find)
