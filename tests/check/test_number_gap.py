from __future__ import annotations

from typing import Any

import pytest

from grouper.check.number_gap import CHECK
from grouper.model import Frame, Grouping, Scan, Unread
from tests.check.sets import ask_card, card, names, sweep
from tests.support import frame


def singles(*numbers: int, **changes: Any) -> list[Frame]:
    return [frame(number, 100.0 * place, **changes) for place, number in enumerate(numbers)]


def in_folder(number: int, folder: int, at_s: float) -> Frame:
    name = f"{folder}QMARK"
    return frame(
        number, at_s, file=f"{name}/QMK_{number:04d}.JPG", folder=name, folder_number=folder
    )


SILENT = [
    pytest.param(card(singles=singles(1, 2, 3, 4)), id="numbers that run on"),
    pytest.param(card(singles=singles(9998, 9999, 1, 2)), id="the change from 9999"),
    pytest.param(
        card(singles=[in_folder(9998, 100, 0), in_folder(9999, 100, 1), in_folder(1, 101, 2)]),
        id="the change of folder",
    ),
    pytest.param(
        card(singles=[in_folder(1, 100, 0), in_folder(2, 100, 1), in_folder(900, 105, 2)]),
        id="folders that do not follow each other",
    ),
    pytest.param(card(singles=singles(1, 2, 3, 900, 901)), id="another card in between"),
    pytest.param(
        card(singles=singles(1, 2, 4, 5), ignored=["100QMARK/QMK_0003.MP4"]),
        id="a number that a movie bears",
    ),
    pytest.param(
        card(
            singles=singles(1, 2, 4, 5),
            unread=[Unread(file="100QMARK/QMK_0003.JPG", reason="empty")],
        ),
        id="a number that an unreadable file bears",
    ),
    pytest.param(card(singles=singles(1, 6, 11, 16, 17)), id="numbers that are no counter"),
    pytest.param(card(singles=singles(1, 2, 3, counter=None)), id="files without numbers"),
    pytest.param(card(sweep(deleted=[3])), id="a hole inside a set"),
    pytest.param(
        card(
            singles=singles(1, 2, 3, 4, 5, 6),
            order=[
                ["100QMARK/QMK_0001.JPG", "100QMARK/QMK_0002.JPG", "100QMARK/QMK_0005.JPG"],
                ["100QMARK/QMK_0003.JPG", "100QMARK/QMK_0004.JPG", "100QMARK/QMK_0006.JPG"],
            ],
        ),
        id="two bodies numbered as one",
    ),
]


@pytest.mark.parametrize("on", SILENT)
def test_stays_silent_on(on: tuple[Scan, Grouping]) -> None:
    assert ask_card(CHECK, on) == []


def test_tells_gaps_outside_any_set_one_by_one() -> None:
    problems = ask_card(CHECK, card(singles=singles(1, 2, 3, 5, 6, 7, 10, 11)))
    assert [names(problem.frames) for problem in problems] == [
        ["QMK_0003", "QMK_0005"],
        ["QMK_0007", "QMK_0010"],
    ]
    assert problems[1].message == (
        "File numbers 0008 and 0009 are missing between QMK_0007.JPG and QMK_0010.JPG, outside "
        "any set."
    )


def test_sums_up_many_gaps_outside_any_set() -> None:
    on = card(singles=singles(1, 2, 3, 5, 6, 7, 10, 11))
    (problem,) = ask_card(CHECK, on, number_gap_each=1)
    assert problem.message == (
        "3 file numbers are missing outside any set, in 2 places: 0004; 0008 and 0009."
    )
    assert names(problem.frames) == ["QMK_0003", "QMK_0005", "QMK_0007", "QMK_0010"]
    assert problem.measured["numbers_lost"] == 3


def test_names_a_gap_behind_a_set() -> None:
    (problem,) = ask_card(CHECK, card(sweep(7), singles=[frame(425, 900.0), frame(426, 950.0)]))
    assert names(problem.frames) == ["QMK_0423", "QMK_0425"]
    assert problem.message == (
        "File number 0424 is missing after QMK_0423.JPG, the last frame of the panorama "
        "20260314-091412-qmk0417."
    )


def test_names_a_gap_between_two_sets_once() -> None:
    later = sweep(4, first=426)
    moved = card(sweep(7), later, order=[[f.file for f in (*sweep(7).frames, *later.frames)]])
    (problem,) = ask_card(CHECK, moved)
    assert names(problem.frames) == ["QMK_0423", "QMK_0426"]
    assert "after QMK_0423.JPG" in problem.message
    assert "before QMK_0426.JPG" in problem.message


@pytest.mark.parametrize(
    ("lost", "bird", "told"),
    [
        (420, 421, "after QMK_0419.JPG, amid the panorama 20260314-091412-qmk0417."),
        (421, 420, "before QMK_0422.JPG, amid the panorama 20260314-091412-qmk0417."),
    ],
)
def test_a_gap_beside_what_was_shot_amid_a_set_is_at_no_end_of_it(
    lost: int, bird: int, told: str
) -> None:
    found = sweep(8, deleted=[3, 4])
    amid = frame(bird, 18.0)
    on = card(found, singles=[amid], order=[sorted(f.file for f in (*found.frames, amid))])
    (problem,) = ask_card(CHECK, on)
    assert problem.message == f"File number 0{lost} is missing {told}"
    assert "ends where" not in problem.advice
