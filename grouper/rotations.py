"""Rotations of a camera: matrices, and vectors of axis times angle. Pure.

Camera axes: x right, y down, z forward. A rotation matrix ``r`` from camera ``a`` to camera
``b`` holds ``b``'s axes in ``a``'s frame, so that ``direction_a = r @ direction_b``, and a turn
from ``a`` to ``c`` is that from ``a`` to ``b`` times that from ``b`` to ``c``.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

DoubleArray = NDArray[np.float64]

_ACROSS = np.array(
    [
        [0.0, 0.0, 0.0, 0.0, 0.0, -1.0, 0.0, 1.0, 0.0],
        [0.0, 0.0, 1.0, 0.0, 0.0, 0.0, -1.0, 0.0, 0.0],
        [0.0, -1.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
    ]
)
"""Makes of a vector the matrix, flattened, that takes its cross product with another."""
_SAME = np.eye(3)


def rotation(vector_rad: DoubleArray) -> DoubleArray:
    """Rotation matrices of rotation vectors, axis times angle in radians (Rodrigues).

    Args:
        vector_rad: of shape (..., 3).

    Returns:
        Of shape (..., 3, 3).
    """
    angle = np.sqrt(np.maximum(np.einsum("...i,...i", vector_rad, vector_rad), 1e-24))
    s = np.sin(angle) / angle
    # (1 - cos t) / t**2, without losing its digits near 0.
    half = np.sin(0.5 * angle) / angle
    across = (vector_rad @ _ACROSS).reshape(*vector_rad.shape, 3)
    turned = s[..., None, None] * across
    turned += (2.0 * half * half)[..., None, None] * (across @ across)
    turned += _SAME
    return np.asarray(turned)


def rotation_vector(matrix: DoubleArray) -> DoubleArray:
    """Rotation vectors in radians of rotation matrices; angles are 0..pi.

    Args:
        matrix: of shape (..., 3, 3).

    Returns:
        Of shape (..., 3).
    """
    skew = 0.5 * np.stack(
        [
            matrix[..., 2, 1] - matrix[..., 1, 2],
            matrix[..., 0, 2] - matrix[..., 2, 0],
            matrix[..., 1, 0] - matrix[..., 0, 1],
        ],
        axis=-1,
    )
    sine = np.sqrt((skew * skew).sum(axis=-1))
    cosine = 0.5 * (np.trace(matrix, axis1=-2, axis2=-1) - 1.0)
    angle = np.arctan2(sine, cosine)
    vector = np.asarray(skew * (angle / np.maximum(sine, 1e-9))[..., None])
    small = (sine < 1e-9) & (cosine > 0)
    vector[small] = skew[small]
    for at in np.argwhere((sine < 1e-6) & (cosine < 0)):
        # Half a turn: the axis is in the symmetric part.
        outer = 0.5 * (matrix[tuple(at)] + np.eye(3))
        column = int(np.argmax(np.diag(outer)))
        vector[tuple(at)] = np.pi * outer[:, column] / math.sqrt(float(outer[column, column]))
    return vector
