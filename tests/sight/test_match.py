"""Masked correlation against scikit-image's implementation of the same paper (Padfield 2012)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import correlate
from skimage.registration._masked_phase_cross_correlation import cross_correlate_masked

from grouper.sight.match import (
    POOL,
    both_ways,
    common_cells,
    evidence_weight,
    finer,
    mask_energy,
    masked_ncc,
    masked_spectra,
    near,
    padded_shape,
    peaks,
)
from grouper.sight.sphere import FloatArray


def _ncc(
    a: FloatArray, b: FloatArray, mask_a: FloatArray, mask_b: FloatArray
) -> tuple[FloatArray, FloatArray]:
    shape = padded_shape(a.shape, b.shape)
    masks = mask_energy(mask_a > 0, shape), mask_energy(mask_b > 0, shape)
    [shown_a], [shown_b] = (masked_spectra(one[None], shape) for one in (a * mask_a, b * mask_b))
    [ncc] = masked_ncc([(shown_a, shown_b)], [masks], shape)
    return ncc, finer(common_cells(masks, shape), shape)


def _pictures(
    seed: int, sizes: tuple[tuple[int, int], tuple[int, int]]
) -> list[tuple[FloatArray, FloatArray]]:
    """Band-passed noise that grows fainter to one side, under masks with a corner cut off."""
    rng = np.random.default_rng(seed)
    made = []
    for rows, columns in sizes:
        wave = rng.standard_normal((rows + 1, columns + 1)).astype(np.float32)
        picture = np.diff(np.diff(wave, axis=0), axis=1) * np.linspace(0.3, 1.0, columns)
        corner = np.add.outer(np.arange(rows), np.arange(columns)) > (rows + columns) // 5
        made.append((picture.astype(np.float32), corner.astype(np.float32)))
    return made


@pytest.mark.parametrize("sizes", [((43, 64), (43, 64)), ((40, 60), (33, 47))])
def test_agrees_with_scikit_image_where_enough_overlaps(
    sizes: tuple[tuple[int, int], tuple[int, int]],
) -> None:
    (a, mask_a), (b, mask_b) = _pictures(3, sizes)
    b[:20, :20] = a[12:32, 15:35]  # something to find
    ours, cells = _ncc(a, b, mask_a, mask_b)
    theirs = cross_correlate_masked(
        a, b, mask_a > 0, mask_b > 0, mode="full", axes=(0, 1), overlap_ratio=0.0
    )
    rows, columns = b.shape
    off = [
        # Their full output puts the shift 0 at (rows - 1, columns - 1) of ``b``.
        abs(ours[i - (rows - 1), j - (columns - 1)] - theirs[i, j])
        for i in range(theirs.shape[0])
        for j in range(theirs.shape[1])
        if cells[i - (rows - 1), j - (columns - 1)] >= 0.07 * a.size
    ]
    # The means left in and the energies interpolated cost little beside the noise of such
    # coefficients, 1 / sqrt(200) = 0.07.
    assert len(off) > 3000
    assert np.mean(off) < 0.005
    assert np.max(off) < 0.05


def test_counts_common_cells_well_enough_to_weigh_them() -> None:
    (a, mask_a), (b, mask_b) = _pictures(4, ((45, 63), (40, 57)))
    _, cells = _ncc(a, b, mask_a, mask_b)
    counted = correlate(mask_a, mask_b, mode="full")
    rows, columns = b.shape
    off = [
        # The full output puts the shift 0 at (rows - 1, columns - 1) of ``b``.
        cells[i - (rows - 1), j - (columns - 1)] - counted[i, j]
        for i in range(counted.shape[0])
        for j in range(counted.shape[1])
    ]
    # Of 4 per cent the weight, a power of 0.4, makes less than 2.
    assert np.abs(off).max() < 0.04 * a.size
    assert np.median(np.abs(off)) < 0.005 * a.size


@pytest.mark.parametrize("size", [(1, 1), (17, 31), (64, 43)])
def test_no_shift_wraps_in_the_padded_shape(size: tuple[int, int]) -> None:
    shape = padded_shape(size, size)
    for padded, side in zip(shape, size, strict=True):
        assert padded >= 2 * side - 1
        assert padded % POOL == 0


def test_little_ground_weighs_nothing() -> None:
    cells = np.array([[0.0, 9.0, 100.0]], np.float32)
    assert evidence_weight(cells, 10.0)[0].tolist() == pytest.approx([0.0, 0.0, 100**0.4])


def test_only_shifts_that_nothing_comes_of_may_wrap() -> None:
    rows, columns = padded_shape((64, 100), (64, 100), 0.25)
    assert 2 * 64 - 1 - 16 <= rows < padded_shape((64, 100), (64, 100))[0]
    assert 2 * 100 - 1 - 25 <= columns < padded_shape((64, 100), (64, 100))[1]


@pytest.mark.parametrize(("down", "right"), [(0, 0), (5, -17), (-9, 22), (14, 3)])
def test_finds_a_known_shift(down: int, right: int) -> None:
    rng = np.random.default_rng(6)
    ground = rng.standard_normal((90, 120)).astype(np.float32)
    a = ground[25:65, 30:90]
    b = ground[25 + down : 65 + down, 30 + right : 90 + right]
    full = np.ones_like(a)
    ncc, cells = _ncc(a, b, full, full)
    [[best, *_]] = peaks((ncc * evidence_weight(cells, 200.0))[None], 2, 3, [a.shape])
    assert (best.down, best.right) == (down, right)


@pytest.mark.parametrize(("down", "right"), [(30, 70), (-4, 70), (33, -6)])
@pytest.mark.parametrize("turned_round", [False, True])
def test_finds_a_small_picture_anywhere_in_a_large_one(
    down: int, right: int, turned_round: bool
) -> None:
    rng = np.random.default_rng(6)
    ground = rng.standard_normal((70, 120)).astype(np.float32)
    large, small = ground[15:55, 20:100], ground[15 + down : 27 + down, 20 + right : 40 + right]
    a, b = (small, large) if turned_round else (large, small)
    ncc, cells = _ncc(a, b, np.ones_like(a), np.ones_like(b))
    [[best, *_]] = peaks((ncc * evidence_weight(cells, 40.0))[None], 2, 3, [a.shape])
    sign = -1 if turned_round else 1
    assert (best.down, best.right) == (sign * down, sign * right)


def test_peaks_keep_their_distance_and_order() -> None:
    ncc = np.zeros((1, 40, 40), np.float32)
    ncc[0, 10, 10], ncc[0, 11, 11], ncc[0, 20, 35] = 0.9, 0.8, 0.7
    [found] = peaks(ncc, 3, 3, [(21, 20)])
    assert [(peak.down, peak.right) for peak in found] == [(10, 10), (20, -5)]
    assert found[0].score > found[1].score


def test_each_layer_has_peaks_of_its_own() -> None:
    ncc = np.zeros((2, 40, 40), np.float32)
    ncc[0, 10, 10], ncc[1, 10, 11], ncc[1, 30, 5] = 0.9, 0.8, 0.7
    found = peaks(ncc, 3, 3, [(20, 20)] * 2)
    assert [[(peak.down, peak.right) for peak in layer] for layer in found] == [
        [(10, 10)],
        [(10, 11), (-10, 5)],
    ]


def test_near_keeps_what_lies_round_a_place() -> None:
    grid = np.ones((12, 20), np.float32)
    kept = near(grid, (-2, 1), 2)
    assert kept.sum() == 25
    assert kept[10, 1] == kept[8, 19] == kept[0, 3] == 1
    assert kept[7, 1] == kept[10, 4] == 0
    assert near(grid, (0, 0), 50).sum() == grid.sum()  # wider than the grid
    thin = near(np.ones((20, 128), np.float32), (0, 0), 13)
    assert thin[0, -13] == thin[0, 13] == 1
    assert thin[0, -14] == thin[0, 14] == 0


def test_slopes_must_agree_both_ways() -> None:
    ncc = np.array([[[[0.9]], [[0.9]]], [[[0.0]], [[1.0]]], [[[-0.5]], [[1.0]]]], np.float32)
    assert both_ways(ncc)[:, 0, 0].tolist() == pytest.approx([0.9, 0.0, 0.0])


def test_plain_pictures_correlate_with_nothing() -> None:
    plain = np.zeros((20, 20), np.float32)  # what band-passing leaves of them
    (a, mask), _ = _pictures(8, ((20, 20), (20, 20)))
    ncc, _ = _ncc(plain, a, np.ones_like(plain), mask)
    assert np.abs(ncc).max() < 0.01
