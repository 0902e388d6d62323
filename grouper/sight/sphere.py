"""Cameras, and maps of their pictures onto the sphere. Pure geometry.

Axes and rotations are those of ``grouper.rotations``. The pinhole model is that of Hartley &
Zisserman, *Multiple View Geometry*, 2nd ed. 2004, ch. 6; the rotation homography K R K^-1 is
in Szeliski, *Computer Vision*, 2010, ch. 9.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from grouper.lenses import LensMapping, angle_off_axis, image_radius

FloatArray = NDArray[np.float32]
DoubleArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_MOST_SPREAD = 2.0
"""Columns of the grid kept, in angles of view: enough for a row pitched by 55 degrees."""
_FORWARD_LEAST = 0.05
"""A ray less than 3 degrees in front of the camera plane is in no rectilinear lens's picture."""
_WIDEST_RAD = math.radians(110.0)
"""No fisheye for a camera sees further off its axis (220 degrees across; common practice)."""
_TINY = 1e-9
"""Keeps the ray along the axis from being divided by nothing."""


def about_x(angle_rad: float) -> DoubleArray:
    """Camera tilted up by an angle."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def about_y(angle_rad: float) -> DoubleArray:
    """Camera turned right by an angle."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def about_z(angle_rad: float) -> DoubleArray:
    """Camera rolled clockwise, seen from behind, by an angle."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


class Camera(NamedTuple):
    """A picture's size in pixels, its focal length in pixels along x and y, and its lens.

    Like ``View`` a plain tuple: both are looked up by, some thirty times a pair, and the hash of a
    record takes ten times as long.
    """

    width: int
    height: int
    fx: float
    fy: float
    mapping: LensMapping = "rectilinear"

    @property
    def half_fov_rad(self) -> tuple[float, float]:
        """Half the angle of view across and down."""
        sides = np.array([self.width / (2 * self.fx), self.height / (2 * self.fy)])
        across, down = angle_off_axis(self.mapping, sides).tolist()
        return across, down

    def rays(self) -> FloatArray:
        """The rays through all pixel centres, of shape (3, height, width), of any length."""
        x = (np.arange(self.width) - (self.width - 1) / 2) / self.fx
        y = (np.arange(self.height) - (self.height - 1) / 2) / self.fy
        rays = np.stack(np.broadcast_arrays(x[None, :], y[:, None], np.ones((1, 1))))
        if self.mapping != "rectilinear":
            radius = np.hypot(rays[0], rays[1])
            angle = angle_off_axis(self.mapping, radius)
            rays[:2] *= np.sin(angle) / np.maximum(radius, _TINY)
            rays[2] = np.cos(angle)
        return rays.astype(np.float32)

    def draw(self, rays: DoubleArray) -> tuple[DoubleArray, DoubleArray, BoolArray]:
        """Where rays land in the picture, or beside it.

        Args:
            rays: of shape (3, ...), of any length.

        Returns:
            Columns, rows and whether the lens draws the ray at all, each of shape (...).
        """
        x, y, z = rays
        if self.mapping == "rectilinear":
            drawn = z > _FORWARD_LEAST
            scale = 1.0 / np.where(drawn, z, 1.0)
        else:
            off = np.hypot(x, y)
            angle = np.arctan2(off, z)
            drawn = angle < _WIDEST_RAD
            scale = image_radius(self.mapping, angle) / np.maximum(off, _TINY)
        column = x * scale * self.fx + (self.width - 1) / 2
        row = y * scale * self.fy + (self.height - 1) / 2
        return column, row, drawn


class View(NamedTuple):
    """How a camera is thought to be held when its picture is laid out on the sphere.

    The camera is tilted up by ``pitch_deg``. The poles of the grid are above and below,
    or, when ``across`` is set, right and left (so that up-and-down sweeps become shifts).
    """

    pitch_deg: float = 0.0
    across: bool = False

    def turn(self, down_rad: float, right_rad: float) -> DoubleArray:
        """Rotation between two cameras whose sphere pictures are shifted by these angles.

        Args:
            down_rad: where ``b``'s picture lies below ``a``'s.
            right_rad: where ``b``'s picture lies right of ``a``'s.
        """
        pitch = math.radians(self.pitch_deg)
        held = about_x(pitch)
        if self.across:
            return np.asarray(held.T @ about_x(-down_rad) @ held @ about_y(right_rad))
        return np.asarray(held.T @ about_y(right_rad) @ about_x(pitch - down_rad))

    def shift(self, turn: DoubleArray) -> tuple[float, float]:
        """The angles (down, right) that ``turn`` was made of, whatever its roll."""
        pitch = math.radians(self.pitch_deg)
        down, right = _angles(about_x(pitch) @ turn[:, 2], self.across)
        return float(down) + pitch, float(right)


@dataclass(frozen=True, slots=True, eq=False)
class SphereMap:
    """Where the cells of a grid of equal angles on the sphere lie in a picture.

    ``mask`` tells where the picture reaches, of shape (rows, columns). ``first`` are the first
    row and column as multiples of the grid step, so grids of different cameras line up.
    """

    mask: BoolArray
    first: tuple[int, int]
    _places: tuple[FloatArray, FloatArray]

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.mask.shape[0], self.mask.shape[1]

    def apply(self, plane: FloatArray) -> FloatArray:
        """A picture on the sphere, interpolated bilinearly, 0 where it does not reach.

        Args:
            plane: a picture of the camera, of shape (height, width).

        Returns:
            Of shape (rows, columns).
        """
        shown = cv2.remap(plane, *self._places, cv2.INTER_LINEAR, borderValue=0.0)
        return np.asarray(shown, dtype=np.float32)


@lru_cache(maxsize=128)
def sphere_map(camera: Camera, view: View, step_rad: float) -> SphereMap:
    """The map of a camera's picture, held in some way, onto the sphere at a grid step.

    Equirectangular: rows of equal elevation, columns of equal yaw (Szeliski 2010, ch. 9),
    or the same with the poles to the sides (see ``View``).
    """
    column, row, first = _sphere_grid(camera, view, step_rad)
    places = column.astype(np.float32), row.astype(np.float32)
    return SphereMap(column != _NOWHERE, first, places)


_NOWHERE = -9.0
"""Pixels before the first: nothing of the picture reaches there."""


def _sphere_grid(
    camera: Camera, view: View, step_rad: float
) -> tuple[DoubleArray, DoubleArray, tuple[int, int]]:
    """Columns and rows of a picture at the cells of one grid, and the grid's first cell."""
    pitch_rad = math.radians(view.pitch_deg)
    held = about_x(pitch_rad)
    rows_at, columns_at = _angles(_rim(camera) @ held.T, view.across)
    # Close to the poles of the grid a corner of the picture spreads over many columns that
    # hold next to nothing.
    most = _MOST_SPREAD * camera.half_fov_rad[1 if view.across else 0]
    if view.across:
        rows_at = np.clip(rows_at, -pitch_rad - most, -pitch_rad + most)
    else:
        columns_at = np.clip(columns_at, -most, most)
    top, left = (math.ceil(float(part.min()) / step_rad) for part in (rows_at, columns_at))
    bottom, right = (math.floor(float(part.max()) / step_rad) for part in (rows_at, columns_at))
    # Beside a wide lens's cells a long lens's picture may lie between two of them.
    bottom, right = max(top, bottom), max(left, right)
    down = np.arange(top, bottom + 1, dtype=np.float64) * step_rad
    along = np.arange(left, right + 1, dtype=np.float64) * step_rad
    direction = _directions(down[:, None], along[None, :], view.across) @ held
    column, row, ahead = camera.draw(np.moveaxis(direction, -1, 0))
    # Half a pixel beyond the outermost centres is the picture's edge, and shows what they do.
    inside = (
        ahead
        & (column >= -0.5)
        & (column <= camera.width - 0.5)
        & (row >= -0.5)
        & (row <= camera.height - 0.5)
    )
    column = np.where(inside, column.clip(0, camera.width - 1), _NOWHERE)
    row = np.where(inside, row.clip(0, camera.height - 1), _NOWHERE)
    return column, row, (top, left)


def _rim(camera: Camera) -> DoubleArray:
    """Rays to where a picture's angles can be largest, of shape (n, 3).

    That is its edge, and the column in the middle, on which a pole of the grid would lie.
    """
    rays = camera.rays().astype(np.float64)
    middle = camera.width // 2
    lines = [rays[:, 0], rays[:, -1], rays[:, :, 0], rays[:, :, -1], rays[:, :, middle]]
    return np.concatenate(lines, axis=1).T


def _angles(direction: DoubleArray, across: bool) -> tuple[DoubleArray, DoubleArray]:
    x, y, z = direction[..., 0], direction[..., 1], direction[..., 2]
    if across:
        return np.arctan2(y, z), np.arctan2(x, np.hypot(y, z))
    return np.arctan2(y, np.hypot(x, z)), np.arctan2(x, z)


def _directions(down: DoubleArray, along: DoubleArray, across: bool) -> DoubleArray:
    """Unit rays through the cells of a grid, of shape (rows, columns, 3)."""
    sine_down, cosine_down = np.sin(down), np.cos(down)
    sine_along, cosine_along = np.sin(along), np.cos(along)
    rays = np.empty((down.size, along.size, 3))
    if across:
        rays[..., 0] = sine_along
        rays[..., 1] = sine_down * cosine_along
        rays[..., 2] = cosine_down * cosine_along
    else:
        rays[..., 0] = cosine_down * sine_along
        rays[..., 1] = sine_down
        rays[..., 2] = cosine_down * cosine_along
    return rays
