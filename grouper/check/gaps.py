"""Neighbours in a sweep, and whether their pictures meet.

Each pair of neighbouring views gets exactly one verdict, so that a missing frame is never
also a thin overlap. Evidence is taken in the order of its strength: what the two pictures
show, the angles, the file numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from grouper import optics
from grouper.check.norm import median
from grouper.check.views import View, find_rows, find_views
from grouper.model import Frame, Member, Set, Sighting
from grouper.settings import CheckSettings

Verdict = Literal["gap", "thin", "fine", "unknown"]
Evidence = Literal["angle", "pictures", "numbers", "none"]

_NO_GROUND = 0.02
"""Overlap by angle below which two frames share nothing: the error of an angle of view
worked out from whole millimetres is about as large (±0.5 mm at 24 mm: ±1.15 of 74 degrees)."""
_WELL_INSIDE = 0.9
"""Share of a frame's half-width and half-height that counts as surely inside it."""
_TWO_STEPS = 2.4
"""Two steps in one are up to so many usual ones while each is even to a fifth."""
_PLAUSIBLE_HOLE = 50
"""A hole of more numbers than this is another card or a new numbering, not missing frames
(common practice, no source)."""
_HARDLY = 0.3
"""Certainty up to which a fit is likely chance: less than one in three."""
_HARDLY_LIKENESS = 0.5
"""Such a fit is held for chance in an even sweep if it agrees less than half as well as the others
do: of thirteen doubted pairs on rendered cards of the tuning seeds three of the six that were no
neighbours lie below, and of the seven that were one, in a sweep of too few others to be even."""
_EVEN_PAIRS = 4
"""So many other pairs that match, all by much the same step, show that a sweep is even and that
its pictures can be matched."""
_FEATURELESS = 0.03
"""Spread of grey levels below which a picture is plain sky or fog and cannot be matched
(three hundredths of full scale, about twice what noise and JPEG blocks make: practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two views that should meet. ``frames`` are the two shot nearest to each other."""

    a: View
    b: View
    frames: tuple[str, str]
    axis: Literal["yaw", "pitch"] = "yaw"
    step_deg: float | None = None
    overlap: float | None = None
    seen: bool | None = None
    """The pictures show common ground, show none, or could not be judged."""
    is_hardly_seen: bool = False
    """Could not be judged, but what was found is likely chance."""
    score: float | None = None
    """How well the pictures agree where they fit best."""
    is_cut: bool = False
    """Between the last and the first view by yaw of a full turn."""
    is_seam: bool = False
    """Between the last and the first frame shot of a full turn."""
    usual_deg: tuple[float, float] | None = None
    """Smallest and largest of the sweep's other ordinary steps."""
    is_long: bool = False
    """The step is long enough, against the others, to have left a view out."""
    views_missing: int = 0
    verdict: Verdict = "unknown"
    evidence: Evidence = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """File numbers left out between two frames shot one after the other."""

    before: Member
    after: Member
    numbers: tuple[int, ...]


_JUDGED: ContextVar[dict[tuple[int, int], tuple[Pair, ...]] | None] = ContextVar(
    "judged", default=None
)


@contextmanager
def judged_once() -> Iterator[None]:
    """Within it, the neighbours of a set are judged once, however many checks ask.

    Sets and settings must live as long as the block: they are told apart by identity, for
    comparing two sets of hundreds of frames costs more than it saves.
    """
    token = _JUDGED.set({})
    try:
        yield
    finally:
        _JUDGED.reset(token)


def judge_neighbours(found: Set, settings: CheckSettings) -> tuple[Pair, ...]:
    """Every pair of neighbours of a panorama with its verdict, rows first, then holes.

    Pairs that only a hole in the file numbers speaks for (at the change of rows, or where
    there are no angles) come last.
    """
    judged = _JUDGED.get()
    if judged is None:
        return _judge_set(found, settings)
    key = id(found), id(settings)
    if key not in judged:
        judged[key] = _judge_set(found, settings)
    return judged[key]


def _judge_set(found: Set, settings: CheckSettings) -> tuple[Pair, ...]:
    sightings = _sightings(found)
    pairs = [_measure(pair, found, sightings, settings) for pair in _chains(found)]
    pairs = [_covered(pair, found) for pair in _judge(pairs, settings)]
    return tuple(_with_holes(found, pairs))


# --- Which views are neighbours -----------------------------------------------------------


def _chains(found: Set) -> list[Pair]:
    order = {member.frame.file: index for index, member in enumerate(found.members)}
    rows = tuple(_by_yaw(row, found) for row in find_rows(found))
    if len(rows) > 1 and all(len(row) == 1 for row in rows):
        column = [row[0] for row in rows]
        return [_pair(a, b, order, axis="pitch") for a, b in pairwise(column)]
    pairs = [_pair(a, b, order) for row in rows for a, b in pairwise(row)]
    cuts = [
        replace(_pair(row[-1], row[0], order), is_cut=True)
        for row in rows
        if is_full_turn(row, found)
    ]
    return _mark_seam([*pairs, *cuts], rows, found)


def _by_yaw(row: Sequence[View], found: Set) -> tuple[View, ...]:
    """The row in order of yaw where that is known, else as its views are numbered."""
    assumed = found.layout is None or found.layout.pointing_from == "assumed"
    if assumed or any(view.yaw_deg is None for view in row):
        return tuple(row)
    return tuple(sorted(row, key=lambda view: view.yaw_deg or 0.0))


def is_full_turn(row: Sequence[View], found: Set) -> bool:
    """Whether the row is a full turn, so that its ends are neighbours too."""
    if len(row) < 3 or found.layout is None or found.layout.fov_deg is None:
        return False
    yaws = [view.yaw_deg for view in row if view.yaw_deg is not None]
    if len(yaws) < len(row) or found.layout.pointing_from == "assumed":
        return False
    # A turn that lacks its last frame leaves (1 - 2 o) of a frame uncovered at an overlap o:
    # two fifths at 30 %. More is an open sweep. So is what lies further apart than two steps in
    # one can, where the angle of view is not known well.
    seam = 360.0 - (max(yaws) - min(yaws))
    usual = median([b - a for a, b in pairwise(sorted(yaws))])
    return seam < 1.4 * _width_deg(row[0], found) and seam <= _TWO_STEPS * usual


def _mark_seam(pairs: list[Pair], rows: tuple[tuple[View, ...], ...], found: Set) -> list[Pair]:
    """The seam is where shooting began and ended, wherever yaw happens to be cut."""
    order = {member.frame.file: index for index, member in enumerate(found.members)}
    marked = list(pairs)
    for row in rows:
        if not is_full_turn(row, found):
            continue
        first = min(row, key=lambda view: order[view.files[0]])
        last = max(row, key=lambda view: order[view.files[0]])
        for index, pair in enumerate(marked):
            if {pair.a.number, pair.b.number} == {first.number, last.number}:
                marked[index] = replace(pair, is_seam=True)
    return marked


def _pair(a: View, b: View, order: dict[str, int], axis: Literal["yaw", "pitch"] = "yaw") -> Pair:
    nearest = min(
        ((x, y) for x in a.files for y in b.files),
        key=lambda files: abs(order[files[0]] - order[files[1]]),
    )
    first, second = sorted(nearest, key=order.__getitem__)
    return Pair(a=a, b=b, frames=(first, second), axis=axis)


# --- What is known of a pair --------------------------------------------------------------


def _sightings(found: Set) -> dict[frozenset[str], Sighting]:
    return {
        frozenset((link.a, link.b)): link.sighting
        for link in found.links
        if link.sighting is not None
    }


def _measure(
    pair: Pair, found: Set, sightings: dict[frozenset[str], Sighting], settings: CheckSettings
) -> Pair:
    sighting = max(
        (
            sightings[key]
            for x in pair.a.files
            for y in pair.b.files
            if (key := frozenset((x, y))) in sightings
        ),
        key=lambda candidate: candidate.certainty,
        default=None,
    )
    seen = _is_seen(sighting, settings)
    hardly = seen is None and sighting is not None and sighting.certainty <= _HARDLY
    step = _step(pair, found)
    overlap = _overlap_by_angle(pair, step, found)
    if seen and sighting is not None:
        overlap = sighting.overlap
        if step is None:
            step = abs(sighting.turn_deg[1 if pair.axis == "yaw" else 0]) or None
    return replace(
        pair,
        seen=seen,
        is_hardly_seen=hardly,
        score=None if sighting is None else sighting.score,
        step_deg=step,
        overlap=overlap,
    )


def _is_seen(sighting: Sighting | None, settings: CheckSettings) -> bool | None:
    if sighting is None:
        return None
    if sighting.certainty >= settings.trusted_sighting:
        return True
    is_rejected = (
        sighting.certainty <= settings.rejected_sighting
        and sighting.score <= settings.rejected_score
    )
    return False if is_rejected else None


def _step(pair: Pair, found: Set) -> float | None:
    if found.layout is not None and found.layout.pointing_from == "assumed":
        return None
    if pair.axis == "pitch":
        if pair.a.pitch_deg is None or pair.b.pitch_deg is None:
            return None
        return abs(pair.b.pitch_deg - pair.a.pitch_deg)
    if pair.a.yaw_deg is None or pair.b.yaw_deg is None:
        return None
    step = pair.b.yaw_deg - pair.a.yaw_deg
    # Rows run by rising yaw: only where a full turn is cut does yaw fall and counts on through
    # 360. Views numbered out of order by a hair are simply close.
    return step + 360.0 if pair.is_cut else abs(step)


def _overlap_by_angle(pair: Pair, step_deg: float | None, found: Set) -> float | None:
    layout = found.layout
    if step_deg is None or layout is None or layout.fov_deg is None:
        return None
    if pair.axis == "pitch" and layout.mapping == "rectilinear":
        return optics.overlap_rectilinear(step_deg, layout.fov_deg[1])
    covered = layout.fov_deg[1] if pair.axis == "pitch" else _width_deg(pair.a, found)
    return optics.overlap_angular(step_deg, covered)


def _width_deg(view: View, found: Set) -> float:
    """Yaw that a frame of the view covers at its middle: more the higher it looks."""
    layout = found.layout
    if layout is None or layout.fov_deg is None:
        raise ValueError("width asked of a set without angles")
    return 2.0 * optics.yaw_half_width(layout.fov_deg[0], view.pitch_deg or 0.0)


# --- Verdicts -----------------------------------------------------------------------------


def _judge(pairs: list[Pair], settings: CheckSettings) -> list[Pair]:
    return [_verdict(pair, pairs, settings) for pair in pairs]


def _verdict(pair: Pair, pairs: list[Pair], settings: CheckSettings) -> Pair:
    others = _other_steps(pair, pairs)
    if others:
        norm = median(others)
        # A second gap says nothing of how even the sweep is otherwise.
        ordinary = [step for step in others if step < settings.missing_frame_steps * norm]
        others = ordinary or others
        pair = replace(
            pair,
            usual_deg=(min(others), max(others)),
            is_long=pair.step_deg is not None
            and pair.step_deg >= settings.missing_frame_steps * norm,
        )
    if pair.overlap is not None and (pair.step_deg is not None or pair.seen):
        return _verdict_by_overlap(pair, others, settings)
    is_even = len(others) >= _EVEN_PAIRS and _are_even(others, settings)
    unseen = pair.seen is False or (is_even and _is_chance(pair, pairs))
    if unseen and _others_are_seen(pair, pairs) and not _is_featureless(pair):
        if _usual_overlap(pair, pairs) < settings.thin_overlap_share:
            # Where all overlap thinly, one pair that shows nothing is thinner still, not a gap.
            return replace(pair, verdict="thin", evidence="pictures")
        return replace(pair, verdict="gap", evidence="pictures", views_missing=1)
    return pair


def _is_chance(pair: Pair, pairs: list[Pair]) -> bool:
    """Whether a fit that is hardly believed is far from as good as those of the other pairs."""
    others = [other.score for other in pairs if other.seen and other.score is not None]
    if not pair.is_hardly_seen or pair.score is None or not others:
        return False
    return pair.score <= _HARDLY_LIKENESS * median(others)


def _verdict_by_overlap(pair: Pair, others: list[float], settings: CheckSettings) -> Pair:
    overlap = pair.overlap or 0.0
    evidence: Evidence = "angle" if pair.step_deg is not None else "pictures"
    missing = 1
    if pair.step_deg is not None and others:
        missing = max(1, round(pair.step_deg / median(others)) - 1)
    is_even = len(others) >= 2 and _are_even(others, settings)
    enough = settings.covered_overlap if is_even else settings.missing_frame_overlap
    if (pair.is_long and overlap < enough) or (overlap < _NO_GROUND and not pair.seen):
        return replace(pair, verdict="gap", evidence=evidence, views_missing=missing)
    if overlap < settings.thin_overlap_share:
        return replace(pair, verdict="thin", evidence=evidence)
    return replace(pair, verdict="fine", evidence=evidence)


def _are_even(steps: list[float], settings: CheckSettings) -> bool:
    return max(steps) <= settings.even_steps * median(steps)


def _covered(pair: Pair, found: Set) -> Pair:
    """A gap in a row is none where frames of other rows show what lies between.

    Irregular sweeps by hand are put into rows as well as may be; in regular ones a row's
    middle lies outside the frames of the next row.
    """
    layout = found.layout
    if pair.verdict != "gap" or pair.evidence != "angle" or pair.axis == "pitch":
        return pair
    if layout is None or layout.fov_deg is None or pair.a.pitch_deg is None:
        return pair
    yaw = (pair.a.yaw_deg or 0.0) + (pair.step_deg or 0.0) / 2.0
    pitch = (pair.a.pitch_deg + (pair.b.pitch_deg or 0.0)) / 2.0
    for view in find_views(found):
        if view.row == pair.a.row or view.yaw_deg is None or view.pitch_deg is None:
            continue
        aside = abs(optics.within_half_turn(view.yaw_deg - yaw))
        is_beside = aside <= _WELL_INSIDE * _width_deg(view, found) / 2.0
        if is_beside and abs(view.pitch_deg - pitch) <= _WELL_INSIDE * layout.fov_deg[1] / 2.0:
            return replace(pair, verdict="fine")
    return pair


def _other_steps(pair: Pair, pairs: list[Pair]) -> list[float]:
    """Steps of the pair's own row, else of all rows at the pair's pitch, itself left out."""
    rest = [other for other in _rest(pair, pairs) if other.step_deg]
    if pair.axis == "pitch":
        return [other.step_deg for other in rest if other.step_deg]
    own = [other.step_deg for other in rest if other.step_deg and other.a.row == pair.a.row]
    if len(own) >= 2:
        return own
    wide = _widening(pair.a)
    return [
        other.step_deg * wide / _widening(other.a) for other in rest if other.step_deg is not None
    ]


def _widening(view: View) -> float:
    """How much longer the yaw step of a pitched row may be: 1 / cos of the pitch."""
    return optics.yaw_half_width(1.0, view.pitch_deg or 0.0) / 0.5


def _rest(pair: Pair, pairs: list[Pair]) -> list[Pair]:
    """The other pairs, told by their views: a pair is copied while it is judged."""
    own = (pair.a.number, pair.b.number)
    return [other for other in pairs if (other.a.number, other.b.number) != own]


def _others_are_seen(pair: Pair, pairs: list[Pair]) -> bool:
    """All the sweep's other pairs match, and each of the two frames with its other neighbour.

    So both are known to hold what it takes to match. The first and the last frame of a row
    have no other neighbour to show it: nothing is said of them.
    """
    rest = [other for other in _rest(pair, pairs) if not other.is_seam]
    matched = [number for other in rest for number in (other.a.number, other.b.number)]
    return (
        all(other.seen for other in rest) and pair.a.number in matched and pair.b.number in matched
    )


def _usual_overlap(pair: Pair, pairs: list[Pair]) -> float:
    overlaps = [other.overlap for other in _rest(pair, pairs) if other.overlap is not None]
    return median(overlaps) if overlaps else 0.0


def _is_featureless(pair: Pair) -> bool:
    return any(
        member.glance is not None and member.glance.spread < _FEATURELESS
        for member in (*pair.a.members, *pair.b.members)
    )


# --- File numbers -------------------------------------------------------------------------


def find_holes(found: Set) -> tuple[Hole, ...]:
    """Numbers left out between members shot one after the other.

    Empty where the numbers do not simply count up (renamed files, two numbers a release):
    then a hole means nothing.
    """
    steps = [
        (a, b, distance)
        for a, b in pairwise(found.members)
        if (distance := step_in_numbers(a.frame, b.frame)) is not None
    ]
    plain = sum(distance == 1 for _, _, distance in steps)
    # Two or three frames cannot show a habit: there only proper file numbers are trusted.
    is_counter = all((frame.counter or 0) <= optics.COUNTER_LAST for frame in found.frames)
    if 2 * plain < len(steps) and not (is_counter and len(steps) < 3):
        return ()
    return tuple(
        Hole(before=a, after=b, numbers=numbers)
        for a, b, _ in steps
        if (numbers := numbers_left_out(a.frame, b.frame))
    )


def step_in_numbers(a: Frame, b: Frame) -> int | None:
    """How many numbers ``b`` comes after ``a``; ``None`` when that cannot be said."""
    if a.counter is None or b.counter is None:
        return None
    if a.folder != b.folder:
        known = a.folder_number is not None and b.folder_number is not None
        if not known or b.folder_number != (a.folder_number or 0) + 1:
            return None
    return optics.counter_distance(a.counter, b.counter)


def numbers_left_out(a: Frame, b: Frame) -> tuple[int, ...]:
    """The numbers between two frames; none where so many are another card or numbering."""
    distance = step_in_numbers(a, b)
    if distance is None or distance > _PLAUSIBLE_HOLE:
        return ()
    return skipped_numbers(a, distance)


def skipped_numbers(a: Frame, distance: int) -> tuple[int, ...]:
    """The numbers between ``a`` and the frame ``distance`` numbers on."""
    numbers, number = [], a.counter or 0
    for _ in range(distance - 1):
        number = optics.next_counter(number) if number <= optics.COUNTER_LAST else number + 1
        numbers.append(number)
    return tuple(numbers)


def _with_holes(found: Set, pairs: Iterable[Pair]) -> Iterable[Pair]:
    by_views = {frozenset((pair.a.number, pair.b.number)): pair for pair in pairs}
    views = {view.number: view for view in find_views(found)}
    spoken: dict[frozenset[int], Pair] = {}
    for hole in find_holes(found):
        key = frozenset((hole.before.view, hole.after.view))
        if len(key) == 1 or hole.before.spare or hole.after.spare or _is_short(hole, views):
            continue  # within one view it is a leg or step that is missing, or a spare
        pair = by_views.get(key)
        if pair is None and _is_complete_grid(found):
            continue
        if pair is None:
            a, b = views[hole.before.view], views[hole.after.view]
            pair = Pair(a=a, b=b, frames=(hole.before.frame.file, hole.after.frame.file))
        if pair.verdict == "unknown" or (pair.verdict == "thin" and pair.is_long):
            per_view = max(1, round(sum(len(view.members) for view in views.values()) / len(views)))
            spoken[key] = replace(
                pair,
                verdict="gap",
                evidence="numbers",
                frames=(hole.before.frame.file, hole.after.frame.file),
                views_missing=max(1, round(len(hole.numbers) / per_view)),
            )
    yield from (spoken.pop(key, pair) for key, pair in by_views.items())
    yield from spoken.values()


def _is_short(hole: Hole, views: dict[int, View]) -> bool:
    """A view beside the hole has fewer frames than most: the hole is its missing leg."""
    usual = median([len(view.members) for view in views.values()])
    lacking = sum(
        max(0.0, usual - len(views[number].members))
        for number in {hole.before.view, hole.after.view}
    )
    return lacking >= len(hole.numbers)


def _is_complete_grid(found: Set) -> bool:
    """All rows hold equally many views at known angles: nothing is missing between rows."""
    rows = find_rows(found)
    known = all(view.yaw_deg is not None for row in rows for view in row)
    assumed = found.layout is None or found.layout.pointing_from == "assumed"
    return len(rows) > 1 and known and not assumed and len({len(row) for row in rows}) == 1
