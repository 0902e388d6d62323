"""Candidate turns between two plates: masked correlation on the sphere. Pure but for caches.

Laying both pictures out on the sphere makes a turn of the camera a shift, if the camera's
pitch is right: a camera tilted up by p and turned by t about the vertical rolls its picture
by t * sin p as well. Hence a few pitches have to be tried once per set.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from grouper.lenses import Lens
from grouper.sight.match import (
    ComplexArray,
    MaskedSpectra,
    Peak,
    Shape,
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
from grouper.sight.plate import SEARCH, Plate
from grouper.sight.sphere import (
    Camera,
    DoubleArray,
    FloatArray,
    SphereMap,
    View,
    sphere_map,
)

Views = tuple[View, ...]
SpectrumKey = tuple[Camera, View, float, Shape]

_FOCAL_STEPS = 16
"""Focal lengths tried in the search per octave."""
_REACH = 0.2
"""How far from the expected turn is searched, in long sides: a hand steps unevenly by a fifth
of a frame (rendered handheld sweeps: 95 % within), a head by much less."""
_UNUSED = 0.8
"""A picture fills at least this share of its grid on the sphere (pitches up to 27 degrees nearly
all, steep ones less): so much less common ground than is looked at makes no shift worth a look."""
_RADIUS = 3
"""Cells round a peak that belong to it: the band-pass correlates over about this far."""
_TOGETHER = 8
"""Layers transformed at once: with more their grids, 100 kB each, leave the processor's cache."""
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


@dataclass(frozen=True, slots=True, eq=False)
class _Bench:
    """All that a search under a view needs and that depends on the cameras only.

    ``weight`` is of every ``POOL``-th shift (see ``match.finer``).
    """

    cameras: tuple[Camera, Camera]
    view: View
    step: float
    shape: Shape
    maps: tuple[SphereMap, SphereMap]
    masks: tuple[ComplexArray, ComplexArray]
    weight: FloatArray

    def spectrum(self, side: int) -> SpectrumKey:
        """What the spectrum of the first (0) or second (1) picture depends on."""
        return self.cameras[side], self.view, self.step, self.shape

    def shift(self, down: float, right: float) -> tuple[float, float]:
        """The angles that a shift by cells stands for, in radians."""
        a, b = (one.first for one in self.maps)
        return (down + a[0] - b[0]) * self.step, (right + a[1] - b[1]) * self.step

    def place(self, shift_rad: tuple[float, float]) -> tuple[float, float]:
        """The cells of a shift by angles: the reverse of ``shift``."""
        a, b = (one.first for one in self.maps)
        down, right = (angle / self.step for angle in shift_rad)
        return down - a[0] + b[0], right - a[1] + b[1]


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """Two pictures to compare, and the lenses they were taken with."""

    a: Plate
    b: Plate
    lenses: tuple[Lens, Lens]

    def cameras(self, level: int) -> tuple[Camera, Camera]:
        """The cameras at a level."""
        return (
            self.a.camera(level, self.lenses[0]),
            self.b.camera(level, self.lenses[1]),
        )


@dataclass(frozen=True, slots=True)
class Layer:
    """A pair to be searched under a view, on one of its levels.

    Where ``expected`` is given, a rotation of shape (3, 3), only round this turn.
    """

    pair: Pair
    view: View
    level: int
    expected: DoubleArray | None = None


def candidates(
    layers: Sequence[Layer], *, least_overlap: float, count: int
) -> list[list[Candidate]]:
    """The best shifts of each layer, the best first.

    Layers whose transforms have one shape are worked on together: that takes half the time.

    Args:
        layers: what to search, in any order.
        least_overlap: smallest common area looked at, as a share of the smaller picture.
        count: most candidates of a layer.
    """
    benches = [
        _bench(*map(_about, layer.pair.cameras(layer.level)), layer.view, least_overlap)
        for layer in layers
    ]
    found: list[list[Candidate]] = [[] for _ in layers]
    for places in alike(bench.shape for bench in benches):
        # Pairs that follow one another share pictures: side by side these are laid out once.
        places.sort(
            key=lambda at: (layers[at].level, layers[at].view.across, layers[at].view.pitch_deg)
        )
        for first in range(0, len(places), _TOGETHER):
            some = places[first : first + _TOGETHER]
            best = _peaks([layers[at] for at in some], [benches[at] for at in some], max(count, 2))
            for at, own in zip(some, best, strict=True):
                found[at] = _standing_out(own, layers[at].view, benches[at])[:count]
    return found


def alike(keys: Iterable[object]) -> list[list[int]]:
    """Places of equal keys: what can be worked on together."""
    places: dict[object, list[int]] = defaultdict(list)
    for at, key in enumerate(keys):
        places[key].append(at)
    return list(places.values())


def _peaks(layers: Sequence[Layer], benches: Sequence[_Bench], count: int) -> list[list[Peak]]:
    """The best shifts of layers whose transforms have one shape."""
    shape = benches[0].shape
    masks = [bench.masks for bench in benches]
    score = both_ways(masked_ncc(_spectra(layers, benches), masks, shape))
    score *= finer(np.stack([bench.weight for bench in benches]), shape)
    for at, (layer, bench) in enumerate(zip(layers, benches, strict=True)):
        if layer.expected is not None:
            reach = _REACH * max(bench.cameras[0].width, bench.cameras[0].height)
            score[at] = near(score[at], bench.place(layer.view.shift(layer.expected)), reach)
    return peaks(score, count, _RADIUS, [bench.maps[0].size for bench in benches])


def _standing_out(best: Sequence[Peak], view: View, bench: _Bench) -> list[Candidate]:
    """The candidates that the peaks under a view are."""
    made = []
    for place, peak in enumerate(best):
        rival = best[0] if place else best[1] if len(best) > 1 else None
        margin = _NO_RIVAL if rival is None else peak.score / rival.score
        made.append(Candidate(peak.score, margin, bench.shift(peak.down, peak.right), view))
    return made


@lru_cache(maxsize=256)
def _about(camera: Camera) -> Camera:
    """A camera of nearly this focal length, so that few maps of the sphere are needed.

    Zooms and focusing make hundreds of focal lengths on one card. Half a step shifts the edge
    of the picture by seven tenths of a pixel of the search, which the refinement takes up.
    """
    fx, fy = (
        2 ** (round(math.log2(focal) * _FOCAL_STEPS) / _FOCAL_STEPS)
        for focal in (camera.fx, camera.fy)
    )
    return camera._replace(fx=round(fx, 3), fy=round(fy, 3))


@lru_cache(maxsize=256)
def _bench(a: Camera, b: Camera, view: View, least_overlap: float) -> _Bench:
    step = grid_step((a, b))
    maps = sphere_map(a, view, step), sphere_map(b, view, step)
    shape = padded_shape(maps[0].size, maps[1].size, _UNUSED * least_overlap)
    masks = mask_energy(maps[0].mask, shape), mask_energy(maps[1].mask, shape)
    smaller = min(np.count_nonzero(one.mask) for one in maps)
    weight = evidence_weight(common_cells(masks, shape), least_overlap * smaller)
    return _Bench((a, b), view, step, shape, maps, masks, weight)


def _spectra(
    layers: Sequence[Layer], benches: Sequence[_Bench]
) -> list[tuple[MaskedSpectra, MaskedSpectra]]:
    """Spectra of both slopes of the first and the second picture of layers, each on its bench."""
    wanted = [
        ((plate, bench.spectrum(side)), layer.level, bench.maps[side])
        for layer, bench in zip(layers, benches, strict=True)
        for side, plate in enumerate((layer.pair.a, layer.pair.b))
    ]
    new = {shown: (level, one) for shown, level, one in wanted if shown[1] not in shown[0].spectra}
    made: dict[tuple[Plate, SpectrumKey], MaskedSpectra] = {}
    if new:
        rows, columns = (max(one.size[at] for _, one in new.values()) for at in (0, 1))
        laid = np.zeros((len(new), 2, rows, columns), dtype=np.float32)
        for own, ((plate, _), (level, one)) in zip(laid, new.items(), strict=True):
            for plane, slope in zip(own, plate.slopes(level), strict=True):
                plane[: one.size[0], : one.size[1]] = one.apply(slope)
        made = dict(zip(new, masked_spectra(laid, benches[0].shape), strict=True))
        for (shown, (level, _)), spectra in zip(new.items(), made.values(), strict=True):
            if level == SEARCH:
                shown[0].spectra[shown[1]] = spectra
    each = [made[shown] if shown in made else shown[0].spectra[shown[1]] for shown, _, _ in wanted]
    return list(zip(each[::2], each[1::2], strict=True))


def grid_step(cameras: Iterable[Camera]) -> float:
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
