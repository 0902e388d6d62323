"""Stops: neighbouring frames of one view, as a tripod head holds still for a bracket or stack.

Whether a frame stays at the stop of the frame before or begins a new one is told by the
pictures, by other frames of the stop where the two neighbours cannot be compared (a blown leg
beside a black one), and by the exposures where no picture says anything.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from grouper.group.evidence import Evidence, heading_deg, is_still, shift_of
from grouper.group.looking import is_sure
from grouper.group.pairs import STOP_EV, Floats
from grouper.model import Sighting

LONGEST_LEG_PAUSE_S = 5.0
"""Legs shot by hand follow within half a second to three seconds (common practice, no source)."""
TOLD_APART = 0.6
"""Chance of having nothing in common from which a gap is seen: more than an even bet."""
LONGEST_LOOK_BACK = 40
"""Frames of a stop that a new frame is held against: more than any bracket has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stops:
    """Arrays over the pairs of a strand, shape (n - 1,).

    ``begins`` is true where the second frame begins a new stop. ``overlap`` is the share it
    has in common with the stop before (NaN where none was seen) and ``still`` whether it was
    seen to look the same way. ``gap`` marks new stops that were looked at and share nothing.
    """

    begins: NDArray[np.bool_]
    still: NDArray[np.bool_]
    turned: NDArray[np.bool_]
    gap: NDArray[np.bool_]
    overlap: Floats
    shift: Floats
    heading: Floats


@lru_cache(maxsize=1)
def find_stops(evidence: Evidence) -> Stops:
    """Walk along a strand and tell its stops apart.

    Remembered for the strand at hand: the panorama rule asks anew in every run between
    dividers, and a card may have a divider before each sweep.
    """
    count = len(evidence.pairs.frames) - 1
    flags = {
        name: np.zeros(max(count, 0), dtype=bool) for name in ("begins", "still", "turned", "gap")
    }
    overlap, shift, heading = (np.full(max(count, 0), np.nan) for _ in range(3))
    start = 0
    for link in range(count):
        sighting = _against_stop(evidence, start, link)
        if sighting is None:
            flags["begins"][link] = not _may_be_leg(evidence, start, link)
            flags["gap"][link] = flags["begins"][link] and bool(evidence.apart[link] > TOLD_APART)
        else:
            flags["still"][link] = is_still(sighting)
            flags["turned"][link] = flags["begins"][link] = not is_still(sighting)
            overlap[link] = sighting.overlap
            shift[link] = shift_of(sighting)
            heading[link] = heading_deg(sighting)
        if flags["begins"][link]:
            start = link + 1
    return Stops(**flags, overlap=overlap, shift=shift, heading=heading)


def _against_stop(evidence: Evidence, start: int, link: int) -> Sighting | None:
    """The surest overlap of the frame after ``link`` with the frames of the stop so far."""
    direct = evidence.pairs.seen(link, link + 1)
    if direct is not None and is_sure(direct):
        return direct
    return evidence.tie(link + 1, max(start, link + 1 - LONGEST_LOOK_BACK))


def _may_be_leg(evidence: Evidence, start: int, link: int) -> bool:
    """Whether, unseen, the frame may be another leg of the stop.

    Its exposure is a new one, nothing but the shutter moved, and it followed at once or the
    body says that it was bracketing.
    """
    pairs = evidence.pairs
    if evidence.looked[link] or not evidence.exposed[link] or pairs.changed["aperture"][link]:
        return False
    flagged = pairs.frames[link].bracketing and pairs.frames[link + 1].bracketing
    if not flagged and not pairs.pause_s[link] < LONGEST_LEG_PAUSE_S:
        return False
    levels = evidence.pairs.light[max(start, link + 1 - LONGEST_LOOK_BACK) : link + 1]
    return bool((np.abs(levels - evidence.pairs.light[link + 1]) > STOP_EV).all())
