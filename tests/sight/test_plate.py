"""What a picture shows that looks the same in all directions."""

from __future__ import annotations

import numpy as np
import pytest

from grouper.sight.picture import Upright, preview
from grouper.sight.plate import Plate, _sheared, prepare


def _layers(lean: float, width: int = 480, height: int = 320) -> Plate:
    """Sky, land and water one above the other, ``lean`` rows down from column to column."""
    row, column = np.indices((height, width), dtype=np.float64)
    up = (row - lean * (column - (width - 1) / 2)) / height
    light = 90 + 60 * np.tanh(25 * (up - 0.45)) + 30 * np.tanh(40 * (0.6 - up)) + 25 * up
    grey = np.random.default_rng(2).normal(light, 2.0).clip(0, 255).astype(np.uint8)
    return prepare(preview(Upright(np.repeat(grey[..., None], 3, axis=2), 6000.0)))


@pytest.mark.parametrize("size", [(480, 320), (320, 480)], ids=["lying", "standing"])
@pytest.mark.parametrize("lean", [-0.15, -0.05, 0.0, 0.1, 0.2])
def test_a_lean_is_taken_out_of_the_profile(lean: float, size: tuple[int, int]) -> None:
    level, leaning = _layers(0.0, *size), _layers(lean, *size)
    assert len(leaning.profile) == len(level.profile) > 0
    inner = slice(len(level.profile) // 5, -len(level.profile) // 5)
    assert np.corrcoef(level.profile[inner], leaning.profile[inner])[0, 1] > 0.98


def test_what_leans_further_does_not_look_alike() -> None:
    assert not len(_layers(0.6).profile)


def test_columns_are_sheared_about_the_middle() -> None:
    cells, edge = _sheared(10, 5, 1.0)
    rows, columns = np.divmod(cells[5], 5)
    assert rows.tolist() == [3, 4, 5, 6, 7]
    assert columns.tolist() == [0, 1, 2, 3, 4]
    assert edge == 2
