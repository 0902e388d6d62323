"""Which pairs are looked at: all neighbours, the ties a chain leaves open, never all pairs."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import pytest

from grouper.group.looking import (
    FREE_CLOSER,
    LONGEST_CHANGE_S,
    LONGEST_PAUSE_S,
    MOST_CLOSER,
    MOST_TIES,
    SHORTEST_PART,
    ask,
    chain_ties,
    is_sure,
    look_at_neighbours,
)
from grouper.group.pairs import Pairs, gather_pairs
from grouper.group.strands import build_strands
from grouper.model import Frame, Sighting
from tests.group.eyes import (
    BLACK,
    KnowingEye,
    Shot,
    UnknowingEye,
    knowing,
    on_stops,
    pairs_of,
    singles,
    sweep,
)
from tests.support import frame


def unseen(shots: list[Shot]) -> Pairs:
    (strand,) = build_strands(shot.frame for shot in shots)
    return gather_pairs(strand)


def ties_of(shots: list[Shot]) -> list[tuple[int, int]]:
    """The ties that a strand leaves open, gone through as one part."""
    pairs = pairs_of(shots)
    return chain_ties(pairs, range(len(pairs.frames) - 1))


SEVEN = [0, 35, 70, 105, 140, 175, 210]


def test_all_neighbours_are_looked_at() -> None:
    pairs = pairs_of(sweep(1, 0, SEVEN))
    assert {(i, i + 1) for i in range(6)} <= set(pairs.sightings)


def test_nothing_is_asked_twice() -> None:
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN[::-1], pitch=35), *singles(15, 200, 5)]
    eye = knowing(shots)
    pairs = unseen(shots)
    look_at_neighbours(pairs, eye)
    look_at_neighbours(pairs, eye)
    ask(pairs, eye, [(0, 1), (0, 5), (0, 5), (0, 1)])
    assert len(eye.asked) == len(set(eye.asked))
    assert pairs.seen(0, 5) is not None


def test_what_was_not_known_is_remembered_as_not_known() -> None:
    pairs = unseen(sweep(1, 0, [0, 35, 70]))
    ask(pairs, UnknowingEye(), [(0, 1)])
    assert pairs.sightings == {(0, 1): None}
    eye = knowing(sweep(1, 0, [0, 35, 70]))
    ask(pairs, eye, [(0, 1)])
    assert eye.asked == []


def test_a_new_row_is_held_against_the_row_before() -> None:
    pairs = pairs_of([*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN, pitch=35)])
    tied = {i for (i, j), s in pairs.sightings.items() if j == 7 and is_sure(s)}
    assert 0 in tied


def test_a_lost_frame_does_not_cut_the_chain() -> None:
    shots = [*sweep(1, 0, [0, 35, 70]), *sweep(4, 20, [175]), *sweep(5, 26, [105])]
    pairs = pairs_of(shots)
    assert is_sure(pairs.seen(2, 4))


def test_a_third_row_is_held_against_the_first() -> None:
    # The middle row first, then above, then below: the last two share nothing.
    shots = [s for k, p in enumerate([0, 40, -40]) for s in sweep(1 + 7 * k, 50.0 * k, SEVEN,
                                                                  pitch=p)]  # fmt: skip
    pairs = pairs_of(shots)
    assert any(is_sure(pairs.seen(i, 14)) for i in range(7))
    assert not any(is_sure(pairs.seen(i, 14)) for i in range(7, 14))


def test_a_lost_frame_does_not_hide_the_row_before() -> None:
    second = [s for s in sweep(8, 50, SEVEN, pitch=35) if s.frame.counter != 10]
    pairs = pairs_of([*sweep(1, 0, SEVEN), *second])
    assert any(is_sure(pairs.seen(i, 9)) for i in range(7))


def test_a_long_pause_ends_a_chain() -> None:
    later = LONGEST_PAUSE_S + 60
    assert ties_of([*sweep(1, 0, SEVEN), *sweep(8, later, SEVEN)]) == []
    assert ties_of([*sweep(1, 0, SEVEN), *sweep(8, 60, SEVEN)]) != []


def test_a_long_day_is_gone_through_part_by_part() -> None:
    """All parts of a series of sweeps, half an hour's pause after every second one."""
    shots: list[Shot] = []
    start_s = 0.0
    for sweep_at in range(2 * SHORTEST_PART // 7):
        shots += sweep(7 * sweep_at + 1, start_s, SEVEN, pitch=40.0 * (sweep_at % 2))
        start_s += 60.0 if sweep_at % 2 == 0 else LONGEST_PAUSE_S + 60.0
    pairs = unseen(shots)
    eye = knowing(shots)
    look_at_neighbours(pairs, eye)
    assert {(i, i + 1) for i in range(len(shots) - 1)} <= set(pairs.sightings)
    places = {shot.frame.file: at for at, shot in enumerate(shots)}
    asked = [max(places[a], places[b]) for a, b in eye.asked]
    # Whatever is asked of the second half is asked after all that is asked of the first.
    half = max(at for at in range(len(asked)) if asked[at] <= SHORTEST_PART)
    assert max(asked[:half]) <= SHORTEST_PART + 14
    (whole,) = [pairs_of(shots[: 2 * 7])]
    assert {pair for pair in pairs.sightings if max(pair) < 14} == set(whole.sightings)


@dataclass(frozen=True)
class Misled(KnowingEye):
    """Takes two frames of one place for the next step of a sweep, without being sure of it."""

    pair: tuple[int, int] = (0, 0)

    def _see(self, a: Shot, b: Shot) -> Sighting | None:
        if (a.frame.counter, b.frame.counter) != self.pair:
            return super()._see(a, b)
        return Sighting(
            overlap=0.4, certainty=0.6, turn_deg=(0.0, 30.0, 0.0), shift_share=(0.56, 0.0)
        )


def test_a_frame_that_may_follow_by_chance_is_held_against_the_chain() -> None:
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN)]
    sightings = pairs_of(shots, Misled(knowing(shots).shots, pair=(7, 8))).sightings
    assert is_sure(sightings[6, 7])
    assert is_sure(sightings[0, 7])


def test_several_misses_end_a_chain() -> None:
    shots = [*sweep(1, 0, SEVEN), *singles(8, 60, 6)]
    ties = [(i, j) for i, j in ties_of(shots) if i < 7]
    assert max(j for _, j in ties) == 10
    assert [i for i, j in ties if j == 10] == [6]  # should a sweep go on after three others


@pytest.mark.parametrize("count", [40, 200, 400])
def test_looks_grow_with_frames_not_with_their_square(count: int) -> None:
    stories = {
        "singles": singles(1, 0, count),
        "one long sweep": sweep(1, 0, [2.0 * (i % 180) for i in range(count)]),
        "pairs": [Shot(frame(i, 9 * i), f"p{i // 2}") for i in range(1, count + 1)],
    }
    for name, shots in stories.items():
        assert len(pairs_of(shots).sightings) <= (sum(MOST_TIES) + 4) * count, name


def test_a_chain_that_may_close_a_circle_before_it_is_tied_to_its_start() -> None:
    # The start of a full turn overlaps nothing after it but the end of the turn.
    shots = [*sweep(1, 0, [0]), *sweep(2, 10, [100, 135, 170, 205, 240, 275, 310, 345])]
    pairs = pairs_of(shots)
    assert is_sure(pairs.seen(0, 8))


@pytest.mark.parametrize("count", [0, 1])
def test_nothing_to_compare(count: int) -> None:
    pairs = unseen(singles(1, 0, 1))
    if count:
        eye = knowing(singles(1, 0, 1))
        look_at_neighbours(pairs, eye)
        assert eye.asked == []
    assert pairs.sightings == {}


@pytest.mark.parametrize(
    ("sighting", "sure"),
    [
        (None, False),
        (Sighting(overlap=0.4, certainty=0.9), True),
        (Sighting(overlap=0.4, certainty=0.5), False),
        (Sighting(overlap=0.0, certainty=0.02), False),
    ],
)
def test_sure_is_more_likely_than_not(sighting: Sighting | None, sure: bool) -> None:
    assert is_sure(sighting) == sure


@dataclass(frozen=True)
class DimEye(KnowingEye):
    """Sees one pair only when told where to look."""

    dim: tuple[str, str] = ("", "")
    near: list[tuple[tuple[str, str], tuple[float, float, float]]] = field(default_factory=list)

    def compare(
        self, pairs: Sequence[tuple[Frame, Frame]], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        seen = KnowingEye.compare(self, pairs, quick=quick)
        return [
            Sighting(overlap=0.1, certainty=0.1) if (a.file, b.file) == self.dim else one
            for (a, b), one in zip(pairs, seen, strict=True)
        ]

    def compare_near(
        self, pairs: Sequence[tuple[Frame, Frame]], turns_deg: Sequence[tuple[float, float, float]]
    ) -> list[Sighting | None]:
        self.near.extend(
            ((a.file, b.file), turn) for (a, b), turn in zip(pairs, turns_deg, strict=True)
        )
        return KnowingEye.compare(self, pairs)


def test_an_unsure_step_is_looked_for_where_the_sweep_lets_expect_it() -> None:
    shots = sweep(1, 0, [0, 35, 70, 105])
    eye = DimEye({s.frame.file: s for s in shots}, dim=(shots[1].frame.file, shots[2].frame.file))
    pairs = unseen(shots)
    look_at_neighbours(pairs, eye)
    assert eye.near == [(eye.dim, (0, 35, 0.0))]  # once: both sides step alike
    assert is_sure(pairs.seen(1, 2))


def test_nothing_is_expected_after_a_change_for_good() -> None:
    shots = [*sweep(1, 0, [0, 35]), *sweep(3, 10, [70], focal_mm=50.0)]
    eye = DimEye({s.frame.file: s for s in shots}, dim=(shots[1].frame.file, shots[2].frame.file))
    look_at_neighbours(unseen(shots), eye)
    assert eye.near == []


def test_the_legs_of_a_bracket_are_no_step() -> None:
    shots = on_stops(1, 0, [0, 35, 70], [-2, 0, 2])
    eye = DimEye({s.frame.file: s for s in shots}, dim=(shots[5].frame.file, shots[6].frame.file))
    look_at_neighbours(unseen(shots), eye)
    assert eye.near == [(eye.dim, (0, 35, 0.0))]


@dataclass(frozen=True)
class HurriedEye(KnowingEye):
    """Remembers of which pairs only a quick look was wanted."""

    quick: dict[tuple[str, str], bool] = field(default_factory=dict)

    def compare(
        self, pairs: Sequence[tuple[Frame, Frame]], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        each = [quick] * len(pairs) if isinstance(quick, bool) else quick
        self.quick.update(((a.file, b.file), q) for (a, b), q in zip(pairs, each, strict=True))
        return KnowingEye.compare(self, pairs, quick=quick)


def test_neighbours_that_are_likely_apart_are_given_a_quick_look() -> None:
    shots = [
        *sweep(1, 0, [0, 35, 70]),
        *sweep(4, 10 + LONGEST_CHANGE_S + 60, [105, 140]),  # after a walk
        *sweep(6, 10 + LONGEST_CHANGE_S + 90, [175, 210], focal_mm=50.0),  # another subject
        *sweep(8, 10 + 3 * LONGEST_CHANGE_S, [0, 35], focal_mm=35.0),  # both: no look at all
    ]
    eye = HurriedEye({shot.frame.file: shot for shot in shots})
    look_at_neighbours(unseen(shots), eye)
    files = [shot.frame.file for shot in shots]
    looks = [eye.quick.get(pair) for pair in itertools.pairwise(files)]
    assert looks == [False, False, True, False, True, False, None, False]


def test_ties_of_a_chain_are_given_a_quick_look() -> None:
    shots = [*sweep(1, 0, SEVEN), *sweep(8, 45, SEVEN, pitch=35)]
    eye = HurriedEye({shot.frame.file: shot for shot in shots})
    pairs = unseen(shots)
    look_at_neighbours(pairs, eye)
    ties = {(i, j) for i, j in pairs.sightings if j > i + 1}
    assert ties
    assert all(eye.quick[shots[i].frame.file, shots[j].frame.file] for i, j in ties)


def test_what_was_asked_before_leaves_the_rest_as_quick_as_wanted() -> None:
    shots = sweep(1, 0, [0, 35, 70, 105])
    eye = HurriedEye({shot.frame.file: shot for shot in shots})
    pairs = unseen(shots)
    ask(pairs, eye, [(0, 1)])
    ask(pairs, eye, [(0, 1), (1, 2), (2, 3)], quick=[True, False, True])
    assert list(eye.quick.values()) == [False, False, True]


@dataclass(frozen=True)
class NearEye(KnowingEye):
    """Cannot tell of some pairs, or only in doubt, before it looks closely."""

    plain: frozenset[tuple[str, str]] = frozenset()
    in_doubt: Sighting | None = None
    closely: list[tuple[str, str]] = field(default_factory=list)

    def compare(
        self, pairs: Sequence[tuple[Frame, Frame]], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        seen = KnowingEye.compare(self, pairs, quick=quick)
        return [
            self.in_doubt if (a.file, b.file) in self.plain else one
            for (a, b), one in zip(pairs, seen, strict=True)
        ]

    def compare_closely(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        self.closely.extend((a.file, b.file) for a, b in pairs)
        return KnowingEye.compare(self, pairs)


def near_eye(shots: Sequence[Shot], *plain: int) -> NearEye:
    """An eye to which the neighbours from these frames on are too plain."""
    files = [shot.frame.file for shot in shots]
    return NearEye(
        {shot.frame.file: shot for shot in shots},
        plain=frozenset((files[i], files[i + 1]) for i in plain),
    )


def test_what_is_too_plain_beside_a_sure_pair_is_looked_at_closely() -> None:
    shots = [*sweep(1, 0, [0, 35, 70, 105]), *sweep(5, 20, [140], place="lake")]
    eye = near_eye(shots, 2, 3)
    pairs = unseen(shots)
    look_at_neighbours(pairs, eye)
    # The second of the two has a sure pair beside it once the first is known.
    files = [shot.frame.file for shot in shots]
    assert eye.closely == [(files[2], files[3]), (files[3], files[4])]
    assert is_sure(pairs.seen(2, 3))
    apart = pairs.seen(3, 4)
    assert apart is not None
    assert not is_sure(apart)


@pytest.mark.parametrize(
    ("plain", "looked_at"),
    [
        ([0], [0]),  # the first of a row
        ([3], [3]),  # the last
        ([1, 2], [1, 2]),  # one has a sure pair before it, the other behind
        ([1, 2, 3], [1, 2, 3]),  # onwards from the first
        ([0, 1, 2], [2, 1, 0]),  # and backwards
    ],
)
def test_a_sure_pair_on_either_side_is_reason_enough_to_look_closely(
    plain: list[int], looked_at: list[int]
) -> None:
    shots = sweep(1, 0, [0, 35, 70, 105, 140])
    eye = near_eye(shots, *plain)
    look_at_neighbours(unseen(shots), eye)
    files = [shot.frame.file for shot in shots]
    assert eye.closely == [(files[i], files[i + 1]) for i in looked_at]


def test_a_closer_look_goes_on_as_long_as_it_shows_more() -> None:
    shots = [*sweep(1, 0, [0, 35, 70, 105, 140]), *sweep(6, 25, [0, 35, 70], place="lake")]
    eye = near_eye(shots, 1, 2, 3, 4, 5, 6)
    pairs = unseen(shots)
    look_at_neighbours(pairs, eye)
    files = [shot.frame.file for shot in shots]
    # To where another subject begins, and no pair twice.
    assert eye.closely == [(files[i], files[i + 1]) for i in (1, 2, 3, 4)]
    assert [is_sure(pairs.seen(i, i + 1)) for i in range(7)] == [True] * 4 + [False] * 3
    assert pairs.seen(5, 6) is None


def test_no_closer_look_where_all_is_plain_or_another_subject_begins() -> None:
    plain = sweep(1, 0, [0, 35, 70, 105])
    eye = near_eye(plain, 0, 1, 2)
    look_at_neighbours(unseen(plain), eye)
    assert eye.closely == []
    walked = [*sweep(1, 0, [0, 35]), *sweep(3, 10 + LONGEST_CHANGE_S, [70, 105])]
    eye = near_eye(walked, 1)
    look_at_neighbours(unseen(walked), eye)
    assert eye.closely == []


def test_not_a_whole_night_is_looked_at_closely() -> None:
    # Every other pair is too plain, each beside a sure one.
    shots = sweep(1, 0, [0.0, 1.0] * 500)
    eye = near_eye(shots, *range(1, 999, 2))
    look_at_neighbours(unseen(shots), eye)
    assert len(eye.closely) == round(MOST_CLOSER * (len(shots) - 1)) < 499
    few = sweep(1, 0, [0.0, 1.0] * 20)
    eye = near_eye(few, *range(1, 39, 2))
    look_at_neighbours(unseen(few), eye)
    assert len(eye.closely) == 19 <= FREE_CLOSER


@pytest.mark.parametrize(
    ("certainty", "pause_s", "is_looked_at"),
    [
        (0.02, 5.0, False),  # as strangers mostly are
        (0.04, 5.0, True),
        (0.49, 9.0, True),
        (0.49, 11.0, False),  # too long for the rhythm
        (0.6, 5.0, False),  # found already
    ],
)
def test_what_is_left_in_doubt_is_looked_at_closely_within_the_rhythm(
    certainty: float, pause_s: float, is_looked_at: bool
) -> None:
    shots = [*sweep(1, 0, [0, 35, 70]), *sweep(4, 10 + pause_s, [105])]
    eye = replace(near_eye(shots, 2), in_doubt=Sighting(overlap=0.4, certainty=certainty))
    pairs = unseen(shots)
    look_at_neighbours(pairs, eye)
    assert bool(eye.closely) is is_looked_at
    seen = pairs.seen(2, 3)
    assert seen is not None
    assert seen.certainty == (0.98 if is_looked_at else certainty)


def test_the_longer_pause_beside_tells_the_rhythm() -> None:
    shots = [*sweep(1, 0, [0, 35, 70]), *sweep(4, 18, [105, 140], pause_s=2.0)]
    eye = replace(near_eye(shots, 2), in_doubt=Sighting(overlap=0.4, certainty=0.3))
    look_at_neighbours(unseen(shots), eye)
    assert len(eye.closely) == 1


@pytest.mark.parametrize(("pause_s", "is_looked_at"), [(1.0, True), (2.0, False)])
def test_whole_seconds_do_not_break_a_quick_rhythm(pause_s: float, is_looked_at: bool) -> None:
    whole = {"pause_s": 0.0, "taken_resolution_s": 1.0}
    shots = [*sweep(1, 0, [0, 35, 70], **whole), *sweep(4, pause_s, [105], **whole)]
    eye = replace(near_eye(shots, 2), in_doubt=Sighting(overlap=0.4, certainty=0.3))
    look_at_neighbours(unseen(shots), eye)
    assert bool(eye.closely) is is_looked_at


def test_a_closer_look_that_shows_too_little_changes_no_mind() -> None:
    shots = sweep(1, 0, [0, 35, 70, 105])
    doubt = Sighting(overlap=0.4, certainty=0.3)
    eye = replace(near_eye(shots, 2), in_doubt=doubt)
    eye = replace(eye, shots={**eye.shots, shots[3].frame.file: replace(shots[3], glance=BLACK)})
    pairs = unseen(shots)
    look_at_neighbours(pairs, eye)
    assert len(eye.closely) == 1
    assert pairs.seen(2, 3) == doubt


def test_the_first_leg_of_a_view_is_held_against_the_same_leg_of_the_view_before() -> None:
    shots = on_stops(1, 0, [0, 35, 200], [0.0, -2.0, 2.0])
    wanted = ties_of(shots)
    # The last view overlaps nothing: its first leg, frame 6, is held against that of the one
    # before, frame 3, which an even choice of six of the six frames before would hold as well.
    assert (3, 6) in wanted
    many = on_stops(1, 0, [35.0 * i for i in range(6)] + [0.0], [0.0, -2.0, 2.0])
    assert (15, 18) in ties_of(many)
    # A sweep of one exposure has no legs to choose from.
    assert len(ties_of(sweep(1, 0, [0, 35, 200]))) < len(set(ties_of(shots)))
