"""The bundled card is what its recipe says, and small enough to carry along."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from PIL import Image

from testdata.rehearsal.files import shoot
from testdata.rehearsal.render import truth_table
from testdata.rehearsal.sample import HOME, sample_card

CARD = sample_card()


def test_truth_on_disk_is_the_recipes() -> None:
    text = (HOME / "card-truth.json").read_text(encoding="utf-8")
    assert json.loads(text) == json.loads(json.dumps(truth_table(CARD)))


def test_files_on_disk_are_the_recipes() -> None:
    names = {path.relative_to(HOME / "card").as_posix() for path in (HOME / "card").rglob("*.*")}
    assert names == {shot.file for shot in CARD.shots}
    assert sum(path.stat().st_size for path in (HOME / "card").rglob("*.*")) < 5_000_000


@pytest.mark.parametrize("number", [0, 30, 50])
def test_pictures_on_disk_are_the_recipes(number: int) -> None:
    shot = CARD.shots[number]
    made = shoot(shot)[shot.file]
    kept = (HOME / "card" / shot.file).read_bytes()
    if made == kept:
        return
    # Another version of the JPEG or FFT library rounds differently: the same picture, then.
    a, b = (np.asarray(Image.open(io.BytesIO(data)), float) for data in (made, kept))
    assert np.abs(a - b).mean() < 2


def test_card_holds_what_the_examples_speak_of() -> None:
    kinds = [(item.kind, item.legs, item.closed) for item in CARD.sets]
    assert ("bracket", 5, False) in kinds
    assert ("panorama", 3, False) in kinds
    assert ("panorama", 1, True) in kinds
    faults = [item.code for one in CARD.sets for item in one.findings if item.required]
    assert sorted(code for code in faults if code != "too-wide") == ["missing-frame", "mixed-iso"]
    assert 70 <= len(CARD.shots) <= 90
