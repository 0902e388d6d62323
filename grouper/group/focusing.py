"""Focus that moves on one view, by recorded distances or by where the pictures are sharp."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from grouper.group.evidence import Evidence
from grouper.group.pairs import FOCUS_SHARE, Floats

SHOWN = 0.90
"""Share of stacks whose focus is seen to move as it does: one way. The rest were stepped unevenly,
there and back, or show too little in a thumbnail (estimated)."""
DRIFTS = 0.03
"""Share of other series of one view in which sharpness wanders one way for some other reason,
however many the frames (estimated)."""
MOVES = 0.5
"""The same of three frames, because a subject moved: too few to tell its path from a wandering
sharpness. Of each frame more it is half of that (estimated)."""
DRIFTS_LOOSELY = 0.10
"""The same where the camera swayed, so that the fields come to show other parts of the subject, or
where only the plane through them tells: what crosses the frame tilts it, too (estimated)."""
FADED_SHARE = 0.20
"""Where the mean level differs by more the light changed, by two thirds of a stop on the usual tone
curve (2.2), and noise and tones with it: such pictures tell nothing of focus. A lens that breathes
moves the level by up to a tenth (measured on rendered cards and on real stacks)."""
REFOCUSED = 0.30
"""Share of other series of one view whose recorded distances differ at all (estimated)."""
TRACKED = 0.05
"""Share of other series of one view whose recorded distances run one way: the autofocus follows
somebody who comes nearer (estimated)."""
ALSO_SEEN, NOT_SEEN = math.log(0.70 / 0.15), math.log(0.30 / 0.85)
"""Weight of the pictures where distances ran one way: what is far away shows little of it in a
thumbnail, what is tracked less (estimated)."""
YET_HELD = math.log(0.10 / 0.70)
"""Weight of recorded distances that stay as they are: the camera rides on a rail, or the lens
tells its distance but coarsely; mostly the focus did stay (estimated)."""
AGAINST = math.log(0.10 / 0.95)
"""Weight where focus is seen not to move one way: what is left of the shares above."""
NOISE, PLANE_NOISE = 0.05, 0.025
"""Root mean square change of the focus map where nothing changed, of its fields and of the plane
through them: JPEG noise and leaves that stir, on nine views of ten that a tripod holds (measured on
rendered cards)."""
MOST_NOISE = 0.10
"""More change to and fro, twice as much as is usual, is something that moves (estimated)."""
SMOOTH_SHARE = 0.90
"""Share of the change that lies along a smooth path: plane after plane comes into focus and goes
out again, and stacks lose a twentieth to anything else. A subject that moves covers now this field,
now that; a hand trembles, and the body behind it sways to and fro (measured on rendered cards)."""
PLANE_SMOOTH_SHARE = 0.75
"""The same of the plane through the fields. Short of noise it would lie along the path almost all,
but steps that are small to the eye leave a quarter of it to noise."""
MAIN_SHARE = 0.75
"""Share of the change along its main direction, which stands for a smooth path where frames are too
few to tell one from chance."""
FEWEST_SMOOTH = 4
"""Frames that leave something over to tell a parabola by, which has three parameters."""
ONE_WAY_ORDER = 0.8
"""Correlation of the way along the main direction with the order of shooting."""
STOOD_SHARE = 0.01
"""Frames shifted by more of the frame were not shot from a tripod: their fields show other parts
of the subject. A tripod holds to a third of this, a hand that shoots again is off by twice as much
or more (measured on rendered cards and on real stacks)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Focus:
    """How focus moves through a series of frames."""

    weight: float
    """Natural-log weight of a stack against another series of the same view."""
    reason: str
    chance: float = 1.0
    """Chance that frames focused anew each time come in such an order."""
    stood: bool = True
    """Nothing speaks against a tripod."""


def focus_of(evidence: Evidence, start: int, end: int) -> Focus | None:
    """How focus moves through frames ``start`` to ``end``.

    ``None`` where neither distances nor pictures can tell.
    """
    frames = evidence.pairs.frames[start : end + 1]
    distances = [frame.focus_m for frame in frames]
    seen = _wandering(evidence, start, end)
    if any(distance is None for distance in distances):
        return seen
    values = np.array([float(distance) for distance in distances if distance is not None])
    recorded = _recorded(values)
    if recorded is not None:
        if seen is None or recorded.weight <= 0:
            return recorded
        told = ALSO_SEEN if seen.weight > 0 else NOT_SEEN
        return replace(recorded, weight=recorded.weight + told)
    if seen is None or seen.weight <= 0:
        return Focus(weight=AGAINST, reason=f"focus stays at {values[0]:.2f} m")
    return replace(seen, weight=seen.weight + YET_HELD)


def focus_weight(evidence: Evidence, start: int, end: int) -> tuple[float, str] | None:
    """Weight and reason of focus that moves at one view of a sweep, if it does.

    Nothing speaks against it there: a thumbnail shows little of most steps, and frames repeated
    at every view belong to the sweep whatever they were repeated for.
    """
    focus = focus_of(evidence, start, end)
    if focus is None or not focus.stood or focus.weight <= 0:
        return None
    return focus.weight, focus.reason


def _recorded(distances_m: Floats) -> Focus | None:
    """What distances that move say of focus; ``None`` where they stay."""
    dioptres = 1 / np.maximum(distances_m, 1e-3)
    near, far = float(dioptres.max()), float(dioptres.min())
    if near - far <= 2 * FOCUS_SHARE * near:
        return None  # autofocus that tries again lands within that
    reason = f"focus runs from {distances_m[0]:.2f} to {distances_m[-1]:.2f} m"
    steps = np.diff(dioptres)
    moved = np.abs(steps) > FOCUS_SHARE * near
    if (steps[moved] > 0).any() and (steps[moved] < 0).any():
        return Focus(weight=AGAINST, reason="focus moves to and fro")
    chance = _chance(dioptres)
    weight = math.log(SHOWN / (REFOCUSED * chance + TRACKED))
    return Focus(weight=weight, reason=reason, chance=chance)


def _chance(positions: Floats) -> float:
    """Chance that positions in any order, shape (n,), run so well with the order of shooting.

    Frames focused anew each time come in any order. How often they correlate with it as well as
    this is Student's test of a correlation (Fisher 1915): 0.06 for 0.996 in three frames, one in a
    thousand for 0.9 in nine. Two frames always run one way.
    """
    if len(positions) < 3:
        return 1.0
    # Imported here so that --help and --version need not wait for it.
    from scipy.special import betainc

    rest = max(0.0, 1 - _order(positions) ** 2)
    return float(betainc(len(positions) / 2 - 1, 0.5, rest))


def _order(positions: Floats) -> float:
    return abs(float(np.corrcoef(positions, np.arange(len(positions)))[0, 1]))


def _sway_of(evidence: Evidence, start: int, end: int) -> float | None:
    """The largest shift among the neighbours that were matched; ``None`` if few were."""
    known = evidence.same[start:end] + evidence.turned[start:end] > 0.5  # likelier than not
    shift = evidence.shift[start:end][known]
    return float(shift.max()) if len(shift) * 2 > end - start else None


def _wandering(evidence: Evidence, start: int, end: int) -> Focus | None:
    """What the pictures show: fields that grow sharp while others blur, one way to the end."""
    glances = [glance for glance in evidence.pairs.glances[start : end + 1] if glance is not None]
    maps = [glance.focus_map for glance in glances if glance.focus_map]
    sway = _sway_of(evidence, start, end)
    if len(maps) != end - start + 1 or len(maps) < 3 or sway is None:
        return None
    levels = [glance.mean for glance in glances]
    if max(levels) - min(levels) > FADED_SHARE * max(levels):
        return None
    stood = sway <= STOOD_SHARE
    change = np.array(maps) - np.mean(maps, axis=0)
    way = _way(change, NOISE, SMOOTH_SHARE)
    drifts = DRIFTS if stood and way is not None else DRIFTS_LOOSELY
    if way is None and stood and _is_noisy_at_most(change):
        # Each field shows one part throughout, so that noise is all that ails it: what depth does
        # across the frame stands out of that. By hand it might be the hand's doing.
        way = _way(change @ _planes(change.shape[1]), PLANE_NOISE, PLANE_SMOOTH_SHARE)
    if way is None:
        same = _size(change) < NOISE
        reason = (
            "the same parts are sharp throughout" if same else "sharpness does not wander one way"
        )
        return Focus(weight=AGAINST, reason=reason, stood=stood)
    drifts += MOVES * 0.5 ** (len(maps) - 3)
    chance = _chance(way)
    weight = math.log(SHOWN / (chance + drifts))
    reason = "sharpness wanders through the picture"
    return Focus(weight=weight, reason=reason, chance=chance, stood=stood)


def _size(change: Floats, parameters: int = 1) -> float:
    """Root mean square change of a field, shape (n, fields), of which so much was taken out."""
    return math.sqrt(float((change**2).sum()) / ((len(change) - parameters) * change.shape[1]))


def _way(change: Floats, noise: float, least_share: float) -> Floats | None:
    """How far along its main direction a change is, frame by frame, shape (n,), if it goes one way.

    ``None`` where it does not stand out of the noise, is no smooth path, or goes to and fro.
    """
    if _size(change) < noise:
        return None
    smooth = _smooth(change)
    if len(change) < FEWEST_SMOOTH:
        if _main_share(change) < MAIN_SHARE:
            return None
    elif _smooth_share(change, smooth) < least_share:
        return None
    ways = [change @ _main(smooth)]
    # As the plane comes to the thick of the subject all grows sharp and then less so: the fields go
    # one way against each other. Beyond its end all of them blur together.
    apart = change - _common(change)
    if _size(apart) >= noise:
        ways.append(apart @ _main(smooth - _common(smooth)))
    way: Floats = max(ways, key=_order)
    return way if _order(way) >= ONE_WAY_ORDER else None


def _common(change: Floats) -> Floats:
    common: Floats = change.mean(axis=1, keepdims=True)
    return common


def _main(change: Floats) -> Floats:
    """The main direction of a change, shape (fields,): its first principal component."""
    _, _, right = np.linalg.svd(change, full_matrices=False)
    direction: Floats = right[0]
    return direction


def _nearest(*columns: Floats) -> Floats:
    """The projection to what these columns, shape (n,) each, make up, shape (n, n)."""
    basis, _ = np.linalg.qr(np.stack(columns, axis=1))
    nearest: Floats = basis @ basis.T
    return nearest


@lru_cache(maxsize=64)
def _parabolas(count: int) -> Floats:
    """The projection of so many frames to parabolas over their course."""
    course = np.linspace(-1, 1, count)
    return _nearest(np.ones(count), course, course**2)


@lru_cache(maxsize=4)
def _planes(fields: int) -> Floats:
    """The projection of so many fields, as many across as down, to planes over the frame."""
    count = math.isqrt(fields)
    side = np.linspace(-1, 1, count)
    return _nearest(np.ones(fields), np.repeat(side, count), np.tile(side, count))


def _smooth(change: Floats) -> Floats:
    """The part of a change, shape (n, fields), along a smooth path; all of it if frames are few."""
    return _parabolas(len(change)) @ change if len(change) >= FEWEST_SMOOTH else change


def _smooth_share(change: Floats, smooth: Floats) -> float:
    """Share of a change that its smooth part explains.

    Adjusted for what three parameters explain of noise (Theil 1961).
    """
    return 1 - (_size(change - smooth, 3) / _size(change)) ** 2


def _main_share(change: Floats) -> float:
    """Share of a change along its main direction."""
    size = np.linalg.svd(change, compute_uv=False)
    return float(size[0] ** 2 / (size**2).sum())


def _is_noisy_at_most(change: Floats) -> bool:
    """Whether all that is to and fro in a change may be noise; so it may be if frames are few."""
    if len(change) < FEWEST_SMOOTH:
        return True
    return _size(change - _smooth(change), 3) < MOST_NOISE
