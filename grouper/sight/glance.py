"""What one small picture shows on its own. Pure."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from grouper.model import Glance
from grouper.sight.picture import Preview
from grouper.sight.sphere import BoolArray, FloatArray

_WHITE = 250
"""Grey level from which no channel holds detail: even the weakest in the sum, blue, is then
above 210 and green above 246. Codec noise keeps burnt areas a few levels below 255."""


def glance(preview: Preview) -> Glance:
    """Measure a picture: levels, clipping, sharpness and shape."""
    luma = preview.luma
    width, height = preview.size
    mean, spread = cv2.meanStdDev(luma)
    fine = cv2.Laplacian(luma, cv2.CV_32F, ksize=1)[1:-1, 1:-1]
    fine = fine * fine
    return Glance(
        mean=round(float(mean[0, 0]) / 255.0, 4),
        spread=round(float(spread[0, 0]) / 255.0, 4),
        clipped_share=_share(preview.clipped),
        white_share=_share(luma >= _WHITE),
        blocked_share=_share(preview.blocked),
        sharpness=round(_sharpness(luma, fine), 4),
        aspect=round(width / height, 4),
        focus_map=_focus_map(luma, fine),
    )


def _share(where: BoolArray) -> float:
    return round(float(np.count_nonzero(where)) / where.size, 4)


def _sharpness(luma: FloatArray, fine: FloatArray) -> float:
    """Root mean square Laplacian over root mean square gradient of the sharpest quarter.

    Blur takes from the Laplacian first (variance of Laplacian: Pech-Pacheco et al. 2000);
    dividing by the gradient takes out contrast and exposure. In a focus stack only a part
    of the frame is sharp, so blocks are ranked and the strongest quarter counts.
    """
    rows, columns = (max(1, size // 12) for size in fine.shape)
    energy = _blocks(fine, rows, columns)
    slope = _blocks(
        _energy(luma[1:-1, 2:] - luma[1:-1, :-2], luma[2:, 1:-1] - luma[:-2, 1:-1]), rows, columns
    )
    count = max(1, energy.size // 4)
    best = np.argsort(-slope, axis=None, kind="stable")[:count]
    # Sums take a third of the time that numpy's means do.
    ground = float(slope.take(best).sum())
    return (float(energy.take(best).sum()) / ground) ** 0.5 if ground > count else 0.0


_FOCUS_FIELDS = 4
"""Fields each way: 40 pixels of a thumbnail's long side still hold texture to be sharp, and
sixteen tell near from far (estimated)."""


def _focus_map(luma: FloatArray, fine: FloatArray) -> tuple[float, ...]:
    """Log of Laplacian over gradient energy per field of a 4 x 4 grid.

    Light that fades, or something that comes between, changes the two alike; focus takes from
    the finer one first. Empty if the picture is too small.
    """
    if min(luma.shape) < 2 * _FOCUS_FIELDS:
        return ()
    corner = luma[:-1, :-1]
    gradient = _energy(luma[:-1, 1:] - corner, luma[1:, :-1] - corner)
    slope = _blocks(gradient, _FOCUS_FIELDS, _FOCUS_FIELDS)
    # One grey level squared keeps flat fields from being measured by their noise.
    fields = np.log((_blocks(fine, _FOCUS_FIELDS, _FOCUS_FIELDS) + 1.0) / (slope + 1.0))
    return tuple(map(_one, fields.astype(np.float64).ravel().round(3).tolist()))


@lru_cache(maxsize=20_000)
def _one(value: float) -> float:
    """The same number always as the same object: sixteen of a frame's own take 400 bytes."""
    return value


def _energy(across: FloatArray, down: FloatArray) -> FloatArray:
    """The square of a gradient, in place of its first part."""
    across *= across
    down *= down
    across += down
    return across


def _blocks(values: FloatArray, rows: int, columns: int) -> FloatArray:
    high, wide = values.shape[0] // rows, values.shape[1] // columns
    cut = values[: rows * high, : columns * wide]
    return np.asarray(cv2.resize(cut, (columns, rows), interpolation=cv2.INTER_AREA))
