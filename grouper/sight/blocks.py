"""Sums over square blocks of a picture. Pure."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from grouper.sight.sphere import FloatArray


def block_sums(values: FloatArray, side: int) -> FloatArray:
    """Sums over blocks of ``side`` by ``side`` cells; the last ones may be smaller.

    Args:
        values: of shape (..., rows, columns).
        side: of a block, in cells.
    """
    rows, columns = values.shape[-2:]
    return np.asarray(_adding(rows, side) @ values @ _adding(columns, side).T)


@lru_cache(maxsize=256)
def _adding(size: int, side: int) -> FloatArray:
    """The matrix that adds up the blocks in a row of so many cells."""
    count = -(-size // side)
    return np.repeat(np.eye(count, dtype=np.float32), side, axis=1)[:, :size]
