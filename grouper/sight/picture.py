"""Bytes of a small picture -> an upright grey picture with its bars cut off.

Pure but for Pillow's decoder. A thumbnail is 160 x 120 whatever the shape of the main
picture, which is fitted inside and the rest filled black (CIPA DC-009, DCF); some makers
store other sizes without bars.
"""

from __future__ import annotations

import io
import math
import threading
import warnings
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from typing import BinaryIO

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from grouper.sight.sphere import BoolArray, FloatArray

LONG_SIDE_PX = 160
"""Every picture is brought to at most this: what thumbnails have, so that all alike cost
and tell the same."""

CLOSE_SIDE_PX = 2 * LONG_SIDE_PX
"""For a closer look: a sky's faint clouds and stones on plain ground show at twice the size, and a
comparison takes four times as long."""

LEAST_SIDE_PX = 12
"""Fewer pixels than this across hold no pattern to tell two places apart."""

_MOST_PIXELS = 300_000_000
"""Larger pictures are not decoded: no camera frame is that large, and it may be a bomb."""
_MOST_UNREDUCED = 50_000_000
"""A format that cannot be decoded at reduced scale costs 3 bytes a pixel: 150 MB."""

_CLIPPED_LEVEL = 250
"""JPEG noise brings a saturated thumbnail pixel down to about here (practice)."""
_BLOCKED_LEVEL = 5
"""JPEG noise lifts a black thumbnail pixel to about here, as it lowers a white one (estimated)."""
_BAR_LEVEL = 24
"""Filled bars are 0; the codec's ringing next to bright content lifts their mean to about
20 (practice)."""
_BAR_LEAST_PX = 1.5
"""Differences of shape of less than this on each side are rounding (106 or 107 of 106.67)."""
_RAW_BLOCK = {57600: (160, 120), 43200: (160, 90)}
"""Uncompressed thumbnails by length in bytes: the DCF size, and its 16:9 relative."""

_LUMA = np.array([0.299, 0.587, 0.114], dtype=np.float32)  # ITU-R BT.601

_open_lock = threading.Lock()

ByteArray = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Preview:
    """A small upright picture.

    ``luma`` (0..255), ``clipped`` and ``blocked`` have shape (height, width). ``full_px`` is
    what the long side of the main picture measures at this scale: more than the preview's
    own long side where the camera cropped its thumbnail.
    """

    luma: FloatArray
    clipped: BoolArray
    blocked: BoolArray
    full_px: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.luma.shape[1], self.luma.shape[0]


def decode(source: bytes | BinaryIO, long_px: int = LONG_SIDE_PX) -> ByteArray | None:
    """Decode a picture to RGB of at most ``long_px``, or ``None`` if it cannot be.

    JPEGs are decoded at a fraction of their size where that is enough.
    """
    if isinstance(source, bytes) and source[:2] != b"\xff\xd8" and len(source) in _RAW_BLOCK:
        width, height = _RAW_BLOCK[len(source)]
        return np.frombuffer(source, dtype=np.uint8).reshape(height, width, 3)
    stream = io.BytesIO(source) if isinstance(source, bytes) else source
    try:
        with _open(stream) as image:
            return _small_rgb(image, long_px)
    except (
        OSError,
        ValueError,
        TypeError,
        SyntaxError,
        EOFError,
        RuntimeError,  # the decoder of HEIC
        IndexError,
        KeyError,
        MemoryError,
        ArithmeticError,
        Image.DecompressionBombError,
    ):
        # Pillow's decoders raise any of these for damaged files; the reader reports those.
        return None


def _open(stream: BinaryIO) -> Image.Image:
    # Pillow warns above 89 megapixels; such frames are decoded at reduced scale, which is
    # safe. The filter list is global to the process, hence the lock.
    with _open_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        if _is_heif(stream):
            _learn_heif()
        return Image.open(stream)


def _is_heif(stream: BinaryIO) -> bool:
    """Whether a stream begins as files of the ISO base media format do (ISO/IEC 14496-12)."""
    head = stream.read(8)
    stream.seek(0)
    return head[4:8] == b"ftyp"


@cache
def _learn_heif() -> None:
    """Let Pillow open HEIC pictures, where the extra is installed; else they stay unseen.

    Done when the first one comes by: the decoder takes a while to load. AVIF Pillow knows itself.
    """
    with suppress(ImportError):
        import pillow_heif

        pillow_heif.register_heif_opener()


def _small_rgb(image: Image.Image, long_px: int) -> ByteArray | None:
    width, height = image.size
    if width * height > _MOST_PIXELS or min(width, height) < LEAST_SIDE_PX:
        return None
    if max(width, height) > long_px:
        image.draft("RGB", (long_px, long_px))
    if image.width * image.height > _MOST_UNREDUCED:
        return None
    small = image if image.mode == "RGB" else image.convert("RGB")
    scale = long_px / max(small.size)
    if scale < 1:
        size = (max(1, round(small.width * scale)), max(1, round(small.height * scale)))
        small = small.resize(size, Image.Resampling.BOX, reducing_gap=2.0)
    pixels = np.asarray(small)
    return pixels if min(pixels.shape[:2]) >= LEAST_SIDE_PX else None


def contradicts(pixels: ByteArray, stored_px: tuple[int, int] | None, orientation: int) -> bool:
    """Whether a thumbnail lies on its side against the main picture, which way unknown.

    Happens where software turned the main picture and reset its orientation, but left the
    thumbnail.
    """
    return orientation < 5 and _reading(pixels, stored_px).turned


@dataclass(frozen=True, slots=True)
class Upright:
    """A small picture stood upright, its bars cut off.

    ``rgb`` is of shape (height, width, 3); see ``Preview`` for ``full_px``.
    """

    rgb: ByteArray
    full_px: float


def stood_up(pixels: ByteArray, stored_px: tuple[int, int] | None, orientation: int) -> Upright:
    """Cut the bars off and stand the picture upright.

    Args:
        pixels: RGB of shape (height, width, 3), as stored.
        stored_px: width and height of the main picture as stored, or ``None``.
        orientation: Exif orientation 1-8 of the main picture as stored.
    """
    reading = _reading(pixels, stored_px)
    top, left = reading.cut
    height, width = pixels.shape[:2]
    if reading.turned:
        # With an orientation of 5-8 the thumbnail was stored upright already. With 1-4
        # nothing says which way it lies: grip up (8) is the commoner way to hold a camera.
        orientation = 1 if orientation >= 5 else 8
    shown = upright(pixels[top : height - top, left : width - left], orientation)
    return Upright(np.ascontiguousarray(shown), reading.full_px)


def preview(shown: Upright) -> Preview:
    """What of a picture is compared."""
    rgb = shown.rgb
    # Three times two planes: a maximum along the last axis takes twenty times as long.
    highest = np.maximum(np.maximum(rgb[:, :, 0], rgb[:, :, 1]), rgb[:, :, 2])
    return Preview(
        luma=rgb.astype(np.float32) @ _LUMA,
        clipped=highest >= _CLIPPED_LEVEL,
        blocked=highest <= _BLOCKED_LEVEL,
        full_px=shown.full_px,
    )


def upright(pixels: ByteArray, orientation: int) -> ByteArray:
    """Apply Exif orientation 1-8 (TIFF 6.0, CIPA DC-008) to pixels of shape (h, w) or (h, w, n)."""
    if orientation in (5, 6, 7, 8):
        pixels = np.asarray(cv2.transpose(pixels), dtype=np.uint8)
    flip = _FLIPS.get(orientation)
    return pixels if flip is None else np.asarray(cv2.flip(pixels, flip), dtype=np.uint8)


_FLIPS = {2: 1, 3: -1, 4: 0, 6: 1, 7: -1, 8: 0}
"""What to flip, once 5-8 are transposed: 1 left and right, 0 top and bottom, -1 both.

OpenCV turns a picture five times as fast as copying a turned view of it does.
"""


@dataclass(frozen=True, slots=True)
class _Reading:
    cut: tuple[int, int] = (0, 0)
    turned: bool = False
    full_px: float = 0.0


def _reading(pixels: ByteArray, stored_px: tuple[int, int] | None) -> _Reading:
    """How a thumbnail holds its main picture: which bars, turned or not, cropped or not."""
    height, width = pixels.shape[:2]
    plain = _Reading(full_px=float(max(width, height)))
    if stored_px is None or min(stored_px) < 1:
        return plain
    for turned in (False, True):
        size = stored_px[::-1] if turned else stored_px
        bars = _bars(width, height, size)
        if max(bars) < _BAR_LEAST_PX:
            return _Reading(turned=turned, full_px=plain.full_px)
        if _are_dark(pixels, bars):
            cut = math.ceil(bars[0] - 0.25), math.ceil(bars[1] - 0.25)
            full = max(width - 2 * bars[1], height - 2 * bars[0])
            return _Reading(cut=cut, turned=turned, full_px=full)
    # No bars where they should be: the camera filled the thumbnail by cropping. A thumbnail
    # that lies while the picture stands (or the reverse) was cropped from the turned one.
    turned = (width > height) != (stored_px[0] > stored_px[1]) and width != height
    size = stored_px[::-1] if turned else stored_px
    scale = max(width / size[0], height / size[1])
    return _Reading(turned=turned, full_px=scale * max(size))


def _bars(width: int, height: int, size: tuple[int, int]) -> tuple[float, float]:
    """Rows above and below, columns left and right, that a picture fitted inside leaves."""
    scale = min(width / size[0], height / size[1])
    return (height - size[1] * scale) / 2, (width - size[0] * scale) / 2


def _are_dark(pixels: ByteArray, bars: tuple[float, float]) -> bool:
    rows, columns = (math.floor(bar) for bar in bars)
    strips = []
    if rows:
        strips += [pixels[:rows], pixels[-rows:]]
    if columns:
        strips += [pixels[:, :columns], pixels[:, -columns:]]
    # OpenCV adds up strips, which do not lie in one piece, in half of numpy's time.
    return bool(strips) and all(
        sum(cv2.sumElems(strip)) < _BAR_LEVEL * strip.size for strip in strips
    )
