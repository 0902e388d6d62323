"""Frames of a set sorted into views, rows, legs and steps."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grouper.group.exposures import exposure_levels, level_values
from grouper.group.pairs import FOCUS_SHARE, Floats, middle
from grouper.model import Frame, Glance, Member, Pointing, SetKind

VIEW_SHARE = 0.25
"""Frames closer than this share of the set's usual step look at one view: far above the error
of a measured pointing, far below the next view."""
LEAST_VIEW_DEG = 0.8
"""Nor are pointings told apart below this: about two pixels of a thumbnail at 50 mm."""
ROW_SHARE = 0.22
"""A jump in pitch by this share of the frame's height starts another row: rows overlap by a
quarter to a third, a hand wavers by less than a tenth (common practice, no source)."""
ASIDE_SHARE = 0.15
"""A hand that turns a column of views up keeps them above one another to a tenth of the width
(common practice, no source)."""
WORSE_SHARPNESS = 0.6
"""A later frame of a filled view is used unless it is this much less sharp than the earlier:
sharp pictures of one view differ by less, a shaken one falls further (measured for soft-frame)."""
MOST_ARE_STACKS = 0.6
"""Share of the views that must be stacks for the set to be one; a few doubled views are spares."""
USUAL_FOV_DEG = (50.0, 50.0)
"""Stands for an angle of view that is not known, across and up: that of a usual lens, a good 40 mm
long (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Row, view, leg, step of each frame, and which are spare; tuples of one length."""

    row: tuple[int, ...]
    view: tuple[int, ...]
    leg: tuple[int, ...]
    step: tuple[int, ...]
    spare: tuple[bool, ...]


def place_panorama(
    frames: Sequence[Frame],
    light: Floats,
    pointings: Sequence[Pointing],
    same_as_last: Sequence[bool],
    fov_deg: tuple[float, float] | None,
    glances: Sequence[Glance | None],
) -> Places:
    """Sort a panorama's frames, in shooting order, into their places.

    Args:
        frames: the frames.
        light: recorded light in EV, shape (n,), NaN unknown.
        pointings: where each frame looks. A frame whose pointing is not known is of the view of
            those it shares a stop with by ``same_as_last``, else a view of its own.
        same_as_last: whether a frame looks where the one before it looked.
        fov_deg: angle of view (horizontal, vertical) of the upright frame.
        glances: what each picture shows, for choosing between spares.

    Returns:
        The places; views are numbered row by row from the top, each in order of yaw.
    """
    cluster = _cluster_views(pointings, same_as_last)
    row_of, order = _order_views(cluster, pointings, fov_deg)
    view = tuple(order[c] for c in cluster)
    row = tuple(row_of[c] for c in cluster)
    leg = _legs(light, view)
    step = _steps(frames, view, leg)
    return Places(row=row, view=view, leg=leg, step=step, spare=_spares(view, leg, step, glances))


def place_still(
    kind: SetKind, frames: Sequence[Frame], light: Floats, glances: Sequence[Glance | None]
) -> Places:
    """Sort the frames of a set with one view: legs for a bracket, steps for a stack."""
    count = len(frames)
    zeros = (0,) * count
    if kind == "bracket":
        leg = exposure_levels(light) or zeros
        spare = _spares(zeros, leg, zeros, glances)
        return Places(row=zeros, view=zeros, leg=leg, step=zeros, spare=spare)
    if kind == "focus-stack":
        step = _focus_order(frames)
        return Places(row=zeros, view=zeros, leg=zeros, step=step, spare=(False,) * count)
    return Places(row=zeros, view=zeros, leg=zeros, step=zeros, spare=(False,) * count)


def members(
    frames: Sequence[Frame],
    places: Places,
    light: Floats,
    pointings: Sequence[Pointing],
    glances: Sequence[Glance | None],
) -> tuple[Member, ...]:
    """Frames and their places as the set's members."""
    offsets = ev_offsets(light)
    return tuple(
        Member(
            frame=frame,
            row=places.row[i],
            view=places.view[i],
            leg=places.leg[i],
            step=places.step[i],
            spare=places.spare[i],
            ev_offset=offsets[i],
            pointing=pointings[i],
            glance=glances[i],
        )
        for i, frame in enumerate(frames)
    )


def ev_offsets(light: Floats) -> tuple[float, ...]:
    """Light against the usual exposure level, in EV; 0 where the exposure is not known.

    The level of most frames is the usual one, so that one odd frame does not set the others
    off; among equally common levels, as in a bracket, it is the middle (the lighter of two).
    """
    finite = light[np.isfinite(light)]
    levels = exposure_levels(finite)
    if levels is None:
        return (0.0,) * len(light)
    counts = Counter(levels)
    common = sorted(level for level in counts if counts[level] == max(counts.values()))
    middle = level_values(finite)[common[len(common) // 2]]
    return tuple(round(float(v - middle), 3) if math.isfinite(v) else 0.0 for v in light)


def _direction(pointing: Pointing) -> tuple[float, float, float] | None:
    if pointing.yaw_deg is None or pointing.pitch_deg is None:
        return None
    yaw, pitch = math.radians(pointing.yaw_deg), math.radians(pointing.pitch_deg)
    return (
        math.sin(yaw) * math.cos(pitch),
        math.sin(pitch),
        math.cos(yaw) * math.cos(pitch),
    )


def _cluster_views(pointings: Sequence[Pointing], same_as_last: Sequence[bool]) -> list[int]:
    """Number the view of each frame, in order of first appearance."""
    directions = [_direction(pointing) for pointing in pointings]
    known = [i for i, direction in enumerate(directions) if direction is not None]
    label: dict[int, int] = {}
    if len(known) >= 2:
        vectors = np.array([directions[i] for i in known])
        found = _agglomerate(vectors, [same_as_last[i] for i in known])
        label = dict(zip(known, found, strict=True))
    elif known:
        label = {known[0]: 0}
    fresh = len(pointings)
    cluster: list[int] = []
    for i in range(len(pointings)):
        if i in label:
            cluster.append(label[i])
        elif i > 0 and same_as_last[i]:
            cluster.append(cluster[-1])
        else:
            cluster.append(_label_ahead(i, label, same_as_last, fresh))
            fresh += 1
    first = {c: n for n, c in enumerate(dict.fromkeys(cluster))}
    return [first[c] for c in cluster]


def _label_ahead(
    i: int, label: dict[int, int], same_as_last: Sequence[bool], otherwise: int
) -> int:
    """The label of the first known frame that looks where frame ``i``, not known, looks.

    The first leg of a bracket may be too light or too dark to be matched with anything.
    """
    for ahead in range(i + 1, len(same_as_last)):
        if not same_as_last[ahead]:
            break
        if ahead in label:
            return label[ahead]
    return otherwise


def _agglomerate(vectors: Floats, same_as_last: Sequence[bool]) -> list[int]:
    """Cluster unit vectors of shape (n, 3) that are much closer than the usual step."""
    from sklearn.cluster import AgglomerativeClustering

    apart = np.degrees(2 * np.arcsin(np.clip(_chords(vectors) / 2, 0, 1)))
    moves = [float(a) for a, same in zip(apart, same_as_last[1:], strict=True) if not same]
    limit = max(LEAST_VIEW_DEG, VIEW_SHARE * float(np.median(moves)) if moves else 0.0)
    fitted = AgglomerativeClustering(
        n_clusters=None,
        linkage="complete",
        distance_threshold=2 * math.sin(math.radians(limit) / 2),
    ).fit(vectors)
    return [int(label) for label in fitted.labels_]


def _chords(vectors: Floats) -> Floats:
    chords: Floats = np.linalg.norm(np.diff(vectors, axis=0), axis=1)
    return chords


def _order_views(
    cluster: Sequence[int], pointings: Sequence[Pointing], fov_deg: tuple[float, float] | None
) -> tuple[dict[int, int], dict[int, int]]:
    """Row and number of each clustered view: rows from the top, each in order of yaw.

    Views whose pointing is not known keep shooting order, in the row of the view before unless
    they fill rows of their own.
    """
    yaw: dict[int, list[float]] = defaultdict(list)
    pitch: dict[int, list[float]] = defaultdict(list)
    for c, pointing in zip(cluster, pointings, strict=True):
        if pointing.yaw_deg is not None and pointing.pitch_deg is not None:
            yaw[c].append(pointing.yaw_deg)
            pitch[c].append(pointing.pitch_deg)
    row_of = _rows({c: middle(np.array(p)) for c, p in pitch.items()}, yaw, fov_deg)
    views = list(dict.fromkeys(cluster))
    row_of = _with_unseen_rows(views[::-1], _with_unseen_rows(views, row_of))
    last_row, last_yaw = 0, -math.inf
    key: dict[int, tuple[int, float, int]] = {}
    for number, c in enumerate(views):
        if c in yaw:
            # The first frame speaks for its view: across the back of a full turn the mean of
            # +179 and -179 would point ahead.
            last_row, last_yaw = row_of[c], yaw[c][0]
        else:
            last_row = row_of.setdefault(c, last_row)
        key[c] = (row_of[c], last_yaw, number)
    ranked = sorted(views, key=lambda c: key[c])
    return row_of, {c: rank for rank, c in enumerate(ranked)}


def _rows(
    pitch: dict[int, float],
    yaw: dict[int, list[float]],
    fov_deg: tuple[float, float] | None,
) -> dict[int, int]:
    """Row of each view by pitch, the highest row 0."""
    wide, height = fov_deg or USUAL_FOV_DEG
    rows: list[list[int]] = []
    for c in sorted(pitch, key=lambda c: -pitch[c]):
        if rows and pitch[rows[-1][-1]] - pitch[c] <= ROW_SHARE * height:
            rows[-1].append(c)
        else:
            rows.append([c])
    merged: list[list[int]] = []
    for row in rows:
        if merged and _is_stair(merged[-1], row, yaw, ASIDE_SHARE * wide):
            merged[-1] += row
        else:
            merged.append(row)
    return {c: number for number, row in enumerate(merged) for c in row}


def _is_stair(
    upper: Sequence[int], lower: Sequence[int], yaw: dict[int, list[float]], aside_deg: float
) -> bool:
    """Whether all views of one row lie aside of all of the other: a slanting sweep, no rows."""
    above, below = ([yaw[c][0] for c in row] for row in (upper, lower))
    return min(below) - max(above) > aside_deg or min(above) - max(below) > aside_deg


def _with_unseen_rows(views: Sequence[int], row_of: dict[int, int]) -> dict[int, int]:
    """Rows, with those of views at the end that no picture ties to the rest, as rows of sky.

    Where two or more rows of equally many views were shot, and just as many follow, these are
    the next row the way the rows went.

    Args:
        views: the views in shooting order, or backwards where the first may be such rows.
        row_of: row of each view that is known, the highest 0.
    """
    runs = [(row, len(list(run))) for row, run in itertools.groupby(views, row_of.get)]
    known, (row, count) = runs[:-1], runs[-1]
    counts = {count for _, count in known}
    if row is not None or len(known) < 2 or len(counts) > 1 or any(r is None for r, _ in known):
        return row_of
    usual = counts.pop()
    if count % usual:
        return row_of
    added, is_up = count // usual, row_of[views[-count - 1]] < row_of[views[0]]
    base = max(row_of.values()) + 1
    shift = added if is_up else 0
    found = {c: row + shift for c, row in row_of.items()}
    for n, c in enumerate(views[-count:]):
        found[c] = added - 1 - n // usual if is_up else base + n // usual
    return found


def _legs(light: Floats, view: Sequence[int]) -> tuple[int, ...]:
    """Leg of each frame where views hold several exposures, else 0 for all.

    Levels are compared within each view and counted over the set, so that a sweep whose
    metering wandered from view to view has no legs.
    """
    by_view: dict[int, list[int]] = defaultdict(list)
    for i, v in enumerate(view):
        by_view[v].append(i)
    if len(by_view) == len(view):
        return (0,) * len(view)  # one frame each: most sweeps
    levels = {}
    for v, indexes in by_view.items():
        found = exposure_levels(light[indexes])
        levels[v] = found if found is not None else (0,) * len(indexes)
    counts = Counter(max(found) + 1 for found in levels.values())
    usual = max(counts, key=lambda n: (counts[n], n))
    if usual < 2:
        return (0,) * len(view)
    whole = [v for v, found in levels.items() if max(found) + 1 == usual]
    ladder = np.mean([_centred(level_values(light[by_view[v]])) for v in whole], axis=0)
    leg = [0] * len(view)
    for indexes in by_view.values():
        for i, number in zip(
            indexes, _match_ladder(light[indexes], ladder, light, whole, by_view), strict=True
        ):
            leg[i] = number
    return tuple(leg)


def _centred(values: Floats) -> Floats:
    centred: Floats = values - values.mean()
    return centred


def _match_ladder(
    light: Floats,
    ladder: Floats,
    every: Floats,
    whole: Sequence[int],
    by_view: dict[int, list[int]],
) -> list[int]:
    """Leg numbers of one view's frames against the set's ladder of exposures.

    The ladder floats with the view's metering: a whole view fixes its own offset, an
    incomplete one takes the median offset of the whole views.
    """
    values = level_values(light) if np.isfinite(light).all() else np.zeros(0)
    if len(values) == len(ladder):
        offset = float(values.mean())
    else:
        offset = float(np.median([level_values(every[by_view[v]]).mean() for v in whole]))
    distance = np.abs(np.nan_to_num(light)[:, None] - (ladder + offset)[None, :])
    return [int(number) for number in distance.argmin(axis=1)]


def _steps(frames: Sequence[Frame], view: Sequence[int], leg: Sequence[int]) -> tuple[int, ...]:
    """Focus step of each frame where views hold several focus distances, else 0 for all."""
    by_place: dict[tuple[int, int], list[int]] = defaultdict(list)
    for i, place in enumerate(zip(view, leg, strict=True)):
        by_place[place].append(i)
    stacked = [place for place in by_place.values() if _is_stack(frames, place)]
    if len(stacked) < MOST_ARE_STACKS * len(by_place):
        return (0,) * len(frames)
    step = [0] * len(frames)
    for indexes in by_place.values():
        for i, number in zip(indexes, _focus_order([frames[i] for i in indexes]), strict=True):
            step[i] = number
    return tuple(step)


def _is_stack(frames: Sequence[Frame], indexes: Sequence[int]) -> bool:
    """Whether equally exposed frames of one view differ in focus.

    By the recorded distances, and where there are none by being shot one after the other: a
    view that is visited again later is a spare or another take.
    """
    if len(indexes) < 2:
        return False
    distances = [frames[i].focus_m for i in indexes]
    if all(distance is not None for distance in distances):
        return len(set(distances)) > 1
    return indexes[-1] - indexes[0] == len(indexes) - 1


def _focus_order(frames: Sequence[Frame]) -> tuple[int, ...]:
    """Steps near to far by recorded focus distance, else in shooting order.

    Bodies focus from near to far by default (common practice, no source).
    """
    distances = [frame.focus_m for frame in frames]
    if any(distance is None for distance in distances):
        return tuple(range(len(frames)))
    values = [float(distance) for distance in distances if distance is not None]
    ordered = sorted(range(len(values)), key=lambda i: (values[i], i))
    distinct = all(
        values[b] - values[a] > FOCUS_SHARE * values[b]
        or math.isinf(values[b]) > math.isinf(values[a])
        for a, b in itertools.pairwise(ordered)
    )
    if not distinct:
        return tuple(range(len(frames)))
    step = [0] * len(frames)
    for number, i in enumerate(ordered):
        step[i] = number
    return tuple(step)


def _spares(
    view: Sequence[int],
    leg: Sequence[int],
    step: Sequence[int],
    glances: Sequence[Glance | None],
) -> tuple[bool, ...]:
    """Which frames are not used because another fills their place."""
    used: dict[tuple[int, int, int], int] = {}
    spare = [False] * len(view)
    for i, place in enumerate(zip(view, leg, step, strict=True)):
        if place in used:
            loser = used[place] if not _is_worse(glances[i], glances[used[place]]) else i
            spare[loser] = True
            if loser == i:
                continue
        used[place] = i
    return tuple(spare)


def _is_worse(later: Glance | None, earlier: Glance | None) -> bool:
    if later is None or earlier is None:
        return False
    return later.sharpness < WORSE_SHARPNESS * earlier.sharpness


def same_place(places: Places) -> NDArray[np.int_]:
    """Each frame's place as one number, equal for frames of the same view, leg and step."""
    keys = list(zip(places.view, places.leg, places.step, strict=True))
    numbers = {key: number for number, key in enumerate(dict.fromkeys(keys))}
    return np.array([numbers[key] for key in keys])
