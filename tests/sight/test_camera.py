"""What lenses a camera may have had, by its metadata."""

from __future__ import annotations

from typing import Any

import pytest

from grouper.lenses import Lens
from grouper.sight.camera import CameraBelief, camera_of
from tests.support import frame


def believed(**changes: Any) -> CameraBelief:
    return camera_of(frame(**{"focus_m": None, "sensor_from": "body", **changes}))


@pytest.mark.parametrize(
    ("changes", "lenses"),
    [
        pytest.param({"focal_mm": 24.0, "lens": "24mm"}, (Lens(0.6667),), id="an ordinary lens"),
        pytest.param({"focal_mm": 24.0, "lens": None}, (Lens(0.6667),), id="too long for one"),
        pytest.param(
            {"focal_mm": 14.0, "lens": "Ostrel 14mm"}, (Lens(0.3889),), id="a short one, named"
        ),
        pytest.param(
            {"focal_mm": 15.0, "lens": "Fisheye 15mm"},
            (Lens(0.4167, "equisolid"), Lens(0.4167, "stereographic")),
            id="called a fisheye",
        ),
        pytest.param(
            {"focal_mm": 8.0, "lens": "Circular Fisheye"},
            (Lens(0.2222, "equisolid"), Lens(0.2222, "stereographic")),
            id="shorter than any other lens",
        ),
        pytest.param(
            {"focal_mm": 15.0, "lens": None},
            (Lens(0.4167), Lens(0.4167, "equisolid"), Lens(0.4167, "stereographic")),
            id="either",
        ),
        pytest.param(
            {"focal_mm": 15.0, "lens": "15 mm f/2.8"},
            (Lens(0.4167), Lens(0.4167, "equisolid"), Lens(0.4167, "stereographic")),
            id="either, by numbers alone",
        ),
    ],
)
def test_the_lenses_that_a_camera_may_have(
    changes: dict[str, Any], lenses: tuple[Lens, ...]
) -> None:
    belief = believed(**changes)
    assert belief.lenses == lenses
    assert belief.known


@pytest.mark.parametrize(
    ("changes", "mappings"),
    [
        pytest.param({"focal_mm": None}, {"rectilinear", "equisolid", "stereographic"}, id="none"),
        # A telephone's 4 mm on a sensor that is taken for a large one.
        pytest.param(
            {"focal_mm": 4.0}, {"rectilinear", "equisolid", "stereographic"}, id="too short"
        ),
        # Longer than any lens is made.
        pytest.param(
            {"focal_mm": 10_000.0}, {"rectilinear", "equisolid", "stereographic"}, id="too long"
        ),
        pytest.param(
            {"focal_mm": None, "lens": "Fisheye"}, {"equisolid", "stereographic"}, id="by name"
        ),
    ],
)
def test_where_the_focal_length_is_not_known_the_pictures_choose(
    changes: dict[str, Any], mappings: set[str]
) -> None:
    belief = believed(**changes)
    assert {lens.mapping for lens in belief.lenses} == mappings
    assert not belief.known


def test_focused_near_a_lens_draws_larger() -> None:
    # Thin lens: 50 mm focused at 0.5 m lies 50 / 0.9 = 55.56 mm before the sensor of 36 mm.
    assert believed(focal_mm=50.0, focus_m=0.5).lenses == (Lens(1.5432),)


def test_another_lens_is_another_camera() -> None:
    assert believed(lens="Fisheye").key != believed(lens="24mm").key
