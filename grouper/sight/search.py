"""Candidate turns between two plates: masked correlation on the sphere. Pure but for caches.

Laying both pictures out on the sphere makes a turn of the camera a shift, if the camera's
pitch is right: a camera tilted up by p and turned by t about the vertical rolls its picture
by t * sin p as well. Hence a few pitches have to be tried once per set.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from grouper.sight.match import (
    ComplexArray,
    MaskedSpectra,
    mask_spectrum,
    masked_ncc,
    masked_spectra,
    padded_shape,
    peaks,
)
from grouper.sight.plate import SCALES_PX, Plate
from grouper.sight.sphere import DoubleArray, Pinhole, SphereMap, View, sphere_map

_MOST_GRID = 128
"""Widest sphere picture in cells: a 12 mm lens pitched by 50 degrees needs no more."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A turn worth refining. ``margin`` is its score over that of the next best shift."""

    score: float
    ncc: float
    margin: float
    turn: DoubleArray
    view: View
    scale: float
    """Factor on both focal lengths that this candidate assumes."""


class Searcher:
    """Finds candidate turns and keeps the spectra that depend on the cameras only."""

    def __init__(self, kept: int = 512) -> None:
        self._masks: OrderedDict[tuple[object, ...], ComplexArray] = OrderedDict()
        self._kept = kept

    def candidates(
        self,
        a: Plate,
        b: Plate,
        focal_shares: tuple[float, float],
        views: Sequence[View],
        *,
        least_overlap: float,
        count: int,
    ) -> list[Candidate]:
        """The best shifts under every view, best first.

        Args:
            a: the first picture.
            b: the second picture.
            focal_shares: focal lengths in long sides of the full picture.
            views: how the cameras may have been held.
            least_overlap: smallest common area looked at, as a share of the smaller picture.
            count: most candidates returned per view.
        """
        cameras = a.pinhole(0, focal_shares[0]), b.pinhole(0, focal_shares[1])
        step = grid_step(cameras)
        found: list[Candidate] = []
        for view in views:
            found += self._view(a, b, cameras, step, view, least_overlap, count)
        return sorted(found, key=lambda one: -one.score)

    def _view(
        self,
        a: Plate,
        b: Plate,
        cameras: tuple[Pinhole, Pinhole],
        step: float,
        view: View,
        least_overlap: float,
        count: int,
    ) -> list[Candidate]:
        map_a, map_b = (sphere_map(camera, view, step) for camera in cameras)
        if min(*map_a.mask.shape, *map_b.mask.shape) < 3:
            return []
        shape = padded_shape(map_a.mask.shape, map_b.mask.shape)
        spectra_a = self._spectra(a, cameras[0], view, step, map_a, shape)
        spectra_b = self._spectra(b, cameras[1], view, step, map_b, shape)
        ncc, cells = masked_ncc(spectra_a, spectra_b, shape)
        least = least_overlap * float(min(map_a.mask.sum(), map_b.mask.sum()))
        radius = max(2, round(SCALES_PX[0] / 12))
        best = peaks(ncc, cells, least, count + 1, radius)
        found = []
        for place, peak in enumerate(best[:count]):
            rival = best[1] if place == 0 and len(best) > 1 else best[0]
            down = (peak.down + map_a.first[0] - map_b.first[0]) * step
            right = (peak.right + map_a.first[1] - map_b.first[1]) * step
            margin = peak.score / rival.score if len(best) > 1 else 2.0
            found.append(Candidate(peak.score, peak.ncc, margin, view.turn(down, right), view, 1.0))
        return found

    def _spectra(
        self,
        plate: Plate,
        camera: Pinhole,
        view: View,
        step: float,
        on_sphere: SphereMap,
        shape: tuple[int, int],
    ) -> MaskedSpectra:
        key = (camera, view, step, shape)
        kept = plate.spectra.get(key)
        if kept is None:
            mask = self._masks.get(key)
            if mask is None:
                mask = mask_spectrum(on_sphere.mask, shape)
                self._masks[key] = mask
                if len(self._masks) > self._kept:
                    self._masks.popitem(last=False)
            picture = on_sphere.apply(plate.level(0).band)
            kept = masked_spectra(picture, on_sphere.mask, shape, mask)
            plate.spectra[key] = kept
        return kept


def grid_step(cameras: Iterable[Pinhole]) -> float:
    """The grid step in radians: one pixel at the centre of the wider camera's picture."""
    return max(1.0 / max(camera.fx, camera.fy) for camera in cameras)


def views_for(half_fov_rad: float) -> tuple[View, ...]:
    """Ways of holding a camera that between them miss no pitch up to 60 degrees.

    A pitch that is off by d rolls neighbours against each other by up to 2 * fov * d(sin p);
    the band-passed pictures still match when rolled by 7 degrees (measured on rendered
    pairs), so the sines are spaced by that over half the angle of view.
    """
    spacing = min(0.8, math.radians(7.0) / half_fov_rad)
    sines: list[float] = []
    at = spacing
    while at < 0.95:
        sines.append(at)
        at += spacing
    pitches = [0.0]
    for sine in sines:
        pitch = math.degrees(math.asin(sine))
        pitches += [pitch, -pitch]
    views = tuple(View(round(pitch, 1)) for pitch in pitches)
    return (*views, View(0.0, across=True)) if half_fov_rad > math.radians(15.0) else views
