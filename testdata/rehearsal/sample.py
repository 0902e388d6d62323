"""The bundled sample card: one evening in the Tavrin valley, as Ilse Korving brought it home."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np

from testdata.rehearsal.bodies import Q5
from testdata.rehearsal.outing import Aim, Holder, Outing, Setup
from testdata.rehearsal.records import Card, Expected, SceneKey
from testdata.rehearsal.render import render_shots, usual_jobs, write_truth

SEED = 2604
HOME = Path(__file__).resolve().parents[1]


def sample_card() -> Card:
    """The card: an upright sweep, a bracket, a bracketed sweep, a circle, and two mistakes."""
    outing = Outing(
        rng=np.random.default_rng(SEED),
        name="tavrin-evening",
        seed=SEED,
        start=datetime(2026, 4, 26, 17, 42, 8, 310000),
    )
    body = replace(Q5, file_px=(600, 400), serial="5004417")
    holder = outing.hold(body, counter=412, utc_offset_min=120)
    _hall(outing, holder)
    _wood(outing, holder)
    _lake(outing, holder)
    _ridge(outing, holder)
    return outing.finish()


def _singles(
    outing: Outing, holder: Holder, setup: Setup, aims: list[tuple[float, float, float]]
) -> None:
    """Singles with their own framing: (yaw, pitch, focal length), across."""
    for yaw, pitch, focal in aims:
        outing.wait(24, 0.5)
        outing.single(
            holder, setup, yaw_deg=yaw, pitch_deg=pitch, focal_mm=focal, upright=False,
            program=3, exposure_mode=0, white_balance=0,
            shutter=outing.metered(setup, float(outing.rng.choice([-1, 0, 1])) / 3),
        )  # fmt: skip


def _row(count: int, step: float, first: float, pitch: float = 0.0) -> list[Aim]:
    return [Aim(first + step * index, pitch) for index in range(count)]


def _hall(outing: Outing, holder: Holder) -> None:
    outing.situation = "hall"
    hall = SceneKey(kind="hall", seed=SEED + 66)
    setup = outing.setup(hall, holder, aperture=6.0, iso=100, orientation=8, focal_mm=24.0)
    _singles(outing, holder, setup, [(-150, 2, 24), (120, 4, 35), (20, -3, 28)])
    outing.wait(95)
    flat = {**setup, "upright": False, "program": 3, "exposure_mode": 2, "focal_mm": 24.0}
    taken = outing.take_views(
        holder,
        flat,
        [Aim(42.0, 1.0)],
        legs=(0.0, -2.0, 2.0, -4.0, 4.0),
        per_frame=lambda index, leg, step: {"bias_ev": leg},
    )
    outing.one_view("bracket", taken)
    outing.wait(140)
    auto = {**setup, "exposure_mode": 2}
    taken = outing.take_views(
        holder, auto, _row(7, 32.0, -96.0), pause_s=(6.5, 0.2), legs=(0.0, -2.0, 2.0), burst_s=0.25
    )
    outing.panorama(taken)


def _wood(outing: Outing, holder: Holder) -> None:
    outing.wait(1900)
    outing.situation = "wood"
    wood = SceneKey(kind="woodland", seed=SEED + 23)
    setup = outing.setup(wood, holder, aperture=6.0, iso=400, orientation=8)
    setup["lens"] = "Quillmark 16mm f/2.8"
    _singles(outing, holder, {**setup, "lens": None}, [(100, 8, 50), (-20, 0, 35)])
    outing.wait(70)
    wide = {**setup, "focal_mm": 16.0}
    taken = outing.take_views(holder, wide, _row(8, 45.0, -170.0), pause_s=(5.5, 0.2))
    outing.panorama(taken, closed=True)


def _lake(outing: Outing, holder: Holder) -> None:
    outing.wait(1500)
    outing.situation = "lake"
    lake = SceneKey(kind="lake", seed=SEED + 33)
    setup = outing.setup(lake, holder, aperture=20 / 3, iso=100, orientation=8, focal_mm=24.0)
    _singles(outing, holder, setup, [(-60, 3, 35), (-40, 2, 28), (75, 4, 50), (10, 2, 24)])
    outing.wait(60)
    # The file of the fifth view never reached the card: its number is missing, too.
    taken = outing.take_views(
        holder, setup, _row(9, 30.0, -110.0), pause_s=(5.0, 0.2),
        keep=lambda index, leg, step: index != 4,
    )  # fmt: skip
    pair = (taken[3].shot.file, taken[4].shot.file)
    outing.panorama(taken, findings=[Expected(code="missing-frame", frames=pair)])
    _singles(outing, holder, setup, [(0, 5, 70), (140, 1, 24), (150, 3, 50)])


def _ridge(outing: Outing, holder: Holder) -> None:
    outing.wait(1200)
    outing.situation = "ridge"
    ridge = SceneKey(kind="ridges", seed=SEED + 22)
    setup = outing.setup(ridge, holder, aperture=7.0, iso=100, orientation=8, focal_mm=24.0)
    _singles(outing, holder, setup, [(-90, 4, 24), (-70, 4, 50)])
    outing.wait(45)
    taken = outing.take_views(holder, setup, _row(9, 31.0, -124.0), pause_s=(4.5, 0.2))
    outing.panorama(taken)
    outing.wait(220)
    outing.light_ev = -2 / 3
    setup = {**setup, "shutter": setup["shutter"] - 2 / 3, "upright": False, "focal_mm": 35.0}
    # A wheel was turned between two views of this one: the fifth is at another ISO.
    taken = outing.take_views(
        holder, setup, _row(8, 34.0, -60.0, 4.0), pause_s=(4.0, 0.25),
        per_frame=lambda index, leg, step: {"iso": 160} if index == 4 else {},
    )  # fmt: skip
    outing.panorama(taken)
    _singles(outing, holder, setup, [(20, 6, 70), (-30, 5, 50), (60, 2, 28)])


def make_sample(home: Path = HOME) -> None:
    """Write ``card/`` and ``card-truth.json`` below ``home``."""
    card = sample_card()
    target = home / "card"
    for old in sorted(target.rglob("*.JPG")):
        old.unlink()
    render_shots(card.shots, target, usual_jobs())
    write_truth(card, home / "card-truth.json")
