"""Masked normalised cross-correlation over all shifts, in the Fourier domain.

D. Padfield, *Masked Object Registration in the Fourier Domain*, IEEE Transactions on Image
Processing 21(5), 2012: the correlation coefficient of two masked pictures at every shift
from products of their spectra. Pure; float32 throughout; leading axes are batches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from grouper.sight.sphere import FloatArray

ComplexArray = NDArray[np.complex64]
Shape = tuple[int, int]

_ROUNDING = 1e-3
"""Float32 transforms round to about 1e-6 of the largest value: contrast below this share of
a picture's whole is not trusted to be contrast."""


@dataclass(frozen=True, slots=True)
class MaskedSpectra:
    """Spectra of masked pictures and of their squares, zero-padded, of shape (..., h, w)."""

    picture: ComplexArray
    square: ComplexArray


@dataclass(frozen=True, slots=True)
class Peak:
    """A candidate shift of picture ``b`` over ``a``, in whole cells.

    ``b``'s first cell lies ``down`` rows and ``right`` columns from ``a``'s. ``score``
    weighs the correlation with the area it rests on; ``layer`` is its place in the batch.
    """

    score: float
    layer: int
    down: int
    right: int


def padded_shape(a: Shape, b: Shape) -> Shape:
    """The smallest fast transform shape in which no shift of ``b`` over ``a`` wraps."""
    return (
        int(fft.next_fast_len(a[0] + b[0] - 1, real=True)),
        int(fft.next_fast_len(a[1] + b[1] - 1, real=True)),
    )


def mask_spectrum(mask: FloatArray, shape: Shape) -> ComplexArray:
    """The spectrum of masks alone; it depends only on the camera, so it is worth keeping."""
    return np.asarray(fft.rfft2(mask, shape), dtype=np.complex64)


def masked_spectra(picture: FloatArray, mask: FloatArray, shape: Shape) -> MaskedSpectra:
    """Spectra of pictures under masks, zero-padded to a shape."""
    shown = picture * mask
    spectra = np.asarray(fft.rfft2(np.stack([shown, shown * shown]), shape), dtype=np.complex64)
    return MaskedSpectra(spectra[0], spectra[1])


def common_cells(mask_a: ComplexArray, mask_b: ComplexArray, shape: Shape) -> FloatArray:
    """How many cells two masks have in common at every shift (see ``masked_ncc``)."""
    cells = fft.irfft2(mask_a * np.conj(mask_b), shape)
    return np.asarray(np.rint(cells), dtype=np.float32)


def masked_ncc(
    a: MaskedSpectra,
    b: MaskedSpectra,
    masks: tuple[ComplexArray, ComplexArray],
    cells: FloatArray,
    shape: Shape,
    *,
    zero_mean: bool = False,
) -> FloatArray:
    """Correlation coefficient over the common cells for every shift of ``b`` over ``a``.

    Entry (i, j) belongs to ``b`` laid down i rows below and j columns right of ``a``;
    indices past the middle are negative shifts (they wrap). The coefficient is 0 where
    nothing overlaps or nothing varies.

    Args:
        a: spectra of the first picture.
        b: spectra of the second picture.
        masks: spectra of both masks.
        cells: ``common_cells`` of the masks.
        shape: the padded shape of all of these.
        zero_mean: the pictures are band-passed, so the means over the overlap need not be
            taken out: half the work, and as good at telling neighbours from strangers.
    """
    mask_a, mask_b = masks
    cross = fft.irfft2(a.picture * np.conj(b.picture), shape)
    spread_a = fft.irfft2(a.square * np.conj(mask_b), shape)
    spread_b = fft.irfft2(mask_a * np.conj(b.square), shape)
    floor_a, floor_b = (_ROUNDING * max(float(s.max()), 1e-20) for s in (spread_a, spread_b))
    if not zero_mean:
        count = np.maximum(cells, np.float32(1.0))
        sum_a = fft.irfft2(a.picture * np.conj(mask_b), shape)
        sum_b = fft.irfft2(mask_a * np.conj(b.picture), shape)
        cross -= sum_a * sum_b / count
        spread_a -= sum_a * sum_a / count
        spread_b -= sum_b * sum_b / count
    shown = (cells > 0.5) & (spread_a > floor_a) & (spread_b > floor_b)
    spread_a *= spread_b
    ncc = np.zeros_like(cross)
    np.divide(cross, np.sqrt(spread_a, where=shown, out=spread_a), out=ncc, where=shown)
    return np.asarray(np.clip(ncc, -1.0, 1.0, out=ncc), dtype=np.float32)


def both_ways(ncc: FloatArray) -> FloatArray:
    """Join the coefficients of the slopes to the right and downwards.

    The harmonic mean, 0 where either is not positive: two pictures that share only a level
    horizon agree perfectly downwards and not at all to the right.

    Args:
        ncc: of shape (..., 2, h, w).
    """
    right, down = np.maximum(ncc[..., 0, :, :], 0.0), np.maximum(ncc[..., 1, :, :], 0.0)
    return np.asarray(2.0 * right * down / np.maximum(right + down, np.float32(1e-6)))


def near(grid: FloatArray, places: Sequence[tuple[int, int]], reach: int) -> FloatArray:
    """A batch of grids over shifts, 0 beyond ``reach`` cells from a place in each.

    Args:
        grid: of shape (layers, h, w).
        places: rows and columns, which may be negative, of each layer.
        reach: how many cells on every side are kept.
    """
    kept = np.zeros_like(grid)
    rows, columns = grid.shape[1:]
    for layer, (i, j) in enumerate(places):
        around = np.arange(-min(reach, min(rows, columns) // 2 - 1), reach + 1)
        at = np.ix_((i + around) % rows, (j + around) % columns)
        kept[layer][at] = grid[layer][at]
    return kept


def peaks(
    ncc: FloatArray, cells: FloatArray, least_cells: FloatArray, count: int, radius: int
) -> list[list[Peak]]:
    """The best shifts of each picture in a batch, best first, none within ``radius`` of a better.

    The score weighs a coefficient with the cells it rests on: its standard error over n
    independent cells goes with n**-0.5 (Fisher 1915); neighbouring cells are not
    independent, and 0.4 told right shifts from wrong ones best on rendered pairs.

    Args:
        ncc: coefficients of shape (layers, h, w).
        cells: common cells, same shape.
        least_cells: fewest common cells to look at, of shape (layers,).
        count: most peaks of a layer.
        radius: half the side of the square cleared round a peak.
    """
    score = ncc * np.maximum(cells, 1.0) ** np.float32(0.4)
    score[cells < least_cells[:, None, None]] = 0.0
    layers, rows, columns = score.shape
    each, near = np.arange(layers), np.arange(-radius, radius + 1)
    found: list[list[Peak]] = [[] for _ in range(layers)]
    for _ in range(count):
        i, j = np.divmod(score.reshape(layers, -1).argmax(axis=1), columns)
        best = score[each, i, j]
        for layer in np.flatnonzero(best > 0).tolist():
            down, right = int(i[layer]), int(j[layer])
            down -= rows if down > rows // 2 else 0
            right -= columns if right > columns // 2 else 0
            found[layer].append(Peak(float(best[layer]), layer, down, right))
        around_i, around_j = (i[:, None] + near) % rows, (j[:, None] + near) % columns
        score[each[:, None, None], around_i[:, :, None], around_j[:, None, :]] = 0.0
    return found
