"""Stops: neighbouring frames of one view, as a tripod head holds still for a bracket or stack.

Whether a frame stays at the stop of the frame before or begins a new one is told by the
pictures, by other frames of the stop where the two neighbours cannot be compared (a blown leg
beside a black one), and by the exposures where no picture says anything.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from grouper.group.evidence import LONGEST_LEG_PAUSE_S, Evidence, heading_deg
from grouper.group.looking import is_still, is_sure, shift_of
from grouper.group.pairs import STOP_EV, Floats
from grouper.model import Sighting

TOLD_APART = 0.6
"""Chance of having nothing in common from which a gap is seen: more than an even bet."""
FEWEST_LEGS = 3
"""Legs of the smallest bracket that bodies offer (common practice, no source)."""
TELLING_TURN_DEG = 15.0
"""Turned by less, a hand's roll of a degree or two tells a pitch that is off by ten and more."""
SIDEWAYS = 0.3
"""Sine of 17 degrees: so far an axis leans to the side with a rolled camera, or a hand (estimated);
one that leans further is not the vertical."""
LONGEST_LOOK_BACK = 40
"""Frames of a stop that a new frame is held against: more than any bracket has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stops:
    """Arrays over the pairs of a strand, shape (n - 1,).

    ``begins`` is true where the second frame begins a new stop. ``overlap`` is the share it
    has in common with the stop before (NaN where none was seen) and ``still`` whether it was
    seen to look the same way. ``gap`` marks new stops that were looked at and share nothing.
    ``pitch`` is how far up the camera looked, in degrees, as its turn tells (NaN unknown).
    """

    begins: NDArray[np.bool_]
    still: NDArray[np.bool_]
    turned: NDArray[np.bool_]
    gap: NDArray[np.bool_]
    overlap: Floats
    shift: Floats
    heading: Floats
    pitch: Floats


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
    overlap, shift, heading, pitch = (np.full(max(count, 0), np.nan) for _ in range(4))
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
            pitch[link] = _pitch_deg(sighting)
        if flags["begins"][link]:
            start = link + 1
    _part_odd_pairs(evidence, flags)
    return Stops(**flags, overlap=overlap, shift=shift, heading=heading, pitch=pitch)


def _pitch_deg(sighting: Sighting) -> float:
    """How far up a camera looked that was turned about the vertical; NaN of any other turn.

    It rolls by the sine of its pitch of the turn.
    """
    across, up, ahead = sighting.turn_deg
    if abs(up) < TELLING_TURN_DEG or abs(across) > SIDEWAYS * math.hypot(across, up, ahead):
        return math.nan
    return -math.degrees(math.atan2(ahead, abs(up))) * math.copysign(1.0, up)


def _part_odd_pairs(evidence: Evidence, flags: dict[str, NDArray[np.bool_]]) -> None:
    """Make two stops of two unseen frames that only differ in exposure.

    A bracket has three legs or more; one frame of a sweep at a wrong exposure is a view like
    the others. Beside a fuller bracket two frames are what is left of one.
    """
    cuts = [-1, *np.flatnonzero(flags["begins"]).tolist(), len(flags["begins"])]
    counts = [after - before for before, after in itertools.pairwise(cuts)]
    for at, count in enumerate(counts):
        link = cuts[at] + 1
        beside = counts[max(at - 1, 0) : at + 2]
        unseen = count == 2 and not flags["still"][link]
        if unseen and max(beside) < FEWEST_LEGS and not _is_flagged(evidence, link):
            flags["begins"][link] = True


def _is_flagged(evidence: Evidence, link: int) -> bool:
    """Whether the body says of both frames that it was bracketing."""
    return all(bool(frame.bracketing) for frame in evidence.pairs.frames[link : link + 2])


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
    if not _is_flagged(evidence, link) and not pairs.pause_s[link] < LONGEST_LEG_PAUSE_S:
        return False
    levels = evidence.pairs.light[max(start, link + 1 - LONGEST_LOOK_BACK) : link + 1]
    return bool((np.abs(levels - evidence.pairs.light[link + 1]) > STOP_EV).all())
