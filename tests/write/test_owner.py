"""A second card of the same name does not take the first one's sets away."""

from __future__ import annotations

from pathlib import Path

import pytest

from grouper.errors import CannotWrite
from grouper.write import write_result
from tests.write.results import MADE, bracket, panorama, result


def test_another_card_is_refused_and_the_first_stays(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_result(result(panorama()), out, made=MADE)
    before = (out / "card.json").read_bytes()
    with pytest.raises(CannotWrite, match=r"another card.*--out"):
        write_result(result(bracket(), root="/media/other"), out, made=MADE)
    assert (out / "card.json").read_bytes() == before


def test_the_same_card_changed_is_welcome(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_result(result(panorama()), out, made=MADE)
    assert write_result(result(bracket()), out, made=MADE).written


def test_the_same_card_under_another_path_is_welcome(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_result(result(), out, made=MADE)
    assert write_result(result(root="/media/elsewhere"), out, made=MADE).written


@pytest.mark.parametrize("text", ["", "{", "[]", '{"manifest": "other"}', '{"card": 3}'])
def test_a_file_of_that_name_that_is_not_ours_is_no_obstacle(tmp_path: Path, text: str) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "card.json").write_text(text, encoding="utf-8")
    assert write_result(result(), out, made=MADE).written
