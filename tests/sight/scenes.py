"""Scenes on the sphere and small pictures of them, drawn without any of sight's own geometry."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.spatial.transform import Rotation

from grouper.model import Frame, PictureSource
from tests.support import frame

Picture = NDArray[np.uint8]
LONG_MM, SHORT_MM = 36.0, 24.0


@lru_cache(maxsize=4)
def town(seed: int) -> NDArray[np.float32]:
    """Linear light all round, of shape (900, 1800): blocks of all sizes over rough ground."""
    rng = np.random.default_rng(seed)
    light = np.full((900, 1800), 0.2, np.float32)
    for size in (400, 150, 60, 25):
        for _ in range(60000 // size):
            w, h = rng.uniform(0.15, 1.0, 2) * size
            x, y = rng.uniform(-50, 1800), rng.uniform(-50, 900)
            tone = float(rng.lognormal(math.log(0.18), 0.7))
            light[max(0, int(y)) : max(0, int(y + h)), max(0, int(x)) : max(0, int(x + w))] = tone
    rough = rng.standard_normal((900, 1800)).astype(np.float32)
    return light * np.exp(0.5 * cv2.GaussianBlur(rough, (0, 0), 2.0)).astype(np.float32)


@lru_cache(maxsize=2)
def sea(seed: int) -> NDArray[np.float32]:
    """Linear light of a level horizon: plain sky, plain water with fine glitter."""
    rng = np.random.default_rng(seed)
    light = np.full((900, 1800), 0.5, np.float32)
    light[450:] = 0.1
    return light * np.exp(0.01 * rng.standard_normal(light.shape)).astype(np.float32)


def held(yaw_deg: float, pitch_deg: float = 0.0, roll_deg: float = 0.0) -> NDArray[np.float64]:
    """Camera axes in the world (x right, y down, z forward), from scipy's rotations."""
    return Rotation.from_euler("YXZ", [yaw_deg, pitch_deg, roll_deg], degrees=True).as_matrix()


def view(
    scene: NDArray[np.float32],
    turn: NDArray[np.float64],
    *,
    focal_mm: float = 24.0,
    upright: bool = True,
    long_px: int = 640,
    gain_ev: float = 0.0,
    seed: int = 0,
    drawing: str = "rectilinear",
) -> Picture:
    """An upright grey-RGB picture of the scene, exposed and developed with clipping.

    A lens draws rectilinear, or as a fisheye, "equisolid" or "stereographic".
    """
    w, h = (SHORT_MM, LONG_MM) if upright else (LONG_MM, SHORT_MM)
    width, height = round(w / LONG_MM * long_px), round(h / LONG_MM * long_px)
    focal_px = focal_mm / LONG_MM * long_px
    x, y = np.meshgrid(np.arange(width) - (width - 1) / 2, np.arange(height) - (height - 1) / 2)
    if drawing == "rectilinear":
        ahead = np.full_like(x, focal_px)
    else:
        # r = 2 f sin(t/2) or 2 f tan(t/2): the ray lies r / tan t behind the picture.
        half = np.maximum(np.hypot(x, y), 1e-6) / (2 * focal_px)
        angle = 2 * (np.arcsin(half) if drawing == "equisolid" else np.arctan(half))
        ahead = 2 * focal_px * half / np.tan(angle)
    rays = np.stack([x, y, ahead], axis=-1) @ turn.T
    yaw = np.arctan2(rays[..., 0], rays[..., 2])
    down = np.arctan2(rays[..., 1], np.hypot(rays[..., 0], rays[..., 2]))
    column = (yaw / (2 * math.pi) + 0.5) * scene.shape[1] - 0.5
    row = (down / math.pi + 0.5) * scene.shape[0] - 0.5
    light = cv2.remap(
        scene,
        column.astype(np.float32),
        row.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_WRAP,
    )
    rng = np.random.default_rng([seed, 7])
    light = light * 2.0**gain_ev + 0.001 * rng.standard_normal(light.shape)
    coded = np.clip(light, 0, 1) ** (1 / 2.2) * 255
    return np.repeat(np.rint(coded).astype(np.uint8)[..., None], 3, axis=2)


def thumbnail(picture: Picture, *, letterbox: bool = True, quality: int = 80) -> bytes:
    """160 x 120 with black bars as DCF has it, or whole at 160 along the long side."""
    image = Image.fromarray(picture)
    if letterbox:
        image.thumbnail((160, 120), Image.Resampling.BOX)
        ground = Image.new("RGB", (160, 120))
        ground.paste(image, ((160 - image.width) // 2, (120 - image.height) // 2))
        image = ground
    else:
        image.thumbnail((160, 160), Image.Resampling.BOX)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()


def stored(picture: Picture, upright: bool) -> Picture:
    """A standing picture as a camera stores it: lying, to be turned by orientation 8."""
    return np.ascontiguousarray(np.rot90(picture, -1)) if upright else picture


def put(folder: Path, number: int, picture: Picture, **changes: Any) -> Frame:
    """Write a thumbnail-only file and give the frame that a reader would make of it.

    ``picture`` is upright; standing pictures are stored lying, with orientation 8.
    """
    stands = picture.shape[0] > picture.shape[1]
    data = b"head" + thumbnail(stored(picture, stands))
    name = f"QMK_{number:04d}.JPG"
    (folder / name).write_bytes(data)
    sizes = {"width_px": 6000, "height_px": 4000, "orientation": 8 if stands else 1}
    source = PictureSource(kind="thumbnail", file=name, offset=4, length=len(data) - 4)
    return frame(number, at_s=5.0 * number, **(sizes | {"file": name, "picture": source} | changes))


def sweep(
    folder: Path,
    scene: NDArray[np.float32],
    turns: Sequence[NDArray[np.float64]],
    first: int = 1,
    focal_mm: float = 24.0,
    upright: bool = True,
    drawing: str = "rectilinear",
) -> list[Frame]:
    """Frames of a scene at several attitudes."""
    return [
        put(
            folder,
            first + at,
            view(
                scene,
                turn,
                focal_mm=focal_mm,
                upright=upright,
                seed=first + at,
                drawing=drawing,
            ),
            focal_mm=focal_mm,
        )
        for at, turn in enumerate(turns)
    ]


def angle_deg(a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    """The angle between two rotation matrices."""
    return float(np.degrees(Rotation.from_matrix(a.T @ b).magnitude()))
