"""The camera: poses, projection, exposure, development. Pure functions.

Lenses are rectilinear or fisheyes. A fisheye draws a ray that is t off its axis at
2 f sin(t/2) from the middle (equisolid angle) or at 2 f tan(t/2) (stereographic): Ray, *Applied
Photographic Optics*, 3rd ed. 2002, on fisheye lenses (from memory); Kannala & Brandt, IEEE PAMI
28(8), 2006, equations 1 to 5.

World and camera axes: x right, y down, z forward. A camera's rotation takes its own axes to
the world's. Turning right is a positive rotation about y, tilting up about x, rolling
clockwise (as seen from behind) about z.
"""

from __future__ import annotations

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from testdata.rehearsal.paint import Image, as_image, leaves, palette, pink
from testdata.rehearsal.records import Projection, Shot
from testdata.rehearsal.scene import Scene

Matrix = NDArray[np.float64]

HALF_FIELD_DEG = 90.0
"""How far off its axis a fisheye sees; beyond, its picture is black. They are made for 180 degrees
in all, from corner to corner (common practice, no source)."""


def _about(axis: int, angle_deg: float) -> Matrix:
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    i, j = ((1, 2), (2, 0), (0, 1))[axis]
    matrix = np.eye(3)
    matrix[i, i] = matrix[j, j] = c
    matrix[i, j], matrix[j, i] = -s, s
    return matrix


def rotation(
    yaw_deg: float,
    pitch_deg: float = 0.0,
    roll_deg: float = 0.0,
    base_tilt_deg: float = 0.0,
    base_tilt_to_deg: float = 0.0,
) -> Matrix:
    """Camera to world, shape (3, 3): base tilt, then yaw about the base, pitch, roll."""
    base = _about(1, base_tilt_to_deg) @ _about(0, base_tilt_deg) @ _about(1, -base_tilt_to_deg)
    turned: Matrix = base @ _about(1, yaw_deg) @ _about(0, pitch_deg) @ _about(2, roll_deg)
    return turned


def shot_rotation(shot: Shot) -> Matrix:
    """The rotation of a shot's camera, camera to world."""
    return rotation(
        shot.yaw_deg, shot.pitch_deg, shot.roll_deg, shot.base_tilt_deg, shot.base_tilt_to_deg
    )


def pointing(matrix: Matrix) -> tuple[float, float, float]:
    """Yaw, pitch and roll in the world of a camera-to-world rotation, degrees."""
    ahead = matrix[:, 2]
    yaw = math.degrees(math.atan2(ahead[0], ahead[2]))
    pitch = math.degrees(math.asin(max(-1.0, min(1.0, -ahead[1]))))
    rest = rotation(yaw, pitch).T @ matrix
    return yaw, pitch, math.degrees(math.atan2(rest[1, 0], rest[0, 0]))


def upright_sensor_mm(shot: Shot) -> tuple[float, float]:
    """Width and height of the sensor as it was held."""
    long, short = shot.body.sensor_mm
    return (short, long) if shot.upright else (long, short)


def upright_size_px(shot: Shot) -> tuple[int, int]:
    """Width and height of the rendered picture as a viewer shows it."""
    long, short = shot.body.file_px
    return (short, long) if shot.upright else (long, short)


def effective_focal_mm(shot: Shot) -> float:
    """Focal length with the breathing of focusing close.

    A thin lens has f (1 + m); lenses that focus inside keep most of that back (common
    practice, no source), so that a stack breathes by a few per cent.
    """
    if shot.focus_m is None or math.isinf(shot.focus_m):
        return shot.focal_mm
    magnification = shot.focal_mm / max(shot.focus_m * 1000 - shot.focal_mm, 50.0)
    return shot.focal_mm * (1 + 0.25 * magnification)


def focal_px(shot: Shot) -> float:
    """Focal length in pixels of the rendered file."""
    return effective_focal_mm(shot) / shot.body.sensor_mm[0] * shot.body.file_px[0]


def image_radius(angle_rad: Matrix, focal: float, projection: Projection) -> Matrix:
    """How far from the picture's middle a ray off the axis lands, in the unit of ``focal``."""
    if projection == "equisolid":
        return 2 * focal * np.sin(angle_rad / 2)
    if projection == "stereographic":
        return 2 * focal * np.tan(angle_rad / 2)
    return focal * np.tan(angle_rad)


def off_axis_rad(radius: Matrix, focal: float, projection: Projection) -> Matrix:
    """The inverse of ``image_radius``; pi where the lens draws nothing any more."""
    if projection == "equisolid":
        return 2 * np.arcsin(np.minimum(radius / (2 * focal), 1.0))
    if projection == "stereographic":
        return 2 * np.arctan(radius / (2 * focal))
    return np.arctan(radius / focal)


def angle_of_view_deg(side_mm: float, focal_mm: float, projection: Projection) -> float:
    """The angle a lens sees along a line of this length through the picture's middle."""
    if projection == "rectilinear":
        return 2 * math.degrees(math.atan(side_mm / 2 / focal_mm))
    half = math.degrees(float(off_axis_rad(np.asarray(side_mm / 2), focal_mm, projection)))
    return 2 * min(half, HALF_FIELD_DEG)


def project(rays: Matrix, focal: float, projection: Projection) -> tuple[Matrix, Matrix]:
    """Where rays in camera axes, shape (..., 3), land: right and down of the picture's middle.

    In the unit of ``focal``; NaN for a ray that the lens does not see.
    """
    x, y, z = rays[..., 0], rays[..., 1], rays[..., 2]
    if projection == "rectilinear":
        ahead = np.where(z > 0, z, np.nan)
        return focal * x / ahead, focal * y / ahead
    away = np.hypot(x, y)
    angle = np.arctan2(away, z)
    # On the axis itself there is no direction to go, nor any way.
    scale = image_radius(angle, focal, projection) / np.maximum(away, 1e-12)
    scale = np.where(angle <= math.radians(HALF_FIELD_DEG), scale, np.nan)
    return x * scale, y * scale


def cast(x: Matrix, y: Matrix, focal: float, projection: Projection) -> Matrix:
    """Directions in camera axes, shape (..., 3), of places in a picture; the inverse of
    ``project``. Of length 1 where the lens is a fisheye."""
    if projection == "rectilinear":
        return np.stack([x, y, np.full_like(x, focal)], axis=-1)
    radius = np.hypot(x, y)
    angle = off_axis_rad(radius, focal, projection)
    scale = np.sin(angle) / np.maximum(radius, 1e-12)
    return np.stack([x * scale, y * scale, np.cos(angle)], axis=-1)


def overlap_share(a: Shot, b: Shot, grid: int = 96) -> float:
    """Share of frame ``a`` that ``b`` sees too, by counting a grid of rays; distortion left out.

    For a level yaw step of a rectilinear lens this is the closed form
    1/2 + tan(w/2 - s) / (2 tan(w/2)) on the horizon, and a little more or less away from it.
    Black corners of a fisheye's frame count as not seen by anyone.
    """
    width, height = upright_sensor_mm(a)
    x = (np.arange(grid) + 0.5) / grid * width - width / 2
    y = (np.arange(grid) + 0.5) / grid * height - height / 2
    rays = cast(*np.meshgrid(x, y), effective_focal_mm(a), a.projection).reshape(-1, 3)
    drawn = rays[:, 2] >= math.cos(math.radians(HALF_FIELD_DEG))
    x, y = project(
        rays @ shot_rotation(a).T @ shot_rotation(b), effective_focal_mm(b), b.projection
    )
    width, height = upright_sensor_mm(b)
    inside = drawn & (np.abs(x) <= width / 2) & (np.abs(y) <= height / 2)
    return float(inside.mean())


@lru_cache(maxsize=24)
def _rays(
    width: int, height: int, focal: float, k1: float, projection: Projection = "rectilinear"
) -> Image:
    """Directions of the pixels of a picture in camera axes: shape (height, width, 3)."""
    x = np.arange(width) - (width - 1) / 2
    y = np.arange(height) - (height - 1) / 2
    across, down = np.meshgrid(x, y)
    if projection != "rectilinear":
        return as_image(cast(across, down, focal, projection))
    half = math.hypot(width, height) / 2
    # The file shows a ray at r (1 + k1 r^2); one step of fixed-point iteration inverts that
    # to well under a pixel for |k1| up to 0.03.
    square = (across**2 + down**2) / half**2
    shrink = 1 / (1 + k1 * square)
    shrink = 1 / (1 + k1 * square * shrink**2)
    rays = cast(across * shrink, down * shrink, focal, projection)
    return as_image(rays / np.linalg.norm(rays, axis=-1, keepdims=True))


@lru_cache(maxsize=24)
def _vignette(width: int, height: int, focal: float, projection: Projection) -> Image:
    """Half of the cos**4 law in stops: what most corrected lenses leave. (height, width, 1).

    A fisheye, which would have no light at all at 90 degrees by that law, loses about a stop
    there (common practice, no source), and all of it beyond its field.
    """
    cosine = _rays(width, height, focal, 0.0, projection)[..., 2:]
    if projection == "rectilinear":
        return as_image(cosine**2)
    drawn = cosine >= math.cos(math.radians(HALF_FIELD_DEG))
    return as_image(np.where(drawn, (1 + cosine) / 2, 0))


@lru_cache(maxsize=1)
def _noise() -> Image:
    return np.random.default_rng(4711).standard_normal((1024, 1024, 3), dtype=np.float32)


@lru_cache(maxsize=1)
def _sway() -> Image:
    rng = np.random.default_rng(4712)
    return as_image(np.stack([pink(rng, 512, 512, 1.2), pink(rng, 512, 512, 1.2)], axis=-1))


@lru_cache(maxsize=1)
def _waves() -> Image:
    rng = np.random.default_rng(4713)
    return as_image(np.exp(0.45 * pink(rng, 512, 2048, 0.9)))


def expose(shot: Shot, scene: Scene) -> Image:
    """Light on the sensor, upright, 1.0 where it clips: shape (height, width, 3)."""
    rng = np.random.default_rng([shot.seed, 5])
    width, height = upright_size_px(shot)
    focal = focal_px(shot)
    turn = shot_rotation(shot)
    rays = _rays(width, height, round(focal, 3), shot.body.k1, shot.projection)
    rays = rays @ turn.T.astype(np.float32)
    middle = pointing(turn)[0]
    position = np.asarray(shot.position_m, np.float32)
    if shot.ground_m is None:
        seen = _displaced(rays, position, scene.far_m)
    else:
        seen = _on_ground(rays, position, shot.ground_m)
    x, y = _look_up(scene, seen, middle)
    motion = None if scene.motion is None else _remap(scene, scene.motion, x, y)
    if motion is not None:
        x, y = _swayed(x, y, motion[..., 0], rng, focal)
    light = _remap(scene, _level(scene, focal), x, y)
    if motion is not None and float(motion[..., 1].max()) > 0.02:
        light *= _wave_factor(motion[..., 1], x, y, scene, rng)[..., None]
    if shot.statue_m is not None:
        _set_statue(light, rays, position, shot.statue_m, scene.key.seed)
    elif scene.near is not None and shot.ground_m is None:
        near = _near(scene, _displaced(rays, position, scene.near_m), middle, rng, focal)
        light = light * (1 - near[..., 3:]) + near[..., :3]
    if scene.people and shot.ground_m is None and shot.statue_m is None:
        _walk(light, shot, scene, turn, focal)
    if shot.strollers:
        _stroll(light, shot, turn, focal)
    if shot.passer is not None:
        _pass_by(light, shot.passer, shot.seed)
    light *= _vignette(width, height, round(focal, 3), shot.projection)
    if shot.focus_m is not None and (depth := _depth(scene, shot, rays, x, y)) is not None:
        light = _defocus(light, depth, shot.focus_m, width)
    if shot.shake_px > 0:
        light = as_image(cv2.GaussianBlur(light, (0, 0), shot.shake_px))
    frame_ev = shot.aperture + shot.shutter - math.log2(shot.iso / 100)
    gain = 2.0 ** (scene.ev + shot.light_ev - frame_ev)
    return as_image(light * np.float32(gain))


def develop(light: Image, shot: Shot) -> NDArray[np.uint8]:
    """From light to an 8-bit picture: noise, white balance, clipping, tone curve."""
    rng = np.random.default_rng([shot.seed, 6])
    height, width = light.shape[:2]
    top, left = rng.integers(0, 1024, 2)
    rows = (np.arange(height) + top) % 1024
    columns = (np.arange(width) + left) % 1024
    grain = _noise()[rows[:, None], columns[None, :]]
    # Reducing 6000 px to 640 averages noise away; what is left grows with the square root of
    # gain (photon noise) and with gain (read noise).
    gain = math.sqrt(shot.iso / 100)
    light = light + grain * (0.003 * gain * np.sqrt(np.maximum(light, 0)) + 0.0005 * gain**2)
    red = 2.0 ** (shot.warmth_ev / 2)
    light = light * np.array([red, 1.0, 1 / red], np.float32)
    picture: NDArray[np.uint8] = _curve()[np.clip(light * 4095, 0, 4095).astype(np.uint16)]
    return picture


@lru_cache(maxsize=1)
def _curve() -> NDArray[np.uint8]:
    """sRGB's transfer with a gentle contrast curve on top, as cameras have: shape (4096,)."""
    linear = np.arange(4096) / 4095
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    contrast = coded + 0.10 * np.sin(2 * np.pi * (coded - 0.5)) / (2 * np.pi) * 2
    return np.round(np.clip(contrast, 0, 1) * 255).astype(np.uint8)


def _displaced(rays: Image, position: Image, distance_m: float) -> Image:
    """Directions from the scene's middle to where rays from ``position`` meet a sphere."""
    if not position.any() or distance_m > 500:
        return rays
    along = rays @ position
    reach = -along + np.sqrt(np.maximum(along**2 + distance_m**2 - position @ position, 0.01))
    return as_image(rays * (reach / distance_m)[..., None] + position / np.float32(distance_m))


def _on_ground(rays: Image, position: Image, ground_m: float) -> Image:
    """Directions from the scene's middle to where rays from ``position`` meet the ground."""
    reach = (ground_m - position[1]) / np.maximum(rays[..., 1], 0.02)
    return as_image(rays * reach[..., None] + position)


@lru_cache(maxsize=4)
def _stone(seed: int) -> Image:
    """What the surface of a thing looks like, all round: shape (512, 512, 3)."""
    rng = np.random.default_rng([seed, 10])
    surface = np.empty((512, 512, 3), np.float32)
    surface[:] = palette(rng, (0.2, 0.19, 0.17), 0.3, 1)[0]
    leaves(rng, surface, palette(rng, (0.22, 0.2, 0.17), 0.6), 900, (2, 50), wrap=True)
    surface *= np.exp(0.25 * pink(rng, 512, 512, 0.9))[..., None]
    return surface


def _set_statue(light: Image, rays: Image, position: Image, radius_m: float, seed: int) -> None:
    """Stand a round thing of 2.4 m in the scene's middle, in place; its foot 1.5 m below."""
    across, ahead = rays[..., 0], rays[..., 2]
    square = np.maximum(across**2 + ahead**2, 1e-6)
    half = (position[0] * across + position[2] * ahead) / square
    inside = half**2 - (position[0] ** 2 + position[2] ** 2 - radius_m**2) / square
    reach = -half - np.sqrt(np.maximum(inside, 0))
    x, z = position[0] + reach * across, position[2] + reach * ahead
    y = position[1] + reach * rays[..., 1]
    seen = (inside > 0) & (reach > 0) & (y > -0.9) & (y < 1.5)
    turn = np.degrees(np.arctan2(x, z)) / 360 + 0.5
    surface = _stone(seed)
    column = (turn[seen] * surface.shape[1]).astype(int) % surface.shape[1]
    row = ((y[seen] + 0.9) / 2.4 * (surface.shape[0] - 1)).astype(int)
    # Lit from one side, so that the thing is round.
    light[seen] = surface[row, column] * (0.75 + 0.5 * np.sin(2 * np.pi * turn[seen]))[:, None]


def _look_up(scene: Scene, rays: Image, middle_deg: float) -> tuple[Image, Image]:
    """Columns and rows of the full-density picture for directions."""
    height, width = scene.far[0].shape[:2]
    c, s = math.cos(math.radians(middle_deg)), math.sin(math.radians(middle_deg))
    # Yaw is counted from the middle of the frame, so the seam at 180 degrees cannot fall in it.
    across = c * rays[..., 0] - s * rays[..., 2]
    ahead = s * rays[..., 0] + c * rays[..., 2]
    yaw = np.degrees(np.arctan2(across, ahead)) + middle_deg
    pitch = np.degrees(np.arctan2(-rays[..., 1], np.hypot(across, ahead)))
    key = scene.key
    x = (yaw + key.span_deg / 2) * (width / key.span_deg) - 0.5
    y = (key.middle_deg + key.tall_deg / 2 - pitch) * (height / key.tall_deg) - 0.5
    return as_image(x), as_image(y)


def _remap(scene: Scene, picture: Image, x: Image, y: Image) -> Image:
    scale = picture.shape[1] / scene.far[0].shape[1]
    x, y = (x + 0.5) * scale - 0.5, (y + 0.5) * (picture.shape[0] / scene.far[0].shape[0]) - 0.5
    if scene.key.span_deg >= 360:
        x, border = np.mod(x, picture.shape[1]), cv2.BORDER_WRAP
        y = np.clip(y, 0, picture.shape[0] - 1)
    else:
        border = cv2.BORDER_REFLECT_101
    return as_image(
        cv2.remap(picture, as_image(x), as_image(y), cv2.INTER_LINEAR, borderMode=border)
    )


def _level(scene: Scene, focal: float) -> Image:
    """The coarsest picture that is still finer than the file, against aliasing."""
    finer = scene.far[0].shape[1] / scene.key.span_deg / (focal * math.pi / 180)
    return scene.far[
        int(np.clip(math.floor(math.log2(max(finer, 1.0)) + 0.35), 0, len(scene.far) - 1))
    ]


def _swayed(
    x: Image, y: Image, amount: Image, rng: np.random.Generator, focal: float
) -> tuple[Image, Image]:
    """Leaves and grass shift by up to about two pixels of the file between frames."""
    sway = _sway()
    height, width = amount.shape
    top, left = rng.integers(0, 512, 2)
    part = sway[(np.arange(height) + top)[:, None] % 512, (np.arange(width) + left)[None, :] % 512]
    reach = np.float32(rng.uniform(0.3, 1.6))
    return as_image(x + reach * amount * part[..., 0]), as_image(
        y + 0.5 * reach * amount * part[..., 1]
    )


def _wave_factor(water: Image, x: Image, y: Image, scene: Scene, rng: np.random.Generator) -> Image:
    """Waves are new in every frame; they get finer towards the horizon as the rows there do."""
    tile = _waves()
    shift = rng.uniform(0, 1, 2)
    per_deg = scene.far[0].shape[1] / scene.key.span_deg
    depth = np.maximum((y - scene.far[0].shape[0] / 2) / per_deg, 0.3)
    across = np.mod(x / per_deg / 40 / np.sqrt(depth / 6) + shift[0], 1) * tile.shape[1]
    down = np.mod(np.log(depth) * 0.8 + shift[1], 1) * tile.shape[0]
    wave = cv2.remap(
        tile, as_image(across), as_image(down), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP
    )
    return as_image(1 + water * (wave - 1))


def _near(
    scene: Scene, rays: Image, middle: float, rng: np.random.Generator, focal: float
) -> Image:
    assert scene.near is not None
    x, y = _look_up(scene, rays, middle)
    near = _remap(scene, scene.near, x, y)
    if scene.motion is not None and float(near[..., 3].max()) > 0:
        x, y = _swayed(x, y, near[..., 3], rng, focal)
        near = _remap(scene, scene.near, x, y)
    return near


def _walk(light: Image, shot: Shot, scene: Scene, turn: Matrix, focal: float) -> None:
    """Draw the people of the scene where they stand at this moment, in place.

    Each walks to and fro along a line past the camera; who and where follows from the
    scene's seed and the clock, so that successive frames show the same people moved on.
    """
    rng = np.random.default_rng([scene.key.seed, 9])
    seconds = shot.moment_s
    for _ in range(scene.people):
        away, along, speed = rng.uniform(3, 22), rng.uniform(-25, 25), rng.normal(0, 0.7)
        side, heading = rng.choice([-1.0, 1.0]), rng.uniform(0, 360)
        shade = rng.uniform(0.03, 0.3, 6)
        if rng.random() < 0.3:
            speed = 0.0
        along = (along + speed * seconds + 25) % 50 - 25
        spot = _about(1, heading) @ np.array([side * away, 0.0, along])
        down = np.array([0.0, 1.0, 0.0])
        feet, head = spot + 1.6 * down, spot + (1.6 - rng.uniform(1.5, 1.9)) * down
        _stand(light, np.stack([turn.T @ feet, turn.T @ head]), shot, focal, as_image(shade))


def _stroll(light: Image, shot: Shot, turn: Matrix, focal: float) -> None:
    """Draw people within a few steps, anywhere in the picture and new in every frame, in place."""
    rng = np.random.default_rng([shot.seed, 12])
    half = math.degrees(math.atan(light.shape[1] / 2 / focal))
    down = np.array([0.0, 1.0, 0.0])
    # The far ones first: the near ones stand before them.
    for away in sorted(rng.uniform(2.5, 8.0, shot.strollers), reverse=True):
        heading = pointing(turn)[0] + rng.uniform(-half, half)
        spot = _about(1, heading) @ np.array([0.0, 0.0, away])
        feet, head = spot + 1.6 * down, spot + (1.6 - rng.uniform(1.5, 1.9)) * down
        ends = np.stack([turn.T @ feet, turn.T @ head])
        _stand(light, ends, shot, focal, as_image(rng.uniform(0.02, 0.3, 6)))


def _stand(light: Image, ends: Matrix, shot: Shot, focal: float, shade: Image) -> None:
    """Draw somebody between feet and head, each a ray, where a lens draws both."""
    # Hardly ahead, a rectilinear lens would draw them without end.
    if shot.projection != "rectilinear" or ends[:, 2].min() >= 0.5:
        _person(light, *project(ends, focal, shot.projection), shade)


def _person(light: Image, x: Matrix, y: Matrix, shade: Image) -> None:
    """Draw somebody between feet and head, right and down of the middle, where both are seen."""
    if np.isnan(x).any():
        return
    height, width = light.shape[:2]
    ends = [
        (float(a) + (width - 1) / 2, float(b) + (height - 1) / 2) for a, b in zip(x, y, strict=True)
    ]
    tall = math.hypot(ends[0][0] - ends[1][0], ends[0][1] - ends[1][1])
    if tall < 3 or tall > 3 * height or not -tall < ends[0][0] < width + tall:
        return

    def along(share: float) -> tuple[int, int]:
        return (
            round(ends[0][0] + share * (ends[1][0] - ends[0][0])),
            round(ends[0][1] + share * (ends[1][1] - ends[0][1])),
        )

    coat, legs = [float(v) for v in shade[:3]], [float(v) * 0.6 for v in shade[3:]]
    cv2.line(light, along(0.02), along(0.5), legs, max(1, round(0.13 * tall)))
    cv2.line(light, along(0.48), along(0.80), coat, max(1, round(0.22 * tall)))
    cv2.circle(light, along(0.93), max(1, round(0.065 * tall)), (0.3, 0.2, 0.15), -1)


def _pass_by(light: Image, passer: tuple[float, float], seed: int) -> None:
    """Draw somebody who walks by close to the camera, cut off by the lower edge, in place."""
    height, width = light.shape[:2]
    rng = np.random.default_rng([seed, 11])
    middle, half = passer[0] * width, passer[1] * width / 2
    coat = palette(rng, (0.16, 0.12, 0.1), 0.5, 1)[0]
    top = 0.34 * height
    body = np.zeros((height, width), np.uint8)
    corners = [[middle - half, height], [middle - 0.8 * half, top], [middle + 0.8 * half, top]]
    cv2.fillPoly(body, [np.round([*corners, [middle + half, height]]).astype(np.int32)], 1)
    folds = np.exp(0.35 * pink(rng, height, width, 1.1))[..., None]
    light[body > 0] = (coat * folds)[body > 0]
    head = (round(middle), round(top - 0.42 * half))
    cv2.circle(light, head, max(2, round(0.45 * half)), (0.3, 0.2, 0.15), -1)


def _depth(scene: Scene, shot: Shot, rays: Image, x: Image, y: Image) -> Image | None:
    """How far away each pixel's thing is, in metres: painted, or by where the ground lies."""
    if scene.depth is not None:
        return _remap(scene, scene.depth, x, y)
    if shot.eye_m is None:
        return None
    return as_image(np.minimum(shot.eye_m / np.maximum(rays[..., 1], 1e-6), scene.far_m))


def _defocus(light: Image, depth: Image, focus_m: float, width: int) -> Image:
    """Blur by the distance in dioptres from the plane of focus; five blurs, blended."""
    sigma = np.abs(1 / depth - 1 / focus_m) * (0.0022 * width)
    levels = (0.0, 0.8, 1.6, 3.2, 6.4, 12.8)
    result = np.zeros_like(light)
    rank = np.interp(sigma, levels, np.arange(len(levels))).astype(np.float32)
    rank = as_image(cv2.GaussianBlur(rank, (0, 0), 1.5))
    for number, blur in enumerate(levels):
        weight = np.clip(1 - np.abs(rank - number), 0, 1)
        if float(weight.max()) <= 0:
            continue
        soft = light if blur == 0 else as_image(cv2.GaussianBlur(light, (0, 0), blur))
        result += soft * weight[..., None]
    return result
