"""Pointings of a stretch, and the extra looks that a first solution asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from grouper.group.looking import is_sure
from grouper.group.pairs import Pairs
from grouper.group.solving import CROSS_PER_FRAME, centred, solve_stretch
from grouper.model import Frame, Pointing, Sighting, Solution
from tests.group.eyes import (
    KnowingEye,
    Shot,
    UnknowingEye,
    knowing,
    on_stops,
    pairs_of,
    singles,
    sweep,
)

SEVEN = [0, 35, 70, 105, 140, 175, 210]


def solution(yaws: Sequence[float | None], *, closed: bool = False) -> Solution:
    return Solution(
        pointings=tuple(
            Pointing() if yaw is None else Pointing(yaw_deg=yaw, pitch_deg=1.0, roll_deg=2.0)
            for yaw in yaws
        ),
        residual_deg=0.1,
        closed=closed,
    )


CENTRED: dict[str, tuple[Solution, list[float | None]]] = {
    "from nought": (solution([0, 35, 70]), [-35, 0, 35]),
    "from anywhere": (solution([100, 135, 170]), [-35, 0, 35]),
    "leftwards": (solution([0, -35, -70]), [35, 0, -35]),
    "an untied frame": (solution([0, None, 70]), [-35, None, 35]),
    "none tied": (solution([None, None]), [None, None]),
    "a full turn and a bit": (
        solution([0, 90, 180, 270, 370], closed=True), [175, -95, -5, 85, -175]),
    "half a turn and more, open": (solution([0, 100, 200]), [-100, 0, 100]),
}  # fmt: skip


@pytest.mark.parametrize(("solved", "yaws"), CENTRED.values(), ids=CENTRED.keys())
def test_yaw_counts_from_the_middle(solved: Solution, yaws: list[float | None]) -> None:
    found = centred(solved)
    assert [p.yaw_deg for p in found] == pytest.approx(yaws)
    tied = [p for p in found if p.yaw_deg is not None]
    assert all((p.pitch_deg, p.roll_deg) == (1.0, 2.0) for p in tied)


def test_a_stretch_is_solved_on_its_own() -> None:
    shots = [*singles(1, 0, 2), *sweep(3, 200, SEVEN), *singles(10, 400, 2)]
    eye = knowing(shots)
    found = solve_stretch(pairs_of(shots, eye), eye, 2, 8)
    assert found is not None
    assert [p.yaw_deg for p in found.pointings] == SEVEN


def test_nothing_seen_nothing_solved() -> None:
    pairs = pairs_of(sweep(1, 0, SEVEN), UnknowingEye())
    assert solve_stretch(pairs, UnknowingEye(), 0, 6) is None


def test_rows_are_held_against_each_other_but_not_every_pair() -> None:
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN, pitch=30), *sweep(15, 90, SEVEN, pitch=-30)]
    pairs = pairs_of(shots)
    before = set(pairs.sightings)
    solve_stretch(pairs, knowing(shots), 0, 20)
    new = set(pairs.sightings) - before
    assert sum(is_sure(pairs.seen(i, j)) for i, j in new) >= 14
    assert len(new) <= (CROSS_PER_FRAME + 1) * len(shots)
    assert all(i + 1 < j for i, j in new)


def test_nothing_more_is_asked_within_a_view() -> None:
    """Brackets hang together leg by leg; of other views the legs are worth a look."""
    shots = on_stops(1, 0, SEVEN[:5], [-2, 0, 2])
    pairs = pairs_of(shots)
    before = set(pairs.sightings)
    solve_stretch(pairs, knowing(shots), 0, len(shots) - 1)
    new = set(pairs.sightings) - before
    assert len(new) > len(shots)
    assert all(i // 3 < j // 3 for i, j in new)


def test_the_ends_of_a_circle_are_looked_at() -> None:
    shots = sweep(1, 0, [i * 36.0 for i in range(10)])
    pairs = pairs_of(shots)
    solve_stretch(pairs, knowing(shots), 0, 9)
    assert is_sure(pairs.seen(0, 9))


class ForgetfulEye(KnowingEye):
    """Solves only what the sightings tie to the first frame, as a real one does."""

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        full = super().solve(frames, sightings)
        reached = {0}
        for _ in frames:
            reached |= {
                j for a, b, _ in sightings for i, j in ((a, b), (b, a)) if i in reached
            }  # fmt: skip
        if full is None:
            return None
        pointings = tuple(p if i in reached else Pointing() for i, p in enumerate(full.pointings))
        return Solution(pointings=pointings, residual_deg=0.1)


def test_a_run_that_hangs_together_by_itself_is_tied_to_the_rest() -> None:
    # A row whose pairs with the row before were not among those looked at.
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN[:4], pitch=30)]
    eye = ForgetfulEye({shot.frame.file: shot for shot in shots})
    pairs: Pairs = pairs_of(shots, eye)
    for i, j in list(pairs.sightings):
        if i < 7 <= j:
            del pairs.sightings[i, j]
    found = solve_stretch(pairs, eye, 0, 10)
    assert found is not None
    assert all(p.yaw_deg is not None for p in found.pointings)


def test_a_doubtful_match_of_frames_far_apart_is_not_believed() -> None:
    shots = [*sweep(1, 0, SEVEN[:3]), *sweep(4, 15, [0, 35], place="lake")]
    eye = ForgetfulEye({shot.frame.file: shot for shot in shots})
    pairs = pairs_of(shots, eye)
    found = solve_stretch(pairs, eye, 0, 4)
    assert found is not None
    pairs.sightings[1, 4] = Sighting(overlap=0.9, certainty=0.6, score=0.9)
    doubted = solve_stretch(pairs, eye, 0, 4)
    pairs.sightings[1, 4] = Sighting(overlap=0.9, certainty=0.9, score=0.9)
    believed = solve_stretch(pairs, eye, 0, 4)
    assert doubted is not None
    assert believed is not None
    assert [p.yaw_deg is None for p in doubted.pointings] == [False] * 3 + [True] * 2
    assert [p.yaw_deg is None for p in believed.pointings] == [False] * 5


@pytest.mark.parametrize(("score", "is_tied"), [(0.5, False), (0.79, True)])
def test_a_tie_must_agree_about_as_well_as_neighbours_do(score: float, is_tied: bool) -> None:
    """As where a facade repeats itself: frames beyond a gap match those at the sweep's start."""
    shots = [*sweep(1, 0, SEVEN[:3]), *sweep(4, 15, [0, 35], place="lake")]
    eye = ForgetfulEye({shot.frame.file: shot for shot in shots})
    pairs = pairs_of(shots, eye)
    for i, j in [(0, 1), (1, 2), (3, 4)]:
        seen = pairs.seen(i, j)
        assert seen is not None
        pairs.sightings[i, j] = replace(seen, score=0.9)
    assert solve_stretch(pairs, eye, 0, 4) is not None
    pairs.sightings[1, 4] = Sighting(overlap=0.9, certainty=0.95, score=score)
    found = solve_stretch(pairs, eye, 0, 4)
    assert found is not None
    assert [p.yaw_deg is not None for p in found.pointings] == [True] * 3 + [is_tied] * 2


def test_without_a_field_of_view_the_ends_are_looked_at() -> None:
    shots: list[Shot] = sweep(1, 0, [0, 35, 70, 105], focal_mm=None)
    pairs = pairs_of(shots)
    solve_stretch(pairs, knowing(shots), 0, 3)
    assert (0, 3) in pairs.sightings
