from __future__ import annotations

from importlib import metadata
from pathlib import Path
from typing import Any

import pytest

from grouper.contracts import Writer
from grouper.errors import CannotWrite
from grouper.write import write_result, writers_for
from grouper.write.plugins import GROUP
from tests.write.results import MADE, result


def _fail(*_: object) -> Any:
    raise RuntimeError("out of ink")


GOOD = Writer(name="good", summary="", render=lambda result, made: [("extra/good.txt", b"x\n")])
FAILS = Writer(name="fails", summary="", render=_fail)
TEXT = Writer(name="text", summary="", render=lambda result, made: [("a.txt", "text")])  # type: ignore[list-item]
CLASHES = Writer(name="clashes", summary="", render=lambda result, made: [("card.json", b"")])
NOT_ONE = "a string"

HERE = "tests.write.test_plugins"


@pytest.fixture(autouse=True)
def installed(monkeypatch: pytest.MonkeyPatch) -> None:
    entries = [
        metadata.EntryPoint(name, f"{HERE}:{attribute}", GROUP)
        for name, attribute in (
            ("good", "GOOD"),
            ("fails", "FAILS"),
            ("text", "TEXT"),
            ("clashes", "CLASHES"),
            ("not-one", "NOT_ONE"),
            ("gone", "MISSING"),
            ("twice", "GOOD"),
            ("twice", "TEXT"),
        )
    ]
    monkeypatch.setattr(metadata, "entry_points", lambda group: entries if group == GROUP else [])


def test_a_writer_of_others_writes_beside_ours(tmp_path: Path) -> None:
    write_result(result(), tmp_path, made=MADE, writers=writers_for(["good", "good"]))
    assert (tmp_path / "extra" / "good.txt").read_bytes() == b"x\n"
    assert (tmp_path / "card.json").exists()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("unheard-of", "there is none; known are .*good.*xmp"),
        ("gone", "cannot be loaded: AttributeError"),
        ("not-one", "is no grouper.contracts.Writer"),
        ("twice", "2 installed packages"),
    ],
)
def test_a_broken_one_is_named_before_anything_is_read(name: str, words: str) -> None:
    with pytest.raises(CannotWrite, match=words):
        writers_for([name])


@pytest.mark.parametrize(
    ("name", "words"),
    [("fails", "out of ink"), ("text", "must yield"), ("clashes", "card.json")],
)
def test_one_that_fails_leaves_no_output(tmp_path: Path, name: str, words: str) -> None:
    with pytest.raises(CannotWrite, match=words) as caught:
        write_result(result(), tmp_path / "out", made=MADE, writers=writers_for([name]))
    assert name in str(caught.value)
    assert not (tmp_path / "out").exists()
