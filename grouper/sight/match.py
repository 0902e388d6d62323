"""Masked normalised cross-correlation over all shifts, in the Fourier domain.

D. Padfield, *Masked Object Registration in the Fourier Domain*, IEEE Transactions on Image
Processing 21(5), 2012: the correlation coefficient of two masked pictures at every shift
from six products of spectra. Pure; float32 throughout.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from grouper.sight.sphere import FloatArray

ComplexArray = NDArray[np.complex64]


@dataclass(frozen=True, slots=True)
class MaskedSpectra:
    """Spectra of a masked picture, of its square and of its mask, zero-padded to one shape."""

    picture: ComplexArray
    square: ComplexArray
    mask: ComplexArray


@dataclass(frozen=True, slots=True)
class Peak:
    """A candidate shift: ``b``'s first cell lies ``down`` rows and ``right`` columns from
    ``a``'s, in whole cells; ``score`` weighs the correlation with the area it rests on."""

    score: float
    ncc: float
    cells: float
    down: int
    right: int


def padded_shape(a: tuple[int, int], b: tuple[int, int]) -> tuple[int, int]:
    """The smallest fast transform shape in which no shift of ``b`` over ``a`` wraps."""
    return (
        int(fft.next_fast_len(a[0] + b[0] - 1, real=True)),
        int(fft.next_fast_len(a[1] + b[1] - 1, real=True)),
    )


def mask_spectrum(mask: FloatArray, shape: tuple[int, int]) -> ComplexArray:
    """The spectrum of a mask alone; it depends only on the camera, so it is worth keeping."""
    return np.asarray(fft.rfft2(mask, shape), dtype=np.complex64)


def masked_spectra(
    picture: FloatArray, mask: FloatArray, shape: tuple[int, int], mask_at: ComplexArray
) -> MaskedSpectra:
    """Spectra for ``masked_ncc``; ``mask_at`` is ``mask_spectrum(mask, shape)``."""
    shown = picture * mask
    both = fft.rfft2(np.stack([shown, shown * shown]), shape)
    return MaskedSpectra(both[0].astype(np.complex64), both[1].astype(np.complex64), mask_at)


def masked_ncc(
    a: MaskedSpectra, b: MaskedSpectra, shape: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """Correlation coefficient and overlap, in cells, for every shift of ``b`` over ``a``.

    Entry (i, j) belongs to ``b`` laid down i rows below and j columns right of ``a``;
    indices past the middle are negative shifts (they wrap). The coefficient is 0 where
    nothing overlaps or nothing varies.
    """
    products = np.stack(
        [
            a.picture * np.conj(b.picture),
            a.picture * np.conj(b.mask),
            a.mask * np.conj(b.picture),
            a.square * np.conj(b.mask),
            a.mask * np.conj(b.square),
            a.mask * np.conj(b.mask),
        ]
    )
    cross, sum_a, sum_b, square_a, square_b, cells = fft.irfft2(products, shape)
    count = np.maximum(np.rint(cells), 1.0)
    spread_a = square_a - sum_a * sum_a / count
    spread_b = square_b - sum_b * sum_b / count
    # Rounding of float32 transforms is about 1e-6 of the largest value: less than this
    # share of a picture's whole variation is noise, not contrast.
    floor_a = 1e-3 * max(float(square_a.max()), 1e-20)
    floor_b = 1e-3 * max(float(square_b.max()), 1e-20)
    shown = (cells > 0.5) & (spread_a > floor_a) & (spread_b > floor_b)
    product = np.where(shown, spread_a * spread_b, 1.0)
    ncc = np.where(shown, (cross - sum_a * sum_b / count) / np.sqrt(product), 0.0)
    return np.clip(ncc, -1.0, 1.0).astype(np.float32), np.rint(cells).astype(np.float32)


def peaks(
    ncc: FloatArray, cells: FloatArray, least_cells: float, count: int, radius: int
) -> list[Peak]:
    """The best shifts, best first, none within ``radius`` cells of a better one.

    The score is ncc * sqrt(cells): the standard error of a correlation coefficient over n
    independent cells is about 1/sqrt(n) (Fisher 1915), so the score counts how many of
    them the match stands above chance.
    """
    score = np.where(cells >= least_cells, ncc * np.sqrt(np.maximum(cells, 0.0)), -np.inf)
    rows, columns = score.shape
    near = np.arange(-radius, radius + 1)
    found: list[Peak] = []
    for _ in range(count):
        at = int(np.argmax(score))
        i, j = divmod(at, columns)
        if not np.isfinite(score[i, j]) or score[i, j] <= 0:
            break
        found.append(
            Peak(
                float(score[i, j]),
                float(ncc[i, j]),
                float(cells[i, j]),
                i if i <= rows // 2 else i - rows,
                j if j <= columns // 2 else j - columns,
            )
        )
        score[np.ix_((i + near) % rows, (j + near) % columns)] = -np.inf
    return found
