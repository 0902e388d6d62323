"""Scenes on the sphere, painted from a key: far layer, near layer, what moves, how deep.

Radiance is linear light with 0.18 as the middle grey of the scene's usual exposure, so that
skies, windows and lamps lie stops above it and shade lies stops below.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from testdata.rehearsal.paint import (
    Color,
    Image,
    as_image,
    blend,
    glow,
    ground_texture,
    leaves,
    line_noise,
    palette,
    pink,
    sample,
    soft_below,
    texture_tile,
    wall,
)
from testdata.rehearsal.records import SceneKey

USUAL_EV = {
    "ridges": 13.0,
    "lake": 12.0,
    "hall": 5.0,
    "woodland": 10.0,
    "sea": 14.0,
    "night": 1.0,
    "market": 11.0,
    "meadow": 14.0,
    "tabletop": 7.0,
    "picture": 12.0,
}
"""EV at ISO 100 that renders the scene's middle as middle grey (common practice, no source)."""

BARE_SHARE = 0.2
"""About every fifth place is poor in detail (a guess from looking through many cards)."""

_MAX_PIXELS = 7_000_000
"""Keeps one scene below about 200 MB with its layers; the density gives way first."""


@dataclass(frozen=True, slots=True)
class Scene:
    """A painted scene. Pictures cover the key's window, row 0 at the top."""

    key: SceneKey
    ev: float
    far: tuple[Image, ...]
    """The far layer at full, half, quarter ... density, each (height, width, 3)."""
    far_m: float
    near: Image | None
    """(height, width, 4): radiance times cover, and cover."""
    near_m: float
    motion: Image | None
    """(height, width, 2): how far things sway (0..1), and how much is moving water (0..1)."""
    depth: Image | None
    """(height, width): distance in metres where it varies over the picture."""
    people: int
    """How many walk about within 360 degrees."""


@dataclass(slots=True)
class _Canvas:
    rng: np.random.Generator
    key: SceneKey
    yaw: Image
    pitch: Image
    picture: Image
    zoom: float
    """1 for wide windows; below for windows seen through long lenses, where things are small."""
    near: Image | None = None
    near_m: float = 5.0
    far_m: float = 1000.0
    motion: Image | None = None
    depth: Image | None = None
    people: int = 0
    bare: bool = False
    """One of the places that give little to go by: fog, open sea, plain walls, a crowd."""

    @property
    def px_per_deg(self) -> float:
        return self.yaw.size / self.key.span_deg

    @property
    def wraps(self) -> bool:
        return self.key.span_deg >= 360

    def row(self, pitch_deg: float) -> int:
        """The row of a pitch, clipped to the canvas."""
        top = self.key.middle_deg + self.key.tall_deg / 2
        place = round((top - pitch_deg) * self.px_per_deg)
        return int(np.clip(place, 0, self.pitch.size))

    def column(self, yaw_deg: float) -> int:
        return round((yaw_deg + self.key.span_deg / 2) * self.px_per_deg)

    def new_near(self) -> Image:
        self.near = np.zeros((*self.picture.shape[:2], 4), np.float32)
        return self.near

    def new_motion(self) -> Image:
        self.motion = np.zeros((*self.picture.shape[:2], 2), np.float32)
        return self.motion


@lru_cache(maxsize=2)
def paint_scene(key: SceneKey) -> Scene:
    """Paint the scene that ``key`` names."""
    density = min(key.px_per_deg, (_MAX_PIXELS / (key.span_deg * key.tall_deg)) ** 0.5)
    width = max(64, round(key.span_deg * density / 32) * 32)
    height = max(64, round(width * key.tall_deg / key.span_deg))
    yaw = as_image((np.arange(width) + 0.5) / width * key.span_deg - key.span_deg / 2)
    top = key.middle_deg + key.tall_deg / 2
    pitch = as_image(top - (np.arange(height) + 0.5) / height * key.tall_deg)
    canvas = _Canvas(
        rng=np.random.default_rng([key.seed, 77]),
        key=key,
        yaw=yaw,
        pitch=pitch,
        picture=np.zeros((height, width, 3), np.float32),
        zoom=float(np.clip(key.tall_deg / 110, 0.06, 1.0)),
        bare=_is_bare(key),
    )
    _PAINTERS[key.kind](canvas)
    far = [np.maximum(canvas.picture, 0.0015)]
    while min(far[-1].shape[:2]) > 256 and len(far) < 4:
        half = (far[-1].shape[1] // 2, far[-1].shape[0] // 2)
        far.append(as_image(cv2.resize(far[-1], half, interpolation=cv2.INTER_AREA)))
    return Scene(
        key=key,
        ev=USUAL_EV[key.kind],
        far=tuple(far),
        far_m=canvas.far_m,
        near=canvas.near,
        near_m=canvas.near_m,
        motion=canvas.motion,
        depth=canvas.depth,
        people=canvas.people,
    )


def _is_bare(key: SceneKey) -> bool:
    if key.is_bare is not None:
        return key.is_bare
    return bool(np.random.default_rng([key.seed, 78]).random() < BARE_SHARE)


def _sky(
    canvas: _Canvas, zenith: tuple[float, ...], horizon: tuple[float, ...], cloud: float
) -> None:
    """A clear to cloudy sky: gradient, haze at the horizon, clouds with flat bases."""
    height, width = canvas.picture.shape[:2]
    rise = np.clip(canvas.pitch / 60, 0, 1)[:, None, None] ** 0.6
    canvas.picture[:] = as_image(horizon) * (1 - rise) + as_image(zenith) * rise
    if cloud > 0:
        cover = pink(canvas.rng, height, width, 1.5) + 0.35 * pink(canvas.rng, height, width, 1.0)
        mask = (
            np.clip((cover + 2.4 * cloud - 1.5) / 0.9, 0, 1)
            * np.clip(canvas.pitch / 4 + 0.3, 0, 1)[:, None]
        )
        shade = 0.8 + 0.28 * pink(canvas.rng, height, width, 1.2)
        tint = 0.5 * as_image(horizon) + 0.5 * max(horizon)
        white = tint * np.clip(shade, 0.35, 1.5)[..., None]
        blend(canvas.picture, as_image(white), as_image(mask))


def _sun(canvas: _Canvas, at: tuple[float, float], level: float, tint: tuple[float, ...]) -> None:
    light = glow(canvas.yaw, canvas.pitch, at, 14) ** 2 * 0.6
    core = glow(canvas.yaw, canvas.pitch, at, 1.2) ** 4 * level
    canvas.picture += (light + core)[..., None] * as_image(tint)


def _ridges(canvas: _Canvas, count: int = 6) -> None:
    """Ranges one behind the other, paler with distance; textured by woods and rock."""
    rng = canvas.rng
    height, width = canvas.picture.shape[:2]
    haze = canvas.picture[canvas.row(1.0 * canvas.zoom) - 1].mean(axis=0)
    grain = pink(rng, height, width, 0.9)
    woods = np.ones((height, width, 3), np.float32)
    leaves(rng, woods, palette(rng, (1, 1, 1), 0.4), 4000, (1.2, 14), wrap=canvas.wraps)
    for number in range(count):
        near = (number + 1) / count
        rise = canvas.zoom * (13.0 * (1 - near) ** 1.1 - 2.5 * near)
        rough = canvas.zoom * rng.uniform(2.2, 4.8) * (1.15 - 0.6 * near)
        line = as_image(rise + rough * line_noise(rng, width, rng.uniform(1.25, 1.6)))
        line += as_image(0.12 * canvas.zoom * near * line_noise(rng, width, 0.5))
        # Below the foot of the nearest range everything is covered by what stands in front.
        part = slice(canvas.row(float(line.max()) + 0.5), canvas.row(-13.0 * canvas.zoom))
        mask = soft_below(canvas.pitch[part], line, 1.3 / canvas.px_per_deg)
        tone = palette(rng, (0.10, 0.12, 0.07), 0.3, 1)[0]
        lit = np.exp(0.30 * pink(rng, height // 4 + 1, width // 4, 1.5))
        lit = cv2.resize(as_image(lit), (width, height))[part]
        body = tone * (lit * np.exp(np.float32(0.33 * near) * grain[part]))[..., None]
        body *= 1 + near * (woods[part] - 1)
        away = np.float32(0.72 * (1 - near) ** 0.8)
        blend(canvas.picture[part], as_image(body * (1 - away) + haze * (0.8 * away)), mask)


def _meadow_ground(canvas: _Canvas, base: tuple[float, ...], edge_deg: float) -> None:
    rng = canvas.rng
    width = canvas.picture.shape[1]
    tile = texture_tile(rng)
    line = as_image(edge_deg * canvas.zoom + 0.35 * canvas.zoom * line_noise(rng, width, 1.2))
    mask = soft_below(canvas.pitch, line, 1.5 / canvas.px_per_deg)
    ground = ground_texture(tile, canvas.yaw, canvas.pitch - 0.0)
    patch = np.exp(0.25 * cv2.resize(pink(rng, 256, 512, 1.3), (width, canvas.pitch.size)))
    blend(canvas.picture, as_image((ground * patch)[..., None] * as_image(base)), mask)
    motion = canvas.new_motion()
    motion[..., 0] = 0.5 * mask


def _near_trees(
    canvas: _Canvas, count: int, near_m: float, base: tuple[float, float, float]
) -> None:
    """Trees, bushes and posts close by, on the near layer, swaying."""
    rng = canvas.rng
    near = canvas.new_near()
    canvas.near_m = near_m
    scale = canvas.px_per_deg * canvas.zoom
    for _ in range(count):
        x = rng.uniform(0, near.shape[1])
        foot = canvas.row(-float(rng.uniform(9, 16)) * canvas.zoom)
        tall = float(rng.uniform(6, 34)) * scale
        colors = palette(rng, base, 0.5)
        if rng.random() < 0.25:  # a post or a rock
            shade = [float(level) for level in colors[0]]
            x0, x1 = round(x), round(x + rng.uniform(0.6, 1.5) * scale)
            cv2.rectangle(near, (x0, round(foot - tall * 0.4)), (x1, foot), [*shade, 1.0], -1)
            leaves(rng, near, colors, 40, (1.5, scale), (x0, foot - tall * 0.4, x1, foot))
            continue
        trunk = [float(level) * 0.5 for level in colors[1]]
        thick = max(1, round(0.05 * tall))
        cv2.line(near, (round(x), foot), (round(x), round(foot - tall)), [*trunk, 1.0], thick)
        crown = (x - 0.34 * tall, foot - 1.15 * tall, x + 0.34 * tall, foot - 0.35 * tall)
        leaves(rng, near, colors, 700, (1.2, 0.06 * tall + 2), crown, oval=True)
    if canvas.motion is None:
        canvas.new_motion()
    assert canvas.motion is not None
    canvas.motion[..., 0] = np.maximum(canvas.motion[..., 0], near[..., 3])


def _paint_ridges(canvas: _Canvas) -> None:
    rng = canvas.rng
    dusk = rng.random() < 0.5
    if dusk:
        _sky(canvas, (0.16, 0.2, 0.42), (1.0, 0.62, 0.36), rng.uniform(0.2, 0.7))
        _sun(canvas, (rng.uniform(-180, 180), 2.0), 25.0, (1.4, 0.75, 0.3))
    else:
        _sky(canvas, (0.25, 0.42, 0.85), (0.9, 0.98, 1.1), rng.uniform(0.1, 0.75))
        _sun(canvas, (rng.uniform(-180, 180), rng.uniform(15, 45)), 60.0, (1.1, 1.0, 0.9))
    _ridges(canvas)
    _meadow_ground(canvas, (0.13, 0.15, 0.06), -5.0)
    _near_trees(canvas, int(rng.integers(5, 14)), rng.uniform(4, 12), (0.08, 0.1, 0.04))
    if canvas.bare:
        _fog(canvas)


def _fog(canvas: _Canvas) -> None:
    """Fog over everything: a fifth of the contrast is left far off, half of it close by."""
    grey = as_image((0.42, 0.44, 0.46))
    clear = as_image(np.clip(-canvas.pitch / 40, 0.15, 0.6))[:, None, None]
    canvas.picture[:] = canvas.picture * clear + grey * (1 - clear)
    if canvas.near is not None:
        cover = canvas.near[..., 3:]
        canvas.near[..., :3] = 0.5 * canvas.near[..., :3] + 0.5 * grey * cover


def _paint_lake(canvas: _Canvas) -> None:
    rng = canvas.rng
    _sky(canvas, (0.2, 0.3, 0.6), (1.1, 0.8, 0.6), rng.uniform(0.3, 0.7))
    _sun(canvas, (rng.uniform(-180, 180), 3.0), 25.0, (1.4, 0.9, 0.5))
    _ridges(canvas, 5)
    level = canvas.row(-1.5 * canvas.zoom)
    height, width = canvas.picture.shape[:2]
    depth = min(level, height - level)
    mirror = canvas.picture[level - depth : level][::-1] * np.array([0.62, 0.68, 0.75], np.float32)
    mirror = cv2.GaussianBlur(mirror, (0, 0), sigmaX=0.6, sigmaY=0.05 * canvas.px_per_deg * 8)
    ripple = pink(rng, 512, 1024, 1.0)
    factor = np.exp(0.1 * cv2.resize(ripple, (width, depth)))[..., None]
    canvas.picture[level : level + depth] = mirror * factor
    _meadow_ground(canvas, (0.12, 0.12, 0.07), -17.0)
    assert canvas.motion is not None
    water = np.zeros((height, width), np.float32)
    water[level : canvas.row(-17.0 * canvas.zoom)] = 0.4
    canvas.motion[..., 1] = water
    _near_trees(canvas, int(rng.integers(3, 8)), rng.uniform(4, 9), (0.05, 0.06, 0.03))


def _paint_meadow(canvas: _Canvas) -> None:
    rng = canvas.rng
    clouds = 0.0 if canvas.bare else rng.uniform(0.0, 0.35)
    _sky(canvas, (0.22, 0.42, 0.9), (0.75, 0.9, 1.1), clouds)
    _sun(canvas, (rng.uniform(-180, 180), rng.uniform(30, 60)), 60.0, (1.1, 1.0, 0.9))
    if not canvas.bare:
        _ridges(canvas, 2)
    _meadow_ground(canvas, (0.2, 0.24, 0.07), -0.5)
    trees = 1 if canvas.bare else int(rng.integers(1, 5))
    _near_trees(canvas, trees, rng.uniform(5, 14), (0.09, 0.13, 0.04))


def _paint_sea(canvas: _Canvas) -> None:
    rng = canvas.rng
    height, width = canvas.picture.shape[:2]
    _sky(canvas, (0.25, 0.45, 0.9), (0.85, 0.95, 1.05), rng.uniform(0.0, 0.8) * (not canvas.bare))
    sun = (float(rng.uniform(-180, 180)), float(rng.uniform(8, 30)))
    _sun(canvas, sun, 40.0, (1.2, 1.05, 0.85))
    tile = texture_tile(rng, spread=0.3)
    sea = as_image((0.10, 0.16, 0.2)) * ground_texture(
        tile, canvas.yaw, canvas.pitch, eye_m=6.0, sizes_m=(140.0, 31.0, 9.0)
    )[..., None] ** np.float32(0.8)
    path = np.exp(-(((np.mod(canvas.yaw - sun[0] + 180, 360) - 180) / 9) ** 2))
    sea += (
        as_image((0.9, 0.8, 0.6))
        * (path[None, :] * np.clip(1 + canvas.pitch / 40, 0, 1)[:, None])[..., None]
        * 0.6
    )
    flat = np.zeros(width, np.float32)
    blend(canvas.picture, as_image(sea), soft_below(canvas.pitch, flat, 1.0 / canvas.px_per_deg))
    motion = canvas.new_motion()
    motion[..., 1] = soft_below(canvas.pitch, flat, 0.5)
    land = as_image(canvas.zoom * (3.5 * line_noise(rng, width, 1.5) - rng.uniform(0.5, 4.0)))
    if canvas.bare or canvas.key.is_bare is False:  # from a boat or a pier no coast is seen
        land[:] = -5.0
    mask = (
        soft_below(canvas.pitch, land, 1.2 / canvas.px_per_deg)
        * (canvas.pitch > -0.4 * canvas.zoom)[:, None]
    )
    rock = (
        palette(rng, (0.16, 0.15, 0.12), 0.2, 1)[0]
        * np.exp(0.4 * pink(rng, height, width, 0.9))[..., None]
    )
    blend(canvas.picture, as_image(rock), as_image(mask))
    shore = as_image(np.minimum(-11.0 + 7.0 * line_noise(rng, width, 1.8), -2.5) * canvas.zoom)
    if canvas.bare:
        shore[:] = -75.0
    beach = soft_below(canvas.pitch, shore, 1.5 / canvas.px_per_deg)
    sand = ground_texture(texture_tile(rng, spread=0.35), canvas.yaw, canvas.pitch)
    blend(canvas.picture, as_image(sand[..., None] * as_image((0.35, 0.3, 0.22))), beach)
    motion[..., 1] *= 1 - beach
    canvas.people = 0 if canvas.bare else 3


def _paint_woodland(canvas: _Canvas) -> None:
    rng = canvas.rng
    height, width = canvas.picture.shape[:2]
    rise = np.clip((canvas.pitch + 25) / 70, 0, 1)[:, None, None]
    canvas.picture[:] = as_image((0.10, 0.10, 0.05)) * (1 - rise) + as_image((0.9, 1.0, 0.8)) * rise
    tile = texture_tile(rng, spread=0.6)
    floor = ground_texture(tile, canvas.yaw, canvas.pitch) * 1.0
    flat = as_image(-4 * canvas.zoom + 1.0 * canvas.zoom * line_noise(rng, width, 1.3))
    blend(
        canvas.picture,
        as_image(floor[..., None] * as_image((0.12, 0.10, 0.05))),
        soft_below(canvas.pitch, flat, 0.5),
    )
    scale = canvas.px_per_deg * canvas.zoom
    around = canvas.key.span_deg / 360 / canvas.zoom
    bark = pink(rng, height, width, 0.8)
    for layer in range(3):
        near = (layer + 1) / 3
        colors = palette(rng, (0.11, 0.16, 0.05), 0.65)
        band = (0, canvas.row(85 * canvas.zoom), width, canvas.row((12 - 8 * near) * canvas.zoom))
        leaves(
            rng,
            canvas.picture,
            colors,
            round(2600 * min(around, 1.5)),
            (1.5, 3 * scale),
            band,
            wrap=canvas.wraps,
        )
        for _ in range(round(46 * around / near)):
            x = rng.uniform(0, width)
            wide = rng.uniform(0.4, 2.2) * near * scale + 1
            lean = rng.normal(0, 0.03)
            foot = canvas.row((-3 - 9 * near * rng.random()) * canvas.zoom)
            top = canvas.row(89 * canvas.zoom)
            tone = palette(rng, (0.10, 0.085, 0.06), 0.4, 1)[0]
            corners = np.array(
                [[x, foot], [x + wide, foot], [x + wide * 0.6 + lean * (foot - top), top],
                 [x + wide * 0.2 + lean * (foot - top), top]]
            )  # fmt: skip
            cv2.fillPoly(canvas.picture, [np.round(corners).astype(np.int32)], tone.tolist())
    canvas.picture *= np.exp(0.3 * bark)[..., None]
    dapple = np.exp(0.5 * cv2.resize(pink(rng, 300, 600, 1.0), (width, height)))
    canvas.picture *= dapple[..., None]
    canvas.new_motion()
    assert canvas.motion is not None
    canvas.motion[: canvas.row(5 * canvas.zoom), :, 0] = 0.6
    canvas.far_m = 25.0
    _near_trees(canvas, int(rng.integers(8, 16)), rng.uniform(2.5, 6), (0.08, 0.1, 0.035))


def _box(
    canvas: _Canvas, size: tuple[float, float, float, float]
) -> tuple[Image, Image, Image, Image]:
    """Cast rays from inside a room: (face, u, v, distance) on the grid; metres.

    ``size`` is half width, half length, height above and depth below the eye. Faces: 0 ahead,
    1 right, 2 behind, 3 left, 4 above, 5 below.
    """
    half_x, half_z, above, below = size
    yaw, pitch = np.radians(canvas.yaw)[None, :], np.radians(canvas.pitch)[:, None]
    x, y, z = np.sin(yaw) * np.cos(pitch), np.sin(pitch), np.cos(yaw) * np.cos(pitch)
    with np.errstate(divide="ignore"):
        to_x = half_x / np.abs(x)
        to_z = half_z / np.abs(z)
        to_y = np.where(y > 0, above / np.maximum(y, 1e-9), below / np.maximum(-y, 1e-9))
    distance = np.minimum(np.minimum(to_x, to_z), to_y)
    face = np.where(y > 0, 4, 5) * np.ones_like(distance)
    side = distance == to_x
    face = np.where(side, np.where(x > 0, 1, 3), face)
    ends = (distance == to_z) & ~side
    face = np.where(ends, np.where(z > 0, 0, 2), face)
    px, py, pz = x * distance, y * distance, z * distance
    u = np.select([face == 0, face == 1, face == 2, face == 3], [px, -pz, -px, pz], px)
    v = np.where(face >= 4, pz, py)
    return as_image(face), as_image(u), as_image(v), as_image(distance)


def _hang(
    canvas: _Canvas,
    mask: Image,
    u: Image,
    v: Image,
    texture: Image,
    size: tuple[float, float, float, float],
) -> None:
    """Lay a wall's texture on the part of the canvas where ``mask`` is set."""
    left, bottom, wide, high = size
    rows, columns = np.nonzero(mask)
    x = (u[rows, columns] - left) / wide * (texture.shape[1] - 1)
    y = (1 - (v[rows, columns] - bottom) / high) * (texture.shape[0] - 1)
    for start in range(0, rows.size, 32_000_000 // 1000):
        part = slice(start, start + 32_000)
        values = cv2.remap(
            texture, as_image(x[part])[None, :], as_image(y[part])[None, :], cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        canvas.picture[rows[part], columns[part]] = values[0]


def _paint_hall(canvas: _Canvas) -> None:
    rng = canvas.rng
    half_x, half_z = rng.uniform(3.5, 6), rng.uniform(5, 11)
    above, below = rng.uniform(2.6, 4.0), 1.5
    face, u, v, distance = _box(canvas, (half_x, half_z, above, below))
    base = tuple(palette(rng, (0.30, 0.26, 0.20), 0.15, 1)[0].tolist())
    for number, half in ((0, half_x), (1, half_z), (2, half_x), (3, half_z)):
        texture = wall(rng, (2 * half, above + below), 95, base, "bare" if canvas.bare else "hall")
        _hang(canvas, face == number, u, v, texture, (-half, -below, 2 * half, above + below))
    ceiling = wall(rng, (2 * half_x, 2 * half_z), 70, (0.34, 0.31, 0.26), "plain")
    _hang(canvas, face == 4, u, v, ceiling, (-half_x, -half_z, 2 * half_x, 2 * half_z))
    tone = np.exp(rng.normal(0, 0.22, (64, 64)))
    tiles = np.kron(tone, np.ones((12, 12)))
    tiles[::12] *= 0.5
    tiles[:, ::12] *= 0.5
    floor = (
        sample(as_image(tiles), u / (64 * 0.5), v / (64 * 0.5))
        * sample(texture_tile(rng), u / 3, v / 3) ** 0.4
    )
    canvas.picture[face == 5] = (floor[..., None] * as_image((0.20, 0.14, 0.09)))[face == 5]
    grain = np.exp(0.10 * pink(rng, canvas.pitch.size, canvas.yaw.size, 0.8))
    light = np.exp(0.5 * cv2.resize(pink(rng, 128, 256, 1.6), canvas.picture.shape[1::-1]))
    canvas.picture *= (grain * light / (1 + (distance / 14) ** 2))[..., None]
    canvas.far_m = float(half_x + half_z) / 2
    _hall_things(canvas)
    canvas.people = int(rng.integers(0, 5))


def _hall_things(canvas: _Canvas) -> None:
    """Columns, tables and chairs close to the camera, on the near layer."""
    rng = canvas.rng
    near = canvas.new_near()
    canvas.near_m = rng.uniform(1.8, 3.2)
    scale = canvas.px_per_deg * canvas.zoom
    for _ in range(int(rng.integers(3, 8))):
        x, wide = rng.uniform(0, near.shape[1]), rng.uniform(2, 6) * scale
        tone = palette(rng, (0.16, 0.11, 0.07), 0.4, 1)[0].tolist()
        if rng.random() < 0.3:
            top, foot = 0, near.shape[0]
        else:
            top = canvas.row(-rng.uniform(12, 24) * canvas.zoom)
            foot = top + round(rng.uniform(8, 20) * scale)
            wide *= 3
        for strip in range(8):
            shade = [level * (0.6 + 0.8 * np.sin((strip + 0.5) / 8 * np.pi)) for level in tone]
            x0, x1 = round(x + wide * strip / 8), round(x + wide * (strip + 1) / 8)
            cv2.rectangle(near, (x0, top), (x1, foot), [*shade, 1.0], -1)
        leaves(
            rng,
            near,
            palette(rng, (0.2, 0.16, 0.12), 0.5),
            24,
            (1.5, 0.8 * scale),
            (x, top, x + wide, foot),
        )


def _paint_market(canvas: _Canvas) -> None:
    rng = canvas.rng
    _sky(canvas, (0.5, 0.65, 0.95), (1.2, 1.25, 1.3), rng.uniform(0.2, 0.9))
    half_x, half_z, below = rng.uniform(5, 8), 34.0, 1.6
    above = rng.uniform(8, 13)
    face, u, v, distance = _box(canvas, (half_x, half_z, above, below))
    for number, half in ((0, half_x), (1, half_z), (2, half_x), (3, half_z)):
        texture = wall(rng, (2 * half, above + below), 60, (0.35, 0.35, 0.35), "street")
        light = 1.7 if number == 1 else 0.7
        _hang(
            canvas,
            face == number,
            u,
            v,
            texture * np.float32(light),
            (-half, -below, 2 * half, above + below),
        )
    tile = texture_tile(rng, spread=0.4)
    paving = sample(tile, u / 2.7, v / 2.7) * sample(tile, u / 11, v / 11)
    canvas.picture[face == 5] = (paving[..., None] * as_image((0.2, 0.19, 0.17)))[face == 5]
    solid = face != 4
    grain = np.exp(0.12 * pink(rng, canvas.pitch.size, canvas.yaw.size, 0.8))[..., None]
    canvas.picture *= np.where(solid[..., None], grain, 1.0)
    haze = as_image(1 - np.exp(-distance / 220))
    blend(canvas.picture, (0.7, 0.72, 0.75), as_image(haze * solid))
    near = canvas.new_near()
    canvas.near_m = rng.uniform(2.5, 4.5)
    canvas.far_m = 12.0
    scale = canvas.px_per_deg * canvas.zoom
    for _ in range(int(rng.integers(6, 13))):
        x, wide = rng.uniform(0, near.shape[1]), rng.uniform(9, 22) * scale
        table, foot = canvas.row(-13 * canvas.zoom), canvas.row(-27 * canvas.zoom)
        roof = canvas.row(rng.uniform(7, 13) * canvas.zoom)
        cloth = palette(rng, (0.45, 0.3, 0.22), 0.6, 2)
        for strip in range(10):
            color = [float(level) for level in cloth[strip % 2]]
            x0, x1 = x + wide * strip / 10, x + wide * (strip + 1) / 10
            cv2.rectangle(
                near, (round(x0), roof), (round(x1), roof + round(3.2 * scale)), [*color, 1.0], -1
            )
        for post in (x, x + wide):
            cv2.rectangle(
                near,
                (round(post), roof),
                (round(post + 0.4 * scale), foot),
                [0.08, 0.07, 0.06, 1.0],
                -1,
            )
        cv2.rectangle(near, (round(x), table), (round(x + wide), foot), [0.09, 0.08, 0.08, 1.0], -1)
        goods = palette(rng, (0.35, 0.22, 0.1), 0.8)
        leaves(
            rng,
            near,
            goods,
            350,
            (0.3 * scale, 1.3 * scale),
            (x, table - 1.5 * scale, x + wide, table + 1.5 * scale),
        )
    canvas.people = 110 if canvas.bare else int(rng.integers(14, 34))


def _paint_night(canvas: _Canvas) -> None:
    rng = canvas.rng
    height, width = canvas.picture.shape[:2]
    rise = np.clip(canvas.pitch / 45, 0, 1)[:, None, None]
    canvas.picture[:] = (
        as_image((0.09, 0.055, 0.03)) * (1 - rise) + as_image((0.012, 0.014, 0.025)) * rise
    )
    clouds = np.exp(0.4 * pink(rng, height, width, 1.5))[..., None]
    canvas.picture *= clouds
    _ridges(canvas, 2)
    canvas.picture[canvas.row(4 * canvas.zoom) :] *= 0.35
    scale = canvas.px_per_deg * canvas.zoom
    level = canvas.row(-2 * canvas.zoom)
    x = 0.0
    while x < width:
        wide = rng.uniform(2, 8) * scale
        top = canvas.row(rng.uniform(0.5, 11) * canvas.zoom)
        tone = rng.uniform(0.006, 0.03)
        cv2.rectangle(
            canvas.picture,
            (round(x), top),
            (round(x + wide), level),
            (tone * 1.2, tone, tone * 0.8),
            -1,
        )
        step = max(3.0, 0.55 * scale)
        for y in np.arange(top + 2, level - step, step):
            for at in np.arange(x + 2, x + wide - step, step * 0.9):
                if rng.random() < 0.28:
                    warm = np.array([1.6, 1.05, 0.5]) * np.exp(rng.normal(-1.0, 0.9))
                    size = max(1, round(step * 0.45))
                    canvas.picture[round(y) : round(y) + size, round(at) : round(at) + size] = warm
        x += wide
    depth = min(level, height - level)
    wet = canvas.picture[level - depth : level][::-1] * np.float32(0.45)
    canvas.picture[level : level + depth] = cv2.GaussianBlur(
        wet, (0, 0), sigmaX=1.0, sigmaY=2.0 * scale
    )
    tile = texture_tile(rng, spread=0.5)
    ground = ground_texture(tile, canvas.yaw, canvas.pitch)
    canvas.picture[level:] *= ground[level:, :, None]
    canvas.picture[level:] += (0.02 * ground[level:])[..., None] * as_image((1.1, 0.8, 0.5))
    for _ in range(int(rng.integers(8, 18) * min(1.0, canvas.key.span_deg / 180)) + 2):
        at = (
            float(rng.uniform(-0.5, 0.5)) * canvas.key.span_deg,
            float(rng.uniform(-1, 5)) * canvas.zoom,
        )
        reach = 16 * canvas.zoom
        rows = slice(canvas.row(at[1] + reach), canvas.row(at[1] - reach))
        columns = slice(max(0, canvas.column(at[0] - reach)), canvas.column(at[0] + reach))
        grid = canvas.yaw[columns], canvas.pitch[rows]
        lamp = glow(*grid, at, 0.35 * canvas.zoom) ** 2 * 40
        halo = glow(*grid, at, 3.0 * canvas.zoom) ** 1.5 * 0.3
        halo = np.maximum(halo - 0.006, 0.0)
        canvas.picture[rows, columns] += (lamp + halo)[..., None] * as_image((1.3, 0.85, 0.4))
    canvas.people = 4


def _color(value: Image) -> Color:
    red, green, blue = (float(level) for level in value)
    return red, green, blue


def _paint_tabletop(canvas: _Canvas) -> None:
    """A close subject in front of a soft ground: moss, petals, beetles; depth in metres."""
    rng = canvas.rng
    height, width = canvas.picture.shape[:2]
    canvas.picture[:] = palette(rng, (0.12, 0.16, 0.08), 0.4, 1)[0]
    canvas.picture *= np.exp(0.5 * pink(rng, height, width, 1.6))[..., None]
    # A soft ground rises towards the camera from the upper third down; things lie on it.
    rise = np.clip((np.arange(height) / height - 0.25) / 0.5, 0, 1)[:, None]
    depth = np.where(rise > 0, 0.55 - 0.4 * rise, 1.2) * np.ones((1, width))
    depth = depth.astype(np.float32)
    canvas.picture *= np.exp(0.35 * rise * pink(rng, height, width, 0.8)).astype(np.float32)[
        ..., None
    ]
    layers = 14
    for number in range(layers):
        distance = np.float32(0.55 - 0.4 * number / layers)
        colors = palette(rng, _color(palette(rng, (0.25, 0.2, 0.12), 0.7, 1)[0]), 0.5)
        sheet = np.zeros((height, width, 4), np.float32)
        top = height * (0.25 + 0.52 * number / layers)
        band = (0, top - height * 0.05, width, top + height * (0.06 + 0.2 * (number == layers - 1)))
        leaves(rng, sheet, colors, round(width * height / 900), (2, height / 22), band, stretch=4)
        fine = np.exp(0.35 * pink(rng, height, width, 0.9))[..., None]
        mask = sheet[..., 3]
        blend(canvas.picture, sheet[..., :3] * fine, mask)
        depth[mask > 0.5] = distance
    canvas.depth = depth
    canvas.far_m = 1.0


def _paint_picture(canvas: _Canvas) -> None:
    """Any equirectangular picture from disk, sRGB; highlights are stretched by two stops."""
    data = cv2.imread(str(Path(canvas.key.picture)), cv2.IMREAD_COLOR)
    if data is None:
        raise FileNotFoundError(canvas.key.picture)
    size = (canvas.picture.shape[1], canvas.picture.shape[0])
    small = cv2.resize(data, size, interpolation=cv2.INTER_AREA)[..., ::-1].astype(np.float32) / 255
    linear = np.where(small <= 0.04045, small / 12.92, ((small + 0.055) / 1.055) ** 2.4)
    canvas.picture[:] = linear * (1 + 3 * linear**4)


_PAINTERS: dict[str, Callable[[_Canvas], None]] = {
    "ridges": _paint_ridges,
    "lake": _paint_lake,
    "hall": _paint_hall,
    "woodland": _paint_woodland,
    "sea": _paint_sea,
    "night": _paint_night,
    "market": _paint_market,
    "meadow": _paint_meadow,
    "tabletop": _paint_tabletop,
    "picture": _paint_picture,
}
