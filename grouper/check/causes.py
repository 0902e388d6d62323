"""One cause, one finding: which findings explain others away. The only place that knows.

A finding is dropped when another of the same set (or one of the whole card) explains it and
names all its frames. A cause that names no frames concerns the whole set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from grouper.check import words
from grouper.check.card_numbers import CardNumbers
from grouper.check.gaps import numbers_left_out, step_in_numbers
from grouper.model import SEVERITIES, BriefLine, Finding, Frame, Set

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
    # Automatic exposure makes up for one changed setting with another; what it does not make
    # up for leaves the odd frames too bright or too dark.
    "mixed-aperture": ("mixed-shutter", "mixed-iso", "clipped-highlights", "blocked-shadows"),
    "mixed-iso": ("mixed-shutter", "clipped-highlights", "blocked-shadows"),
    "mixed-shutter": ("clipped-highlights", "blocked-shadows"),
    "mixed-focus": ("soft-frame", "shallow-focus"),
    "short-bracket": ("uneven-bracket", "clipped-highlights", "blocked-shadows"),
    # A row on a leaning base, or with a rolled camera, climbs or sinks by itself.
    "tilted-base": ("drifting-row",),
    "rolled-camera": ("drifting-row",),
}


IN_DOUBT = (
    *("spare-take", "thin-overlap", "short-row", "open-circle", "drifting-row"),
    *("mixed-aperture", "mixed-iso", "mixed-shutter", "mixed-focus", "mixed-white-balance"),
    *("mixed-flash", "uneven-bracket", "moved-subject"),
)
"""What only comparing frames shows: of frames that may not belong together it means nothing.
Missing frames and exposures are none of it, for a gap that is not told costs more than one told
for nothing."""
AT_THE_ENDS = ("short-bracket", "short-stack")
"""What means nothing at either end of a set in doubt: where it begins and where it ends is what is
least sure of it."""
NOT_SHOT_AS_ONE = (
    *IN_DOUBT,
    *("missing-frame", "short-bracket", "short-stack"),
    *("mixed-focal-length", "mixed-orientation", "mixed-lens", "mixed-size"),
    *("auto-exposure", "auto-iso", "auto-white-balance", "auto-focus"),
)
"""What means nothing of frames whose settings were changed by hand from each to the next."""


def drop_explained(
    findings: Sequence[Finding], found: Set, card_findings: Sequence[Finding] = ()
) -> tuple[Finding, ...]:
    """The findings of a set that nothing else said of it or of the card explains.

    A set in doubt names what is left aside because of it.
    """
    findings = _told_once(findings)
    doubts = [finding for finding in findings if finding.code == "set-in-doubt"]
    causes = [finding for finding in (*findings, *card_findings) if finding not in doubts]
    kept = [
        finding for finding in findings if not any(_explains(cause, finding) for cause in causes)
    ]
    aside = [
        finding for finding in kept if any(_puts_aside(doubt, finding, found) for doubt in doubts)
    ]
    return tuple(
        _naming(finding, aside) if finding in doubts else finding
        for finding in kept
        if finding not in aside
    )


OVERLAPS = ("missing-frame", "thin-overlap")
"""What says of two neighbours that they share too little, as the brief's rule on overlap does."""


def _told_once(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Neighbours that share too little are told by the brief or by a check, never by both.

    The louder one stands, the check where they are as loud: it says more of the place.
    """
    short = [finding for finding in findings if finding.code in OVERLAPS]
    dropped: list[Finding] = []
    for rule in findings:
        if rule.code != "brief-unmet" or rule.measured.get("rule") != "overlap":
            continue
        quieter = [finding for finding in short if _loudness(finding) < _loudness(rule)]
        louder = {file for finding in short if finding not in quieter for file in finding.frames}
        if rule.frames and set(rule.frames) <= louder:
            dropped.append(rule)
            continue
        dropped += [item for item in quieter if not rule.frames or _is_within(item, rule)]
    return tuple(finding for finding in findings if finding not in dropped)


def _loudness(finding: Finding) -> int:
    return -SEVERITIES.index(finding.severity)


def _is_within(finding: Finding, other: Finding) -> bool:
    return set(finding.frames) <= set(other.frames)


def refer(brief: Sequence[BriefLine], findings: Sequence[Finding]) -> tuple[BriefLine, ...]:
    """The lines of the brief; the one on overlap says where else its places are told."""
    return tuple(_referred(line, findings) for line in brief)


def _referred(line: BriefLine, findings: Sequence[Finding]) -> BriefLine:
    if line.rule != "overlap" or line.passed is not False:
        return line
    codes = {
        finding.code
        for finding in findings
        if finding.code in OVERLAPS and not set(finding.frames).isdisjoint(line.frames)
    }
    return (
        replace(line, found=f"{line.found}; see {words.listed(sorted(codes))}") if codes else line
    )


def _puts_aside(doubt: Finding, finding: Finding, found: Set) -> bool:
    if "changed_by_hand" in doubt.measured:
        return finding.code in NOT_SHOT_AS_ONE
    ends = {found.frames[0].file, found.frames[-1].file}
    if finding.code in AT_THE_ENDS and not ends.isdisjoint(finding.frames):
        return True
    # A pause in a series is no gap in a picture: it may be the end of one and another's start.
    is_pause = finding.code == "missing-frame" and finding.measured.get("evidence") == "time"
    return is_pause or finding.code in IN_DOUBT


def _naming(doubt: Finding, aside: Sequence[Finding]) -> Finding:
    if not aside:
        return doubt
    codes = list(dict.fromkeys(finding.code for finding in aside))
    return replace(
        doubt,
        message=f"{doubt.message} Left aside until that is clear: {words.listed(codes)}.",
        measured={**doubt.measured, "left_aside": codes},
    )


AUTOMATIC = {
    "mixed-shutter": ("aperture", "auto"),
    "mixed-aperture": ("shutter", "auto"),
    "mixed-iso": ("aperture", "shutter", "auto"),
}
"""What an automatic exposure moves, most often first, and in which programs it may."""


def join_automatic(findings: Sequence[Finding], found: Set) -> tuple[Finding, ...]:
    """One finding where an automatic exposure moved several settings, each in frames of its own.

    It names the frames of all. Frames exposed by hand have a cause of their own.
    """
    programs = {frame.file: frame.program for frame in found.frames}
    moved = [
        finding
        for code, automatic in AUTOMATIC.items()
        for finding in findings
        if finding.code == code and all(programs[file] in automatic for file in finding.frames)
    ]
    if len(moved) < 2:
        return tuple(findings)
    first, *others = moved
    named = {file for finding in moved for file in finding.frames}
    nouns = words.listed([_NOUNS[finding.code] for finding in moved])
    joined = replace(
        first,
        frames=tuple(frame.file for frame in found.frames if frame.file in named),
        message=(
            f"Automatic exposure moved {nouns}. {' '.join(finding.message for finding in moved)}"
        ),
        measured={key: value for finding in moved for key, value in finding.measured.items()},
    )
    left_out = {id(finding) for finding in others}
    return tuple(
        joined if finding is first else finding
        for finding in findings
        if id(finding) not in left_out
    )


_NOUNS = {
    "mixed-shutter": "the shutter speed",
    "mixed-aperture": "the aperture",
    "mixed-iso": "the ISO",
}


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
        if not finding.frames or not _is_numbered(finding, found):
            kept.append(finding)
            continue
        stretch = _stretch(finding, found.frames, frames)
        folders = tuple(frame.folder for frame in stretch)
        skipped = [number for a, b in pairwise(stretch) for number in numbers_left_out(a, b)]
        lost = numbers.lost(skipped, folders)
        if finding.measured.get("evidence") == "numbers" and not lost:
            continue
        unread = numbers.unread_among(lost, folders)
        kept.append(_told(finding, lost, unread, runs_on=_runs_on(stretch)))
    return tuple(kept)


def _is_numbered(finding: Finding, found: Set) -> bool:
    # An uneven bracket on one spot is most often one that lost an exposure.
    return finding.code in NUMBERED or (
        finding.code == "uneven-bracket" and found.kind == "bracket"
    )


def _stretch(
    finding: Finding, ordered: Sequence[Frame], frames: dict[str, Frame]
) -> Sequence[Frame]:
    """The frames, in shooting order, among whose numbers the missing one should be."""
    places = [ordered.index(frames[file]) for file in finding.frames]
    first, last = min(places), max(places)
    if "legs_missing" in finding.measured or "steps_missing" in finding.measured:
        # The missing leg may have been the first or the last of its view.
        return ordered[max(0, first - 1) : last + 2]
    return ordered[first : last + 1]


def _runs_on(stretch: Sequence[Frame]) -> bool:
    return len(stretch) == 2 and step_in_numbers(*stretch) == 1


def _told(
    finding: Finding, lost: Sequence[int], unread: Sequence[str], *, runs_on: bool
) -> Finding:
    measured = {**finding.measured, "numbers_lost": list(lost)}
    message = finding.message
    if unread:
        verb = words.is_are(len(unread))
        message += f" {words.names(unread)} {verb} on the card but cannot be read."
        measured["unread"] = list(unread)
    elif lost:
        noun = "number" if len(lost) == 1 else "numbers"
        verb = words.is_are(len(lost))
        message += f" File {noun} {words.file_numbers(lost)} {verb} not on the card."
    elif runs_on:
        # Where only the pictures speak, it may also be that they cannot be matched.
        doubt = finding.measured.get("evidence") == "pictures"
        message += (
            " The file numbers run on: it was never taken, or another sweep begins there."
            if doubt
            else " The file numbers run on, so it was never taken."
        )
    return replace(finding, message=message, measured=measured)
