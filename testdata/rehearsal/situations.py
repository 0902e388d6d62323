"""Every situation that grouping must cope with, each as an act on an outing.

An act shoots one thing and puts its truth on record; ``SITUATIONS`` lists them all. Numbers
(pauses, overlaps, firing orders) follow common practice unless a source is named.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from testdata.rehearsal import bodies
from testdata.rehearsal.outing import Aim, Holder, Outing, Setup, Taken, with_findings
from testdata.rehearsal.records import Body, Expected, Lens, SceneKind, TruthSet
from testdata.rehearsal.scene import USUAL_EV
from testdata.rehearsal.stage import (
    OUTDOORS,
    STEADY,
    Stage,
    by_hand,
    choose,
    different_singles,
    row,
    same_singles,
    set_up,
    set_up_with,
    step_for,
    together,
    tripod,
    uneven,
)

Act = Callable[[Outing, Holder], None]

SHAKY = tuple(
    Expected(code=code, required=False) for code in ("rolled-camera", "drifting-row", "tilted-base")
)
"""What may be said of a sweep by hand, which is never level: nobody would call it wrong."""


@dataclass(frozen=True, slots=True)
class Situation:
    """A named act, the bodies it is played with, and how often a day has it."""

    name: str
    summary: str
    act: Act
    body: Body | None = None
    """Only with this body; otherwise with any."""
    weight: float = 0.0
    """Relative frequency within a whole day; 0: only on a card of its own."""
    start_hour: float | None = None
    before: bool = True
    """Ordinary singles stand before and after it."""


# Plain sweeps


def _sweep(
    stage: Stage,
    count: int,
    overlap: float,
    *,
    step: float | None = None,
    pause_s: tuple[float, float] = (5.0, 0.25),
    pitch: float = 0.0,
    middle: float | None = None,
    keep: Any = None,
    per_frame: Any = None,
    findings: Sequence[Expected] = (),
    closed: bool = False,
    offset_m: float = 0.02,
    **views: Any,
) -> tuple[list[Taken], TruthSet]:
    """A tripod sweep of one row, on record as a panorama; by its overlap unless a step is said."""
    rng = stage.outing.rng
    wide = stage.fov_deg[0]
    if step is None:
        step = 360 / count if closed else step_for(overlap, wide)
    if middle is None:
        middle = float(rng.uniform(-180, 180)) if stage.scene.span_deg >= 360 else 0.0
    aims = row(count, step, middle=middle, pitch=pitch, leftward=bool(rng.random() < 0.25))
    if not closed:
        aims = uneven(stage.outing, aims, 0.02, step)
    makers = [tripod(aims, offset_m)] + ([per_frame] if per_frame else [])
    taken = stage.outing.take_views(
        stage.holder,
        stage.setup,
        aims,
        pause_s=pause_s,
        keep=keep,
        per_frame=together(*makers),
        **views,
    )
    truth = stage.outing.panorama(
        taken,
        closed=closed,
        findings=findings,
        camera_roll_deg=stage.setup.get("roll_deg", 0.0),
        base_tilt_deg=stage.setup.get("base_tilt_deg", 0.0),
    )
    return taken, truth


def _count(stage: Stage, overlap: float, low: int, high: int) -> int:
    """How many views: as drawn, but no more than a turn of 330 degrees."""
    step = step_for(overlap, stage.fov_deg[0])
    most = max(3, int((330 - stage.fov_deg[0]) / step) + 1)
    return min(most, int(stage.outing.rng.integers(low, high + 1)))


def _look_round(stage: Stage, share: float = 0.5) -> None:
    """Often a single or two of the same subject come first, framed and set otherwise."""
    rng = stage.outing.rng
    if rng.random() < share:
        different_singles(stage, int(rng.integers(1, 3)), pause_s=14.0, yaw_within=60.0)
        stage.outing.wait(float(rng.choice([9, 20, 40])), 0.3)


def sweep_upright(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [24, 28, 35]))
    different_singles(stage, int(rng.integers(0, 3)))
    outing.wait(40)
    overlap = float(rng.uniform(0.25, 0.42))
    _sweep(stage, _count(stage, overlap, 4, 9), overlap, pause_s=(float(rng.uniform(3, 9)), 0.2))
    outing.wait(40)
    different_singles(stage, int(rng.integers(0, 3)))


def sweep_across(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [28, 35, 50]), upright=False, across_deg=180)
    _look_round(stage)
    overlap = float(rng.uniform(0.25, 0.42))
    _sweep(stage, _count(stage, overlap, 3, 6), overlap, pause_s=(float(rng.uniform(3, 9)), 0.25))


def sweep_wide(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [16, 18, 20]), upright=bool(rng.random() < 0.7))
    _look_round(stage)
    overlap = float(rng.uniform(0.28, 0.45))
    pitch = float(rng.choice([0, 0, -8, 10]))
    _sweep(stage, _count(stage, overlap, 3, 6), overlap, pitch=pitch)


def sweep_long(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    equivalent = choose(rng, [85, 105, 135, 200])
    overlap = float(rng.uniform(0.25, 0.45))
    count = int(rng.integers(4, 9))
    stage = set_up(
        outing,
        holder,
        equivalent,
        kinds=("ridges", "lake", "market"),
        across_deg=count * 700 / equivalent,
    )
    _look_round(stage)
    _sweep(stage, count, overlap, pause_s=(4.0, 0.3), offset_m=0.08)


def overlap_thin(outing: Outing, holder: Holder) -> None:
    stage = set_up(outing, holder, 28, kinds=STEADY)
    overlap = float(outing.rng.uniform(0.11, 0.14))
    _sweep(stage, _count(stage, overlap, 4, 6), overlap)


def overlap_ample(outing: Outing, holder: Holder) -> None:
    stage = set_up(outing, holder, 28)
    overlap = float(outing.rng.uniform(0.5, 0.62))
    _sweep(stage, _count(stage, overlap, 6, 11), overlap, pause_s=(3.0, 0.2))


def slow_beside_singles(outing: Outing, holder: Holder) -> None:
    """Singles every 15-30 s, then a sweep at the same leisure, in the same settings."""
    rng = outing.rng
    pause = float(rng.uniform(13, 28))
    stage = set_up(outing, holder, choose(rng, [24, 28, 35]), upright=bool(rng.random() < 0.6))
    same_singles(stage, int(rng.integers(3, 6)), pause)
    outing.wait(pause, 0.3)
    overlap = float(rng.uniform(0.28, 0.42))
    _sweep(stage, _count(stage, overlap, 4, 8), overlap, pause_s=(pause, 0.25))
    same_singles(stage, int(rng.integers(2, 5)), pause)


def brisk_beside_singles(outing: Outing, holder: Holder) -> None:
    """Singles every 2-4 s and a sweep just as brisk, in the same settings."""
    rng = outing.rng
    pause = float(rng.uniform(1.8, 3.6))
    stage = set_up(outing, holder, choose(rng, [24, 28, 35]), upright=bool(rng.random() < 0.6))
    same_singles(stage, int(rng.integers(3, 6)), pause)
    outing.wait(pause, 0.3)
    overlap = float(rng.uniform(0.28, 0.42))
    _sweep(stage, _count(stage, overlap, 4, 8), overlap, pause_s=(pause, 0.2))
    same_singles(stage, int(rng.integers(2, 5)), pause)


def handheld(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    upright = bool(rng.random() < 0.6)
    stage = set_up(
        outing, holder, choose(rng, [24, 28, 35]), upright=upright, kinds=(*OUTDOORS, "hall")
    )
    _look_round(stage)
    overlap = float(rng.uniform(0.35, 0.55))
    step = step_for(overlap, stage.fov_deg[0])
    aims = row(_count(stage, overlap, 3, 8), step, middle=float(rng.uniform(-180, 180)))
    aims, frame = by_hand(outing, uneven(outing, aims, 0.06, step))
    taken = outing.take_views(
        holder, stage.setup, aims, pause_s=(float(rng.uniform(0.8, 2.2)), 0.25), per_frame=frame
    )
    outing.panorama(taken, findings=SHAKY, camera_roll_deg=None, base_tilt_deg=None)


# Rows


def _rows(outing: Outing, holder: Holder, *, serpentine: bool) -> None:
    rng = outing.rng
    upright = bool(rng.random() < 0.4)
    stage = set_up(
        outing, holder, choose(rng, [28, 35, 50]), upright=upright, across_deg=150, tall_deg=70
    )
    _look_round(stage)
    wide, tall = stage.fov_deg
    across, up = (
        step_for(float(rng.uniform(0.28, 0.4)), wide),
        step_for(float(rng.uniform(0.28, 0.38)), tall),
    )
    rows, count = int(rng.integers(2, 4)), int(rng.integers(3, 6))
    low = -up * (rows - 1) / 2 + float(rng.uniform(0, 6))
    aims: list[Aim] = []
    for number in range(rows):
        aims += row(
            count,
            across,
            pitch=low + up * number,
            number=number,
            leftward=serpentine and number % 2 == 1,
        )
    taken = outing.take_views(
        holder,
        stage.setup,
        aims,
        pause_s=(4.0, 0.2),
        row_pause_s=float(rng.uniform(7, 16)),
        per_frame=tripod(aims, 0.02),
    )
    outing.panorama(taken)


def rows_serpentine(outing: Outing, holder: Holder) -> None:
    _rows(outing, holder, serpentine=True)


def rows_returning(outing: Outing, holder: Holder) -> None:
    _rows(outing, holder, serpentine=False)


def full_circle(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    equivalent, count = choose(rng, [(16, 8), (20, 9), (24, 10), (24, 12), (28, 13)])
    stage = set_up(outing, holder, equivalent)
    _look_round(stage)
    _sweep(stage, count, 0, closed=True, pause_s=(float(rng.uniform(3, 8)), 0.2))


def zenith_nadir(outing: Outing, holder: Holder) -> None:
    """A full circle at 16 mm, then one frame straight up and one straight down."""
    rng = outing.rng
    stage = set_up(outing, holder, 16, kinds=("hall", "market", "woodland", "lake"), tall_deg=180)
    step = 360 / 8
    middle = float(rng.uniform(-180, 180))
    aims = [*row(8, step, middle=middle), Aim(middle, 88.0, 1), Aim(middle, -85.0, 2)]
    taken = outing.take_views(
        holder,
        stage.setup,
        aims,
        pause_s=(5.0, 0.2),
        row_pause_s=12.0,
        per_frame=tripod(aims, 0.01),
    )
    outing.panorama(taken, closed=True, note="zenith and nadir as rows of their own")


def up_and_down(outing: Outing, holder: Holder) -> None:
    """A tower or a waterfall: one column of views across, turned up."""
    rng = outing.rng
    stage = set_up(
        outing,
        holder,
        choose(rng, [24, 28, 35]),
        upright=False,
        kinds=("market", "hall", "woodland", "ridges"),
        tall_deg=130,
    )
    _look_round(stage)
    up = step_for(float(rng.uniform(0.3, 0.45)), stage.fov_deg[1])
    count = int(rng.integers(3, 5))
    yaw = float(rng.uniform(-180, 180))
    low = -12.0
    aims = [Aim(yaw, low + up * number, number) for number in range(count)]
    taken = outing.take_views(holder, stage.setup, aims, pause_s=(4.0, 0.25))
    outing.panorama(taken)


def pitched(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    stage = set_up(
        outing,
        holder,
        choose(rng, [20, 24, 28]),
        upright=bool(rng.random() < 0.5),
        kinds=STEADY,
        tall_deg=65,
    )
    overlap = float(rng.uniform(0.3, 0.42))
    _sweep(stage, _count(stage, overlap, 4, 7), overlap, pitch=float(rng.choice([-20, 15, 22, 30])))


def tilted_base(outing: Outing, holder: Holder) -> None:
    """A leaning base before an open horizon, first with a body that records its level.

    Without that only the horizon as one great circle could show it, so saying nothing then is
    no mistake.
    """
    rng = outing.rng
    for levelled in (True, False):
        stage = set_up(outing, holder, 24, kinds=("sea",))
        stage.setup.update(
            body=replace(holder.body, level_tag=levelled),
            base_tilt_deg=float(rng.uniform(4, 6)),
            base_tilt_to_deg=float(rng.uniform(-180, 180)),
        )
        findings = [
            Expected(code="tilted-base", required=levelled),
            Expected(code="drifting-row", required=False),
        ]
        _sweep(stage, _count(stage, 0.35, 8, 9), 0.35, findings=findings)
        outing.wait(150)


def _open_sea(leaning: bool) -> Act:
    """Before the open sea, where only the horizon shows whether the base leans."""

    def act(outing: Outing, holder: Holder) -> None:
        rng = outing.rng
        stage = set_up(outing, holder, choose(rng, [20, 24, 28]), kinds=("sea",), is_bare=False)
        findings = []
        if leaning:
            stage.setup.update(
                base_tilt_deg=float(rng.uniform(3, 6)),
                base_tilt_to_deg=float(rng.uniform(-180, 180)),
            )
            findings = [
                Expected(code="tilted-base"),
                Expected(code="drifting-row", required=False),
            ]
        closed = bool(rng.random() < 0.5)
        count = 10 if closed else _count(stage, 0.36, 8, 9)
        _sweep(
            stage, count, 0.36, findings=findings, closed=closed, pitch=float(rng.uniform(-6, 6))
        )

    return act


def rolled_camera(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [24, 28, 35]), kinds=STEADY)
    stage.setup["roll_deg"] = float(rng.choice([-1, 1]) * rng.uniform(3.5, 6))
    _sweep(stage, _count(stage, 0.35, 5, 8), 0.35, findings=[Expected(code="rolled-camera")])


def drifting_row(outing: Outing, holder: Holder) -> None:
    """A head that sags: every view a little lower."""
    stage = set_up(outing, holder, 28, kinds=STEADY)
    step = step_for(0.38, stage.fov_deg[0])
    sag = float(outing.rng.uniform(1.5, 2.2))
    aims = [Aim(aim.yaw, 4 - sag * index) for index, aim in enumerate(row(7, step))]
    taken = outing.take_views(holder, stage.setup, aims)
    outing.panorama(
        taken,
        findings=[Expected(code="drifting-row"), Expected(code="rolled-camera", required=False)],
    )


def long_exposures(outing: Outing, holder: Holder) -> None:
    """Night: exposures of 8 to 25 s, the dark frame doubling each."""
    rng = outing.rng
    stage = set_up(outing, holder, 24, kinds=("night",), iso=100, aperture=6.0)
    stage.setup["shutter"] = float(rng.choice([-3.0, -4.0, -14 / 3]))
    _look_round(stage)
    doubled = 2 ** -stage.setup["shutter"] if rng.random() < 0.5 else 0.0
    _sweep(stage, _count(stage, 0.33, 4, 7), 0.33, pause_s=(4.0 + doubled, 0.2))


# Fisheyes


def _fisheye_sweep(upright: bool) -> Act:
    """Sweeps with a fisheye that fills the frame, and singles with the same lens."""

    def act(outing: Outing, holder: Holder) -> None:
        rng = outing.rng
        for _ in range(2):
            stage = set_up_with(outing, holder, bodies.FISHEYE_15, upright=upright)
            different_singles(stage, 1)  # two, from one lens, could be meant to be joined
            outing.wait(40)
            step = float(rng.uniform(45, 60)) if upright else 60.0
            pause = (float(rng.uniform(3, 9)), 0.2)
            _sweep(stage, int(rng.integers(3, 5)), 0, step=step, pause_s=pause)
            outing.wait(40)
            same_singles(stage, int(rng.integers(1, 4)), float(rng.uniform(9, 25)))
            outing.wait(90)

    return act


def _fisheye_circle(lens: Lens, zenith: bool) -> Act:
    """Full circles of six views upright, here and there with a frame straight up."""

    def act(outing: Outing, holder: Holder) -> None:
        rng = outing.rng
        for number in range(2):
            stage = set_up_with(outing, holder, lens, kinds=(*STEADY, "meadow"))
            different_singles(stage, 1)  # two, from one lens, could be meant to be joined
            outing.wait(40)
            middle = float(rng.uniform(-180, 180))
            aims = row(6, 60.0, middle=middle, leftward=bool(rng.random() < 0.25))
            if zenith and number == 1:
                aims.append(Aim(middle, 88.0, 1))
            taken = outing.take_views(
                holder,
                stage.setup,
                aims,
                pause_s=(float(rng.uniform(3, 8)), 0.2),
                row_pause_s=12.0,
                per_frame=tripod(aims, 0.01),
            )
            outing.panorama(taken, closed=True)
            outing.wait(40)
            same_singles(stage, int(rng.integers(1, 4)), float(rng.uniform(9, 25)))
            outing.wait(90)

    return act


# Brackets and stacks

ORDERS: dict[int, tuple[tuple[int, ...], ...]] = {
    3: ((0, -1, 1), (-1, 0, 1), (0, 1, -1), (1, 0, -1)),
    5: ((0, -1, 1, -2, 2), (0, -2, -1, 1, 2), (-2, -1, 0, 1, 2), (2, 1, 0, -1, -2)),
    7: ((0, -1, 1, -2, 2, -3, 3), (-3, -2, -1, 0, 1, 2, 3)),
    9: ((0, -1, 1, -2, 2, -3, 3, -4, 4), (-4, -3, -2, -1, 0, 1, 2, 3, 4)),
}

SPACINGS: dict[int, tuple[float, ...]] = {3: (1, 2, 3), 5: (1, 2), 7: (1, 4 / 3), 9: (2 / 3, 1)}
"""EV between legs that bodies offer for so many legs."""


def _legs(outing: Outing, count: int) -> tuple[float, ...]:
    spacing = float(choose(outing.rng, SPACINGS[count]))
    return tuple(place * spacing for place in choose(outing.rng, ORDERS[count]))


def _bracket_setup(outing: Outing, stage: Stage) -> Any:
    """Bracketing by the body (ExposureMode 2, bias recorded) or by hand in manual mode."""
    if outing.rng.random() < 0.65:
        stage.setup.update(program=int(outing.rng.choice([1, 3])), exposure_mode=2)
        return lambda index, leg, step: {"bias_ev": leg}
    return lambda index, leg, step: {}


def _brackets(count: int) -> Act:
    def act(outing: Outing, holder: Holder) -> None:
        rng = outing.rng
        for _ in range(int(rng.integers(2, 4))):
            stage = set_up(
                outing,
                holder,
                choose(rng, [24, 35]),
                upright=bool(rng.random() < 0.3),
                kinds=("hall", "ridges", "lake", "market", "woodland"),
            )
            _fit_shutter(stage, count)
            frame = _bracket_setup(outing, stage)
            by_hand_pause = stage.setup["exposure_mode"] != 2
            taken = outing.take_views(
                holder,
                stage.setup,
                [Aim(float(rng.uniform(-90, 90)))],
                legs=_legs(outing, count),
                burst_s=float(rng.uniform(2, 8))
                if by_hand_pause
                else float(rng.uniform(0.12, 0.5)),
                per_frame=frame,
            )
            outing.one_view("bracket", taken)
            outing.wait(60)
            different_singles(stage, int(rng.integers(1, 3)))
            outing.wait(90)

    return act


def _fit_shutter(stage: Stage, count: int) -> None:
    """Keep the slowest and fastest leg within what shutters do (30 s to 1/8000 s)."""
    reach = {3: 3, 5: 4, 7: 4, 9: 4}[count]
    stage.setup["shutter"] = float(min(max(stage.setup["shutter"], reach - 5.0), 13.0 - reach))


def bracketed_by_view(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    count = int(rng.choice([3, 3, 5]))
    stage = set_up(outing, holder, 24, kinds=("hall", "ridges", "lake", "market"))
    _fit_shutter(stage, count)
    _look_round(stage)
    frame = _bracket_setup(outing, stage)
    manual = stage.setup["exposure_mode"] != 2
    _sweep(
        stage,
        _count(stage, 0.33, 4, 7),
        0.33,
        legs=_legs(outing, count),
        per_frame=frame,
        pause_s=(float(rng.uniform(4, 8)), 0.2),
        burst_s=1.8 if manual else 0.25,
    )


def bracketed_by_sweep(outing: Outing, holder: Holder) -> None:
    """The whole row at one exposure, then again at the next."""
    rng = outing.rng
    stage = set_up(outing, holder, 24, kinds=("hall", "ridges", "market"))
    legs = choose(rng, [(0.0, -2.0, 2.0), (-2.0, 0.0, 2.0), (2.0, 0.0, -2.0)])
    _fit_shutter(stage, 3)
    _sweep(stage, _count(stage, 0.33, 4, 6), 0.33, legs=legs, by="sweep", pause_s=(4.0, 0.2))


def focus_steps_at_views(outing: Outing, holder: Holder) -> None:
    stage = set_up(outing, holder, 35, kinds=("hall", "woodland", "market"))
    metres = choose(outing.rng, [(1.2, 2.5, 12.0), (0.9, 1.6, 3.5, 15.0)])
    near = [Expected(code="parallax-risk", required=False)]
    _sweep(stage, 4, 0.35, steps_m=metres, pause_s=(7.0, 0.2), burst_s=0.6, findings=near)


def focus_steps_by_eye(outing: Outing, holder: Holder) -> None:
    """Focus steps at each view of a low tripod's sweep, by hand or by the body."""
    rng = outing.rng
    stage = set_up(
        outing, holder, choose(rng, [24, 28, 35]), kinds=("meadow", "ridges", "market", "woodland")
    )
    stage.setup["eye_m"] = float(rng.uniform(0.35, 0.8))
    near = [Expected(code="parallax-risk", required=False)]
    _sweep(
        stage,
        int(rng.integers(3, 6)),
        0.38,
        pitch=-float(rng.uniform(6, 14)),
        steps_m=_between(float(rng.uniform(0.6, 0.9)), 20.0, int(rng.integers(3, 6))),
        pause_s=(8.0, 0.2),
        burst_s=float(rng.choice([0.3, 1.5, 3.0])),
        findings=near,
    )


def _close_up(outing: Outing, holder: Holder) -> Stage:
    equivalent = 90
    body = holder.body
    focal = bodies.focal_for(body, equivalent)
    scene = outing.scene(
        "tabletop", focal / body.sensor_mm[0] * body.file_px[0], span_deg=40.0, tall_deg=34.0
    )
    setup = outing.setup(scene, holder, focal_mm=focal, upright=False, aperture=4.0, iso=200)
    setup["lens"] = f"{body.make} macro {equivalent}"
    return Stage(outing, holder, scene, setup, equivalent)


def focus_stack(outing: Outing, holder: Holder) -> None:
    """A close-up from near to far, with the distance recorded or not."""
    rng = outing.rng
    for _ in range(2):
        stage = _close_up(outing, holder)
        count = int(rng.integers(6, 15))
        metres = _between(0.18, 0.52, count)
        taken = outing.take_views(
            holder, stage.setup, [Aim(0.0)], steps_m=metres, burst_s=float(rng.uniform(0.3, 2.5))
        )
        outing.one_view("focus-stack", taken)
        outing.wait(120)


def _between(near_m: float, far_m: float, count: int) -> list[float]:
    """Focus distances even in dioptres, as the depth of field is."""
    return [
        1 / (1 / near_m + (1 / far_m - 1 / near_m) * place / (count - 1)) for place in range(count)
    ]


def focus_stack_driven(outing: Outing, holder: Holder) -> None:
    """The body steps the focus by itself, as fast as its drive, over a part of the subject."""
    rng = outing.rng
    for count in (int(rng.integers(5, 12)), int(rng.integers(12, 31))):
        stage = _close_up(outing, holder)
        near = float(rng.uniform(0.17, 0.24))
        far = 1 / (1 / near - float(rng.uniform(1.2, 3.5)))  # the subject's depth in dioptres
        metres = _between(near, far, count)
        if rng.random() < 0.3:
            metres.reverse()
        taken = outing.take_views(
            holder,
            stage.setup,
            [Aim(0.0)],
            steps_m=metres,
            burst_s=1 / float(rng.choice([3, 5, 10])),
        )
        outing.one_view("focus-stack", taken)
        outing.wait(90)


def focus_stack_deep(outing: Outing, holder: Holder) -> None:
    """A landscape from the stones at the feet to the ridge: few steps, the tripod low."""
    rng = outing.rng
    for _ in range(2):
        stage = set_up(
            outing,
            holder,
            choose(rng, [24, 28, 35]),
            upright=bool(rng.random() < 0.5),
            kinds=("meadow", "ridges", "market", "woodland"),
            across_deg=60,
        )
        stage.setup["eye_m"] = float(rng.uniform(0.35, 0.8))
        count = int(rng.integers(3, 7))
        taken = outing.take_views(
            holder,
            stage.setup,
            [Aim(0.0, -float(rng.uniform(8, 18)))],
            steps_m=_between(float(rng.uniform(0.6, 0.9)), float(rng.uniform(8, 30)), count),
            burst_s=float(rng.uniform(1.5, 6)),
        )
        outing.one_view("focus-stack", taken)
        outing.wait(60)
        different_singles(stage, 1)
        outing.wait(60)


def _drift(rng: np.random.Generator, count: int, size: float) -> list[float]:
    """Where a hand or a body has wandered to, frame by frame: it strays and comes back."""
    strayed = [0.0]
    for _ in range(count - 1):
        strayed.append(0.8 * strayed[-1] + float(rng.normal(0, size)))
    return strayed


def _sway(outing: Outing, count: int) -> list[Setup]:
    """How a close-up held by hand turns from frame to frame."""
    rng = outing.rng
    size = float(rng.uniform(0.1, 0.35))
    turns = zip(_drift(rng, count, size), _drift(rng, count, size), strict=True)
    return [{"yaw_deg": yaw, "pitch_deg": pitch} for yaw, pitch in turns]


def focus_stack_by_hand(outing: Outing, holder: Holder) -> None:
    """Held as still as can be while the body steps the focus."""
    rng = outing.rng
    for _ in range(2):
        stage = _close_up(outing, holder)
        count = int(rng.integers(6, 16))
        near = float(rng.uniform(0.17, 0.22))
        sway = _sway(outing, count)
        taken = outing.take_views(
            holder,
            stage.setup,
            [Aim(0.0)],
            steps_m=_between(near, 1 / (1 / near - float(rng.uniform(1.5, 3.5))), count),
            burst_s=1 / float(rng.choice([5, 10])),
            per_frame=lambda index, leg, step, sway=sway: sway[step],
        )
        outing.one_view("focus-stack", taken)
        outing.wait(90)


def focus_stack_timed(outing: Outing, holder: Holder) -> None:
    """A controller steps the focus, waits for the shaking to die down, fires: to the clock."""
    rng = outing.rng
    stage = _close_up(outing, holder)
    period, count = float(rng.choice([1.5, 2, 3])), int(rng.integers(12, 36))
    taken, began = [], outing.now_s
    for number, metres in enumerate(_between(0.18, float(rng.uniform(0.3, 0.5)), count)):
        outing.now_s = began + number * period + float(rng.normal(0, 0.02))
        shot = outing.shoot(holder, stage.setup, focus_m=metres)
        taken.append(Taken(shot, 0, 0, 0, number, False))
    outing.one_view("focus-stack", taken)
    outing.wait(90)


def uneven_bracket(outing: Outing, holder: Holder) -> None:
    """One leg was dialled to the wrong place."""
    stage = set_up(outing, holder, 28, upright=False, kinds=("hall", "ridges"))
    _fit_shutter(stage, 5)
    legs = choose(outing.rng, [(0.0, -2.0, 1.0), (0.0, -1.0, 3.0), (-4.0, -2.0, 0.0, 1.0, 4.0)])
    taken = outing.take_views(holder, stage.setup, [Aim(10.0)], legs=legs, burst_s=4.0)
    outing.one_view("bracket", taken, findings=[Expected(code="uneven-bracket")])


# Repeats and neighbours


def two_takes(outing: Outing, holder: Holder) -> None:
    """The same sweep twice, because somebody walked in."""
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [24, 28]))
    _look_round(stage)
    overlap, middle = 0.34, float(rng.uniform(-180, 180))
    count = _count(stage, overlap, 4, 8)
    _sweep(stage, count, overlap, middle=middle)
    outing.wait(float(rng.uniform(8, 45)), 0.1)
    _sweep(stage, count, overlap, middle=middle)


def passers_by(outing: Outing, holder: Holder) -> None:
    """A sweep where people stroll about close by: none stands where he stood a frame before."""
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [20, 24, 28]), kinds=STEADY, is_bare=False)
    _look_round(stage)
    overlap = float(rng.uniform(0.3, 0.45))
    busy = int(rng.integers(2, 8))
    _sweep(
        stage,
        _count(stage, overlap, 4, 9),
        overlap,
        per_frame=lambda index, leg, step: {"strollers": int(rng.integers(0, busy + 1))},
    )


def two_subjects(outing: Outing, holder: Holder) -> None:
    """One sweep done, the tripod carried ten steps, the next begun: same settings."""
    rng = outing.rng
    for number in range(2):
        stage = set_up(outing, holder, 24, kinds=("ridges", "lake", "hall", "woodland", "market"))
        stage.setup.update(aperture=6.0, iso=100, shutter=7.0)
        outing.light_ev = 13.0 - USUAL_EV[stage.scene.kind]
        _sweep(stage, _count(stage, 0.33, 4, 7), 0.33, pause_s=(4.0, 0.2))
        if number == 0:
            outing.wait(float(rng.uniform(9, 30)), 0.1)
    outing.light_ev = 0.0


def spare_frame(outing: Outing, holder: Holder) -> None:
    """One view shot twice at once, the camera not having moved."""
    rng = outing.rng
    stage = set_up(outing, holder, 24, kinds=STEADY)
    _look_round(stage)
    step = step_for(0.35, stage.fov_deg[0])
    count = int(rng.integers(5, 8))
    aims = row(count, step)
    twice = int(rng.integers(1, count - 1))
    # The later of the two is the one to use, so the earlier one is the spare.
    aims.insert(twice, replace(aims[twice], spare=True, view=twice))
    aims[twice + 1] = replace(aims[twice + 1], view=twice)
    numbered = [
        aim if aim.view is not None else replace(aim, view=index - (index > twice))
        for index, aim in enumerate(aims)
    ]
    taken = outing.take_views(holder, stage.setup, numbered)
    pair = (taken[twice].shot.file, taken[twice + 1].shot.file)
    outing.panorama(taken, findings=[Expected(code="spare-take", frames=pair)])


def interrupted(outing: Outing, holder: Holder) -> None:
    """Amid a sweep something else is worth a frame or two; then on as if nothing had been."""
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [24, 28, 35]), upright=bool(rng.random() < 0.6))
    _look_round(stage)
    overlap = float(rng.uniform(0.3, 0.45))
    count, step = _count(stage, overlap, 5, 9), step_for(overlap, stage.fov_deg[0])
    aims = uneven(outing, row(count, step, middle=float(rng.uniform(-180, 180))), 0.02, step)
    aims = [replace(aim, view=view) for view, aim in enumerate(aims)]
    stop = int(rng.integers(2, count - 1))
    taken: list[Taken] = []
    for some in (aims[:stop], aims[stop:]):
        if taken:
            same_singles(stage, int(rng.integers(1, 3)), float(rng.uniform(4, 12)))
            outing.wait(float(rng.uniform(4, 12)), 0.3)
        taken += outing.take_views(
            holder, stage.setup, some, pause_s=(4.0, 0.25), per_frame=tripod(some, 0.02)
        )
    outing.panorama(taken)


# Missing frames


def _missing(outing: Outing, holder: Holder, *, counted: bool) -> None:
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [24, 28, 35]), kinds=STEADY)
    _look_round(stage)
    count = _count(stage, 0.33, 6, 9)
    gone = int(rng.integers(2, count - 2))
    step = step_for(0.33, stage.fov_deg[0])
    aims = row(count, step)
    if counted:
        taken = outing.take_views(
            holder, stage.setup, aims, keep=lambda index, leg, frame: index != gone
        )
    else:
        taken = outing.take_views(holder, stage.setup, aims[:gone] + aims[gone + 1 :])
    pair = (taken[gone - 1].shot.file, taken[gone].shot.file)
    outing.panorama(taken, findings=[Expected(code="missing-frame", frames=pair)])


def missing_counted(outing: Outing, holder: Holder) -> None:
    _missing(outing, holder, counted=True)


def missing_never_fired(outing: Outing, holder: Holder) -> None:
    _missing(outing, holder, counted=False)


def missing_at_end(outing: Outing, holder: Holder) -> None:
    """A circle that was not closed, or a last row that broke off."""
    rng = outing.rng
    if rng.random() < 0.5:
        stage = set_up(outing, holder, 20, kinds=STEADY)
        aims = row(9, 40.0)[:-1]
        taken = outing.take_views(holder, stage.setup, aims)
        pair = (taken[0].shot.file, taken[-1].shot.file)
        findings = [
            Expected(code="open-circle"),
            Expected(code="missing-frame", frames=pair, required=False),
        ]
        outing.panorama(taken, findings=findings)
        return
    stage = set_up(outing, holder, 28, upright=False, kinds=STEADY)
    wide, tall = stage.fov_deg
    across, up = step_for(0.33, wide), step_for(0.33, tall)
    aims = [*row(5, across, pitch=-up / 2), *row(5, across, pitch=up / 2, number=1)[:3]]
    taken = outing.take_views(holder, stage.setup, aims, row_pause_s=9.0)
    outing.panorama(
        taken, findings=[Expected(code="short-row"), Expected(code="missing-frame", required=False)]
    )


def missing_in_bracket(outing: Outing, holder: Holder) -> None:
    """A view of a bracketed sweep lacks a leg: the file is gone, or was never fired."""
    rng = outing.rng
    stage = set_up(outing, holder, 24, kinds=("hall", "ridges", "market"))
    _fit_shutter(stage, 3)
    stage.setup.update(exposure_mode=2)
    legs = (0.0, -2.0, 2.0)
    view, leg = int(rng.integers(1, 4)), float(choose(rng, legs))
    taken, truth = _sweep(
        stage,
        5,
        0.33,
        legs=legs,
        burst_s=0.3,
        per_frame=lambda index, ev, step: {"bias_ev": ev},
        keep=lambda index, ev, step: not (index == view and ev == leg),
    )
    rest = tuple(item.shot.file for item in taken if item.view == view)
    with_findings(outing, truth, Expected(code="short-bracket", frames=rest))


def missing_in_stack(outing: Outing, holder: Holder) -> None:
    stage = set_up(outing, holder, 35, kinds=("hall", "woodland", "market"))
    view = int(outing.rng.integers(1, 4))
    taken, truth = _sweep(
        stage,
        5,
        0.35,
        steps_m=(1.2, 2.5, 12.0),
        findings=[Expected(code="parallax-risk", required=False)],
        pause_s=(7.0, 0.2),
        burst_s=0.6,
        keep=lambda index, ev, step: not (index == view and step == 2),
    )
    rest = tuple(item.shot.file for item in taken if item.view == view)
    with_findings(outing, truth, Expected(code="short-stack", frames=rest))


# Mixed and automatic settings


def _mixed(change: Setup, *, tail: bool = False, findings: Sequence[Expected] = ()) -> Act:
    """One frame in the middle of a sweep differs (``tail``: all from there on)."""

    def act(outing: Outing, holder: Holder) -> None:
        stage = set_up(outing, holder, choose(outing.rng, [24, 28, 35]), kinds=STEADY)
        count = _count(stage, 0.36, 6, 9)
        odd = int(outing.rng.integers(count // 2 + 1 if tail else 1, count - 1))
        base = stage.setup

        def frame(index: int, leg: float, step: int) -> Setup:
            if index != odd and not (tail and index > odd):
                return {}
            return {key: value(base) if callable(value) else value for key, value in change.items()}

        _sweep(stage, count, 0.36, per_frame=frame, findings=findings)

    return act


def _third_faster(base: Setup) -> float:
    return float(base["shutter"]) + 2 / 3


def mixed_size(outing: Outing, holder: Holder) -> None:
    """One frame was written small: the size button was brushed."""
    small = replace(
        holder.body,
        file_px=tuple(round(side * 0.6) for side in holder.body.file_px),  # type: ignore[arg-type]
        claimed_px=tuple(
            round(side * 0.6) for side in holder.body.claimed_px or holder.body.file_px
        ),  # type: ignore[arg-type]
    )
    _mixed({"body": lambda base: small})(outing, holder)


def mixed_focus(outing: Outing, holder: Holder) -> None:
    stage = set_up(outing, holder, 28, kinds=STEADY)
    odd = int(outing.rng.integers(1, 5))
    taken, truth = _sweep(
        stage, 6, 0.36, per_frame=lambda index, leg, step: {"focus_m": 1.1 if index == odd else 9.5}
    )
    with_findings(outing, truth, Expected(code="mixed-focus", frames=(taken[odd].shot.file,)))


def auto_focus(outing: Outing, holder: Holder) -> None:
    """Autofocus left on: distances wander between views."""
    rng = outing.rng
    stage = set_up(outing, holder, 28, kinds=STEADY)
    _, truth = _sweep(
        stage, 6, 0.36, per_frame=lambda index, leg, step: {"focus_m": float(rng.uniform(6, 14))}
    )
    with_findings(
        outing,
        truth,
        Expected(code="mixed-focus", required=False),
        Expected(code="auto-focus", required=False),
    )


def auto_exposure(outing: Outing, holder: Holder) -> None:
    """Aperture priority left on: steady light (a note), or exposures that follow the sky."""
    rng = outing.rng
    for moving in (False, True):
        stage = set_up(
            outing, holder, choose(rng, [24, 28]), kinds=STEADY, program=3, exposure_mode=0
        )
        base = stage.setup["shutter"]
        marks = [round(float(rng.uniform(-3, 3))) / 3 if moving else 0.0 for _ in range(12)]
        _sweep(
            stage,
            _count(stage, 0.36, 5, 8),
            0.36,
            per_frame=lambda index, leg, step, marks=marks, base=base: {
                "shutter": base + marks[index]
            },
        )
        outing.wait(150)


def left_automatic(outing: Outing, holder: Holder) -> None:
    """ISO or focus left to the camera, told by its maker note: steady, or an ISO that moves."""
    rng = outing.rng
    for what, moving in (("iso_auto", False), ("iso_auto", True), ("focus_auto", False)):
        stage = set_up(outing, holder, choose(rng, [24, 28]), kinds=STEADY, iso=200, **{what: True})
        marks = [int(rng.choice([100, 200, 400])) if moving else 200 for _ in range(12)]
        if moving:
            marks[1:3] = [100, 400]  # it moves whatever was drawn

        def frame(index: int, leg: float, step: int, marks: list[int] = marks) -> Setup:
            return {"iso": marks[index]}

        _sweep(stage, _count(stage, 0.36, 5, 8), 0.36, per_frame=frame)
        outing.wait(150)


BRIEF = """\
[brief]
aperture_f = [8, 11]
iso_most = 200
orientation = "upright"
views = [4, 12]
locked = ["exposure", "white-balance"]
"""


def briefed(outing: Outing, holder: Holder) -> None:
    """Bram Tolley shoots to a brief: once as asked, then three times with one rule broken."""
    rng = outing.rng
    outing.settings = BRIEF
    kept = {"aperture": 6.0, "iso": 100}
    broken: tuple[tuple[str, dict[str, Any], int], ...] = (
        ("", {}, 0),
        ("rule on aperture", {"aperture": 5.0}, 0),
        ("rule on orientation", {"upright": False}, 0),
        ("rule on views", {}, 3),
    )
    for rule, change, few in broken:
        stage = set_up(outing, holder, choose(rng, [24, 28]), kinds=STEADY, **{**kept, **change})
        findings = [Expected(code="brief-unmet", says=rule)] if rule else []
        _sweep(stage, few or _count(stage, 0.34, 5, 8), 0.34, findings=findings)
        outing.wait(150)


def auto_white_balance(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [24, 28]), kinds=STEADY, white_balance=0)
    _sweep(
        stage,
        _count(stage, 0.36, 5, 8),
        0.36,
        per_frame=lambda index, leg, step: {"warmth_ev": float(rng.normal(0, 0.12))},
    )


def soft_frame(outing: Outing, holder: Holder) -> None:
    """One view was shaken."""
    stage = set_up(outing, holder, 28, kinds=STEADY)
    odd = int(outing.rng.integers(1, 5))
    taken, truth = _sweep(
        stage, 7, 0.38, per_frame=lambda index, leg, step: {"shake_px": 4.0} if index == odd else {}
    )
    with_findings(outing, truth, Expected(code="soft-frame", frames=(taken[odd].shot.file,)))


def moved_subject(outing: Outing, holder: Holder) -> None:
    """Somebody walks by close to the camera while one bracket is shot: in a sweep, and alone."""
    rng = outing.rng
    kinds: tuple[SceneKind, ...] = ("ridges", "lake", "woodland")
    legs = (0.0, -1.0, 1.0)
    for alone in (False, True):
        stage = set_up(outing, holder, 28, kinds=kinds, is_bare=False)
        _fit_shutter(stage, 3)
        stage.setup.update(exposure_mode=2)
        odd = 0 if alone else int(rng.integers(1, 4))
        aims = [Aim(20.0)] if alone else row(5, step_for(0.34, stage.fov_deg[0]))

        def frame(index: int, leg: float, step: int, odd: int = odd) -> Setup:
            passer = (0.3 + 0.2 * leg, 0.3) if index == odd and leg >= 0 else None
            return {"bias_ev": leg, "passer": passer}

        taken = outing.take_views(
            holder, stage.setup, aims, legs=legs, burst_s=0.4, per_frame=frame
        )
        files = tuple(item.shot.file for item in taken if item.view == odd)
        moved = Expected(code="moved-subject", frames=files)
        if alone:
            outing.one_view("bracket", taken, findings=[moved])
        else:
            outing.panorama(taken, findings=[moved])
        outing.wait(150)


def _exposed_by(offset_ev: float, kinds: Sequence[SceneKind]) -> Act:
    """A sweep set by hand far off the meter. What that burns or drowns is measured afterwards."""

    def act(outing: Outing, holder: Holder) -> None:
        stage = set_up(outing, holder, 24, kinds=kinds)
        stage.setup["shutter"] = float(stage.setup["shutter"]) - offset_ev
        _sweep(stage, _count(stage, 0.36, 4, 7), 0.36)

    return act


def shallow_focus(outing: Outing, holder: Holder) -> None:
    """A long lens wide open, focused on something a few steps away."""
    stage = set_up(
        outing, holder, 85, kinds=("ridges", "market"), across_deg=60, aperture=3.0, iso=100
    )
    metres = float(outing.rng.uniform(4, 8))
    # The far limit of a thin lens at this opening lies a metre or two behind what was focused on.
    findings = [Expected(code="shallow-focus"), Expected(code="parallax-risk", required=False)]
    _sweep(
        stage,
        5,
        0.36,
        per_frame=lambda index, leg, step: {"focus_m": metres},
        findings=findings,
        offset_m=0.08,
    )


def near_things(outing: Outing, holder: Holder) -> None:
    """A plain head that turns the lens on a circle, with things at arm's length."""
    stage = set_up(outing, holder, 24, kinds=("hall", "market"))
    findings = [Expected(code="parallax-risk"), Expected(code="shallow-focus", required=False)]
    _sweep(
        stage,
        _count(stage, 0.38, 4, 6),
        0.38,
        per_frame=lambda index, leg, step: {"focus_m": 1.3},
        findings=findings,
        offset_m=0.09,
    )


# Not panoramas


def singles(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    for _ in range(int(rng.integers(2, 4))):
        stage = set_up(
            outing,
            holder,
            choose(rng, [24, 35, 50]),
            upright=bool(rng.random() < 0.3),
            across_deg=120,
        )
        different_singles(stage, int(rng.integers(3, 7)), pause_s=float(rng.uniform(5, 40)))
        outing.wait(200)


def near_duplicates(outing: Outing, holder: Holder) -> None:
    """The same thing two to four times, seconds apart, to be sure: no panorama."""
    rng = outing.rng
    for _ in range(3):
        stage = set_up(
            outing, holder, choose(rng, [35, 50]), upright=bool(rng.random() < 0.5), across_deg=60
        )
        files = []
        yaw, pitch = float(rng.uniform(-20, 20)), float(rng.normal(0, 3))
        for _ in range(int(rng.integers(2, 5))):
            outing.wait(float(rng.uniform(3, 9)), 0.2)
            shot = outing.maybe(
                holder,
                stage.setup,
                yaw_deg=yaw + float(rng.normal(0, 0.7)),
                pitch_deg=pitch + float(rng.normal(0, 0.5)),
                roll_deg=float(rng.normal(0, 0.5)),
                position_m=tuple(float(v) for v in rng.normal(0, 0.03, 3)),
            )
            files.append(shot.file)
        outing.never.append(("panorama", tuple(files)))
        outing.wait(60)
        different_singles(stage, 2)


def burst_still(outing: Outing, holder: Holder) -> None:
    rng = outing.rng
    stage = set_up(
        outing,
        holder,
        50,
        upright=bool(rng.random() < 0.5),
        kinds=("market", "sea"),
        across_deg=60,
    )
    gap = 1 / float(rng.choice([3, 5, 8]))
    taken = []
    for _ in range(int(rng.integers(5, 16))):
        outing.wait(gap, 0.03, least_s=0.03)
        shot = outing.shoot(
            holder,
            stage.setup,
            yaw_deg=float(rng.normal(0, 0.15)),
            pitch_deg=float(rng.normal(0, 0.15)),
        )
        taken.append(Taken(shot, 0, 0, 0, 0, False))
    outing.one_view("burst", taken)


def burst_panning(outing: Outing, holder: Holder) -> None:
    """Following something that passes, at several frames a second."""
    rng = outing.rng
    stage = set_up(
        outing,
        holder,
        choose(rng, [50, 85]),
        upright=False,
        kinds=("market", "meadow", "sea"),
        across_deg=130,
    )
    gap = 1 / float(rng.choice([5, 8]))
    count = int(rng.integers(7, 15))
    speed = float(rng.uniform(2.0, 6.0))
    taken = []
    for number in range(count):
        outing.wait(gap, 0.03, least_s=0.03)
        shot = outing.shoot(
            holder,
            stage.setup,
            yaw_deg=(number - count / 2) * speed + float(rng.normal(0, 0.3)),
            pitch_deg=float(rng.normal(0, 0.3)),
        )
        taken.append(Taken(shot, 0, 0, 0, 0, False))
    outing.one_view("burst", taken)


def interval(outing: Outing, holder: Holder) -> None:
    """A timer on a tripod: the view fixed, the light and the water moving on."""
    rng = outing.rng
    stage = set_up(
        outing,
        holder,
        choose(rng, [24, 35]),
        upright=False,
        kinds=("lake", "sea", "market", "ridges"),
    )
    period = float(rng.choice([2, 5, 10, 30]))
    taken = []
    began = outing.now_s
    yaw = float(rng.uniform(-180, 180)) if stage.scene.span_deg >= 360 else 0.0
    for number in range(int(rng.integers(20, 45))):
        outing.now_s = began + number * period + float(rng.normal(0, 0.01))
        shot = outing.shoot(
            holder, stage.setup, yaw_deg=yaw, light_ev=outing.light_ev - 0.01 * number
        )
        taken.append(Taken(shot, 0, 0, 0, 0, False))
    outing.one_view("interval", taken)


def burst_tripod(outing: Outing, holder: Holder) -> None:
    """A camera that stands still fires at somebody who crosses or comes nearer."""
    rng = outing.rng
    for comes in (False, True):
        stage = set_up(
            outing,
            holder,
            choose(rng, [35, 50, 85]),
            upright=bool(rng.random() < 0.3),
            kinds=("market", "meadow", "hall", "ridges"),
            across_deg=60,
        )
        gap = 1 / float(rng.choice([3, 5, 8, 12]))
        count = int(rng.integers(3, 15))
        start, pace = float(rng.uniform(0.1, 0.5)), float(rng.uniform(0.1, 0.5)) / count
        wide = float(rng.uniform(0.12, 0.35))
        taken = []
        for number in range(count):
            outing.wait(gap, 0.03, least_s=0.03)
            grown = wide * (1 + number / count) if comes else wide
            passer = (start + (0.3 if comes else 1.0) * pace * number, grown)
            shot = outing.shoot(holder, stage.setup, passer=passer)
            taken.append(Taken(shot, 0, 0, 0, 0, False))
        outing.one_view("burst", taken)
        outing.wait(90)


def burst_close_up(outing: Outing, holder: Holder) -> None:
    """A beetle by hand, the drive running: the plane of focus sways with the body.

    The lens stays where it was focused, so no distance is written that would tell of it.
    """
    rng = outing.rng
    for _ in range(2):
        stage = _close_up(outing, holder)
        stage.setup["body"] = replace(holder.body, distance_tag=False)
        count = int(rng.integers(5, 16))
        sway, deep = _sway(outing, count), _drift(rng, count, 0.01)
        gap = 1 / float(rng.choice([5, 8, 10]))
        taken = []
        for number in range(count):
            outing.wait(gap, 0.03, least_s=0.03)
            shot = outing.shoot(holder, stage.setup, **sway[number], focus_m=0.25 + deep[number])
            taken.append(Taken(shot, 0, 0, 0, 0, False))
        outing.one_view("burst", taken)
        outing.wait(90)


def refocused(outing: Outing, holder: Holder) -> None:
    """One thing several times over, to be sure of the focus, which lands elsewhere each time."""
    rng = outing.rng
    for _ in range(3):
        stage = _close_up(outing, holder)
        steady = bool(rng.random() < 0.5)
        files = []
        for _ in range(int(rng.integers(3, 7))):
            outing.wait(float(rng.uniform(2, 7)), 0.3)
            shaky: Setup = (
                {}
                if steady
                else {"yaw_deg": float(rng.normal(0, 0.6)), "pitch_deg": float(rng.normal(0, 0.6))}
            )
            metres = float(rng.choice([0.22, 0.3])) * float(np.exp(rng.normal(0, 0.04)))
            files.append(outing.maybe(holder, stage.setup, focus_m=metres, **shaky).file)
        outing.never.append(("focus-stack", tuple(files)))
        outing.wait(90)


def interval_still(outing: Outing, holder: Holder) -> None:
    """A timer before something that keeps still: a room, a bud; at dusk the light goes."""
    rng = outing.rng
    for dusk in (False, True):
        if rng.random() < 0.4:
            stage = _close_up(outing, holder)
            stage.setup["focus_m"] = 0.3
        else:
            stage = set_up(
                outing,
                holder,
                choose(rng, [24, 35]),
                upright=False,
                kinds=("hall", "ridges"),
                across_deg=60,
            )
        period = float(rng.choice([1, 2, 5, 20])) + 2.0 ** -stage.setup["shutter"]
        taken, began = [], outing.now_s
        for number in range(int(rng.integers(10, 25))):
            outing.now_s = began + number * period + float(rng.normal(0, 0.01))
            fading: Setup = {"light_ev": outing.light_ev - 0.12 * number} if dusk else {}
            shot = outing.shoot(holder, stage.setup, **fading)
            taken.append(Taken(shot, 0, 0, 0, 0, False))
        outing.one_view("interval", taken)
        outing.wait(120)


def interval_lost(outing: Outing, holder: Holder) -> None:
    """A timer's series of which one file is gone."""
    rng = outing.rng
    stage = set_up(outing, holder, 24, upright=False, kinds=("lake", "market", "ridges"))
    period, count = float(rng.choice([2, 5, 10])), int(rng.integers(20, 30))
    odd = int(rng.integers(8, count - 8))
    taken, began = [], outing.now_s
    for number in range(count):
        outing.now_s = began + number * period + float(rng.normal(0, 0.01))
        shot = outing.shoot(holder, stage.setup, keep=number != odd, yaw_deg=20.0)
        if number != odd:
            taken.append(Taken(shot, 0, 0, 0, 0, False))
    pair = (taken[odd - 1].shot.file, taken[odd].shot.file)
    outing.one_view("interval", taken, findings=[Expected(code="missing-frame", frames=pair)])


def walk_round(outing: Outing, holder: Holder) -> None:
    """Walking round a thing, looking at it: the camera moves, it does not turn in place."""
    rng = outing.rng
    stage = set_up(
        outing, holder, 28, upright=bool(rng.random() < 0.5), kinds=("hall", "market", "woodland")
    )
    count, thick = int(rng.integers(8, 14)), float(rng.uniform(0.5, 0.8))
    files = []
    for number in range(count):
        outing.wait(3.5, 0.3)
        angle = 360 / count * number
        turn = math.radians(angle)
        radius = float(rng.normal(2.3, 0.1))
        shot = outing.shoot(
            holder,
            stage.setup,
            yaw_deg=angle + 180 + float(rng.normal(0, 2)),
            pitch_deg=float(rng.normal(-5, 1.5)),
            statue_m=thick,
            roll_deg=float(rng.normal(0, 1)),
            position_m=(
                radius * math.sin(turn),
                float(rng.normal(0, 0.05)),
                radius * math.cos(turn),
            ),
        )
        files.append(shot.file)
    outing.singles += files


def flight_lines(outing: Outing, holder: Holder) -> None:
    """A drone looks straight down and moves on: frames overlap, yet nothing turns."""
    rng = outing.rng
    stage = set_up(
        outing, holder, 24, upright=False, kinds=("meadow", "ridges", "market"), tall_deg=180
    )
    latitude, longitude = 46.5, 9.8
    for line in range(3):
        for number in range(6):
            outing.wait(2.6, 0.05)
            along = number if line % 2 == 0 else 5 - number
            shot = outing.shoot(
                holder,
                stage.setup,
                yaw_deg=0.0,
                pitch_deg=-90.0,
                ground_m=1.6,
                position_m=(line * 0.9, 0.0, along * 0.5),
                gps=(latitude + along * 0.00012, longitude + line * 0.0002, 1804.0),
            )
            outing.singles.append(shot.file)
        outing.wait(float(rng.uniform(5, 9)))


def dividers(outing: Outing, holder: Holder) -> None:
    """A capped lens or a hand between two sweeps of the same place, shot in one go."""
    rng = outing.rng
    stage = set_up(outing, holder, 24, kinds=STEADY)
    middle = float(rng.uniform(-180, 180))
    for number in range(2):
        if number:
            outing.wait(6.0, 0.3)
            look = choose(rng, ["cap", "hand", "cap"])
            shot = outing.shoot(holder, stage.setup, look=look, scene=None)
            outing.dividers.append(shot.file)
            outing.wait(6.0, 0.3)
        _sweep(stage, _count(stage, 0.33, 4, 6), 0.33, middle=middle + 120 * number)


def phone_preview(outing: Outing, holder: Holder) -> None:
    """A phone: its own composite of the scene just before or after a handheld sweep."""
    rng = outing.rng
    stage = set_up(
        outing, holder, 26, kinds=(*OUTDOORS, "hall"), program=2, exposure_mode=0, white_balance=0
    )
    step = step_for(0.42, stage.fov_deg[0])
    aims, frame = by_hand(outing, row(int(rng.integers(4, 7)), step))
    composite = {"look": "composite", "composite_deg": (140.0, 45.0), "upright": False}
    first = bool(rng.random() < 0.5)
    if first:
        preview = outing.shoot(holder, {**stage.setup, **composite})
        outing.wait(7.0)
    taken = outing.take_views(holder, stage.setup, aims, pause_s=(1.8, 0.2), per_frame=frame)
    if not first:
        outing.wait(7.0)
        preview = outing.shoot(holder, {**stage.setup, **composite})
    outing.panorama(taken, findings=SHAKY, camera_roll_deg=None, base_tilt_deg=None)
    outing.previews.append((preview.file, len(outing.sets) - 1))


# Files, clocks, names


def raw_companions(outing: Outing, holder: Holder) -> None:
    """Raw and JPEG of every frame; one raw file is missing."""
    stage = set_up(outing, holder, 24, kinds=STEADY, raw=True)
    odd = 2
    taken, _ = _sweep(stage, 6, 0.34, per_frame=lambda index, leg, step: {"raw": index != odd})
    outing.findings.append(Expected(code="lone-companion", frames=(taken[odd].shot.file,)))


def _second_body(outing: Outing, holder: Holder) -> Holder:
    return outing.hold(
        replace(
            holder.body,
            key=holder.body.key + "b",
            serial=None if holder.body.serial is None else holder.body.serial + "2",
            lens=holder.body.lens + " II",
            model=holder.body.model + "b",
            prefix=holder.body.prefix[:2] + "B_",
        )
    )


def two_bodies(outing: Outing, holder: Holder) -> None:
    """Bram Tolley shoots singles with a second body while the first one sweeps."""
    rng = outing.rng
    second = _second_body(outing, holder)
    second.clock_s = float(choose(rng, [-3600.0, 47.0, -312.0, 3600.0]))
    stage = set_up(outing, holder, 24, kinds=STEADY)
    began = outing.now_s
    _sweep(stage, _count(stage, 0.33, 6, 9), 0.33, pause_s=(6.0, 0.2))
    ended = outing.now_s
    outing.now_s = began + 2
    other = Stage(
        outing, second, stage.scene, {**stage.setup, "body": second.body, "upright": False}, 24
    )
    different_singles(other, 5, pause_s=6.0)
    outing.now_s = max(ended, outing.now_s)
    outing.findings.append(Expected(code="clock-offset", required=False))


def two_bodies_all_day(outing: Outing, holder: Holder) -> None:
    """Three places, and at each Bram Tolley takes some of what is swept, on a clock that is off."""
    rng = outing.rng
    second = _second_body(outing, holder)
    second.clock_s = float(choose(rng, [-3600.0, 5400.0, 3600.0, -1512.0]))
    for _ in range(3):
        stage = set_up(outing, holder, 24, kinds=("ridges", "lake"), is_bare=False)
        began = outing.now_s
        taken, _ = _sweep(stage, _count(stage, 0.33, 6, 9), 0.33, pause_s=(6.0, 0.2))
        ended = outing.now_s
        outing.now_s = began + 30
        for item in taken[::2][:3]:
            outing.wait(25, 0.4)
            outing.single(
                second,
                {**stage.setup, "body": second.body, "aperture": float(rng.choice([4, 5]))},
                yaw_deg=item.shot.yaw_deg + float(rng.normal(0, 8)),
                pitch_deg=float(rng.normal(0, 3)),
                position_m=tuple(float(v) for v in rng.normal(0, 0.5, 3) * (1, 0.1, 1)),
            )
        outing.now_s = max(ended, outing.now_s) + float(rng.uniform(1800, 4000))
    outing.findings.append(Expected(code="clock-offset"))


def clock_set_back(outing: Outing, holder: Holder) -> None:
    """The clock is put right in the middle of the day: an hour or so backwards."""
    stage = set_up(outing, holder, 24, kinds=STEADY)
    different_singles(stage, 3)
    outing.wait(30)
    _sweep(stage, 5, 0.34)
    before = outing.shots[-1].file
    outing.wait(90)
    holder.clock_s -= float(choose(outing.rng, [3600.0, 2710.0, 5400.0]))
    different_singles(stage, 2)
    after = next(shot.file for shot in outing.shots[::-1] if shot.file in outing.singles[-2:-1])
    outing.findings.append(Expected(code="clock-jump", frames=(before, after)))
    outing.wait(30)
    _sweep(stage, 5, 0.34)


def over_midnight(outing: Outing, holder: Holder) -> None:
    stage = set_up(outing, holder, 24, kinds=("night",), iso=200, aperture=5.0)
    stage.setup["shutter"] = -3.0
    midnight = 24 * 3600 - (
        outing.start.hour * 3600 + outing.start.minute * 60 + outing.start.second
    )
    outing.now_s = max(outing.now_s, midnight - 40.0)
    _sweep(stage, 6, 0.34, pause_s=(5.0, 0.2))


def summer_time(outing: Outing, holder: Holder) -> None:
    """The clock goes forward an hour between two sweeps; the zone tag, where written, shows it."""
    stage = set_up(outing, holder, 24, kinds=STEADY)
    _sweep(stage, 5, 0.34)
    outing.wait(60)
    holder.clock_s += 3600.0
    holder.utc_offset_min += 60
    outing.findings.append(Expected(code="clock-jump", required=False))
    _sweep(stage, 5, 0.34, middle=150.0)


def counter_wraps(outing: Outing, holder: Holder) -> None:
    """9999 is followed by 0001 in a new folder, in the middle of a sweep."""
    stage = set_up(outing, holder, 24, kinds=STEADY)
    holder.counter = 9999 - int(outing.rng.integers(1, 4))
    outing.findings.append(Expected(code="number-gap", required=False))
    _sweep(stage, 7, 0.34)


def _renamed(outing: Outing, holder: Holder) -> None:
    """Import renamed everything: a place and a number, in time order or not at all."""
    sweep_upright(outing, holder)
    outing.rename = "Tavrin"


def duplicated(outing: Outing, holder: Holder) -> None:
    """Some files lie on the card twice, in an import's second folder."""
    stage = set_up(outing, holder, 24, kinds=STEADY)
    taken, _ = _sweep(stage, 6, 0.34)
    for item in taken[1:3]:
        old = item.shot.file
        new = "copies/" + old.rsplit("/", 1)[1]
        outing.copies.append((new, old))
        outing.either.append(new)
        outing.findings.append(Expected(code="duplicate-frame", frames=(old, new)))


def _faulty(fault: str, reasons: Sequence[str]) -> Act:
    def act(outing: Outing, holder: Holder) -> None:
        stage = set_up(outing, holder, 24, kinds=STEADY)
        different_singles(stage, 2)
        outing.wait(20)
        bad = outing.shoot(holder, stage.setup, fault=fault)
        outing.unread.append((bad.file, "|".join(reasons)))
        outing.findings.append(Expected(code="unreadable-file", frames=(bad.file,)))
        outing.wait(60)
        _sweep(stage, 5, 0.34)

    return act


def truncated_in_sweep(outing: Outing, holder: Holder) -> None:
    """A view of a sweep is cut short: unreadable, and so missing from the sweep."""
    stage = set_up(outing, holder, 24, kinds=STEADY)
    taken = outing.take_views(
        holder,
        stage.setup,
        row(7, step_for(0.34, stage.fov_deg[0])),
        per_frame=lambda index, leg, step: {"fault": "truncated"} if index == 3 else {},
    )
    bad = taken.pop(3).shot
    outing.unread.append((bad.file, "truncated|damaged|no-metadata"))
    outing.findings.append(Expected(code="unreadable-file", frames=(bad.file,)))
    pair = (taken[2].shot.file, taken[3].shot.file)
    outing.panorama(taken, findings=[Expected(code="missing-frame", frames=pair)])


def undated(outing: Outing, holder: Holder) -> None:
    """The clock was never set: frames of one sweep without any capture time."""
    stage = set_up(outing, holder, 24, kinds=STEADY, fault="no-date")
    taken, _ = _sweep(stage, 6, 0.34)
    files = tuple(item.shot.file for item in taken)
    outing.findings.append(Expected(code="no-capture-time", frames=files))
    outing.wait(200)


def everyday(outing: Outing, holder: Holder) -> None:
    """What the variants of bodies are tried with: a sweep, a bracket, singles."""
    sweep_upright(outing, holder)
    outing.wait(120)
    bracketed_by_view(outing, holder)
    outing.wait(120)
    stage = set_up(outing, holder, 35, upright=False)
    different_singles(stage, 4)


def rig_test(outing: Outing, holder: Holder) -> None:
    """Setting up: trial frames of the first view at other exposures, then the sweep."""
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [24, 28]), kinds=STEADY)
    step = step_for(0.34, stage.fov_deg[0])
    aims = row(_count(stage, 0.34, 5, 8), step)
    for offset in (-1, 1 / 3, 0):
        outing.maybe(
            holder,
            stage.setup,
            yaw_deg=aims[0].yaw + float(rng.normal(0, 2)),
            pitch_deg=float(rng.normal(0, 1)),
            shutter=stage.setup["shutter"] - offset,
        )
        outing.wait(9, 0.4)
    outing.wait(25)
    taken = outing.take_views(holder, stage.setup, aims)
    # Where the trial frames are counted in they are spares.
    outing.panorama(taken, findings=[Expected(code="spare-take", required=False)])


def walk_about(outing: Outing, holder: Holder) -> None:
    """Strolling: singles in one setting and an even rhythm, nothing to join."""
    rng = outing.rng
    stage = set_up(outing, holder, choose(rng, [28, 35]), upright=bool(rng.random() < 0.4))
    same_singles(stage, int(rng.integers(5, 10)), float(rng.uniform(3, 25)))


SITUATIONS: tuple[Situation, ...] = (
    Situation("sweep-upright", "a tripod sweep, camera upright, 24-35 mm", sweep_upright, weight=6),
    Situation("sweep-across", "a tripod sweep, camera across", sweep_across, weight=3),
    Situation(
        "sweep-16mm", "a sweep with a very wide lens, level or pitched", sweep_wide, weight=2
    ),
    Situation("sweep-200mm", "a sweep with a long lens, 85-200 mm", sweep_long, weight=1.5),
    Situation("overlap-thin", "neighbours overlap by about a tenth", overlap_thin, weight=0.5),
    Situation("overlap-ample", "neighbours overlap by more than half", overlap_ample, weight=1),
    Situation(
        "slow-beside-singles",
        "a slow sweep among singles in its settings",
        slow_beside_singles,
        weight=5,
    ),
    Situation(
        "brisk-beside-singles",
        "a brisk sweep among singles in its settings",
        brisk_beside_singles,
        weight=5,
    ),
    Situation("handheld", "a sweep by hand, with parallax", handheld, weight=6),
    Situation("rows-serpentine", "two or three rows, there and back", rows_serpentine, weight=1.5),
    Situation(
        "rows-returning", "two or three rows, each in the same direction", rows_returning, weight=1
    ),
    Situation("full-circle", "a closed circle", full_circle, weight=2),
    Situation(
        "zenith-nadir", "a circle with a frame up and a frame down", zenith_nadir, weight=0.5
    ),
    Situation(
        "fisheye-upright", "sweeps with a 15 mm fisheye, upright", _fisheye_sweep(True), bodies.Q5
    ),
    Situation(
        "fisheye-across", "sweeps with a 15 mm fisheye, across", _fisheye_sweep(False), bodies.Q5
    ),
    Situation(
        "fisheye-circle",
        "circles with a 10.5 mm fisheye, one with a frame up",
        _fisheye_circle(bodies.FISHEYE_10, zenith=True),
        bodies.Q3,
    ),
    Situation(
        "fisheye-untold",
        "circles with an 8 mm fisheye that tells the body nothing",
        _fisheye_circle(bodies.FISHEYE_8, zenith=False),
        bodies.Q3,
    ),
    Situation("up-and-down", "a column of views", up_and_down, weight=1.5),
    Situation("pitched", "a row off the horizon", pitched, weight=1),
    Situation("tilted-base", "the base leans, the horizon is open", tilted_base, weight=0.5),
    Situation("open-sea-tilted", "a leaning base before the open sea", _open_sea(True)),
    Situation("open-sea-level", "a true base before the open sea", _open_sea(False)),
    Situation("rolled-camera", "the camera is rolled on a level base", rolled_camera, weight=0.5),
    Situation("drifting-row", "the head sags as it turns", drifting_row, weight=0.3),
    Situation("long-exposures", "a night sweep of many seconds a frame", long_exposures, weight=1),
    Situation("bracket-3", "static brackets of three, every order", _brackets(3), weight=2),
    Situation("bracket-5", "static brackets of five, every order", _brackets(5), weight=1),
    Situation("bracket-7", "static brackets of seven", _brackets(7), weight=0.4),
    Situation("bracket-9", "static brackets of nine", _brackets(9), weight=0.3),
    Situation("bracketed-by-view", "a bracket at each view", bracketed_by_view, weight=2),
    Situation("bracketed-by-sweep", "a whole sweep at each exposure", bracketed_by_sweep, weight=1),
    Situation(
        "focus-steps-at-views",
        "focus steps at each view",
        focus_steps_at_views,
        bodies.M2,
        weight=0.2,
    ),
    Situation("focus-steps-by-eye", "focus steps at each view of the ground", focus_steps_by_eye),
    Situation("focus-stack", "a close-up stack from near to far", focus_stack, weight=0.8),
    Situation("focus-stack-driven", "a stack that the body steps through", focus_stack_driven),
    Situation("focus-stack-deep", "a landscape in a few steps", focus_stack_deep),
    Situation("focus-stack-by-hand", "a close-up stack held by hand", focus_stack_by_hand),
    Situation("focus-stack-timed", "a stack fired to the clock", focus_stack_timed),
    Situation("uneven-bracket", "a bracket with one leg off its place", uneven_bracket, weight=0.2),
    Situation("two-takes", "the same sweep twice", two_takes, weight=2),
    Situation("two-subjects", "two sweeps back to back", two_subjects, weight=2),
    Situation("spare-frame", "one view shot twice", spare_frame, weight=1),
    Situation("interrupted", "a frame or two of something else amid a sweep", interrupted),
    Situation("missing-counted", "a file is gone and so is its number", missing_counted, weight=1),
    Situation("missing-never-fired", "a view was never shot", missing_never_fired, weight=1),
    Situation("missing-at-end", "a circle left open, a row broken off", missing_at_end, weight=0.7),
    Situation("missing-in-bracket", "one leg of one view is gone", missing_in_bracket, weight=0.6),
    Situation(
        "missing-in-stack", "one focus step of one view is gone", missing_in_stack, bodies.M2
    ),
    Situation(
        "mixed-focal-length",
        "the zoom ring slipped",
        _mixed({"focal_mm": lambda base: round(base["focal_mm"] * 1.12, 1)}, tail=True),
    ),
    Situation("mixed-orientation", "one view held across", _mixed({"upright": False})),
    Situation(
        "mixed-lens",
        "the lens was changed for its twin",
        _mixed({"lens": "Twin prime f/2"}, tail=True),
    ),
    Situation("mixed-size", "one frame written small", mixed_size),
    Situation(
        "mixed-aperture",
        "one frame at another aperture",
        _mixed({"aperture": lambda base: base["aperture"] - 1.0}),
    ),
    Situation(
        "mixed-iso",
        "one frame at another ISO",
        _mixed({"iso": lambda base: base["iso"] * 2}),
        weight=0.4,
    ),
    Situation(
        "mixed-shutter",
        "one frame at another shutter time",
        _mixed({"shutter": _third_faster}),
        weight=0.4,
    ),
    Situation("mixed-focus", "one frame focused elsewhere", mixed_focus, bodies.M2),
    Situation(
        "mixed-white-balance",
        "one frame at automatic white balance",
        _mixed({"white_balance": 0, "warmth_ev": 0.5}),
    ),
    Situation("mixed-flash", "the flash fired once", _mixed({"flash": 25})),
    Situation("auto-exposure", "aperture priority in a sweep", auto_exposure, weight=1.5),
    Situation(
        "auto-white-balance", "automatic white balance in a sweep", auto_white_balance, weight=1
    ),
    Situation("auto-focus", "autofocus in a sweep", auto_focus, bodies.M2),
    Situation("passers-by", "people close by, elsewhere in every frame", passers_by, weight=0.5),
    Situation("moved-subject", "somebody walks through a bracket", moved_subject),
    Situation(
        "over-exposed", "a sweep far too bright", _exposed_by(2.7, ("ridges", "lake", "sea"))
    ),
    Situation("under-exposed", "a sweep far too dark", _exposed_by(-5.5, ("hall", "woodland"))),
    Situation("shallow-focus", "a long lens wide open, focused near", shallow_focus, bodies.M2),
    Situation("near-things", "a plain head and things at arm's length", near_things, bodies.M2),
    Situation("soft-frame", "one view shaken", soft_frame),
    Situation("left-automatic", "ISO or focus left to the camera", left_automatic, bodies.NOTED),
    Situation("briefed", "sweeps to a brief, some of which break it", briefed, bodies.Q5),
    Situation("interval-lost", "an interval series with a frame gone", interval_lost),
    Situation("rig-test", "trial frames before a sweep", rig_test, weight=1.5),
    Situation("singles", "singles of several places", singles, weight=6, before=False),
    Situation("strolling", "singles in one setting and an even rhythm", walk_about, weight=4),
    Situation("near-duplicates", "one subject several times over", near_duplicates, weight=2),
    Situation("burst-still", "a burst of one view", burst_still, weight=1),
    Situation("burst-panning", "a burst that follows something", burst_panning, weight=1),
    Situation("burst-tripod", "a burst from a tripod at what moves", burst_tripod),
    Situation("burst-close-up", "a burst of a close-up by hand", burst_close_up),
    Situation("refocused", "one thing several times, focused anew", refocused),
    Situation("interval-still", "an interval series of what keeps still", interval_still),
    Situation("interval", "an interval series", interval, weight=0.6),
    Situation("walk-round", "walking round a thing", walk_round, weight=0.7),
    Situation("flight-lines", "a drone's survey", flight_lines, bodies.DRONE, before=False),
    Situation("dividers", "a capped lens between two sweeps", dividers, weight=0.7),
    Situation("phone-preview", "a phone's own composite and a sweep", phone_preview, bodies.PHONE),
    Situation("raw-companions", "raw and JPEG of each frame", raw_companions),
    Situation("two-bodies", "a second body whose clock is off", two_bodies),
    Situation("two-bodies-all-day", "two bodies at the same places", two_bodies_all_day),
    Situation("clock-set-back", "the clock is put right", clock_set_back),
    Situation("over-midnight", "a night sweep across midnight", over_midnight, start_hour=23.6),
    Situation("summer-time", "the clock goes forward", summer_time),
    Situation(
        "no-sub-seconds",
        "a body that writes whole seconds",
        everyday,
        replace(bodies.Q5, subsec_digits=0),
    ),
    Situation("counter-wraps", "9999 to 0001 in a new folder", counter_wraps),
    Situation("no-thumbnails", "a body without thumbnails", everyday, bodies.M1),
    Situation("no-serial", "a body without serial or zone", everyday, bodies.Q3),
    Situation("no-sensor-size", "a compact that tells no sensor size", everyday, bodies.COMPACT),
    Situation("renamed", "files renamed by an import", _renamed),
    Situation("duplicated", "files that lie there twice", duplicated),
    Situation(
        "truncated",
        "a file cut short",
        _faulty("truncated", ("truncated", "damaged", "no-metadata")),
    ),
    Situation("truncated-in-sweep", "a view of a sweep cut short", truncated_in_sweep),
    Situation("empty", "an empty file", _faulty("empty", ("empty",))),
    Situation("undated", "frames without capture time", undated),
    Situation(
        "foreign",
        "a file that is no picture",
        _faulty("foreign", ("unknown-format", "damaged", "no-metadata")),
    ),
)
"""All situations, by the order of the list they came from."""


def situation(name: str) -> Situation:
    """The situation of a name.

    Raises:
        KeyError: no situation has it.
    """
    return {item.name: item for item in SITUATIONS}[name]
