"""What is known of neighbours on a strand: pauses, changed settings, sightings.

Everything the set kinds are judged by, laid out as arrays over one strand of ``n`` frames:
index ``i`` of a pair array is the pair of frames ``i`` and ``i + 1``.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from grouper.group.strands import Strand
from grouper.model import Frame, Glance, Sighting
from grouper.optics import ground_distance_m, light_ev

Floats = NDArray[np.float64]

FOR_GOOD = ("lens", "focal", "orientation", "size")
"""What a photographer changes between subjects, seldom within one."""
SETTINGS = (*FOR_GOOD, "aperture", "iso", "shutter", "white_balance", "flash", "focus")
"""Everything compared between neighbours, in the order reported."""

FOCAL_SHARE = 0.02
"""Focal lengths this close are one zoom position: bodies round to whole millimetres, and focus
breathing moves the recorded value a little (common practice, no source)."""
STOP_EV = 0.17
"""Marked values may be off by 0.163 EV against the exact third-stop series (brute force over
the marked series): two values within this are the same setting."""
FOCUS_SHARE = 0.02
"""Recorded focus distances are coarse; less than this apart is the same position."""


class Sightings(dict[tuple[int, int], Sighting | None]):
    """What was seen between frames ``(i, j)``, ``i < j``, and for a frame against which earlier.

    Every set is solved from the few of them that lie within it: to go through all of a long day's
    for each of its sets would take longer than all else. Filled one by one, not by ``update``.
    """

    def __init__(self) -> None:
        super().__init__()
        self._earlier: dict[int, list[int]] = {}

    def __setitem__(self, pair: tuple[int, int], sighting: Sighting | None) -> None:
        if pair not in self:
            self._earlier.setdefault(pair[1], []).append(pair[0])
        super().__setitem__(pair, sighting)

    def __delitem__(self, pair: tuple[int, int]) -> None:
        super().__delitem__(pair)
        self._earlier[pair[1]].remove(pair[0])

    def within(self, first: int, last: int) -> Iterator[tuple[int, int, Sighting | None]]:
        """Those between frames ``first`` to ``last``."""
        for i, j, sighting in self.back_from(range(first + 1, last + 1)):
            if i >= first:
                yield i, j, sighting

    def back_from(self, frames: Iterable[int]) -> Iterator[tuple[int, int, Sighting | None]]:
        """Those between these frames and earlier ones."""
        for j in frames:
            for i in self._earlier.get(j, ()):
                yield i, j, self[i, j]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """One strand's evidence. Pair arrays have shape (n - 1,), frame arrays (n,).

    ``pause_s`` is measured from the end of the exposure and NaN where unknown;
    ``pause_slack_s`` is how far it may be off for want of sub-seconds. ``light`` is the
    recorded light in EV (NaN unknown). ``changed[name]`` is a boolean pair array.
    ``sightings`` holds what was seen between frames ``(i, j)``, ``i < j``.
    """

    strand: Strand
    pause_s: Floats
    pause_slack_s: Floats
    light: Floats
    changed: dict[str, NDArray[np.bool_]]
    number_step: Floats
    """File-number difference of neighbours; NaN where not known or not comparable."""
    moved_m: Floats
    """How far the position moved between neighbours; NaN where it was not recorded."""
    glances: tuple[Glance | None, ...] = ()
    sightings: Sightings = field(default_factory=Sightings)

    @property
    def frames(self) -> tuple[Frame, ...]:
        """The strand's frames."""
        return self.strand.frames

    def seen(self, i: int, j: int) -> Sighting | None:
        """What was seen between two frames, or ``None`` when it is not known."""
        return self.sightings.get((i, j))

    def only(self, kept: Sequence[int]) -> Pairs:
        """The same of these frames alone, as if the others had not been shot.

        What was seen of them is kept; frames that are neighbours now need not have been compared.
        """
        strand = replace(
            self.strand,
            frames=tuple(self.frames[i] for i in kept),
            at_s=tuple(self.strand.at_s[i] for i in kept),
            clock_steps=(),
        )
        rest = gather_pairs(strand)
        place = {old: new for new, old in enumerate(kept)}
        for (i, j), sighting in self.sightings.items():
            if i in place and j in place:
                rest.sightings[place[i], place[j]] = sighting
        return replace(rest, glances=tuple(self.glances[i] for i in kept if self.glances))


def gather_pairs(strand: Strand) -> Pairs:
    """Everything about neighbours that needs no pictures."""
    frames = strand.frames
    neighbours = list(itertools.pairwise(frames))
    at = np.array([math.nan if time is None else time for time in strand.at_s])
    exposure = np.array([frame.exposure_s or 0.0 for frame in frames])
    slack = np.array([frame.taken_resolution_s for frame in frames])
    return Pairs(
        strand=strand,
        pause_s=np.diff(at) - exposure[:-1],
        pause_slack_s=np.maximum(slack[:-1], slack[1:]) if len(frames) > 1 else np.zeros(0),
        light=np.array([_nan(light_ev(f.exposure_s, f.aperture_f, f.iso)) for f in frames]),
        changed={
            name: np.array([_CHANGED[name](a, b) for a, b in neighbours], dtype=bool)
            for name in SETTINGS
        },
        number_step=np.array([_number_step(a, b) for a, b in neighbours]),
        moved_m=np.array([_moved_m(a, b) for a, b in neighbours]),
    )


def changed_names(a: Frame, b: Frame) -> tuple[str, ...]:
    """Names of the settings that differ between two frames."""
    return tuple(name for name in SETTINGS if _CHANGED[name](a, b))


def _nan(value: float | None) -> float:
    return math.nan if value is None else value


def _differs(a: float | None, b: float | None, share: float) -> bool:
    """Whether two positive values differ by more than a share; unknown never differs."""
    if a is None or b is None:
        return False
    if math.isinf(a) or math.isinf(b):
        return a != b
    return abs(a - b) > share * max(abs(a), abs(b))


def _stops_differ(a: float | None, b: float | None, stops_per_octave: float = 1.0) -> bool:
    if not a or not b or a < 0 or b < 0:
        return False
    return abs(math.log2(a / b)) * stops_per_octave > STOP_EV


def _lens(a: Frame, b: Frame) -> bool:
    return bool(a.lens and b.lens and a.lens != b.lens)


def _focal(a: Frame, b: Frame) -> bool:
    return _differs(a.focal_mm, b.focal_mm, FOCAL_SHARE)


def _orientation(a: Frame, b: Frame) -> bool:
    return a.is_upright is not None and b.is_upright is not None and a.is_upright != b.is_upright


def _size(a: Frame, b: Frame) -> bool:
    if a.upright_px is None or b.upright_px is None:
        return False
    return sorted(a.upright_px) != sorted(b.upright_px)


def _aperture(a: Frame, b: Frame) -> bool:
    return _stops_differ(a.aperture_f, b.aperture_f, 2.0)


def _iso(a: Frame, b: Frame) -> bool:
    return _stops_differ(a.iso, b.iso)


def _shutter(a: Frame, b: Frame) -> bool:
    return _stops_differ(a.exposure_s, b.exposure_s)


def _white_balance(a: Frame, b: Frame) -> bool:
    known = a.white_balance and b.white_balance
    return bool(known and a.white_balance != b.white_balance)


def _flash(a: Frame, b: Frame) -> bool:
    known = a.flash_fired is not None and b.flash_fired is not None
    return known and a.flash_fired != b.flash_fired


def _focus(a: Frame, b: Frame) -> bool:
    return _differs(a.focus_m, b.focus_m, FOCUS_SHARE)


_CHANGED = {
    "lens": _lens,
    "focal": _focal,
    "orientation": _orientation,
    "size": _size,
    "aperture": _aperture,
    "iso": _iso,
    "shutter": _shutter,
    "white_balance": _white_balance,
    "flash": _flash,
    "focus": _focus,
}


def _number_step(a: Frame, b: Frame) -> float:
    """How far the camera's file number moved on; a wrap from 9999 to 0001 counts as 1."""
    if a.counter is None or b.counter is None:
        return math.nan
    step = b.counter - a.counter
    if a.folder_number is not None and b.folder_number is not None:
        if a.folder_number != b.folder_number and step < 0:
            return float(step % 9999)
    elif a.folder != b.folder:
        return math.nan  # numbers given by hand in different folders do not compare
    return float(step)


def _moved_m(a: Frame, b: Frame) -> float:
    moved_m = ground_distance_m(a.latitude_deg, a.longitude_deg, b.latitude_deg, b.longitude_deg)
    return math.nan if moved_m is None else moved_m


MOVED_M = 10.0
"""Positions this far apart are another standpoint: twice the usual error of a receiver under
open sky (common practice, no source)."""


def moved_on(moved_m: Floats) -> bool:
    """Whether the recorded positions say that the camera was carried from frame to frame.

    The lower quarter speaks for all, because a receiver now and then jumps by a street.
    """
    known = np.sort(moved_m[np.isfinite(moved_m)])
    return bool(len(known) and float(known[(len(known) - 1) // 4]) > MOVED_M)


def middle(values: Floats) -> float:
    """The median of one or more known values.

    Of a handful of them ``np.median`` takes several times as long, for its checks.
    """
    ordered, count = np.sort(values), len(values)
    return float(ordered[(count - 1) // 2] + ordered[count // 2]) / 2


def median(values: Iterable[float]) -> float | None:
    """The median of the finite values, or ``None`` when there are none."""
    finite: Sequence[float] = [value for value in values if math.isfinite(value)]
    return middle(np.array(finite)) if finite else None
