"""Output folders: safe and different whatever a card is called."""

from __future__ import annotations

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouper.watch.names import MOST_BYTES, out_name


def name(card: str, *taken: str) -> str:
    return out_name(card, lambda out: out in {one.casefold() for one in taken})


@pytest.mark.parametrize("card", ["QMARK", "100QMARK", "2026-03-14_Tavrin", "Käfertal", "a.b"])
def test_a_plain_name_stays(card: str) -> None:
    assert name(card) == card


@pytest.mark.parametrize(
    ("card", "start"),
    [
        ("Ilse's card", "Ilse_s_card-"),
        ("-rf", "rf-"),
        ("..", "card-"),
        ("..x", "x-"),
        ("a\nb", "a_b-"),
        ("../../etc", "etc-"),
        ("\udcff\udcfe", "card-"),
        ("\u202egpj.exe", "gpj.exe-"),
        ("x" * 255, "x" * MOST_BYTES + "-"),
        ("CON", "card-CON-"),
        ("nul.txt", "card-nul.txt-"),
        ("QMARK.", "QMARK-"),
        ("$(reboot)", "reboot-"),
        ("<b>", "b-"),
    ],
)
def test_other_names_are_altered_and_told_apart(card: str, start: str) -> None:
    made = name(card)
    assert made.startswith(start)
    assert len(made) == len(start) + 8


def test_case_does_not_tell_names_apart() -> None:
    assert name("qmark", "QMARK").startswith("qmark-")
    assert name("QMARK", "qmark").startswith("QMARK-")


def test_a_taken_name_gets_longer_until_it_is_free() -> None:
    first = name("a b")
    second = name("a b", first)
    assert second != first
    assert second.startswith(first)


TEXT = st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1)
BYTES = st.binary(min_size=1, max_size=255).map(lambda name: name.translate(None, b"/\0") or b"x")
ANY = TEXT | BYTES.map(os.fsdecode)


@given(st.lists(ANY, min_size=1, max_size=20, unique=True))
def test_every_name_is_one_safe_path_part_and_its_own(cards: list[str]) -> None:
    taken: set[str] = set()
    for card in cards:
        made = out_name(card, taken.__contains__)
        assert made.casefold() not in taken
        taken.add(made.casefold())
        assert made not in ("", ".", "..")
        assert not made.startswith((".", "-"))
        assert not set(made) & set('/\\\0\n:*?"<>|')
        assert len(os.fsencode(made)) < 200
        made.encode("utf-8")  # no surrogates
