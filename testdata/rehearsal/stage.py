"""Helpers that situations share: a place with a camera set up, rows of views, handling."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from testdata.rehearsal.bodies import equivalent_for, focal_for
from testdata.rehearsal.camera import angle_of_view_deg
from testdata.rehearsal.outing import Aim, Holder, Outing, Setup
from testdata.rehearsal.records import Body, Lens, Projection, SceneKey, SceneKind

OUTDOORS: tuple[SceneKind, ...] = ("ridges", "lake", "woodland", "sea", "market", "meadow")
ANYWHERE: tuple[SceneKind, ...] = (*OUTDOORS, "hall", "night")
STEADY: tuple[SceneKind, ...] = ("ridges", "lake", "hall", "woodland", "market")


@dataclass(slots=True)
class Stage:
    """A place with a camera set up in it."""

    outing: Outing
    holder: Holder
    scene: SceneKey
    setup: Setup
    equivalent_mm: float

    @property
    def fov_deg(self) -> tuple[float, float]:
        """Horizontal and vertical angle of view as the camera is held."""
        return fov(self.holder.body, self.setup["focal_mm"], self.setup["upright"], self.projection)

    @property
    def projection(self) -> Projection:
        """That of the lens on the camera."""
        projection: Projection = self.setup.get("projection", "rectilinear")
        return projection


def fov(
    body: Body, focal_mm: float, upright: bool, projection: Projection = "rectilinear"
) -> tuple[float, float]:
    """Horizontal and vertical angle of view of a body held upright or across."""
    angles = [angle_of_view_deg(side, focal_mm, projection) for side in body.sensor_mm]
    return (angles[1], angles[0]) if upright else (angles[0], angles[1])


def step_for(overlap: float, angle_deg: float) -> float:
    """Yaw step that leaves an overlap on the horizon: w/2 + atan((1 - 2o) tan(w/2))."""
    half = math.radians(angle_deg) / 2
    return math.degrees(half + math.atan((1 - 2 * overlap) * math.tan(half)))


def set_up(
    outing: Outing,
    holder: Holder,
    equivalent_mm: float,
    *,
    upright: bool = True,
    kinds: Sequence[SceneKind] = ANYWHERE,
    across_deg: float = 360.0,
    tall_deg: float = 0.0,
    is_bare: bool | None = None,
    **changes: Any,
) -> Stage:
    """Come to a new place and set up. ``across_deg`` is how far the camera will turn in all,
    ``tall_deg`` how far it will tilt from one end to the other."""
    kind = kinds[int(outing.rng.integers(len(kinds)))]
    body = holder.body
    focal = focal_for(body, equivalent_mm)
    focal_px = focal / body.sensor_mm[0] * body.file_px[0]
    wide, tall = fov(body, focal, upright, changes.get("projection", "rectilinear"))
    most = max(wide, tall)
    # Only what the camera can see is painted: level frames do not need the zenith.
    height = min(180.0, tall_deg + most * 1.55 + 12)
    span = min(360.0, across_deg + 2 * most + 6)
    scene = outing.scene(
        kind, focal_px, span_deg=round(span, 1), tall_deg=round(height, 1), is_bare=is_bare
    )
    setup = outing.setup(scene, holder, focal_mm=focal, upright=upright, **changes)
    return Stage(outing, holder, scene, setup, equivalent_mm)


def set_up_with(outing: Outing, holder: Holder, lens: Lens, **changes: Any) -> Stage:
    """``set_up`` with another lens than the body's own."""
    return set_up(
        outing,
        holder,
        equivalent_for(holder.body, lens.focal_mm),
        lens=lens.name,
        projection=lens.projection,
        lens_tells=lens.tells,
        **changes,
    )


def row(
    count: int,
    step: float,
    *,
    middle: float = 0.0,
    pitch: float = 0.0,
    number: int = 0,
    leftward: bool = False,
) -> list[Aim]:
    """Views of one row in firing order, centred on ``middle``."""
    yaws = [middle + (index - (count - 1) / 2) * step for index in range(count)]
    if leftward:
        yaws.reverse()
    return [Aim(yaw, pitch, number) for yaw in yaws]


def uneven(outing: Outing, aims: Sequence[Aim], share: float, step: float) -> list[Aim]:
    """Steps set by eye: each view off by a share of the step."""
    off = outing.rng.normal(0, share * step, len(aims))
    return [
        Aim(aim.yaw + float(d), aim.pitch, aim.row, aim.roll, aim.spare, aim.view)
        for aim, d in zip(aims, off, strict=True)
    ]


def tripod(aims: Sequence[Aim], offset_m: float) -> Callable[[int, float, int], Setup]:
    """The entrance pupil goes round the axis at ``offset_m``."""

    def frame(index: int, leg: float, step: int) -> Setup:
        yaw = math.radians(aims[index].yaw)
        return {"position_m": (offset_m * math.sin(yaw), 0.0, offset_m * math.cos(yaw))}

    return frame


def by_hand(
    outing: Outing, aims: Sequence[Aim]
) -> tuple[list[Aim], Callable[[int, float, int], Setup]]:
    """Turned on the heel: angles off by a degree or two, the pupil 10-25 cm off the axis."""
    rng = outing.rng
    shaky = [
        Aim(
            aim.yaw + float(rng.normal(0, 1.2)),
            aim.pitch + float(rng.normal(0, 0.9)),
            aim.row,
            float(rng.normal(0, 0.8)),
            aim.spare,
            aim.view,
        )
        for aim in aims
    ]
    offset = float(rng.uniform(0.1, 0.25))

    def frame(index: int, leg: float, step: int) -> Setup:
        yaw = math.radians(shaky[index].yaw)
        x, y, z = rng.normal(0, 0.02, 3)
        return {
            "position_m": (
                offset * math.sin(yaw) + float(x),
                float(y),
                offset * math.cos(yaw) + float(z),
            )
        }

    return shaky, frame


def together(*makers: Callable[[int, float, int], Setup]) -> Callable[[int, float, int], Setup]:
    """Several makers of per-frame changes as one; later ones win."""

    def frame(index: int, leg: float, step: int) -> Setup:
        changes: Setup = {}
        for maker in makers:
            changes.update(maker(index, leg, step))
        return changes

    return frame


def different_singles(
    stage: Stage, count: int, *, pause_s: float = 25.0, yaw_within: float = 150.0
) -> None:
    """Singles of the same place: other framing, zoom, settings; views may overlap a sweep's."""
    outing, rng = stage.outing, stage.outing.rng
    within = min(yaw_within, max(0.0, stage.scene.span_deg / 2 - max(stage.fov_deg)))
    last = 0.0  # never twice the same aperture running: such a pair could be meant as one
    for _ in range(count):
        outing.wait(pause_s, 0.6, least_s=1.5)
        upright = bool(rng.random() < 0.25)
        zoom = float(rng.choice([1.2, 1.45, 1.8])) if rng.random() < 0.7 else 1.0
        if stage.projection != "rectilinear":
            zoom = 1.0  # no fisheye here zooms
        if zoom == 1.0:
            upright = not stage.setup["upright"]
        aperture = float(rng.choice([value for value in (4, 5, 6) if value != last]))
        last = aperture
        setup = {
            **stage.setup,
            "aperture": aperture,
            "program": 3,
            "exposure_mode": 0,
            "white_balance": 0,
            "upright": upright,
            "focal_mm": round(stage.setup["focal_mm"] * zoom, 1),
        }
        outing.single(
            stage.holder,
            setup,
            shutter=outing.metered(
                {**setup, "light_ev": outing.light_ev}, float(rng.integers(-2, 3)) / 3
            ),
            yaw_deg=float(rng.uniform(-within, within)),
            pitch_deg=float(rng.normal(0, 4)),
            roll_deg=float(rng.normal(0, 1.2)),
            position_m=tuple(float(v) for v in rng.normal(0, 0.4, 3) * (1, 0.2, 1)),
        )


def same_singles(stage: Stage, count: int, pause_s: float) -> None:
    """Singles of other subjects in the sweep's very settings and rhythm.

    They are taken in another place near by, each looking well away from the one before, so
    that nobody would join them.
    """
    outing, rng = stage.outing, stage.outing.rng
    kind = stage.scene.kind
    wide = stage.fov_deg[0]
    slots = max(2, int(360 / (1.7 * wide)))
    left = count
    while left > 0:
        focal_px = (
            stage.setup["focal_mm"] / stage.holder.body.sensor_mm[0] * stage.holder.body.file_px[0]
        )
        if focal_px * math.pi / 180 > 11:
            most = max(stage.fov_deg)
            scene = outing.scene(
                kind, focal_px, span_deg=round(most * 4, 1), tall_deg=round(most * 2, 1)
            )
            order = [-0.5, 0.5]
            yaws = [1.6 * wide * place for place in order]
        else:
            scene = outing.scene(kind, tall_deg=round(min(180.0, max(stage.fov_deg) * 1.5), 1))
            yaws = [360 / slots * place - 180 for place in rng.permutation(slots)]
        for yaw in yaws[:left]:
            outing.wait(pause_s, 0.45, least_s=0.8)
            outing.single(
                stage.holder,
                {**stage.setup, "scene": scene},
                yaw_deg=float(yaw),
                pitch_deg=float(rng.normal(0, 2)),
                roll_deg=float(rng.normal(0, 0.8)),
                position_m=tuple(float(v) for v in rng.normal(0, 0.5, 3) * (1, 0.1, 1)),
            )
        left -= len(yaws[:left])


def opening(outing: Outing, holder: Holder, count: int) -> None:
    """Singles of some other place, as a card has them before and after anything."""
    stage = set_up(
        outing, holder, float(outing.rng.choice([28, 35, 50])), upright=False, across_deg=60
    )
    kept = outing.situation
    different_singles(stage, count, yaw_within=70.0)
    outing.situation = kept


def choose(rng: np.random.Generator, values: Sequence[Any]) -> Any:
    """One of a sequence, as plain Python values."""
    return values[int(rng.integers(len(values)))]
