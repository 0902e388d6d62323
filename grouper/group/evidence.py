"""Weights of evidence for pairs of neighbours: does this pair belong together, and as what?

All weights are natural-log likelihood ratios against the pair being a boundary between two
subjects: positive speaks for together. The shares below are estimates of how often a thing is
seen inside a set of a kind and at a boundary; where nothing else is said they are common
practice (no source), kept coarse on purpose, and were not fitted to any one card.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeGuard

import numpy as np
from numpy.typing import NDArray

from grouper.group.looking import SAME_VIEW_SHARE, is_sure, shift_of
from grouper.group.pairs import SETTINGS, STOP_EV, Floats, Pairs, middle
from grouper.group.rhythm import drive_pauses, log_pauses, pause_log_odds, usual_log_odds
from grouper.model import Frame, Sighting

PLAIN_TURNED = 0.2
"""Chance that two frames which can be matched with others, but not told of together, overlap
after all: one plain side of each, sky or water, may be what they share."""
OTHER_TONES_EV = 1.5
"""A rendered picture holds six stops or so: exposures further apart may each have lost what the
other shows, and that nothing was matched says nothing (common practice, no source)."""
ALIKE = {"same": 0.02, "turned": 0.47, "apart": 0.51}
"""Chances where two pictures look the same in all directions and were not matched, two views of
the sea: nothing speaks for or against a turn (with these shares the weight of a sweep's step is
0), but one view twice within seconds would have matched, if only by its sky."""
SAME_VIEW_SOFT = 0.015
"""How soft that limit is: half a thumbnail pixel of error each way on 160 pixels, four times."""

LONGEST_LEG_PAUSE_S = 5.0
"""Legs shot by hand follow within half a second to three seconds (common practice, no source)."""

SEEN_AT_BOUNDARY = {"same": 0.10, "turned": 0.14, "apart": 0.76}
"""Singles of one subject are often shot two or three at a time, re-framed."""

SETTING_SEEN = {
    # name: (share of pairs inside a set where it changes, share at boundaries)
    "lens": (0.002, 0.05),
    "focal": (0.005, 0.30),
    "orientation": (0.010, 0.25),
    "size": (0.005, 0.02),
    "aperture": (0.015, 0.15),
    "iso": (0.020, 0.20),
    "shutter": (0.030, 0.45),
    "white_balance": (0.010, 0.03),
    "flash": (0.010, 0.04),
}
ALL_SAME_LOG_ODDS = 0.7
"""Nothing changed speaks for together, but only so much: a photographer who locks the settings
shoots singles with them too, so the unchanged settings are one piece of evidence, not nine."""
MOST_AGAINST_SETTINGS = -7.0
"""Settings that all change at once have one cause, so they count for no more than one in a
thousand together (estimated)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)  # arrays: one strand's is itself only
class Evidence:
    """Arrays over the pairs of one strand, shape (n - 1,) unless said.

    ``same``, ``turned``, ``apart`` are the chances of the three relations, NaN where the
    pictures say nothing. ``overlap`` and ``shift`` are what was seen (NaN unknown), ``heading``
    the direction of the turn in degrees, 0 right and 90 up. ``pause`` is the weight of the pause
    as learned from the card, ``usual_pause`` as common practice has it. ``exposed`` marks a
    deliberate change of exposure. ``exposure`` is the weight of changes of ISO and shutter,
    ``settings`` that of all the others, the aperture among them.
    """

    pairs: Pairs
    same: Floats
    turned: Floats
    apart: Floats
    overlap: Floats
    shift: Floats
    heading: Floats
    log_pause: Floats
    pause: Floats
    usual_pause: Floats
    settings: Floats
    exposure: Floats
    exposed: NDArray[np.bool_]
    driven: NDArray[np.bool_]
    """Where the pauses are those of a drive that runs freely: the finger stays down, and what is
    even about such frames is the drive's doing."""
    looked: NDArray[np.bool_]
    """Where the pictures said anything."""
    tied: dict[int, tuple[tuple[int, Sighting], ...]]
    """For a frame, the earlier frames other than its neighbour that it surely overlaps."""

    def ties(self, frame: int, start: int) -> int:
        """How many frames from ``start`` to two before it a frame surely overlaps."""
        return sum(1 for i, _ in self.tied.get(frame, ()) if i >= start)

    def tie(self, frame: int, start: int) -> Sighting | None:
        """The surest overlap of a frame with frames from ``start`` to two before it."""
        ties = [sighting for i, sighting in self.tied.get(frame, ()) if i >= start]
        return max(ties, key=lambda sighting: sighting.certainty, default=None)


def weigh(pairs: Pairs) -> Evidence:
    """Weigh everything about neighbours that does not depend on the kind of set."""
    log_pause = log_pauses(pairs)
    exposed = _deliberate(pairs)
    same, turned, apart, overlap, shift, heading = _relations(pairs, exposed)
    return Evidence(
        pairs=pairs,
        same=same,
        turned=turned,
        apart=apart,
        overlap=overlap,
        shift=shift,
        heading=heading,
        log_pause=log_pause,
        pause=pause_log_odds(log_pause, 1.0 - apart),
        usual_pause=usual_log_odds(log_pause),
        settings=_settings_weight(pairs),
        exposure=_exposure_weight(pairs),
        exposed=exposed,
        driven=drive_pauses(pairs) < FAST_S,
        looked=np.isfinite(same),
        tied=_ties(pairs),
    )


EXPOSURE = ("iso", "shutter")
"""Weighed apart from the other settings: a metering that wanders and the legs of a bracket excuse
their changes. They do not excuse another aperture: that is chosen for the picture."""


def light_after(evidence: Evidence, last: int) -> float:
    """The light in EV of the frame behind one, where they were shot alike; else NaN."""
    if last + 1 >= len(evidence.pairs.frames) or evidence.settings[last] < 0:
        return math.nan
    return float(evidence.pairs.light[last + 1])


def relation_weight(evidence: Evidence, same: float, turned: float, apart: float) -> Floats:
    """Weight of what was seen, for a kind in which the relations have these shares."""
    return seen_weight(evidence, {"same": same, "turned": turned, "apart": apart}, (1.0, 1.0))


def seen_weight(
    evidence: Evidence,
    shares: Mapping[str, float],
    overlap: tuple[Floats | float, Floats | float],
) -> Floats:
    """The same, where the overlap tells as well.

    Args:
        evidence: of the strand.
        shares: of neighbours that look at one view, that turned, that have nothing in common.
        overlap: how usual an overlap like theirs is between turned neighbours, in the kind and
            outside of it.
    """
    usual = SEEN_AT_BOUNDARY
    inside, outside = overlap
    here = (
        evidence.same * shares["same"]
        + evidence.turned * shares["turned"] * inside
        + evidence.apart * shares["apart"]
    )
    there = (
        evidence.same * usual["same"]
        + evidence.turned * usual["turned"] * outside
        + evidence.apart * usual["apart"]
    )
    weight: Floats = np.where(evidence.looked, np.log(here / there), 0.0)
    return weight


STILL = {"same": 0.975, "turned": 0.01, "apart": 0.015}
"""What is seen between the legs of a bracket."""
STEP_TAKEN, STEP_MISSED = math.log(0.95 / 0.30), math.log(0.04 / 0.70)
"""Weight of a deliberate change of exposure, and of none, on an unchanged view."""


def still_weight(evidence: Evidence) -> Floats:
    """Weight of what was seen between neighbouring legs of one view."""
    return relation_weight(evidence, **STILL)


def _relations(pairs: Pairs, exposed: NDArray[np.bool_]) -> tuple[Floats, ...]:
    count = len(exposed)
    arrays = tuple(np.full(count, math.nan) for _ in range(6))
    same, turned, apart, overlap, shift, heading = arrays
    for i in range(count):
        sighting = pairs.seen(i, i + 1)
        if sighting is None:
            continue
        overlap[i] = sighting.overlap
        shift[i] = shift_of(sighting)
        heading[i] = heading_deg(sighting)
        still = 1 / (1 + math.exp(-(SAME_VIEW_SHARE - shift[i]) / SAME_VIEW_SOFT))
        sure = min(max(sighting.certainty, 0.002), 0.998)
        same[i], turned[i], apart[i] = sure * still, sure * (1 - still), 1 - sure
    matched = {i for pair, seen in pairs.sightings.items() if is_sure(seen) for i in pair}
    for i in range(count):
        if abs(pairs.light[i + 1] - pairs.light[i]) > OTHER_TONES_EV:
            continue
        if exposed[i] and pairs.pause_s[i] < LONGEST_LEG_PAUSE_S:
            continue  # likely legs: that plain pictures lie on one another is not told
        # Too plain to judge together, yet each matches another frame: they would have matched.
        if (
            math.isnan(apart[i])
            and i in matched
            and i + 1 in matched
            and (i, i + 1) in pairs.sightings
        ):
            same[i], turned[i], apart[i] = 0.02, PLAIN_TURNED, 1 - PLAIN_TURNED - 0.02
        if math.isnan(apart[i]) and _is_unmatched_alike(pairs, i):
            same[i], turned[i], apart[i] = ALIKE["same"], ALIKE["turned"], ALIKE["apart"]
    return arrays


def _is_unmatched_alike(pairs: Pairs, i: int) -> bool:
    if (i, i + 1) not in pairs.sightings or pairs.seen(i, i + 1) is not None:
        return False
    glances = pairs.glances[i : i + 2]
    return len(glances) == 2 and all(one is not None and one.is_alike for one in glances)


@lru_cache(maxsize=1)
def unmatched_alike(evidence: Evidence) -> NDArray[np.bool_]:
    """Pairs of pictures that look the same in all directions and were not matched.

    Remembered for the strand at hand, as ``find_stops`` is.
    """
    pairs = evidence.pairs
    return np.array([_is_unmatched_alike(pairs, i) for i in range(len(pairs.frames) - 1)], bool)


FAST_S = 0.6
"""A drive runs at 2 to 30 frames a second (common practice, no source): half a second and a
little for the write."""
SURE_TIE = 0.8
"""A frame is held against up to a dozen earlier ones, so one match among them must be surer than
that of two neighbours."""


def is_sure_tie(sighting: Sighting | None) -> TypeGuard[Sighting]:
    """Whether the pictures say that two frames overlap which are not neighbours."""
    return sighting is not None and sighting.certainty > SURE_TIE


def heading_deg(sighting: Sighting) -> float:
    """The direction of the turn, 0 right and 90 up."""
    return math.degrees(math.atan2(sighting.turn_deg[0], sighting.turn_deg[1]))


def _ties(pairs: Pairs) -> dict[int, tuple[tuple[int, Sighting], ...]]:
    found: dict[int, list[tuple[int, Sighting]]] = defaultdict(list)
    for (i, j), sighting in pairs.sightings.items():
        if j - i > 1 and is_sure_tie(sighting):
            found[j].append((i, sighting))
    return {j: tuple(ties) for j, ties in found.items()}


def _deliberate(pairs: Pairs) -> NDArray[np.bool_]:
    """Where the exposure was changed on purpose, not by a meter that drifted.

    In manual exposure every change is meant. In an automatic mode a change is meant when the
    body says it brackets, when the exposure compensation moved, or when the light recorded
    changes by more than a meter drifts on one scene.
    """
    frames = pairs.frames
    meant = []
    for i, (a, b) in enumerate(itertools.pairwise(frames)):
        step = abs(pairs.light[i + 1] - pairs.light[i])
        if not step > STOP_EV:  # NaN: unknown exposure is no change
            meant.append(False)
        elif (
            a.program == "manual"
            or (a.bracketing and b.bracketing)
            or (a.bias_ev is not None and b.bias_ev is not None and a.bias_ev != b.bias_ev)
        ):
            meant.append(True)
        else:
            meant.append(bool(step > METER_DRIFT_EV))
    return np.array(meant, dtype=bool)


METER_DRIFT_EV = 0.5
"""A meter on an unchanged view moves by a third of a stop, now and then by half of one."""


def _settings_weight(pairs: Pairs) -> Floats:
    weight = np.zeros(len(pairs.pause_s))
    any_changed = np.zeros(len(weight), dtype=bool)
    for name in SETTING_SEEN:
        if name in EXPOSURE:
            continue
        inside, boundary = SETTING_SEEN[name]
        changed = pairs.changed[name] & _chosen(pairs, name)
        weight += np.where(changed, math.log(inside / boundary), 0.0)
        any_changed |= changed
    same = ALL_SAME_LOG_ODDS * _told_share(pairs)
    return np.where(any_changed, np.maximum(weight, MOST_AGAINST_SETTINGS), same)


_RECORDED: dict[str, Callable[[Frame], object]] = {
    "lens": lambda frame: frame.lens,
    "focal": lambda frame: frame.focal_mm,
    "orientation": lambda frame: frame.is_upright,
    "size": lambda frame: frame.upright_px,
    "aperture": lambda frame: frame.aperture_f,
    "iso": lambda frame: frame.iso,
    "shutter": lambda frame: frame.exposure_s,
    "white_balance": lambda frame: frame.white_balance,
    "flash": lambda frame: frame.flash_fired,
}


def _told_share(pairs: Pairs) -> Floats:
    """How much of what unchanged settings can tell was recorded, 0 to 1.

    A setting tells the more the oftener it changes at boundaries; one that is not known tells
    nothing.
    """
    tells = {name: -math.log(1.0 - boundary) for name, (_, boundary) in SETTING_SEEN.items()}
    known = np.array(
        [
            sum(tell for name, tell in tells.items() if _RECORDED[name](frame) is not None)
            for frame in pairs.frames
        ]
    )
    share: Floats = np.minimum(known[:-1], known[1:]) / sum(tells.values())
    return share


AUTOMATIC = {
    "manual": (),
    "aperture": ("shutter", "iso"),
    "shutter": ("aperture", "iso"),
    "auto": ("aperture", "shutter", "iso"),
    None: (),
}
"""What the camera may have moved by itself in each program: its changes say nothing."""


def _chosen(pairs: Pairs, name: str) -> NDArray[np.bool_]:
    """Pairs in which the photographer, not the meter, has the say over a setting."""
    programs = [frame.program for frame in pairs.frames[:-1]]
    return np.array([name not in AUTOMATIC[program] for program in programs], dtype=bool)


def _exposure_weight(pairs: Pairs) -> Floats:
    """Weight of changed exposure settings where no leg of a bracket excuses them."""
    weight = np.zeros(len(pairs.pause_s))
    for name in EXPOSURE:
        inside, boundary = SETTING_SEEN[name]
        changed = pairs.changed[name] & _chosen(pairs, name)
        weight += np.where(changed, math.log(inside / boundary), 0.0)
    return weight


HAND_SPREAD, HALTING_SPREAD, CHANCE_SPREAD = 0.35, 1.2, 1.0
"""Spreads of log pauses about the usual one: under a steady hand, where it is interrupted, and of
pauses that are no rhythm (estimated)."""
HALTING_SHARE = 0.2
"""Share of a steady hand's pauses that are interrupted (estimated)."""
_VARIANCES = np.array([HAND_SPREAD, HALTING_SPREAD, CHANCE_SPREAD])[:, None] ** 2


def evenness_weight(log_pause: Floats, slack_s: Floats) -> float:
    """Weight of a run of pauses being one rhythm rather than scattered, summed over the run.

    Deviations from the run's own median are compared under a steady hand (a third either way,
    with a fifth of the pauses interrupted) and under pauses that scatter by a factor of e. One
    pause speaks for it by at most 1 and against it by at most 2, for one long wait has one cause.
    """
    known = np.isfinite(log_pause)
    values = log_pause[known]
    if len(values) < 2:
        return 0.0
    off = values - middle(values)
    # Whole-second stamps blur a pause by slack / sqrt(6) seconds.
    blur = slack_s[known] / math.sqrt(6) / np.exp(values)
    variance = _VARIANCES + blur * blur
    # Normal densities, but for a factor that all three share.
    steady, halting, chance = np.exp(-0.5 * off * off / variance) / np.sqrt(variance)
    weight = np.log(((1.0 - HALTING_SHARE) * steady + HALTING_SHARE * halting) / chance)
    return float(np.minimum(np.maximum(weight, -2.0), 1.0).sum())


assert set(SETTING_SEEN) == set(_RECORDED) <= set(SETTINGS)
