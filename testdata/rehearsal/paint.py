"""Brushes for painting scenes: noise with the spectrum of photographs, leaves, tiles, walls.

Natural pictures have amplitude spectra near 1/f (Field 1987) and edges from things that hide
one another; the dead-leaves model (Lee, Mumford, Huang 2001) gives both. All brushes are
pure functions of a generator and sizes; pictures are float32, linear light.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[Any]
"""A float32 array of linear light, or of anything else that goes with one."""
Color = tuple[float, float, float]


def as_image(value: Any) -> Image:
    """As a float32 array."""
    return np.asarray(value, dtype=np.float32)


def pink(rng: np.random.Generator, height: int, width: int, falloff: float = 1.1) -> Image:
    """Noise with amplitude ~ 1/f**falloff: shape (height, width), mean 0, deviation 1, periodic.

    Steep noise has next to nothing in its finest octave, which is therefore left out.
    """
    if falloff >= 1.2 and min(height, width) >= 128:
        coarse = _spectral(rng, height // 2, width // 2, falloff)
        return as_image(cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC))
    return _spectral(rng, height, width, falloff)


def _spectral(rng: np.random.Generator, height: int, width: int, falloff: float) -> Image:
    # Frequencies in cycles per shorter side, so that the grain is round.
    short = min(height, width)
    down = np.fft.fftfreq(height).astype(np.float32)[:, None] * short
    across = np.fft.rfftfreq(width).astype(np.float32)[None, :] * short
    radius = np.hypot(down, across)
    radius[0, 0] = 1.0
    real = rng.standard_normal(radius.shape, dtype=np.float32)
    imaginary = rng.standard_normal(radius.shape, dtype=np.float32)
    spectrum = (real + np.complex64(1j) * imaginary) / radius ** np.float32(falloff)
    spectrum[0, 0] = 0.0
    picture = np.fft.irfft2(spectrum, s=(height, width))
    return as_image(picture / picture.std())


def line_noise(rng: np.random.Generator, width: int, falloff: float = 1.4) -> Image:
    """A periodic fractal line of shape (width,), mean 0, deviation 1."""
    wave = np.arange(width // 2 + 1, dtype=float)
    wave[0] = 1.0
    spectrum = rng.normal(size=wave.size) + 1j * rng.normal(size=wave.size)
    spectrum /= wave**falloff
    spectrum[0] = 0.0
    line = np.fft.irfft(spectrum, n=width)
    return as_image(line / line.std())


def palette(rng: np.random.Generator, base: Color, spread: float, count: int = 24) -> Image:
    """Colours scattered round a base: shape (count, 3)."""
    light = np.exp(rng.normal(0.0, spread, (count, 1)))
    tint = np.exp(rng.normal(0.0, spread * 0.35, (count, 3)))
    return as_image(np.asarray(base) * light * tint)


def leaves(
    rng: np.random.Generator,
    picture: Image,
    colors: Image,
    count: int,
    radii_px: tuple[float, float],
    box: tuple[float, float, float, float] | None = None,
    *,
    stretch: float = 2.5,
    wrap: bool = False,
    oval: bool = False,
) -> None:
    """Scatter ellipses, radii by the power law r**-3, over ``box`` (x0, y0, x1, y1), in place."""
    height, width = picture.shape[:2]
    x0, y0, x1, y1 = box or (0, 0, width, height)
    low, high = radii_px
    share = rng.random(count)
    # Inverse of the distribution function of r**-3 between the limits.
    radius = 1 / np.sqrt(1 / low**2 - share * (1 / low**2 - 1 / high**2))
    x = rng.uniform(x0, x1, count)
    y = rng.uniform(y0, y1, count)
    if oval:
        # Uniform in the ellipse that the box holds.
        reach, turn = np.sqrt(rng.random(count)), rng.uniform(0, 2 * np.pi, count)
        x = (x0 + x1) / 2 + reach * np.cos(turn) * (x1 - x0) / 2
        y = (y0 + y1) / 2 + reach * np.sin(turn) * (y1 - y0) / 2
    squeeze = np.exp(-rng.random(count) * np.log(stretch))
    angle = rng.uniform(0, 180, count)
    pick = rng.integers(0, len(colors), count)
    channels = picture.shape[2] if picture.ndim == 3 else 1
    for index in range(count):
        color = [float(level) for level in np.atleast_1d(colors[pick[index]])]
        if channels == 4:
            color.append(1.0)
        across = float(radius[index])
        axes = (max(1, round(across * 8)), max(1, round(across * squeeze[index] * 8)))
        shifts = (-width, 0, width) if wrap else (0,)
        for shift in shifts:
            left = x[index] + shift
            if -across < left < width + across:
                centre = (round(left * 8), round(y[index] * 8))
                cv2.ellipse(picture, centre, axes, angle[index], 0, 360, color, -1, cv2.LINE_8, 3)


def texture_tile(rng: np.random.Generator, size: int = 1024, spread: float = 0.32) -> Image:
    """A periodic grey tile round 1.0 with leaves and grain: shape (size, size)."""
    tile = np.ones((size, size, 3), np.float32)
    colors = palette(rng, (1.0, 1.0, 1.0), spread)
    leaves(rng, tile, colors, 2500, (size / 400, size / 45), wrap=True)
    # Ellipses are cut at the upper and lower edge; the second half of a roll hides that seam.
    tile = np.roll(tile, size // 2, axis=0)
    seam = (0.0, size * 0.42, float(size), size * 0.58)
    leaves(rng, tile, colors, 500, (size / 400, size / 45), seam, wrap=True)
    grey = tile.mean(axis=2) * np.exp(0.3 * spread * pink(rng, size, size, 0.9))
    return as_image(np.clip(grey, 0.1, 4.0))


def sample(tile: Image, across: Image, down: Image) -> Image:
    """Look up a periodic tile at coordinates counted in tiles."""
    height, width = tile.shape[:2]
    x = as_image(across)
    y = as_image(down)
    x = (x - np.floor(x)) * np.float32(width)
    y = (y - np.floor(y)) * np.float32(height)
    return as_image(cv2.remap(tile, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP))


def ground_texture(
    tile: Image,
    yaw_deg: Image,
    pitch_deg: Image,
    eye_m: float = 1.6,
    sizes_m: Sequence[float] = (37.0, 7.3, 1.7),
) -> Image:
    """A textured plane seen in perspective: factors round 1.0 on the grid of directions.

    Each size of grain fades where it becomes finer than the grid, so far ground does not
    sparkle. Above the horizon all is 1.
    """
    result = np.ones((pitch_deg.size, yaw_deg.size), np.float32)
    start = int(np.searchsorted(-pitch_deg, 0.0))
    below = np.radians(np.clip(-pitch_deg[start:], 0.15, 89.9)).astype(np.float32)[:, None]
    yaw = np.radians(yaw_deg).astype(np.float32)[None, :]
    distance = np.float32(eye_m) / np.tan(below)
    sine, cosine = np.sin(yaw), np.cos(yaw)
    footprint = distance**2 / eye_m * np.radians(abs(float(pitch_deg[0] - pitch_deg[1])))
    for number, size in enumerate(sizes_m):
        texel = size / tile.shape[0] * 3
        weight = as_image(1 / (1 + (footprint / texel) ** 2))
        first = int(np.searchsorted(weight[:, 0], 0.02))
        scaled = as_image(distance[first:] / size)
        value = sample(tile, scaled * sine + np.float32(0.37 * number), scaled * cosine)
        result[start + first :] *= 1 + weight[first:] * (value - 1)
    return result


def blend(picture: Image, color: Image | Color, mask: Image) -> None:
    """Lay a colour (or picture) over ``picture`` where ``mask`` says, in place."""
    rows = np.flatnonzero(mask.any(axis=1))
    if rows.size == 0:
        return
    part = slice(int(rows[0]), int(rows[-1]) + 1)
    paint = as_image(color)
    cover = mask[part, :, None]
    view = picture[part]
    view += cover * ((paint[part] if paint.ndim == 3 else paint) - view)


def soft_below(pitch_deg: Image, line_deg: Image, width_deg: float) -> Image:
    """A mask of everything below a line over yaw: shape (pitch, yaw), soft by ``width_deg``."""
    return as_image(np.clip((line_deg[None, :] - pitch_deg[:, None]) / width_deg + 0.5, 0, 1))


def glow(yaw_deg: Image, pitch_deg: Image, at: tuple[float, float], size_deg: float) -> Image:
    """A soft round light on the grid of directions, 1 at its middle."""
    turn = np.mod(yaw_deg - at[0] + 180, 360) - 180
    rise = pitch_deg - at[1]
    square = (turn * np.cos(np.radians(at[1])))[None, :] ** 2 + rise[:, None] ** 2
    return as_image(1 / (1 + square / size_deg**2))


def wall(
    rng: np.random.Generator,
    size_m: tuple[float, float],
    px_per_m: float,
    base: Color,
    style: str,
) -> Image:
    """A wall with what hangs and opens in it: shape (height, width, 3), ground at the bottom.

    ``style`` is ``hall`` (tall bright windows, pictures, doors), ``bare`` (few of them),
    ``street`` (rows of like windows, signs, shop fronts) or ``plain`` (coffers).
    """
    width, height = round(size_m[0] * px_per_m), round(size_m[1] * px_per_m)
    picture = np.empty((height, width, 3), np.float32)
    picture[:] = base
    grain = pink(rng, height, width, 1.0)
    picture *= np.exp((0.06 if style == "bare" else 0.16) * grain)[..., None]
    if style == "bare":
        _hall_wall(rng, picture, px_per_m, gaps_m=(4.0, 9.0))
    elif style == "hall":
        _hall_wall(rng, picture, px_per_m)
    elif style == "street":
        _street_wall(rng, picture, px_per_m)
    else:
        _coffers(rng, picture, px_per_m)
    return picture


def _rectangle(picture: Image, box: Sequence[float], color: Sequence[float]) -> None:
    x0, y0, x1, y1 = (round(edge) for edge in box)
    picture[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0)] = color


def _scenery(rng: np.random.Generator, picture: Image, box: Sequence[float], level: float) -> None:
    """Fill a box with something looked out on, or painted: leaves under a light sky."""
    x0, y0, x1, y1 = (max(round(edge), 0) for edge in box)
    part = picture[y0:y1, x0:x1]
    if part.size == 0:
        return
    part[:] = np.array([0.8, 0.95, 1.2]) * level
    colors = palette(rng, (0.5 * level, 0.55 * level, 0.35 * level), 0.5)
    view = np.ascontiguousarray(part)
    tall, wide = view.shape[:2]
    leaves(rng, view, colors, 120, (1.5, tall / 5), (0, tall * rng.uniform(0.2, 0.6), wide, tall))
    picture[y0:y1, x0:x1] = view


def _hall_wall(
    rng: np.random.Generator,
    picture: Image,
    scale: float,
    gaps_m: tuple[float, float] = (0.5, 1.8),
) -> None:
    height, width = picture.shape[:2]
    picture[round(height - 1.1 * scale) :] *= np.array([0.55, 0.42, 0.32], np.float32)
    for seam in range(round(height - 1.1 * scale), height, max(4, round(0.28 * scale))):
        picture[seam : seam + 2] *= 0.5
    x = rng.uniform(0.5, 1.5) * scale
    while x < width - 1.5 * scale:
        what = rng.choice(
            ["window", "picture", "door", "blank", "shelf"], p=[0.3, 0.3, 0.12, 0.13, 0.15]
        )
        wide = rng.uniform(0.9, 1.8) * scale
        top = height - rng.uniform(3.4, 4.4) * scale
        if what == "window":
            box = (x, top, x + wide, height - 1.2 * scale)
            _rectangle(picture, (box[0] - 6, box[1] - 6, box[2] + 6, box[3] + 6), (0.6, 0.55, 0.5))
            _scenery(rng, picture, box, rng.uniform(6, 14))
            for bar in np.linspace(x, x + wide, 4)[1:3]:
                _rectangle(picture, (bar - 2, top, bar + 2, box[3]), (0.3, 0.28, 0.25))
            for bar in np.linspace(top, box[3], 5)[1:4]:
                _rectangle(picture, (x, bar - 2, x + wide, bar + 2), (0.3, 0.28, 0.25))
        elif what == "picture":
            high = rng.uniform(0.6, 1.4) * scale
            y = height - rng.uniform(2.2, 3.0) * scale
            _rectangle(picture, (x - 5, y - 5, x + wide + 5, y + high + 5), (0.25, 0.17, 0.06))
            _scenery(rng, picture, (x, y, x + wide, y + high), rng.uniform(0.08, 0.35))
        elif what == "door":
            tone = rng.uniform(0.04, 0.16)
            _rectangle(
                picture,
                (x, height - 2.3 * scale, x + scale, height),
                (tone, tone * 0.7, tone * 0.45),
            )
            _rectangle(
                picture,
                (x + 8, height - 2.1 * scale, x + scale - 8, height - 1.2 * scale),
                (tone * 0.6,) * 3,
            )
        elif what == "shelf":
            colors = palette(rng, (0.12, 0.09, 0.07), 0.7)
            for level in range(4):
                y = height - (0.3 + 0.55 * level) * scale
                at = x
                while at < x + wide:
                    thick = rng.uniform(0.03, 0.08) * scale
                    tall = rng.uniform(0.25, 0.42) * scale
                    _rectangle(
                        picture,
                        (at, y - tall, at + thick, y),
                        colors[rng.integers(len(colors))].tolist(),
                    )
                    at += thick
        x += wide + rng.uniform(*gaps_m) * scale


def _street_wall(rng: np.random.Generator, picture: Image, scale: float) -> None:
    height, width = picture.shape[:2]
    x = 0.0
    while x < width:
        wide = rng.uniform(5, 11) * scale
        tone = palette(rng, (0.4, 0.34, 0.27), 0.35, 1)[0]
        part = picture[:, round(x) : round(x + wide)]
        part *= (tone / 0.35).astype(np.float32)
        pitch_x, pitch_y = rng.uniform(1.5, 2.4) * scale, rng.uniform(2.6, 3.2) * scale
        glass = rng.uniform(0.03, 0.12)
        rows = np.arange(height - 4.2 * scale, -pitch_y, -pitch_y)
        for y in rows:
            for left in np.arange(x + 0.5 * scale, x + wide - scale, pitch_x):
                lit = glass * np.exp(rng.normal(0, 0.35))
                box = (left, y - 1.5 * scale, left + 0.95 * scale, y)
                _rectangle(
                    picture, (box[0] - 3, box[1] - 3, box[2] + 3, box[3] + 5), (0.5, 0.48, 0.42)
                )
                _rectangle(picture, box, (lit, lit * 1.05, lit * 1.2))
                _rectangle(
                    picture, (left + 0.45 * scale, box[1], left + 0.5 * scale, y), (0.4, 0.38, 0.34)
                )
        front = palette(rng, (0.18, 0.14, 0.12), 0.7, 3)
        _rectangle(
            picture,
            (x + 8, height - 3.4 * scale, x + wide - 8, height - 2.8 * scale),
            front[0].tolist(),
        )
        word = "".join(rng.choice(list("AEIORSTLNVKM"), rng.integers(4, 9)))
        _letters(picture, word, (round(x + 20), round(height - 2.95 * scale)), scale / 90)
        _scenery(
            rng,
            picture,
            (x + 14, height - 2.6 * scale, x + wide - 1.6 * scale, height - 0.6 * scale),
            0.1,
        )
        _rectangle(
            picture,
            (x + wide - 1.4 * scale, height - 2.4 * scale, x + wide - 0.5 * scale, height),
            front[1].tolist(),
        )
        picture[:, round(x) : round(x) + 3] *= 0.4
        x += wide


def _letters(picture: Image, word: str, at: tuple[int, int], size: float) -> None:
    mask = np.zeros(picture.shape[:2], np.uint8)
    cv2.putText(mask, word, at, cv2.FONT_HERSHEY_DUPLEX, size, 255, 2, cv2.LINE_AA)
    blend(picture, (0.7, 0.66, 0.5), as_image(mask / 255))


def _coffers(rng: np.random.Generator, picture: Image, scale: float) -> None:
    height, width = picture.shape[:2]
    for y in np.arange(0, height, 1.3 * scale):
        for x in np.arange(0, width, 1.3 * scale):
            shade = float(np.exp(rng.normal(0, 0.12)))
            x0, y0 = round(x), round(y)
            picture[y0 + 5 : y0 + round(1.3 * scale) - 5, x0 + 5 : x0 + round(1.3 * scale) - 5] *= (
                shade
            )
    for y in np.arange(0, height, 1.3 * scale):
        picture[max(round(y) - 4, 0) : round(y) + 4] *= 0.55
    for x in np.arange(0, width, 1.3 * scale):
        picture[:, max(round(x) - 4, 0) : round(x) + 4] *= 0.55
