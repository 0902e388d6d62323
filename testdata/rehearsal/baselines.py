"""Two simple rules to compare with, on capture time and settings alone.

``fixed``: the same settings and pauses under 12 s. ``adaptive``: the log-gap rule of Platt,
Czerwinski & Field (PhotoTOC, 2003): a new event where the log of the gap exceeds the mean of
the log gaps around it (d = 10 to either side) by K = ln 17. Both are scored by their member
files alone, whatever the kind: neither can tell kinds apart.
"""

from __future__ import annotations

import itertools
import logging
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import exifread

from testdata.rehearsal.score import Found, true_members

PAUSE_S = 12.0
PLATT_K = math.log(17)
PLATT_D = 10
_LEAST_GAP_S = 0.05
"""Gaps of zero (whole-second clocks) need some logarithm: a brisk burst's."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """What the rules look at."""

    file: str
    body: str
    at_s: float
    exposure_s: float
    settings: tuple[str, ...]


def read_stamps(card: Path) -> list[Stamp]:
    """Capture times and settings of a card's JPEG files, by body and time."""
    stamps = []
    logging.getLogger("exifread").setLevel(logging.CRITICAL)  # files that are no pictures are meant
    for path in sorted(card.rglob("*")):
        if path.suffix.lower() not in (".jpg", ".jpeg") or path.stat().st_size < 200:
            continue
        with path.open("rb") as stream:
            tags = exifread.process_file(stream, details=False, extract_thumbnail=False)
        stamp = _stamp(path.relative_to(card).as_posix(), tags)
        if stamp is not None:
            stamps.append(stamp)
    return sorted(stamps, key=lambda item: (item.body, item.at_s, item.file))


def _stamp(file: str, tags: Mapping[str, Any]) -> Stamp | None:
    def text(name: str) -> str:
        return str(tags.get(name, ""))

    try:
        at = datetime.strptime(text("EXIF DateTimeOriginal"), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    fraction = text("EXIF SubSecTimeOriginal").strip()
    seconds = at.timestamp() + (float(f"0.{fraction}") if fraction.isdigit() else 0.0)
    names = ("FNumber", "ISOSpeedRatings", "ExposureTime", "FocalLength", "ExifImageWidth")
    settings = (*(text(f"EXIF {name}") for name in names), text("Image Orientation"))
    try:
        exposure = float(tags["EXIF ExposureTime"].values[0])
    except (KeyError, IndexError, ZeroDivisionError, TypeError, ValueError):
        exposure = 0.0
    body = text("Image Model") + text("EXIF BodySerialNumber")
    return Stamp(file, body, seconds, exposure, settings)


def fixed_groups(stamps: Sequence[Stamp]) -> list[frozenset[str]]:
    """Runs of two and more frames of one body in the same settings, pauses under 12 s."""
    groups: list[list[Stamp]] = []
    for stamp in stamps:
        last = groups[-1][-1] if groups else None
        if (
            last is not None
            and last.body == stamp.body
            and last.settings == stamp.settings
            and stamp.at_s - last.at_s - last.exposure_s < PAUSE_S
        ):
            groups[-1].append(stamp)
        else:
            groups.append([stamp])
    return [frozenset(item.file for item in group) for group in groups if len(group) > 1]


def adaptive_groups(stamps: Sequence[Stamp]) -> list[frozenset[str]]:
    """Events of two and more frames by the log-gap rule, body by body."""
    found: list[frozenset[str]] = []
    for body in sorted({stamp.body for stamp in stamps}):
        own = [stamp for stamp in stamps if stamp.body == body]
        gaps = [math.log(max(b.at_s - a.at_s, _LEAST_GAP_S)) for a, b in itertools.pairwise(own)]
        event = [own[0].file]
        for index, gap in enumerate(gaps):
            around = gaps[max(0, index - PLATT_D) : index + PLATT_D + 1]
            if gap >= PLATT_K + sum(around) / len(around):
                found.append(frozenset(event))
                event = []
            event.append(own[index + 1].file)
        found.append(frozenset(event))
    return [group for group in found if len(group) > 1]


def score_groups(
    groups: Sequence[frozenset[str]], truth: Mapping[str, Any]
) -> tuple[dict[str, Found], int]:
    """Exactly found sets by kind ("any" holds the claims), and singles drawn in."""
    either = frozenset(truth["either"])
    claimed = [group - either for group in groups]
    claimed = [group for group in claimed if group]
    found: dict[str, Found] = {"any": Found(claimed=len(claimed))}
    for item in truth["sets"]:
        members = true_members(item) - either
        count = Found(truth=1, exact=int(members in claimed))
        found.setdefault(item["kind"], Found()).add(count)
        found["any"].add(count)
    inside = set().union(*claimed) if claimed else set()
    return found, len(inside & set(truth["singles"]))
