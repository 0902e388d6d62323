"""One cause, one finding: which findings explain others away. The only place that knows.

A finding is dropped when another of the same set (or one of the whole card) explains it and
names all its frames. A cause that names no frames concerns the whole set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from grouper.check import words
from grouper.check.card_numbers import CardNumbers
from grouper.check.gaps import skipped_numbers, step_in_numbers
from grouper.model import Finding, Frame, Set

EXPLAINS: dict[str, tuple[str, ...]] = {
    # A byte-for-byte copy is no second shot.
    "duplicate-frame": ("spare-take",),
    # A view left out is a wide step, and may be the end that a row lacks.
    "missing-frame": ("thin-overlap", "short-row", "open-circle"),
    # A row that ends early cannot close the circle.
    "short-row": ("open-circle",),
    # Another aspect or crop is another shape and another angle.
    "mixed-size": ("mixed-orientation", "thin-overlap"),
    # Another lens brings its own focal length, openings, focus and colour.
    "mixed-lens": (
        *("mixed-focal-length", "mixed-aperture", "mixed-focus", "thin-overlap"),
        *("soft-frame", "moved-subject"),
    ),
    # Zooming moves the largest opening of many zooms, and the automatic exposure after it.
    "mixed-focal-length": (
        *("mixed-aperture", "mixed-shutter", "mixed-focus", "thin-overlap"),
        *("soft-frame", "moved-subject"),
    ),
    "mixed-orientation": ("thin-overlap", "rolled-camera"),
    # Flash brings its own shutter speed, aperture, ISO and white balance.
    "mixed-flash": (
        *("mixed-shutter", "mixed-aperture", "mixed-iso", "mixed-white-balance"),
        "moved-subject",
    ),
    # Automatic exposure makes up for one changed setting with another.
    "mixed-aperture": ("mixed-shutter", "mixed-iso"),
    "mixed-iso": ("mixed-shutter",),
    "mixed-focus": ("soft-frame", "shallow-focus"),
    "short-bracket": ("uneven-bracket", "clipped-highlights", "blocked-shadows"),
    # A row on a leaning base, or with a rolled camera, climbs or sinks by itself.
    "tilted-base": ("drifting-row",),
    "rolled-camera": ("drifting-row",),
}


def drop_explained(
    findings: Sequence[Finding], card_findings: Sequence[Finding] = ()
) -> tuple[Finding, ...]:
    """The findings of a set that nothing else said of it or of the card explains."""
    causes = (*findings, *card_findings)
    return tuple(
        finding for finding in findings if not any(_explains(cause, finding) for cause in causes)
    )


def _explains(cause: Finding, effect: Finding) -> bool:
    if effect.code not in EXPLAINS.get(cause.code, ()):
        return False
    return not cause.frames or set(effect.frames) <= set(cause.frames)


NUMBERED = ("missing-frame", "short-bracket", "short-stack")
"""Findings that say a frame is missing: the numbers tell whether it was ever on the card."""


def check_numbers(
    findings: Sequence[Finding], found: Set, numbers: CardNumbers
) -> tuple[Finding, ...]:
    """Hold what is missing from a set against the numbers of the whole card.

    A hole in the numbers is no evidence where other files of the card bear them (a movie,
    another body, a frame that belongs elsewhere): such findings go. The others are told
    which numbers are gone, or which file is there and cannot be read.
    """
    frames = {frame.file: frame for frame in found.frames}
    kept = []
    for finding in findings:
        if finding.code not in NUMBERED or not finding.frames:
            kept.append(finding)
            continue
        skipped, folders = _skipped(finding, found.frames, frames)
        lost = numbers.lost(skipped, folders)
        if finding.measured.get("evidence") == "numbers" and not lost:
            continue
        kept.append(_told(finding, lost, numbers.unread_among(lost, folders)))
    return tuple(kept)


def _skipped(
    finding: Finding, ordered: Sequence[Frame], frames: dict[str, Frame]
) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Numbers left out from the finding's first frame to its last or to the one after it."""
    first = ordered.index(frames[finding.frames[0]])
    last = ordered.index(frames[finding.frames[-1]])
    stretch = ordered[first : max(last, first + 1) + 1]
    if finding.code == "short-bracket" and finding.measured.get("evidence") is None:
        # A leg may be missing at either end of its view.
        stretch = ordered[max(0, first - 1) : last + 2]
    skipped: list[int] = []
    for a, b in zip(stretch, stretch[1:], strict=False):
        distance = step_in_numbers(a, b)
        if distance is not None and 1 < distance <= _PLAUSIBLE:
            skipped.extend(skipped_numbers(a, distance))
    return tuple(skipped), tuple(frame.folder for frame in stretch)


_PLAUSIBLE = 50
"""Longer holes are another numbering (common practice, no source)."""


def _told(finding: Finding, lost: Sequence[int], unread: Sequence[str]) -> Finding:
    measured = {**finding.measured, "numbers_lost": list(lost)}
    message = finding.message
    if unread:
        there = (
            "is on the card but cannot be read"
            if len(unread) == 1
            else ("are on the card but cannot be read")
        )
        message += f" {words.names(unread)} {there}."
        measured["unread"] = list(unread)
    elif lost and len(lost) <= _PLAUSIBLE:
        gone = "is" if len(lost) == 1 else "are"
        noun = "number" if len(lost) == 1 else "numbers"
        message += f" File {noun} {words.file_numbers(lost)} {gone} not on the card."
    elif finding.measured.get("evidence") in ("angle", "pictures"):
        message += " The file numbers run on, so the frame was never taken."
    return replace(finding, message=message, measured=measured)
