"""Candidate turns between two plates: masked correlation on the sphere. Pure but for caches.

Laying both pictures out on the sphere makes a turn of the camera a shift, if the camera's
pitch is right: a camera tilted up by p and turned by t about the vertical rolls its picture
by t * sin p as well. Hence a few pitches have to be tried once per set.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from grouper.sight.match import (
    ComplexArray,
    MaskedSpectra,
    Peak,
    Shape,
    both_ways,
    common_cells,
    evidence_weight,
    mask_energy,
    masked_ncc,
    masked_spectra,
    near,
    padded_shape,
    peaks,
)
from grouper.sight.plate import Plate
from grouper.sight.sphere import (
    DoubleArray,
    FloatArray,
    Pinhole,
    SphereMaps,
    View,
    sphere_maps,
)

Views = tuple[View, ...]

_FOCAL_STEPS = 16
"""Focal lengths tried in the search per octave."""
_REACH = 0.2
"""How far from the expected turn is searched, in long sides: a hand steps unevenly by a fifth
of a frame (rendered handheld sweeps: 95 % within), a head by much less."""
_RADIUS = 3
"""Cells round a peak that belong to it: the band-pass correlates over about this far."""
_NO_RIVAL = 2.0
"""Margin of the only shift there is: clear, but no more so than the clearest (estimated)."""
FLAT_DEG = 15.0
"""Half the angle of view below which a picture is flat enough to find up-and-down sweeps in
the plain view, without laying the grid's poles to the sides."""
_STEEPEST = 0.82
"""Sine of the steepest pitch tried, 55 degrees."""
_STEEP_DEG = 27.0
"""Pitches beyond this are tried last: they are rare, and their pictures large on the sphere."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A turn worth refining: shifts (down, right) on the sphere under a view.

    ``margin`` is its score over that of the best other shift under the same view.
    """

    score: float
    margin: float
    shift_rad: tuple[float, float]
    view: View

    @property
    def turn(self) -> DoubleArray:
        """The rotation between the cameras, of shape (3, 3)."""
        return self.view.turn(*self.shift_rad)

    @property
    def standing(self) -> float:
        """How far it stands out: what tells neighbours from strangers."""
        return self.score * self.margin


@dataclass(frozen=True, slots=True)
class _Bench:
    """All that a search under some views needs and that depends on the cameras only."""

    step: float
    shape: Shape
    maps: tuple[SphereMaps, SphereMaps]
    masks: tuple[ComplexArray, ComplexArray]
    weight: FloatArray

    def shift(self, layer: int, down: int, right: int) -> tuple[float, float]:
        """The angles that a shift by whole cells stands for, in radians."""
        a, b = (maps.firsts[layer] for maps in self.maps)
        return (down + a[0] - b[0]) * self.step, (right + a[1] - b[1]) * self.step

    def place(self, layer: int, shift_rad: tuple[float, float]) -> tuple[int, int]:
        """The cell of a shift by angles: the reverse of ``shift``."""
        a, b = (maps.firsts[layer] for maps in self.maps)
        down, right = (round(angle / self.step) for angle in shift_rad)
        return down - a[0] + b[0], right - a[1] + b[1]


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """Two pictures to compare, and their focal lengths in long sides of the full picture."""

    a: Plate
    b: Plate
    focal_shares: tuple[float, float]

    def cameras(self, level: int) -> tuple[Pinhole, Pinhole]:
        """The cameras at a level."""
        return (
            self.a.pinhole(level, self.focal_shares[0]),
            self.b.pinhole(level, self.focal_shares[1]),
        )


def cameras_about(pair: Pair, level: int) -> tuple[Pinhole, Pinhole]:
    """The cameras that a pair is searched with; pairs that share them are searched together."""
    a, b = pair.cameras(level)
    return _about(a), _about(b)


def candidates(
    pairs: Sequence[Pair],
    views: Views,
    level: int,
    *,
    least_overlap: float,
    count: int,
    most: int,
    expected: Sequence[DoubleArray] | None = None,
) -> list[list[Candidate]]:
    """For each pair the best shifts under each of the views, the one that stands out most first.

    Args:
        pairs: pictures of the same cameras (see ``cameras_about``).
        views: how the cameras may have been held.
        level: which scale to search on.
        least_overlap: smallest common area looked at, as a share of the smaller picture.
        count: most candidates of a view.
        most: most candidates of a pair.
        expected: look only round these turns, one a pair, of shape (3, 3).
    """
    cameras = cameras_about(pairs[0], level)
    bench = _bench(*cameras, views, least_overlap)
    keys = [(camera, views, bench.step, bench.shape) for camera in cameras]
    shown_a = _spectra([pair.a for pair in pairs], level, keys[0])
    shown_b = _spectra([pair.b for pair in pairs], level, keys[1])
    score = both_ways(masked_ncc(shown_a, shown_b, bench.masks, bench.shape)) * bench.weight
    score = score.reshape(-1, *bench.shape)  # layers: each pair under each view
    if expected is not None:
        places = [
            bench.place(at, view.shift(turn)) for turn in expected for at, view in enumerate(views)
        ]
        score = near(score, places, round(_REACH * max(cameras[0].width, cameras[0].height)))
    found = peaks(score, count + 1, _RADIUS)
    return [
        _standing_out(found[at * len(views) : (at + 1) * len(views)], views, bench, count)[:most]
        for at in range(len(pairs))
    ]


def _standing_out(
    found: Sequence[Sequence[Peak]], views: Views, bench: _Bench, count: int
) -> list[Candidate]:
    """The candidates that the peaks under each view are."""
    made = []
    for at, (view, best) in enumerate(zip(views, found, strict=True)):
        for place, peak in enumerate(best[:count]):
            rival = best[0] if place else best[1] if len(best) > 1 else None
            margin = _NO_RIVAL if rival is None else peak.score / rival.score
            made.append(Candidate(peak.score, margin, bench.shift(at, peak.down, peak.right), view))
    return sorted(made, key=lambda one: -one.standing)


def _about(camera: Pinhole) -> Pinhole:
    """A camera of nearly this focal length, so that few maps of the sphere are needed.

    Zooms and focusing make hundreds of focal lengths on one card. Half a step shifts the edge
    of the picture by seven tenths of a pixel of the search, which the refinement takes up.
    """
    fx, fy = (
        2 ** (round(math.log2(focal) * _FOCAL_STEPS) / _FOCAL_STEPS)
        for focal in (camera.fx, camera.fy)
    )
    return Pinhole(camera.width, camera.height, round(fx, 3), round(fy, 3))


@lru_cache(maxsize=128)
def _bench(a: Pinhole, b: Pinhole, views: Views, least_overlap: float) -> _Bench:
    step = grid_step((a, b))
    maps = sphere_maps(a, views, step), sphere_maps(b, views, step)
    shape = padded_shape(maps[0].size, maps[1].size)
    smaller = np.minimum(*(one.mask.sum(axis=(1, 2)) for one in maps))
    cells = common_cells(maps[0].mask, maps[1].mask, shape)
    # Both slopes of a picture lie under one mask.
    masks = tuple(mask_energy(one.mask, shape)[:, None] for one in maps)
    return _Bench(
        step, shape, maps, (masks[0], masks[1]), evidence_weight(cells, least_overlap * smaller)
    )


def _spectra(
    plates: Sequence[Plate], level: int, key: tuple[Pinhole, Views, float, Shape]
) -> MaskedSpectra:
    """Spectra of several pictures of one camera, of shape (plates, views, 2, ...)."""
    camera, views, step, shape = key
    new = [plate for plate in dict.fromkeys(plates) if key not in plate.spectra]
    if new:
        maps = sphere_maps(camera, views, step)
        shown = np.stack([maps.apply(plate.slopes(level)) for plate in new])
        made = masked_spectra(shown, shape)
        for at, plate in enumerate(new):
            plate.spectra[key] = MaskedSpectra(made.picture[at], made.energy[at])
    kept = [plate.spectra[key] for plate in plates]
    return MaskedSpectra(
        np.stack([one.picture for one in kept]), np.stack([one.energy for one in kept])
    )


def grid_step(cameras: Iterable[Pinhole]) -> float:
    """The grid step in radians: one pixel at the centre of the wider camera's picture."""
    return max(1.0 / max(camera.fx, camera.fy) for camera in cameras)


@lru_cache(maxsize=256)
def views_for(half_wide_rad: float, half_tall_rad: float) -> tuple[Views, Views]:
    """Ways of holding a camera that between them miss no pitch up to about 60 degrees.

    Steeper rows are reached from a less steep one, whose pitch is known by then.

    A pitch that is off by d rolls neighbours against each other by up to fov * d(sin p);
    band-passed pictures still match when rolled by 7 degrees (measured on rendered pairs),
    so the sines are spaced by twice that over the angle of view. The usual ones come first,
    the steep ones second.
    """
    # The longest lenses' angles round to nothing; all below 9 degrees are spaced alike.
    spacing = min(0.8, math.radians(7.0) / max(half_wide_rad, 0.01))
    sines = np.arange(spacing, _STEEPEST, spacing)
    pitches = [round(math.degrees(math.asin(float(sine))), 1) for sine in sines]
    usual = [View(), *(View(sign * p) for p in pitches if p <= _STEEP_DEG for sign in (1, -1))]
    steep = [View(sign * p) for p in pitches if p > _STEEP_DEG for sign in (1, -1)]
    if max(half_wide_rad, half_tall_rad) > math.radians(FLAT_DEG):
        usual.append(View(0.0, across=True))
    return tuple(usual), tuple(steep)
