"""An outing: what a photographer does with cameras, shot by shot, and what it all means.

Situations drive an ``Outing``; ``finish`` freezes it into a ``Card``. Time runs here as in
life: an exposure takes its time, pauses follow it, each body's clock says what it says.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from testdata.rehearsal.camera import (
    angle_of_view_deg,
    overlap_share,
    pointing,
    shot_rotation,
    upright_sensor_mm,
)
from testdata.rehearsal.marks import FASTEST_TV, SLOWEST_TV, nearest_third
from testdata.rehearsal.records import (
    Body,
    Card,
    Expected,
    Overlap,
    Place,
    SceneKey,
    SceneKind,
    SetKind,
    Shot,
    TruthSet,
)
from testdata.rehearsal.scene import USUAL_EV

Setup = dict[str, Any]
"""Fields of ``Shot`` that a photographer has dialled in."""


@dataclass(slots=True)
class Holder:
    """A body in use: its counter, folder and clock."""

    body: Body
    counter: int = 417
    folder: int = 100
    clock_s: float = 0.0
    """Seconds that the body's clock is ahead of true local time."""
    utc_offset_min: int = 60
    last: str = ""
    gap: bool = False
    """Numbers were used up since the last frame."""


@dataclass(frozen=True, slots=True)
class Aim:
    """One view to be taken: where, in which row; a jittered or retaken one says so."""

    yaw: float
    pitch: float = 0.0
    row: int = 0
    roll: float = 0.0
    spare: bool = False
    view: int | None = None
    """Number of the view it repeats; otherwise each aim is its own view."""


@dataclass(slots=True)
class Taken:
    """A shot with its place in the set that is being built."""

    shot: Shot
    row: int
    view: int
    leg: int
    step: int
    spare: bool


@dataclass(slots=True)
class Outing:
    """The day so far. Everything random comes from ``rng``."""

    rng: np.random.Generator
    name: str
    seed: int
    start: datetime
    situation: str = ""
    now_s: float = 0.0
    light_ev: float = 0.0
    holders: dict[str, Holder] = field(default_factory=dict)
    shots: list[Shot] = field(default_factory=list)
    sets: list[TruthSet] = field(default_factory=list)
    singles: list[str] = field(default_factory=list)
    either: list[str] = field(default_factory=list)
    never: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)
    dividers: list[str] = field(default_factory=list)
    previews: list[tuple[str, int | None]] = field(default_factory=list)
    copies: list[tuple[str, str]] = field(default_factory=list)
    findings: list[Expected] = field(default_factory=list)
    unread: list[tuple[str, str]] = field(default_factory=list)
    situations: dict[str, str] = field(default_factory=dict)
    settings: str = ""
    """The photographer's settings file."""
    rename: str = ""
    """An import gave every file this name and a running number, all in one folder."""
    pictures: tuple[str, ...] = ()
    """Equirectangular pictures that are the places of this day, instead of painted ones."""

    # Cameras and scenes

    def hold(self, body: Body, **changes: Any) -> Holder:
        """Take up a body, with a counter somewhere in its life."""
        if body.key not in self.holders:
            counter = int(self.rng.integers(20, 9000))
            self.holders[body.key] = Holder(body, counter=counter)
        holder = self.holders[body.key]
        for name, value in changes.items():
            setattr(holder, name, value)
        return holder

    def scene(self, kind: SceneKind, focal_px: float = 0.0, **changes: Any) -> SceneKey:
        """A new place. ``focal_px`` is the longest focal length in pixels that will be used.

        Close-ups are painted in any case: what is focused on has to have a depth.
        """
        seed = int(self.rng.integers(1, 2**31))
        density = max(8.5, focal_px * math.pi / 180)
        if self.pictures and kind != "tabletop":
            kind = "picture"
            changes["picture"] = self.pictures[seed % len(self.pictures)]
        return SceneKey(kind=kind, seed=seed, px_per_deg=round(density, 1), **changes)

    # Time

    def wait(self, median_s: float, spread: float = 0.3, least_s: float = 0.05) -> float:
        """Let a pause pass: lognormal round its median, from the end of the last exposure."""
        pause = max(least_s, float(median_s * np.exp(self.rng.normal(0, spread))))
        self.now_s += pause
        return pause

    def drift_light(self, most_ev: float = 0.3) -> None:
        """Clouds: the light wanders by up to ``most_ev``, within a stop of the usual."""
        step = float(self.rng.uniform(-most_ev, most_ev))
        self.light_ev = float(np.clip(self.light_ev + step, -1, 1))

    # Shooting

    def setup(self, scene: SceneKey, holder: Holder, **changes: Any) -> Setup:
        """Settings that suit the scene: sensible aperture, then the shutter for the light."""
        rng = self.rng
        dark = USUAL_EV[scene.kind] < 6
        setup: Setup = {
            "body": holder.body,
            "scene": scene,
            "aperture": float(rng.choice([4, 5, 6]))
            if dark
            else float(rng.choice([6, 6 + 2 / 3, 7])),
            "iso": int(rng.choice([100, 200, 400])) if dark else 100,
            "program": 1,
            "exposure_mode": 1,
            "white_balance": 1,
            "orientation": int(rng.choice([6, 8])),
            "light_ev": self.light_ev,
        }
        setup.update(changes)
        if "shutter" not in setup:
            setup["shutter"] = self.metered(setup)
        return setup

    def metered(self, setup: Setup, offset_ev: float = 0.0) -> float:
        """The exact Tv that an exposure meter gives for a set-up; brighter by ``offset_ev``."""
        ev = USUAL_EV[setup["scene"].kind] + setup.get("light_ev", 0.0)
        tv = ev - setup["aperture"] + math.log2(setup["iso"] / 100) - offset_ev
        return float(np.clip(nearest_third(tv), SLOWEST_TV, FASTEST_TV))

    def shoot(self, holder: Holder, setup: Setup, *, keep: bool = True, **changes: Any) -> Shot:
        """Release the shutter. ``keep=False``: the file was deleted, its number is used up."""
        fields = {**setup, "light_ev": self.light_ev, **changes}
        taken = self.start + timedelta(seconds=self.now_s + holder.clock_s)
        shot = Shot(
            file=self._file_name(holder, taken),
            counter=holder.counter,
            taken=taken,
            moment_s=self.now_s,
            utc_offset_min=holder.utc_offset_min,
            seed=int(self.rng.integers(0, 2**31)),
            **fields,
        )
        self._count_on(holder)
        self.now_s += 2.0**-shot.shutter
        if keep:
            self.shots.append(shot)
            self.situations[shot.file] = self.situation
            if holder.gap and holder.last:
                pair = (holder.last, shot.file)
                self.findings.append(Expected(code="number-gap", frames=pair))
            holder.last, holder.gap = shot.file, False
        return shot

    def _file_name(self, holder: Holder, taken: datetime) -> str:
        body = holder.body
        if body.naming == "time":
            stem = f"{body.prefix}{taken:%Y%m%d_%H%M%S}{taken.microsecond // 1000:03d}"
        else:
            stem = f"{body.prefix}{holder.counter:04d}"
        return f"{holder.folder}{body.folder_tag}/{stem}.JPG"

    def _count_on(self, holder: Holder) -> None:
        holder.counter += 1
        if holder.counter > 9999:
            holder.counter = 1
            holder.folder += 1

    def delete_some(self, holder: Holder, count: int) -> None:
        """Singles shot and deleted at once: their numbers are used up."""
        for _ in range(count):
            self._count_on(holder)
        holder.gap = True

    def single(self, holder: Holder, setup: Setup, **changes: Any) -> Shot:
        """A frame for itself."""
        shot = self.shoot(holder, setup, **changes)
        self.singles.append(shot.file)
        return shot

    def maybe(self, holder: Holder, setup: Setup, **changes: Any) -> Shot:
        """A frame that a practitioner might count to its neighbours or not: not scored."""
        shot = self.shoot(holder, setup, **changes)
        self.either.append(shot.file)
        return shot

    # Sets

    def take_views(
        self,
        holder: Holder,
        setup: Setup,
        aims: Sequence[Aim],
        *,
        pause_s: tuple[float, float] = (5.0, 0.25),
        row_pause_s: float | None = None,
        legs: Sequence[float] = (0.0,),
        by: str = "view",
        steps_m: Sequence[float | None] = (None,),
        burst_s: float = 0.35,
        per_frame: Any = None,
        keep: Any = None,
    ) -> list[Taken]:
        """Shoot aims in turn, each with every leg and focus step.

        ``legs`` are offsets in EV in firing order; ``by`` is ``view`` (all legs at a view,
        then on) or ``sweep`` (the whole round at one leg, then again). ``per_frame(index of
        the aim, leg, step)`` may change the set-up; ``keep(index, leg, step)`` says whether
        the file survives.
        """
        levels = sorted(set(legs))
        rounds = [tuple(legs)] if by == "view" else [(leg,) for leg in legs]
        taken: list[Taken] = []
        last_row: int | None = None
        for these in rounds:
            for index, aim in enumerate(aims):
                if taken or index:
                    crossed = last_row is not None and aim.row != last_row and row_pause_s
                    self.wait(row_pause_s if crossed else pause_s[0], pause_s[1])  # type: ignore[arg-type]
                last_row = aim.row
                first = True
                for step, metres in enumerate(steps_m):
                    for leg in these:
                        if not first:
                            self.wait(burst_s, 0.1)
                        first = False
                        changes: Setup = {
                            "yaw_deg": aim.yaw,
                            "pitch_deg": aim.pitch,
                            "roll_deg": setup.get("roll_deg", 0.0) + aim.roll,
                            "shutter": setup["shutter"] - leg,
                        }
                        if metres is not None:
                            changes["focus_m"] = metres
                        if per_frame is not None:
                            changes.update(per_frame(index, leg, step))
                        kept = keep is None or bool(keep(index, leg, step))
                        shot = self.shoot(holder, setup, keep=kept, **changes)
                        if kept:
                            view = index if aim.view is None else aim.view
                            place = levels.index(leg)
                            taken.append(Taken(shot, aim.row, view, place, step, aim.spare))
        return taken

    def panorama(
        self,
        taken: Sequence[Taken],
        *,
        closed: bool = False,
        findings: Iterable[Expected] = (),
        camera_roll_deg: float | None = 0.0,
        base_tilt_deg: float | None = 0.0,
        note: str = "",
    ) -> TruthSet:
        """Put the truth of a panorama on record."""
        shots = [item.shot for item in taken]
        where = [pointing(shot_rotation(shot)) for shot in shots]
        yaws = np.unwrap([angles[0] for angles in where], period=360)
        middle = (float(yaws.min()) + float(yaws.max())) / 2
        renumbered = _number_views(taken, yaws)
        places = tuple(
            Place(
                file=item.shot.file,
                row=item.row,
                view=renumbered[item.view],
                leg=item.leg,
                step=item.step,
                spare=item.spare,
                yaw_deg=_turn(angles[0] - middle),
                pitch_deg=angles[1],
                roll_deg=angles[2],
            )
            for item, angles in zip(taken, where, strict=True)
        )
        wide, tall = (
            angle_of_view_deg(side, shots[0].focal_mm, shots[0].projection)
            for side in upright_sensor_mm(shots[0])
        )
        span = 360.0 if closed else float(yaws.max() - yaws.min()) + wide
        pitches = [angles[1] for angles in where]
        findings = (*findings, *_wide(span, max(pitches) - min(pitches) + tall), *_ghosts(taken))
        if not closed:
            findings = (*findings, *_nearly_closed(sorted({round(float(yaw), 3) for yaw in yaws})))
        overlaps = _overlaps(taken, yaws, closed)
        first_row = [yaw for item, yaw in zip(taken, yaws, strict=True) if item.row == taken[0].row]
        truth = TruthSet(
            kind="panorama",
            situation=self.situation,
            places=places,
            rows=len({item.row for item in taken}),
            views=len(renumbered),
            legs=len({item.leg for item in taken}),
            steps=len({item.step for item in taken}),
            closed=closed,
            span_deg=min(span, 360.0),
            direction=_direction(first_row),
            camera_roll_deg=camera_roll_deg,
            base_tilt_deg=base_tilt_deg,
            overlaps=overlaps,
            findings=(*findings, *settings_findings(taken), *_thin(overlaps, findings)),
            note=note,
        )
        self.sets.append(truth)
        return truth

    def one_view(
        self,
        kind: SetKind,
        taken: Sequence[Taken],
        findings: Iterable[Expected] = (),
        note: str = "",
    ) -> TruthSet:
        """Put the truth of a bracket, stack, burst or interval series on record."""
        places = tuple(
            Place(file=item.shot.file, leg=item.leg, step=item.step, spare=item.spare)
            for item in taken
        )
        truth = TruthSet(
            kind=kind,
            situation=self.situation,
            places=places,
            legs=len({item.leg for item in taken}),
            steps=len({item.step for item in taken}),
            findings=(*findings, *(_ghosts(taken) if kind == "bracket" else ())),
            note=note,
        )
        self.sets.append(truth)
        return truth

    # The end of the day

    def finish(self) -> Card:
        """Freeze the outing into a card."""
        names = [shot.file for shot in self.shots]
        assert len(set(names)) == len(names), "a file name came twice"
        card = Card(
            name=self.name,
            seed=self.seed,
            shots=tuple(self.shots),
            sets=tuple(self.sets),
            singles=tuple((file, self.situations[file]) for file in self.singles),
            either=tuple(self.either),
            never=tuple(self.never),
            dividers=tuple(self.dividers),
            previews=tuple(self.previews),
            copies=tuple(self.copies),
            findings=tuple(self.findings),
            unread=tuple(self.unread),
            clock_offsets_s=self._offsets(),
            situations=dict(self.situations),
            settings=self.settings,
        )
        if not self.rename:
            return card
        ordered = sorted(self.shots, key=lambda shot: shot.taken)
        names_now = {
            shot.file: f"{self.rename}-{number:03d}.JPG" for number, shot in enumerate(ordered, 1)
        }
        renamed: Card = _renamed(card, names_now)
        return renamed

    def _offsets(self) -> tuple[tuple[str, float], ...]:
        holders = list(self.holders.items())
        if len(holders) < 2:
            return ()
        first = holders[0][1].clock_s
        return tuple((key, holder.clock_s - first) for key, holder in holders)


def _renamed(value: Any, names: dict[str, str]) -> Any:
    """A record with every file name in it replaced."""
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, tuple):
        return tuple(_renamed(item, names) for item in value)
    if isinstance(value, dict):
        return {_renamed(key, names): _renamed(item, names) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type | SceneKey | Body):
        changes = {item.name: _renamed(getattr(value, item.name), names) for item in fields(value)}
        return replace(value, **changes)
    return value


def _number_views(taken: Sequence[Taken], yaws: Any) -> dict[int, int]:
    """New numbers of views: rows first, by yaw within a row."""
    place: dict[int, tuple[int, float]] = {}
    for item, yaw in zip(taken, yaws, strict=True):
        place.setdefault(item.view, (item.row, float(yaw)))
    ordered = sorted(place, key=lambda view: place[view])
    return {view: number for number, view in enumerate(ordered)}


def _turn(angle_deg: float) -> float:
    return (angle_deg + 180) % 360 - 180


def _direction(yaws: Sequence[float]) -> str:
    if len(yaws) < 2 or abs(yaws[-1] - yaws[0]) < 1:
        return "mixed"
    return "right" if yaws[-1] > yaws[0] else "left"


def _overlaps(taken: Sequence[Taken], yaws: Any, closed: bool) -> tuple[Overlap, ...]:
    """Overlap of neighbours by yaw in each row (and across the ends of a closed circle)."""
    rows: dict[int, dict[int, tuple[float, Shot]]] = {}
    for item, yaw in zip(taken, yaws, strict=True):
        rows.setdefault(item.row, {}).setdefault(item.view, (float(yaw), item.shot))
    found = []
    for views in rows.values():
        ordered = [shot for _, shot in sorted(views.values(), key=lambda pair: pair[0])]
        pairs = list(itertools.pairwise(ordered))
        if closed and len(ordered) > 2:
            pairs.append((ordered[-1], ordered[0]))
        found += [Overlap(a=a.file, b=b.file, share=overlap_share(a, b)) for a, b in pairs]
    return tuple(found)


def _thin(overlaps: Sequence[Overlap], findings: Sequence[Expected]) -> list[Expected]:
    """Neighbours that hardly overlap, unless a missing frame is the cause.

    Common practice asks for a quarter to a third and warns below a fifth; between 14 and
    24 % either answer is accepted.
    """
    gaps = {frozenset(item.frames) for item in findings if item.code == "missing-frame"}
    pairs = [item for item in overlaps if frozenset((item.a, item.b)) not in gaps]
    thin = sorted((item for item in pairs if item.share < 0.24), key=lambda item: item.share)
    if not thin:
        return []
    files = tuple(file for item in thin for file in (item.a, item.b))
    return [Expected(code="thin-overlap", frames=files, required=thin[0].share < 0.14)]


def _wide(across_deg: float, up_deg: float) -> list[Expected]:
    """Whether the span outgrows a flat picture: at 120 degrees its edges stretch fourfold.

    A few degrees either side, as much as the angle of view may be off, either answer is right.
    """
    widest = max(across_deg, up_deg)
    return [Expected(code="too-wide", required=widest > 125)] if widest > 115 else []


def _nearly_closed(yaws_deg: Sequence[float]) -> list[Expected]:
    """An open sweep that one view more would close: whether it was meant to is nobody's to say.

    Two steps in one are up to 2.4 usual ones while each is even to a fifth.
    """
    steps = [b - a for a, b in itertools.pairwise(yaws_deg) if b - a > 1]
    seam = 360 - (yaws_deg[-1] - yaws_deg[0])
    if len(steps) < 2 or seam > 2.4 * float(np.median(steps)):
        return []
    return [Expected(code="open-circle", required=False)]


PEOPLED = ("hall", "market", "sea", "night")
"""Where people walk about, who may or may not matter in the exposures of a view."""


def _ghosts(taken: Sequence[Taken]) -> list[Expected]:
    """What may be said of things that move between the exposures of a view."""
    several = len(taken) > len({item.view for item in taken})
    scenes = [item.shot.scene for item in taken]
    peopled = any(scene is not None and scene.kind in PEOPLED for scene in scenes)
    return [Expected(code="moved-subject", required=False)] if several and peopled else []


def settings_findings(taken: Sequence[Taken]) -> list[Expected]:
    """What anyone can read off the settings of a panorama: mixed ones, and automatic ones.

    The odd frames out are named where most frames agree; where a setting wanders, the code
    alone is expected. Legs excuse the shutter, steps the focus.
    """
    used = [item.shot for item in taken if not item.spare]
    found = []
    for code, values in (
        ("mixed-aperture", [shot.aperture for shot in used]),
        ("mixed-iso", [shot.iso for shot in used]),
        ("mixed-white-balance", [shot.white_balance for shot in used]),
        ("mixed-flash", [shot.flash & 1 for shot in used]),
        ("mixed-focal-length", [shot.focal_mm for shot in used]),
        ("mixed-lens", [shot.lens for shot in used]),
        ("mixed-orientation", [shot.upright for shot in used]),
        ("mixed-size", [shot.body.file_px for shot in used]),
    ):
        odd = _odd_ones(used, values)
        if odd is not None:
            found.append(Expected(code=code, frames=odd))
    found += _shutter_findings(taken)
    if all(shot.white_balance == 0 for shot in used):
        found.append(Expected(code="auto-white-balance"))
    for code, moved, left in (
        ("auto-iso", "mixed-iso", [shot for shot in used if shot.iso_auto]),
        ("auto-focus", "mixed-focus", [shot for shot in used if shot.focus_auto]),
    ):
        files = tuple(shot.file for shot in left if shot.body.note)
        if files and moved not in {item.code for item in found}:
            found.append(Expected(code=code, frames=files))
    return found


def _shutter_findings(taken: Sequence[Taken]) -> list[Expected]:
    """Mixed shutter times, leg by leg; or that the exposure was left automatic."""
    odd: list[str] = []
    differs = False
    for leg in {item.leg for item in taken}:
        shots = [item.shot for item in taken if item.leg == leg and not item.spare]
        these = _odd_ones(shots, [shot.shutter for shot in shots])
        differs = differs or these is not None
        odd += these or ()
    if differs:
        return [Expected(code="mixed-shutter", frames=tuple(odd))]
    if any(item.shot.program != 1 for item in taken):
        # Whether a body that brackets by itself counts as left on automatic is a matter of
        # taste.
        plain = all(item.shot.exposure_mode != 2 for item in taken)
        return [Expected(code="auto-exposure", required=plain)]
    return []


def _odd_ones(shots: Sequence[Shot], values: Sequence[Any]) -> tuple[str, ...] | None:
    counts = {value: values.count(value) for value in values}
    if len(counts) < 2:
        return None
    usual = max(counts, key=lambda value: counts[value])
    if counts[usual] <= len(values) / 2:
        return ()
    return tuple(shot.file for shot, value in zip(shots, values, strict=True) if value != usual)


def with_findings(outing: Outing, truth: TruthSet, *more: Expected) -> None:
    """Add findings to a set already on record."""
    index = outing.sets.index(truth)
    outing.sets[index] = replace(truth, findings=(*truth.findings, *more))
