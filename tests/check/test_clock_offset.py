from __future__ import annotations

import pytest

from grouper.check.clock_offset import CHECK
from grouper.model import Body
from tests.check.sets import ask_card, card, sweep


def bodies(offset_s: float | None) -> list[Body]:
    return [
        Body(id="q5", make="Quillmark", model="Q5", serial="5005001", frames=7),
        Body(
            id="m2",
            make="Ostrel",
            model="M2",
            serial=None,
            frames=3,
            clock_offset_s=offset_s,
        ),
    ]


@pytest.mark.parametrize("offset_s", [None, 0.0, 1.5, -2.0])
def test_stays_silent_on(offset_s: float | None) -> None:
    assert ask_card(CHECK, card(sweep(), bodies=bodies(offset_s))) == []


def test_stays_silent_on_an_empty_card() -> None:
    assert ask_card(CHECK, card(bodies=bodies(None)[:1])) == []


@pytest.mark.parametrize(
    ("offset_s", "says"),
    [
        (
            192.0,
            "The clock of Ostrel M2 is about 3 min 12 s behind that of Quillmark Q5 (5005001).",
        ),
        (-9.5, "The clock of Ostrel M2 is about 9.5 s ahead of that of Quillmark Q5 (5005001)."),
        (3612.0, "1 h behind that of Quillmark Q5 (5005001), as with summer time"),
        (-7200.0, "2 h ahead of that of Quillmark Q5 (5005001), as with another time zone."),
    ],
)
def test_speaks_on(offset_s: float, says: str) -> None:
    (problem,) = ask_card(CHECK, card(sweep(), bodies=bodies(offset_s)))
    assert says in problem.message
    assert problem.measured["add_s"] == offset_s
