"""Frames of different pixel sizes within a set.

What it looks for
    Long and short side in pixels of every frame in use against the size most frames share,
    however the camera was held. Raw files and JPEGs that differ by a narrow border count as
    equal.

Why it matters
    A smaller picture size costs detail; a crop mode or another aspect also narrows the angle,
    so that neighbours no longer meet.

When it is wrong
    A file that was cropped or made smaller at the desk and put back on the card.

What to do
    Check the size, aspect, crop and digital zoom settings. If the raw file beside a small JPEG
    is full size, use the raw file.

Settings
    check.mixed_size_share: sizes count as equal within this share of a side.
"""

from __future__ import annotations

from collections.abc import Iterator

from grouper.check.mixed import find_mixed
from grouper.check.traits import size_trait
from grouper.contracts import Problem, SetCheck
from grouper.model import Set
from grouper.settings import Settings

_ADVICE = (
    "On location, set the picture size, aspect and crop mode back and shoot the odd "
    "frames again; at the desk, look for a full-size raw file of the same frame before "
    "scaling anything."
)


def find(found: Set, settings: Settings) -> Iterator[Problem]:
    """Name the frames whose picture size differs."""
    yield from find_mixed(found, size_trait(settings.check), _ADVICE)


CHECK = SetCheck(
    code="mixed-size",
    severity="problem",
    kinds=(
        "panorama",
        "bracket",
        "focus-stack",
        "interval",
    ),
    find=find,
)
