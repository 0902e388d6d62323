"""What the pictures lose, measured on them, becomes truth."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from testdata.rehearsal.cards import situation_card
from testdata.rehearsal.outing import Expected
from testdata.rehearsal.records import Place, TruthSet
from testdata.rehearsal.render import Tones, lost_tones, truth_table


def jpeg(left: int, right: int, share: float) -> bytes:
    picture = np.full((100, 200, 3), right, np.uint8)
    picture[:, : round(200 * share)] = left
    buffer = io.BytesIO()
    Image.fromarray(picture).save(buffer, "JPEG", quality=95)
    return buffer.getvalue()


@pytest.mark.parametrize("share", [0.0, 0.1, 0.4])
def test_white_and_black_are_shares_of_the_whole_picture(share: float) -> None:
    white, black = lost_tones(jpeg(255, 120, share)), lost_tones(jpeg(0, 120, share))
    assert white is not None and black is not None  # noqa: PT018
    assert white.white == pytest.approx(share, abs=0.03)
    assert white.black == 0.0
    assert black.black == pytest.approx(share, abs=0.03)
    assert black.white == 0.0


def test_one_channel_at_its_end_holds_detail_in_the_others() -> None:
    buffer = io.BytesIO()
    Image.new("RGB", (64, 64), (255, 200, 120)).save(buffer, "JPEG", quality=95)
    tones = lost_tones(buffer.getvalue())
    assert tones is not None
    assert tones.white == tones.nearly_white == 0.0


@pytest.mark.parametrize("data", [b"", b"not a picture"])
def test_no_picture_loses_nothing(data: bytes) -> None:
    assert lost_tones(data) is None


def tones(white: float, nearly: float | None = None) -> Tones:
    return Tones(
        white=white, nearly_white=nearly if nearly is not None else white, black=0, nearly_black=0
    )


VIEWS = TruthSet(
    kind="panorama",
    situation="",
    places=tuple(Place(file=name, view=view) for view, name in enumerate("ab")),
)


def findings(measured: dict[str, Tones] | None, *planted: Expected) -> list[tuple[str, bool]]:
    card = situation_card("singles", 31)
    card = replace(card, sets=(replace(VIEWS, findings=planted),), shots=(), situations={})
    for place in VIEWS.places:
        card.situations[place.file] = ""
    card = replace(card, copies=tuple((place.file, "") for place in VIEWS.places))
    (one,) = truth_table(card, measured)["sets"]
    return [
        (item["code"], item["required"])
        for item in one["findings"]
        if item["code"] in ("clipped-highlights", "blocked-shadows")
    ]


@pytest.mark.parametrize(
    ("measured", "expected"),
    [
        ({"a": tones(0.0), "b": tones(0.02)}, []),
        ({"a": tones(0.0), "b": tones(0.2)}, [("clipped-highlights", True)]),
        ({"a": tones(0.0), "b": tones(0.06)}, [("clipped-highlights", False)]),
        ({"a": tones(0.0), "b": tones(0.01, nearly=0.1)}, [("clipped-highlights", False)]),
        (None, [("clipped-highlights", False), ("blocked-shadows", False)]),
    ],
    ids=["little", "much", "about the limit", "nearly white", "not measured"],
)
def test_truth_of_lost_tones(
    measured: dict[str, Tones] | None, expected: list[tuple[str, bool]]
) -> None:
    assert findings(measured) == expected


@pytest.mark.parametrize("frames", [("b",), ()])
def test_an_odd_exposure_explains_what_it_loses(frames: tuple[str, ...]) -> None:
    measured = {"a": tones(0.0), "b": tones(0.2)}
    odd = Expected(code="mixed-shutter", frames=frames)
    assert findings(measured, odd) == [("clipped-highlights", False)]
    elsewhere = Expected(code="mixed-shutter", frames=("a",))
    assert findings(measured, elsewhere) == [("clipped-highlights", True)]
