"""A preview made ready for comparing: band-passed at several scales, with its camera. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from PIL import Image
from scipy import ndimage

from grouper.sight.align import Ground, Level
from grouper.sight.align import ground as make_ground
from grouper.sight.match import MaskedSpectra
from grouper.sight.picture import Preview
from grouper.sight.sphere import FloatArray, Pinhole

SCALES_PX = (40, 64, 96)
"""Long sides of the levels. Pitches are scouted on the first, shifts searched on the second
(on rendered pairs 64 pixels found the right shift first in 80 % where 40 found 70 %), turns
refined on the second and third."""
SCOUT, SEARCH, FINE = 0, 1, 2

_FINE_SIGMA = 1.0
_BROAD_SIZE = 9
"""Band-pass in pixels of the level: blur of sigma 1 (against noise and aliasing) less a box
of 9 (against exposure, vignetting and haze)."""
_TELLING_BAND = 0.5
"""Compressed contrast that noise and JPEG blocks do not reach at this scale: 3 % before."""
_TELLING_LEAST = 0.1
"""Share of the frame with such contrast below which a picture is too plain to compare."""
_HALF_CONTRAST = 0.05
"""Contrast (natural log units) that is compressed to 0.7 of the most: without compression a
horizon or a skyline outweighs everything else, and any two level landscapes match. Measured
on real pairs: with 0.1 the neighbours found at 0.3 % false links rose from 96 to 99 %."""
_DARK_OFFSET = 8.0
"""Added to levels 0..255 before the logarithm, so that noise near black stays small."""


@dataclass(slots=True)
class Plate:
    """A prepared picture. Levels are made when first asked for and then kept."""

    preview: Preview
    spectra: dict[object, MaskedSpectra] = field(default_factory=dict)
    """Spectra on the sphere, kept by the search for the next pair."""
    _levels: dict[int, Level] = field(default_factory=dict)
    _telling: bool | None = None
    _grounds: dict[tuple[int, float, float], Ground] = field(default_factory=dict)

    @property
    def is_telling(self) -> bool:
        """Whether the picture shows enough to be recognised: not plain sky, fog or night."""
        if self._telling is None:
            self._telling = _telling_share(self.level(SCOUT)) >= _TELLING_LEAST
        return self._telling

    def level(self, index: int) -> Level:
        """The level at ``SCALES_PX[index]``; a smaller picture is its own finest level."""
        if index not in self._levels:
            self._levels[index] = _make(self.preview, SCALES_PX[index])
        return self._levels[index]

    def slopes(self, index: int) -> FloatArray:
        """Derivatives of a level to the right and downwards, of shape (2, height, width)."""
        band = self.level(index).band
        slopes = np.zeros((2, *band.shape), dtype=np.float32)
        slopes[0, :, 1:-1] = band[:, 2:] - band[:, :-2]
        slopes[1, 1:-1] = band[2:] - band[:-2]
        return slopes

    def ground(self, index: int, focal_share: float, share: float) -> Ground:
        """The most telling pixels of a level, linearised for alignment (see ``align``)."""
        key = (index, focal_share, share)
        if key not in self._grounds:
            self._grounds[key] = make_ground(
                self.level(index), self.pinhole(index, focal_share), share
            )
        return self._grounds[key]

    def pinhole(self, index: int, focal_share: float) -> Pinhole:
        """The camera at a level, for a focal length in shares of the full long side."""
        level = self.level(index)
        width, height = self.preview.size
        focal_px = focal_share * self.preview.full_px
        return Pinhole(
            level.width,
            level.height,
            round(focal_px * level.width / width, 3),
            round(focal_px * level.height / height, 3),
        )


def _telling_share(level: Level) -> float:
    energy = ndimage.uniform_filter(level.band * level.band, 5, mode="nearest")
    return float((energy > _TELLING_BAND**2).mean())


def _make(preview: Preview, long_px: int) -> Level:
    width, height = preview.size
    scale = min(1.0, long_px / max(width, height))
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    light = np.log(preview.luma + _DARK_OFFSET)
    bad = preview.clipped | preview.blocked
    if scale < 1:
        light = _resize(light, size)
        good = _resize(bad.astype(np.float32), size) < 0.3
    else:
        good = ~bad
    fine = ndimage.gaussian_filter(light, _FINE_SIGMA, mode="nearest", truncate=2.5)
    band = fine - ndimage.uniform_filter(light, _BROAD_SIZE, mode="nearest")
    band /= np.sqrt(band * band + np.float32(_HALF_CONTRAST**2))
    return Level(band.astype(np.float32), good, size[0], size[1])


def _resize(values: FloatArray, size: tuple[int, int]) -> FloatArray:
    image = Image.fromarray(np.ascontiguousarray(values, dtype=np.float32))
    return np.asarray(image.resize(size, Image.Resampling.BOX), dtype=np.float32)
