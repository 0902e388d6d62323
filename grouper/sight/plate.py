"""A preview made ready for comparing: band-passed at several scales, with its camera. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from grouper.lenses import Lens, LensMapping
from grouper.sight.align import NOISE_SLOPE, Ground, Level, cut_off
from grouper.sight.align import grounds as make_grounds
from grouper.sight.match import MaskedSpectra
from grouper.sight.picture import Preview
from grouper.sight.sphere import Camera, FloatArray

SCALES_PX = (40, 64, 96)
"""Long sides of the levels. Pitches are scouted on the first, shifts searched on the second
(on rendered pairs 64 pixels found the right shift first in 80 % where 40 found 70 %), turns
refined on the second and third."""
CLOSE_SCALES_PX = (80, 128, 192)
"""The same for a closer look, at twice the size: the levels keep their places to one another."""
SCOUT, SEARCH, FINE = 0, 1, 2
"""Places of the levels in ``SCALES_PX``."""

_FINE_SIGMA, _FINE_SIZE = 1.0, 5
"""The near blur of the band-pass and its reach, two sigmas each way."""
_BROAD_SIZE = 9
"""Band-pass in pixels of the level: blur of sigma 1 (against noise and aliasing) less a box
of 9 (against exposure, vignetting and haze)."""
_MOST_SLOPE = {SCOUT: 0.8, SEARCH: 2 * NOISE_SLOPE}
"""Slope over two pixels at which the search cuts off: all that noise does not reach counts alike.
Of 417 rendered neighbours over which people were pasted, elsewhere in every frame, the right shift
was not among the first three of 38 where they covered 3-5 % of the frame, of 65 where 10-15 %; with
this of 18 and 29. Pictures scouted under a pitch that is off are rolled against each other, and
strong slopes bear that better: there only the strongest are cut."""
_TELLING_LEAST = 0.2
"""Share of the frame with slopes both ways that noise does not reach, below which a picture is too
plain for "no common ground" to be said. Of rendered neighbours that were not found (half of them
at sea) 31 % lie below, of those found 5 %."""
_ALIKE = 0.975
"""Agreement of the columns from which a picture looks alike in all directions: rendered seas
lie above, but for one in twenty; of 440 real photographs of other things none does."""
_WORTH_SHEARING = 0.85
"""Below this no lean of the camera by up to 14 degrees can be what keeps columns apart."""
_SHEAR, _MOST_SHEARS = 0.05, 5
"""Rows a column, and how many of them are tried: 3 degrees, and up to 14."""
_LEAST_COLUMNS = 8
"""Fewer columns that agree may do so by chance (estimated)."""
_SAME_HEIGHT = 2
"""Rows of the smallest level, 5 degrees of most lenses, by which a leaning base moves the
horizon from one view to the next."""
_HALF_CONTRAST = 0.05
"""Contrast (natural log units) that is compressed to 0.7 of the most: without compression a
horizon or a skyline outweighs everything else, and any two level landscapes match. Measured
on real pairs, compression raised the neighbours found at 0.3 % false links from 96 to 99 %."""
_BAD_SHARE = 0.3
"""A reduced pixel with more of it clipped or blocked is left out of correlations."""
_DARK_OFFSET = 8.0
"""Added to levels 0..255 before the logarithm, so that noise near black stays small."""


@dataclass(slots=True, eq=False)
class Plate:
    """A prepared picture: its levels, and what comparisons have worked out so far."""

    size: tuple[int, int]
    """Width and height of the preview."""
    full_px: float
    """See ``picture.Preview``."""
    levels: tuple[Level, ...]
    is_telling: bool
    """Whether the picture shows enough to be recognised: not plain sky, fog or night."""
    profile: FloatArray
    """Its profile from top to bottom if it looks the same in all directions, as the sea does;
    else empty."""
    spectra: dict[object, MaskedSpectra] = field(default_factory=dict)
    """Spectra on the sphere, kept by the search for the next pair."""
    _slopes: dict[int, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    _grounds: dict[tuple[int, Lens, tuple[float, ...]], tuple[Ground, ...]] = field(
        default_factory=dict
    )

    @property
    def sizes(self) -> tuple[tuple[int, int], ...]:
        """Width and height of every level."""
        return tuple((level.width, level.height) for level in self.levels)

    def level(self, index: int) -> Level:
        """The level at that place of its scales; a smaller picture is its own finest level."""
        return self.levels[index]

    def slopes(self, index: int) -> tuple[FloatArray, FloatArray]:
        """The slopes of a level, cut off, worked out once for all searches (see ``align``)."""
        if index not in self._slopes:
            right, down = self.level(index).slopes()
            most = _MOST_SLOPE[index]
            self._slopes[index] = cut_off(right, most), cut_off(down, most)
        return self._slopes[index]

    def rest(self) -> None:
        """Forget what only the next few comparisons are likely to want again."""
        self.spectra.clear()
        self._slopes.clear()

    def grounds(self, index: int, lens: Lens, shares: tuple[float, ...]) -> tuple[Ground, ...]:
        """The most telling pixels of a level, linearised for alignment (see ``align``)."""
        key = (index, lens, shares)
        if key not in self._grounds:
            self._grounds[key] = make_grounds(self.level(index), self.camera(index, lens), shares)
        return self._grounds[key]

    def camera(self, index: int, lens: Lens) -> Camera:
        """The camera at a level, with some lens."""
        level = self.level(index)
        return _camera(
            level.width, level.height, self.size, lens.share * self.full_px, lens.mapping
        )


@lru_cache(maxsize=256)
def _camera(
    width: int, height: int, size: tuple[int, int], focal_px: float, mapping: LensMapping
) -> Camera:
    """The camera of a level of a preview of some size and focal length."""
    return Camera(
        width,
        height,
        round(focal_px * width / size[0], 3),
        round(focal_px * height / size[1], 3),
        mapping,
    )


@dataclass(frozen=True, slots=True)
class ShelvedPlate:
    """A plate in a fifth of the memory: bands as whole 127ths, masks as bits.

    ``data`` holds the bands one after the other, then the masks: one piece of bytes is put by in a
    tenth of the time that as many arrays take.
    """

    size: tuple[int, int]
    full_px: float
    is_telling: bool
    profile: bytes
    sizes: tuple[tuple[int, int], ...]
    """Width and height of every level."""
    data: bytes

    def taken_down(self) -> Plate:
        """The plate again."""
        cells = sum(width * height for width, height in self.sizes)
        bands = np.frombuffer(self.data, np.int8, cells) * np.float32(1 / 127)
        bits = np.frombuffer(self.data, np.uint8, offset=cells)
        good = np.unpackbits(bits, count=cells).view(np.bool_)
        levels, at = [], 0
        for width, height in self.sizes:
            own, shape = slice(at, at + width * height), (height, width)
            levels.append(Level(bands[own].reshape(shape), good[own].reshape(shape), width, height))
            at = own.stop
        profile = np.frombuffer(self.profile, np.float32)
        return Plate(self.size, self.full_px, tuple(levels), self.is_telling, profile)


def shelved(plate: Plate) -> ShelvedPlate:
    """Pack a plate; 1/127 of the strongest contrast is far below JPEG noise."""
    bands = np.concatenate([level.band.ravel() for level in plate.levels])
    good = np.concatenate([level.good.ravel() for level in plate.levels])
    data = np.rint(bands * 127).astype(np.int8).tobytes() + np.packbits(good).tobytes()
    return ShelvedPlate(
        plate.size,
        plate.full_px,
        plate.is_telling,
        plate.profile.astype(np.float32).tobytes(),
        plate.sizes,
        data,
    )


def prepare(preview: Preview, scales_px: tuple[int, int, int] = SCALES_PX) -> Plate:
    """Band-pass a preview at every scale."""
    light = np.log(preview.luma + np.float32(_DARK_OFFSET))
    bad = (preview.clipped | preview.blocked).astype(np.float32)
    levels: list[Level] = []
    for long_px in reversed(scales_px):
        # Each level is reduced from the one above it.
        width, height = preview.size
        scale = min(1.0, long_px / max(width, height))
        size = (max(1, round(width * scale)), max(1, round(height * scale)))
        light, bad = _resized(light, size), _resized(bad, size)
        levels.insert(0, Level(_band(light), bad < _BAD_SHARE, *size))
    telling = _telling_share(levels[SCOUT]) >= _TELLING_LEAST
    return Plate(preview.size, preview.full_px, tuple(levels), telling, _profile_all_round(light))


def _profile_all_round(light: FloatArray) -> FloatArray:
    """The one profile from top to bottom that nearly every column shows; empty if none.

    So look the sea, a plain and a bare ridge of sand under an even sky. A leaning camera
    shears the profile; that is taken out.

    Args:
        light: logarithm of the grey levels, of shape (height, width).

    Returns:
        Of shape (height,).
    """
    height, width = light.shape
    columns = max(_LEAST_COLUMNS, width // 3)
    strips = _resized(light, (columns, height))
    best, profile = _agreed(strips, 0)
    for way in (_SHEAR, -_SHEAR):
        # Straight on while it gets better: the agreement falls off on both sides of the lean.
        for step in range(1, _MOST_SHEARS + 1):
            if not _WORTH_SHEARING <= best < _ALIKE:
                break
            cells, edge = _sheared(height, columns, way * step * width / columns)
            agreed, sheared = _agreed(strips.take(cells), edge)
            if agreed <= best:
                break
            best, profile = agreed, sheared
    return profile if best >= _ALIKE else np.zeros(0, dtype=np.float32)


def look_alike(a: Plate, b: Plate) -> bool:
    """Whether two pictures each look alike all round, and like one another.

    They are held the same way then, and nothing tells how far the camera turned: the horizon
    stands at one height. Another scene, or a camera held higher, shows another profile.
    """
    height = len(a.profile)
    if not height or len(b.profile) != height:
        return False
    for shift in range(-_SAME_HEIGHT, _SAME_HEIGHT + 1):
        one = a.profile[max(shift, 0) : height + min(shift, 0)]
        other = b.profile[max(-shift, 0) : height - max(shift, 0)]
        if float(np.corrcoef(one, other)[0, 1]) >= _ALIKE:
            return True
    return False


@lru_cache(maxsize=256)
def _sheared(height: int, columns: int, shear: float) -> tuple[NDArray[np.intp], int]:
    """Which cell each cell shows once columns are sheared by so many rows from one to the next.

    Returns:
        Places in the flat array, of shape (height, columns), and how many rows above and below
        some column does not reach.
    """
    down = np.rint(shear * (np.arange(columns) - (columns - 1) / 2)).astype(np.intp)
    rows = (np.arange(height)[:, None] + down).clip(0, height - 1)
    return rows * columns + np.arange(columns), int(np.abs(down).max())


def _agreed(strips: FloatArray, edge: int) -> tuple[float, FloatArray]:
    """The middling correlation of columns with the middling column, and that column.

    ``edge`` rows above and below are left out.
    """
    height, middle_column = len(strips), strips.shape[1] // 2
    profile = np.sort(strips, axis=1)[:, middle_column]
    shown, middle = strips[edge : height - edge], profile[edge : height - edge]
    if len(shown) < height // 2:
        return 0.0, profile
    # Sums take a third of the time that numpy's means do.
    middle = middle - middle.sum() / np.float32(len(middle))
    shown = shown - shown.sum(axis=0) / np.float32(len(shown))
    energy = np.einsum("ij,ij->j", shown, shown) * float(middle @ middle)
    agreed = np.sort((middle @ shown) / np.sqrt(energy + 1e-12))
    return float(agreed[middle_column]), profile


def _telling_share(level: Level) -> float:
    """Share of the picture whose texture fixes a shift both ways.

    The smaller eigenvalue of the structure tensor (Shi & Tomasi, *Good Features to Track*,
    1994): a bare horizon has strong slopes, but all in one direction.
    """
    smaller = cv2.cornerMinEigenVal(level.band, 5, ksize=1, borderType=cv2.BORDER_REPLICATE)
    # Its slopes are differences over two pixels.
    return np.count_nonzero(smaller > (2 * NOISE_SLOPE) ** 2) / smaller.size


def _band(light: FloatArray) -> FloatArray:
    edge = cv2.BORDER_REPLICATE
    fine = cv2.GaussianBlur(light, (_FINE_SIZE, _FINE_SIZE), _FINE_SIGMA, borderType=edge)
    band = fine - cv2.blur(light, (_BROAD_SIZE, _BROAD_SIZE), borderType=edge)
    return np.asarray(band / np.sqrt(band * band + np.float32(_HALF_CONTRAST**2)))


def _resized(values: FloatArray, size: tuple[int, int]) -> FloatArray:
    if size == values.shape[1::-1]:
        return values
    return np.asarray(cv2.resize(values, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
