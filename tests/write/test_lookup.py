from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from grouper.write.lookup import find_frames, load_cards
from grouper.write.manifest import card_object
from tests.write.results import MADE, result

CARD: dict[str, Any] = card_object(result(), MADE)


@pytest.mark.parametrize(
    ("word", "files"),
    [
        ("QMK_0001.JPG", ["100QMARK/QMK_0001.JPG"]),
        ("qmk_0001", ["100QMARK/QMK_0001.JPG"]),
        ("QMK_0004.NEF", ["100QMARK/QMK_0004.JPG"]),
        ("100QMARK/QMK_0001.JPG", ["100QMARK/QMK_0001.JPG"]),
        ("./100QMARK/QMK_0001.JPG", ["100QMARK/QMK_0001.JPG"]),
        ("/media/ilse/QMARK/100QMARK/QMK_0001.JPG", ["100QMARK/QMK_0001.JPG"]),
        ("QMARK/100QMARK/QMK_0001.JPG", ["100QMARK/QMK_0001.JPG"]),
        ("QMK_0050.JPG", ["100QMARK/QMK_0050.JPG"]),
        ("101QMARK/QMK_0001.JPG", []),
        ("QMK_0001.NEF", []),
        ("QMK_000", []),
    ],
)
def test_find_frames(word: str, files: list[str]) -> None:
    assert find_frames(CARD, word, Path("/media/ilse")) == files


def test_several_frames_of_one_name() -> None:
    card = {**CARD, "singles": ["101QMARK/QMK_0001.JPG"]}
    assert find_frames(card, "QMK_0001.JPG", Path("/")) == [
        "100QMARK/QMK_0001.JPG",
        "101QMARK/QMK_0001.JPG",
    ]


def test_cards_are_found_where_group_leaves_them(tmp_path: Path) -> None:
    assert load_cards(None, tmp_path) == []
    for folder in ("QMARK-sets", "OSTREL-sets", "other"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "card.json").write_text(json.dumps(CARD))
    assert len(load_cards(None, tmp_path)) == 2
    assert load_cards(tmp_path / "other", tmp_path) == [CARD]
    assert load_cards(None, tmp_path / "other") == [CARD]
