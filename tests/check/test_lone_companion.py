from __future__ import annotations

from typing import Any

import pytest

from grouper.check.lone_companion import CHECK
from grouper.model import Frame, Unread
from tests.check.sets import ask_card, card, names, sweep
from tests.support import frame


def pair(number: int, **changes: Any) -> Frame:
    companions = (f"100QMARK/QMK_{number:04d}.NEF",)
    return frame(number, number, **{"companions": companions, **changes})


def lone(number: int, **changes: Any) -> Frame:
    return frame(number, number, **changes)


def raw(number: int) -> Frame:
    return frame(number, number, file=f"100QMARK/QMK_{number:04d}.NEF")


SILENT = [
    pytest.param([pair(n) for n in range(1, 9)], id="pairs all along"),
    pytest.param([lone(n) for n in range(1, 9)], id="JPEG only"),
    pytest.param(
        [pair(n) for n in range(1, 5)] + [lone(n) for n in range(5, 9)],
        id="the quality setting changed for good",
    ),
    pytest.param(
        [lone(n) if 3 < n < 8 else pair(n) for n in range(1, 12)], id="changed for four frames"
    ),
    pytest.param(
        [lone(n) if n != 4 else pair(n) for n in range(1, 9)], id="one frame with a raw file more"
    ),
    pytest.param(
        [lone(4, composite=True) if n == 4 else pair(n) for n in range(1, 9)],
        id="a picture the body composed",
    ),
    pytest.param([pair(1), lone(2)], id="too few to tell"),
    pytest.param(
        [lone(n) if n in (1, 2, 8) else pair(n) for n in range(1, 9)],
        id="the first and last frames of the card",
    ),
]

SPEAKS = [
    pytest.param(
        [lone(4) if n == 4 else pair(n) for n in range(1, 9)],
        ["QMK_0004"],
        "QMK_0004.JPG lacks the NEF file that the frames before and after have.",
        id="the raw file of one frame",
    ),
    pytest.param(
        [raw(4) if n == 4 else pair(n) for n in range(1, 9)],
        ["QMK_0004"],
        "QMK_0004.NEF lacks the JPG file",
        id="the JPEG of one frame",
    ),
    pytest.param(
        [lone(n) if n in (3, 7) else pair(n) for n in range(1, 10)],
        ["QMK_0003", "QMK_0007"],
        "QMK_0003.JPG and QMK_0007.JPG lack the NEF file",
        id="two frames apart",
    ),
]


@pytest.mark.parametrize("frames", SILENT)
def test_stays_silent_on(frames: list[Frame]) -> None:
    assert ask_card(CHECK, card(singles=frames)) == []


@pytest.mark.parametrize(("frames", "odd", "says"), SPEAKS)
def test_speaks_on(frames: list[Frame], odd: list[str], says: str) -> None:
    (problem,) = ask_card(CHECK, card(singles=frames))
    assert names(problem.frames) == odd
    assert says in problem.message


def test_stays_silent_on_a_half_that_cannot_be_read() -> None:
    frames = [lone(4) if n == 4 else pair(n) for n in range(1, 9)]
    record = Unread(file="100QMARK/QMK_0004.NEF", reason="truncated")
    assert ask_card(CHECK, card(singles=frames, unread=[record])) == []


def test_speaks_on_the_last_frame_of_the_card_in_a_set_of_pairs() -> None:
    found = sweep(odd={i: {"companions": (f"100QMARK/QMK_{417 + i:04d}.NEF",)} for i in range(6)})
    (problem,) = ask_card(CHECK, card(found))
    assert names(problem.frames) == ["QMK_0423"]
