"""Clocks of two bodies, by what both of them saw."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from grouper.group.clocks import with_offsets
from tests.group.eyes import Shot, UnknowingEye, grouped, knowing
from tests.support import frame

HOUR = 3600.0


def tour(
    places: Sequence[tuple[str, float]], *, second: bool, off_s: float = 0.0, per_place: int = 3
) -> list[Shot]:
    """Frames of several places, the times of coming there in seconds."""
    body = {"model": "M2", "make": "Ostrel", "serial": "OM2-7"} if second else {}
    return [
        Shot(
            frame(
                100 * at + 10 * second + shot + 1,
                began + off_s + 60.0 * shot + 17.0 * (shot * 3 % 5),  # no timer is as uneven
                folder="200OSTRL" if second else "100QMARK",
                **body,
            ),
            place,
            60.0 * shot + 5.0 * second,
        )
        for at, (place, began) in enumerate(places)
        for shot in range(per_place + (not second))
    ]


DAY = [("ridge", 0.0), ("lake", 1.2 * HOUR), ("hall", 3.0 * HOUR)]


def offsets(*shots: list[Shot]) -> list[float | None]:
    both = [shot for some in shots for shot in some]
    return [body.clock_offset_s for body in grouped(both, knowing(both)).bodies]


@pytest.mark.parametrize("off_s", [-HOUR, 1.5 * HOUR, -1512.0])
def test_three_places_tell_the_difference(off_s: float) -> None:
    first, second = offsets(tour(DAY, second=False), tour(DAY, second=True, off_s=off_s))
    assert first == 0.0
    assert second == pytest.approx(-off_s, abs=150.0)
    assert second is not None
    assert second % 60 == 0


def test_two_places_tell_it_where_each_says_so_twice() -> None:
    _, second = offsets(tour(DAY[:2], second=False), tour(DAY[:2], second=True, off_s=HOUR))
    assert second == pytest.approx(-HOUR, abs=150.0)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        pytest.param(DAY, DAY, id="clocks that agree to the minutes that one came later"),
        pytest.param(DAY[:1], DAY[:1], id="one place: the other may have come later"),
        pytest.param(DAY, [("mill", 0.0), ("quay", HOUR)], id="nothing in common"),
        pytest.param(
            DAY, [("ridge", HOUR), ("lake", 5 * HOUR), ("hall", 3.2 * HOUR)], id="in no accord"
        ),
    ],
)
def test_not_known_on(first: list[tuple[str, float]], second: list[tuple[str, float]]) -> None:
    told = offsets(tour(first, second=False), tour(second, second=True))
    assert told == [0.0, None]


def test_two_places_with_one_pair_each_are_too_few() -> None:
    told = offsets(
        tour(DAY[:2], second=False, per_place=0),
        tour(DAY[:2], second=True, off_s=HOUR, per_place=1),
    )
    assert told == [0.0, None]


def test_no_body_no_clock() -> None:
    assert with_offsets((), (), (), UnknowingEye()) == ()


def test_one_body_is_its_own_measure_and_without_pictures_nothing_is_known() -> None:
    alone = tour(DAY, second=False)
    assert [body.clock_offset_s for body in grouped(alone).bodies] == [0.0]
    both = [*alone, *tour(DAY, second=True)]
    assert [b.clock_offset_s for b in grouped(both, UnknowingEye()).bodies] == [0.0, None]


@pytest.mark.parametrize(
    ("second", "share"),
    [(DAY, 1.0), ([("mill", 0.0), ("quay", HOUR), ("yard", 2 * HOUR)], 0.5)],
    ids=["in common", "strangers"],
)
def test_half_of_the_pairs_show_whether_two_bodies_have_anything_in_common(
    second: list[tuple[str, float]], share: float
) -> None:
    shots = [*tour(DAY, second=False), *tour(second, second=True, off_s=HOUR)]
    eye = knowing(shots)
    grouped(shots, eye)
    bodies = {shot.frame.file: shot.frame.serial for shot in shots}
    across = [(a, b) for a, b in eye.asked if bodies[a] != bodies[b]]
    firsts, others = ({pair[side] for pair in across} for side in (0, 1))
    assert len(set(across)) == len(across) > 50
    assert len(across) == round(share * len(firsts) * len(others))
    # Each frame is held against some of the other body's.
    assert len(firsts) == 12
    assert len(others) == 9
