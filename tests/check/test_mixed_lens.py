from __future__ import annotations

import pytest

from grouper.check.mixed_lens import CHECK
from grouper.model import Set
from tests.check.sets import ask, change, names, regard, sweep

SILENT = [
    pytest.param(sweep(lens="Quillmark 24-70mm f/4"), id="a set that agrees"),
    pytest.param(sweep(lens=None), id="nothing recorded"),
    pytest.param(
        change(sweep(lens="Quillmark 24-70mm f/4"), [3], lens=None),
        id="one frame that records nothing",
    ),
    pytest.param(
        regard(
            change(sweep(lens="Quillmark 24-70mm f/4"), [3], lens="Quillmark 35mm f/2"),
            [3],
            spare=True,
        ),
        id="an odd spare",
    ),
    pytest.param(
        change(sweep(), [3], lens="QUILLMARK 24-70MM F/4"), id="the same name in other capitals"
    ),
    pytest.param(change(sweep(), [3], lens="  "), id="a blank name"),
]

SPEAKS = [
    pytest.param(
        change(sweep(lens="Quillmark 24-70mm f/4"), [3], lens="Quillmark 35mm f/2"),
        ["QMK_0420"],
        "QMK_0420.JPG (Quillmark 35mm f/2) differs in lens",
        id="one odd frame",
    ),
    pytest.param(
        change(sweep(lens="Quillmark 24-70mm f/4"), [1, 5], lens="Quillmark 35mm f/2"),
        ["QMK_0418", "QMK_0422"],
        "Quillmark 35mm f/2",
        id="two odd frames",
    ),
    pytest.param(
        change(sweep(lens="Quillmark 24-70mm f/4"), [0], lens="Quillmark 35mm f/2"),
        ["QMK_0417"],
        "QMK_0417.JPG",
        id="the first frame, before the rest was set",
    ),
    pytest.param(
        change(sweep(6, lens="Quillmark 24-70mm f/4"), [3, 4, 5], lens="Quillmark 35mm f/2"),
        ["QMK_0420", "QMK_0421", "QMK_0422"],
        "changes through the set",
        id="as many of one as of the other: the first decide",
    ),
]


@pytest.mark.parametrize("found", SILENT)
def test_stays_silent_on(found: Set) -> None:
    assert ask(CHECK, found) == []


@pytest.mark.parametrize(("found", "frames", "says"), SPEAKS)
def test_speaks_on(found: Set, frames: list[str], says: str) -> None:
    (problem,) = ask(CHECK, found)
    assert names(problem.frames) == frames
    assert says in problem.message
    assert problem.advice.endswith(".")
