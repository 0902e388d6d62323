"""Masked correlation against scikit-image's implementation of the same paper (Padfield 2012)."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.signal import correlate
from skimage.registration._masked_phase_cross_correlation import cross_correlate_masked

from grouper.sight.match import (
    POOL,
    SHIFT_CELLS,
    Peak,
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
from grouper.sight.sphere import DoubleArray, FloatArray


def _ncc(
    a: FloatArray, b: FloatArray, mask_a: FloatArray, mask_b: FloatArray
) -> tuple[FloatArray, FloatArray]:
    shape = padded_shape(a.shape, b.shape)
    masks = mask_energy(mask_a > 0, shape), mask_energy(mask_b > 0, shape)
    [shown_a], [shown_b] = (masked_spectra(one[None], shape) for one in (a * mask_a, b * mask_b))
    [ncc] = masked_ncc([(shown_a, shown_b)], [masks], shape)
    return ncc, finer(common_cells(masks, shape), shape)


def blurred(noise: DoubleArray) -> FloatArray:
    """Noise without the frequencies that plates have none of."""
    return np.asarray(gaussian_filter(noise, 1.0), dtype=np.float32)


def _pictures(
    seed: int, sizes: tuple[tuple[int, int], tuple[int, int]]
) -> list[tuple[FloatArray, FloatArray]]:
    """Noise that grows fainter to one side, under masks with a corner cut off.

    Blurred as plates are, and of mean 0.
    """
    rng = np.random.default_rng(seed)
    made = []
    for rows, columns in sizes:
        wave = blurred(rng.standard_normal((rows + 1, columns + 1)))
        picture = np.diff(np.diff(wave, axis=0), axis=1) * np.linspace(0.3, 1.0, columns)
        corner = np.add.outer(np.arange(rows), np.arange(columns)) > (rows + columns) // 5
        made.append((picture.astype(np.float32), corner.astype(np.float32)))
    return made


def _whole_shifts(
    a: tuple[int, ...], b: tuple[int, ...]
) -> Iterator[tuple[int, int, tuple[int, int]]]:
    """Shifts by whole cells, down and right, and their places in a grid over shifts."""
    steps = round(POOL / SHIFT_CELLS)
    for i, j in itertools.product(*(range(-one // POOL, one // POOL) for one in (80, 80))):
        down, right = POOL * i, POOL * j
        if -b[0] < down < a[0] and -b[1] < right < a[1]:
            yield down, right, (steps * i, steps * j)


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
    # Every so many shifts fall on whole cells. Their full output puts the shift 0 at
    # (rows - 1, columns - 1) of ``b``.
    off = [
        abs(ours[place] - theirs[down + b.shape[0] - 1, right + b.shape[1] - 1])
        for down, right, place in _whole_shifts(a.shape, b.shape)
        if cells[place] >= 0.07 * a.size
    ]
    # The means left in, the energies interpolated and the edges of the masks, which are not
    # blurred, cost little beside the noise of such coefficients, 1 / sqrt(200) = 0.07 and more.
    assert len(off) > 200
    assert np.mean(off) < 0.01
    assert np.max(off) < 0.06


def test_counts_common_cells_well_enough_to_weigh_them() -> None:
    (a, mask_a), (b, mask_b) = _pictures(4, ((45, 63), (40, 57)))
    _, cells = _ncc(a, b, mask_a, mask_b)
    counted = correlate(mask_a, mask_b, mode="full")
    off = [
        # The full output puts the shift 0 at (rows - 1, columns - 1) of ``b``.
        cells[place] - counted[down + b.shape[0] - 1, right + b.shape[1] - 1]
        for down, right, place in _whole_shifts(a.shape, b.shape)
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
    ground = blurred(rng.standard_normal((90, 120)))
    a = ground[25:65, 30:90]
    b = ground[25 + down : 65 + down, 30 + right : 90 + right]
    full = np.ones_like(a)
    ncc, cells = _ncc(a, b, full, full)
    [[best, *_]] = peaks((ncc * evidence_weight(cells, 200.0))[None], 2, 3, [a.shape])
    assert (best.down, best.right) == pytest.approx((down, right), abs=0.1)


@pytest.mark.parametrize(("down", "right"), [(30, 70), (-4, 70), (33, -6)])
@pytest.mark.parametrize("turned_round", [False, True])
def test_finds_a_small_picture_anywhere_in_a_large_one(
    down: int, right: int, turned_round: bool
) -> None:
    rng = np.random.default_rng(6)
    ground = blurred(rng.standard_normal((70, 120)))
    large, small = ground[15:55, 20:100], ground[15 + down : 27 + down, 20 + right : 40 + right]
    a, b = (small, large) if turned_round else (large, small)
    ncc, cells = _ncc(a, b, np.ones_like(a), np.ones_like(b))
    [[best, *_]] = peaks((ncc * evidence_weight(cells, 40.0))[None], 2, 3, [a.shape])
    sign = -1 if turned_round else 1
    # As few as a hundred cells in common place it to a part of a cell.
    assert (best.down, best.right) == pytest.approx((sign * down, sign * right), abs=0.6)


@pytest.mark.parametrize("part", [0.25, 0.5, 0.75])
def test_finds_shifts_by_parts_of_a_cell_nearly_as_high(part: float) -> None:
    rng = np.random.default_rng(6)
    fine = gaussian_filter(rng.standard_normal((320, 480)), 4.0).astype(np.float32)

    def best(down: float, right: float) -> Peak:
        """Of pictures with a cell for every four by four, shifted by cells."""
        top, left = round(4 * (10 + down)), round(4 * (10 + right))
        a, b = fine[40:200:4, 40:280:4], fine[top : top + 160 : 4, left : left + 240 : 4]
        ncc, cells = _ncc(a, b, np.ones_like(a), np.ones_like(b))
        [[peak, *_]] = peaks((ncc * evidence_weight(cells, 200.0))[None], 2, 3, [a.shape])
        return peak

    found = best(4 + part, 8 - part)
    assert (found.down, found.right) == pytest.approx((4 + part, 8 - part), abs=0.1)
    assert found.score == pytest.approx(best(4, 8).score, rel=0.08)


def test_peaks_keep_their_distance_and_order() -> None:
    score = np.zeros((1, 39, 39), np.float32)
    score[0, 9, 9], score[0, 11, 11], score[0, 21, 33] = 0.9, 0.8, 0.7
    [found] = peaks(score, 3, 3, [(29, 20)])
    assert [(peak.down, peak.right) for peak in found] == [(12, 12), (28, -8)]
    assert [peak.score for peak in found] == pytest.approx([0.9, 0.7])


def test_each_layer_has_peaks_of_its_own() -> None:
    score = np.zeros((2, 39, 39), np.float32)
    score[0, 9, 9], score[1, 9, 12], score[1, 30, 6] = 0.9, 0.8, 0.7
    found = peaks(score, 3, 3, [(20, 20), (40, 20)])
    assert [[(peak.down, peak.right) for peak in layer] for layer in found] == [
        [(12, 12)],
        [(12, 16), (-12, 8)],
    ]


def test_a_peak_just_beyond_the_square_round_a_better_one_is_another() -> None:
    score = np.zeros((1, 39, 39), np.float32)
    score[0, 9, 9], score[0, 9, 12] = 0.9, 0.8  # 4 cells apart
    [near_by], [one] = (peaks(score.copy(), 2, radius, [(39, 39)]) for radius in (3, 4))
    assert [peak.right for peak in near_by] == [12, 16]
    assert [peak.right for peak in one] == [12]


def test_a_shift_by_all_of_the_first_picture_has_wrapped() -> None:
    score = np.zeros((1, 30, 33), np.float32)
    score[0, 15, 18] = 0.9
    [[best]] = peaks(score, 1, 3, [(20, 24)])
    assert (best.down, best.right) == (-20, -20)


def test_a_peak_between_shifts_is_higher_than_both() -> None:
    score = np.zeros((1, 12, 12), np.float32)
    score[0, 3, 2:5] = 0.6, 0.8, 0.8
    score[0, 2:5, 3] = 0.7, 0.8, 0.7
    [[best]] = peaks(score, 1, 3, [(16, 16)])
    assert (best.down, best.right) == pytest.approx((4.0, 4.0 + SHIFT_CELLS / 2))
    assert best.score == pytest.approx(0.825)


def test_cleared_ground_lifts_no_peak() -> None:
    score = np.zeros((1, 12, 12), np.float32)
    score[0, 3, 3:5] = 0.8, 0.7
    [[best]] = peaks(score, 1, 3, [(16, 16)])
    assert (best.down, best.right) == (4.0, 4.0)
    assert best.score == pytest.approx(0.8)


def test_near_keeps_what_lies_round_a_place() -> None:
    grid = np.ones((12, 21), np.float32)
    kept = near(grid, (-4, 0), 4)  # 3 steps each way
    assert kept.sum() == 49
    assert kept[9, 0] == kept[6, 18] == kept[0, 3] == 1
    assert kept[5, 0] == kept[9, 4] == 0
    assert near(grid, (0, 0), 50).sum() == grid.sum()  # wider than the grid


def test_slopes_must_agree_both_ways() -> None:
    ncc = np.array([[[[0.9]], [[0.9]]], [[[0.0]], [[1.0]]], [[[-0.5]], [[1.0]]]], np.float32)
    assert both_ways(ncc)[:, 0, 0].tolist() == pytest.approx([0.9, 0.0, 0.0])


def test_plain_pictures_correlate_with_nothing() -> None:
    plain = np.zeros((20, 20), np.float32)  # what band-passing leaves of them
    (a, mask), _ = _pictures(8, ((20, 20), (20, 20)))
    ncc, _ = _ncc(plain, a, np.ones_like(plain), mask)
    assert np.abs(ncc).max() < 0.01
