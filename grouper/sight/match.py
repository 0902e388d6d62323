"""Masked normalised cross-correlation over all shifts, in the Fourier domain.

D. Padfield, *Masked Object Registration in the Fourier Domain*, IEEE Transactions on Image
Processing 21(5), 2012: the correlation coefficient of two masked pictures at every shift
from products of their spectra. Two things make it quick. The pictures are band-passed, so the
means over the overlap need not be taken out. And how much of each picture's energy lies in the
overlap changes slowly with the shift, so that is worked out on a grid ``POOL`` times as coarse
and interpolated. Pure; float32 throughout; leading axes are batches.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from grouper.sight.blocks import block_sums
from grouper.sight.sphere import BoolArray, FloatArray

ComplexArray = NDArray[np.complex64]
Shape = tuple[int, int]

POOL = 4
"""Cells each way whose energy is added up: a sixteenth of the work, and still a tenth of the
smallest picture that is searched."""
_KEPT = 3
"""Of every ``POOL`` frequencies the lower ones that are kept. The others, above 0.375 cycles a
cell, are next to nothing in a band-passed picture: its blur leaves 6 % of them."""
SHIFT_CELLS = POOL / _KEPT
"""From one shift to the next: what has no higher frequencies need not be known any closer, and a
little more than half of the shifts are left."""
_FEW_LENGTHS = (6, 8, 10, 12, 15, 20, 27, 30, 36, 45, 60)
"""Pooled lengths of transforms: fast ones, and few, so that more pictures are transformed at once.
That saves a seventh of the batches for a fourteenth more cells (measured)."""
_ROUNDING = 1e-3
"""Float32 transforms round to about 1e-6 of the largest value: contrast below this share of
a picture's whole is not trusted to be contrast."""
_EVIDENCE_POWER = 0.4
"""The standard error of a coefficient over n independent cells goes with n**-0.5 (Fisher 1915);
neighbouring cells are not independent, and 0.4 told right shifts from wrong ones best on
rendered pairs."""


@dataclass(frozen=True, slots=True)
class MaskedSpectra:
    """Spectra of masked pictures, zero-padded, and of their squares, pooled.

    Of ``picture`` the lower frequencies only (see ``SHIFT_CELLS``).
    """

    picture: ComplexArray
    energy: ComplexArray


@dataclass(frozen=True, slots=True)
class Peak:
    """A candidate shift of picture ``b`` over ``a``, in cells and parts of them.

    ``b``'s first cell lies ``down`` rows and ``right`` columns from ``a``'s. ``score``
    weighs the correlation with the area it rests on.
    """

    score: float
    down: float
    right: float


def padded_shape(a: Shape, b: Shape, unused: float = 0.0) -> Shape:
    """A fast transform shape, not much larger than need be, in which no shift of ``b`` wraps.

    Both sides are multiples of ``POOL``.

    Args:
        a: rows and columns of the first picture.
        b: those of the second.
        unused: shifts that leave less than this share of the smaller side in common may wrap.
    """
    pooled = (
        -(-(one + other - 1 - int(unused * min(one, other))) // POOL)
        for one, other in zip(a, b, strict=True)
    )
    rows, columns = (POOL * _fast_length(size) for size in pooled)
    return rows, columns


def _fast_length(size: int) -> int:
    quick = next((one for one in _FEW_LENGTHS if one >= size), size)
    return int(fft.next_fast_len(quick, real=True))


def masked_spectra(shown: FloatArray, shape: Shape) -> list[MaskedSpectra]:
    """Spectra of pictures that are 0 outside their masks.

    Args:
        shown: of shape (pictures, ..., h, w).
        shape: the padded shape.
    """
    energies = _spectrum(block_sums(shown * shown, POOL), _coarse(shape))
    kept = _lower(shown, shape)
    # Copies of their own, or each would keep all the others alive.
    return [
        MaskedSpectra(picture.copy(), energy.copy())
        for picture, energy in zip(kept, energies, strict=True)
    ]


def mask_energy(mask: BoolArray, shape: Shape) -> ComplexArray:
    """The spectrum of a pooled mask; it depends only on the camera, so it is worth keeping."""
    pooled = block_sums(mask.astype(np.float32), POOL) / np.float32(POOL * POOL)
    return _spectrum(pooled, _coarse(shape))


def common_cells(masks: tuple[ComplexArray, ComplexArray], shape: Shape) -> FloatArray:
    """How many cells two masks have in common at every ``POOL``-th shift each way.

    Args:
        masks: ``mask_energy`` of both.
        shape: the padded shape; the grid is ``POOL`` times as coarse (see ``finer``).
    """
    cells = fft.irfft2(masks[0] * np.conj(masks[1]), _coarse(shape))
    return np.asarray(cells * np.float32(POOL * POOL), dtype=np.float32)


def evidence_weight(cells: FloatArray, least_cells: float) -> FloatArray:
    """What a coefficient is worth that rests on so many cells: 0 below the fewest looked at."""
    weight = np.maximum(cells, 1.0) ** np.float32(_EVIDENCE_POWER)
    weight[cells < least_cells] = 0.0
    return np.asarray(weight, dtype=np.float32)


def masked_ncc(
    pairs: Sequence[tuple[MaskedSpectra, MaskedSpectra]],
    masks: Sequence[tuple[ComplexArray, ComplexArray]],
    shape: Shape,
) -> FloatArray:
    """Correlation coefficient over the common cells for shifts of ``b`` over ``a``.

    Entry (i, j) belongs to ``b`` laid down i times ``SHIFT_CELLS`` below and j times right of
    ``a``; indices past the middle are negative shifts (they wrap). The coefficient goes to 0
    where next to nothing overlaps or varies.

    Args:
        pairs: spectra of the pictures ``a`` and ``b``.
        masks: ``mask_energy`` of both, for each pair.
        shape: the padded shape of all of these.

    Returns:
        Of shape (pairs, ..., h, w): the middle as in the spectra, h and w those of
        ``shifts_shape``.
    """
    first = pairs[0][0]
    cross = np.empty((len(pairs), *first.picture.shape), dtype=np.complex64)
    energy = np.empty((2, len(pairs), *first.energy.shape), dtype=np.complex64)
    # Written where they go: stacking the spectra takes longer than transforming them.
    for at, ((a, b), (mask_a, mask_b)) in enumerate(zip(pairs, masks, strict=True)):
        _times_conjugate(a.picture, b.picture, cross[at])
        _times_conjugate(a.energy, mask_b, energy[0, at])
        _times_conjugate(mask_a, b.energy, energy[1, at])
    ncc = fft.irfft2(cross, shifts_shape(shape), overwrite_x=True)
    within = fft.irfft2(energy, _coarse(shape), overwrite_x=True)
    floors = np.float32(_ROUNDING) * within.max(axis=(-2, -1), keepdims=True)
    np.maximum(within, np.maximum(floors, np.float32(1e-10)), out=within)
    ncc /= finer(np.sqrt(within[0] * within[1]), shape)
    return np.asarray(np.clip(ncc, -1.0, 1.0, out=ncc), dtype=np.float32)


def _times_conjugate(a: ComplexArray, b: ComplexArray, out: ComplexArray) -> None:
    np.conjugate(b, out=out)
    out *= a


def _spectrum(picture: FloatArray, shape: Shape) -> ComplexArray:
    # Rows first: those that padding adds below are 0 and need no transform.
    return np.asarray(fft.fft(fft.rfft(picture, shape[1]), shape[0], axis=-2), dtype=np.complex64)


def _lower(picture: FloatArray, shape: Shape) -> ComplexArray:
    """The lower frequencies of a spectrum, scaled so that products of two come out as of all."""
    rows, columns = shifts_shape(shape)
    along = fft.rfft(picture, shape[1])[..., : columns // 2 + 1]
    whole = fft.fft(along, shape[0], axis=-2)
    below = rows // 2
    kept = np.concatenate([whole[..., : rows - below, :], whole[..., -below:, :]], axis=-2)
    kept *= np.float32(_KEPT / POOL)
    return np.asarray(kept, dtype=np.complex64)


def shifts_shape(shape: Shape) -> Shape:
    """Rows and columns of the grid of shifts that belongs to a padded shape."""
    return shape[0] // POOL * _KEPT, shape[1] // POOL * _KEPT


def _coarse(shape: Shape) -> Shape:
    return shape[0] // POOL, shape[1] // POOL


def finer(coarse: FloatArray, shape: Shape) -> FloatArray:
    """A grid over every ``POOL``-th cell, which wrap, interpolated bilinearly to all shifts.

    Args:
        coarse: of shape (..., rows, columns).
        shape: the padded shape.
    """
    return np.asarray(_filling(shape[0]) @ coarse @ _filling(shape[1]).T)


@lru_cache(maxsize=256)
def _filling(size: int) -> FloatArray:
    """The matrix that interpolates linearly from every ``POOL``-th cell, which wrap, to shifts."""
    count = size // POOL
    share = np.arange(_KEPT, dtype=np.float32)[:, None] / np.float32(_KEPT)
    here = np.eye(count, dtype=np.float32)
    both = here[:, None] * (1 - share) + np.roll(here, 1, axis=1)[:, None] * share
    return both.reshape(count * _KEPT, count)


def both_ways(ncc: FloatArray) -> FloatArray:
    """Join the coefficients of the slopes to the right and downwards.

    The harmonic mean, 0 where either is not positive: two pictures that share only a level
    horizon agree perfectly downwards and not at all to the right.

    Args:
        ncc: of shape (..., 2, h, w).
    """
    right, down = (np.maximum(ncc[..., at, :, :], np.float32(0.0)) for at in (0, 1))
    whole = right + down
    joined = right  # in place: these grids are large
    joined *= down
    joined /= np.maximum(whole, np.float32(1e-6), out=whole)
    joined *= np.float32(2.0)
    return np.asarray(joined)


def near(grid: FloatArray, place: tuple[float, float], reach: float) -> FloatArray:
    """A grid over shifts, 0 beyond ``reach`` from one of them.

    Args:
        grid: of shape (h, w).
        place: cells down and right, which may be negative.
        reach: how many cells on every side are kept.
    """
    kept = np.zeros_like(grid)
    steps = round(reach / SHIFT_CELLS)
    around = np.arange(-steps, steps + 1)
    middles = (round(one / SHIFT_CELLS) for one in place)
    at = np.ix_(*((one + around) % size for one, size in zip(middles, grid.shape, strict=True)))
    kept[at] = grid[at]
    return kept


def peaks(
    score: FloatArray, count: int, radius: float, firsts: Sequence[Shape]
) -> list[list[Peak]]:
    """The best shifts of each picture in a batch, best first, none within ``radius`` of a better.

    Args:
        score: of shape (layers, h, w), a grid over shifts; it is used up.
        count: most peaks of a layer.
        radius: half the side of the square cleared round a peak, in cells.
        firsts: rows and columns of the first picture of each layer: what lies further down or
            right than those is a shift up or to the left, which wrapped.
    """
    layers, rows, columns = score.shape
    reach = round(radius / SHIFT_CELLS)
    each, square = np.arange(layers), np.arange(-reach, reach + 1)
    flat = score.reshape(layers, -1)
    tall, wide = np.array(firsts).T
    found: list[list[Peak]] = [[] for _ in range(layers)]
    for _ in range(count):
        i, j = np.divmod(flat.argmax(axis=1), columns)
        around_i, around_j = (i[:, None] + square) % rows, (j[:, None] + square) % columns
        patch = score[each[:, None, None], around_i[:, :, None], around_j[:, None, :]]
        best = patch[:, reach, reach]
        off_i, more_i = _summit(patch[:, reach - 1 : reach + 2, reach])
        off_j, more_j = _summit(patch[:, reach, reach - 1 : reach + 2])
        height = best + more_i + more_j
        down = SHIFT_CELLS * (i + off_i - np.where(SHIFT_CELLS * i >= tall, rows, 0))
        right = SHIFT_CELLS * (j + off_j - np.where(SHIFT_CELLS * j >= wide, columns, 0))
        for at in np.flatnonzero(best > 0).tolist():
            found[at].append(Peak(float(height[at]), float(down[at]), float(right[at])))
        score[each[:, None, None], around_i[:, :, None], around_j[:, None, :]] = 0.0
    return found


def _summit(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where parabolas through three values each are highest, and by how much above the middle one.

    Args:
        values: of shape (k, 3), none above the middle one; 0 where nothing is known.

    Returns:
        Steps from the middle, at most a half, and the rise, each of shape (k,).
    """
    before, middle, after = values.T
    bend = np.minimum(before + after - 2 * middle, np.float32(-1e-6))
    off = np.clip(0.5 * (before - after) / bend, -0.5, 0.5)
    # Cleared or out of reach, a neighbour is 0 and tells of no summit.
    off[np.minimum(before, after) <= 0] = 0.0
    return off, 0.25 * (after - before) * off
