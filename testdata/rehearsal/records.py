"""Plain records: a camera body, a shot, the truth about a set, a whole card.

Angles are degrees: yaw to the right, pitch up, roll clockwise as seen from behind the
camera. Lengths are metres, focal lengths and sensors millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

SceneKind = Literal[
    "ridges", "lake", "hall", "woodland", "sea", "night", "market", "meadow", "tabletop", "picture"
]
SetKind = Literal["panorama", "bracket", "focus-stack", "burst", "interval"]
Projection = Literal["rectilinear", "equisolid", "stereographic"]
"""How far from the middle a lens draws what lies t off its axis: f tan t, 2 f sin(t/2) as most
fisheyes, 2 f tan(t/2) as some."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneKey:
    """Names one scene: the same key gives the same picture, on any machine.

    ``span_deg`` by ``tall_deg`` is the part of the sphere that is painted, centred on yaw 0
    and pitch ``middle_deg``; 360 by 180 is all of it. ``px_per_deg`` is the painted density.
    """

    kind: SceneKind
    seed: int
    span_deg: float = 360.0
    tall_deg: float = 180.0
    middle_deg: float = 0.0
    px_per_deg: float = 8.5
    picture: str = ""
    """Path of an equirectangular picture, for the kind ``picture``."""
    is_bare: bool | None = None
    """Whether the place gives little to go by (open sea, fog); ``None``: as chance has it. A sea
    that is not bare has clouds and a beach, and an open horizon."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A camera body and its habits."""

    key: str
    make: str
    model: str
    serial: str | None
    lens: str
    sensor_mm: tuple[float, float] = (36.0, 24.0)
    file_px: tuple[int, int] = (640, 427)
    """Long and short side of the files as rendered."""
    claimed_px: tuple[int, int] | None = None
    """Long and short side as Exif claims them (a reduced copy keeps them); None: as rendered."""
    subsec_digits: int = 2
    offset_tag: bool = True
    focal_tags: Literal["equivalent", "focal-plane", "none"] = "equivalent"
    turns: Literal["tag", "applied"] = "tag"
    """How an upright frame is stored: orientation tag, or pixels turned and no tag."""
    thumbnail: Literal["letterbox", "whole", "none"] = "letterbox"
    thumbnail_quality: int = 75
    folder_tag: str = "QMARK"
    prefix: str = "QMK_"
    naming: Literal["counter", "time"] = "counter"
    distance_tag: bool = False
    level_tag: bool = False
    """Writes its pitch as CameraElevationAngle (Exif 2.31)."""
    note: bool = False
    """Writes a maker note that tells automatic ISO and focus; see ``notes``."""
    k1: float = 0.0
    """Radial distortion of its rectilinear lenses: r' = r (1 + k1 r^2), r in units of the half
    diagonal."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A lens of one focal length, put on a body in place of its usual one."""

    name: str
    focal_mm: float
    projection: Projection
    tells: bool = True
    """Has contacts: its name, focal length and aperture reach the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One release of the shutter, complete enough to render its file."""

    file: str
    body: Body
    counter: int
    taken: datetime
    """The body's own wall clock, at the start of the exposure."""
    utc_offset_min: int = 60
    moment_s: float = 0.0
    """True time in seconds since the outing began: people walk by it, whatever the clock says."""

    scene: SceneKey | None = None
    look: Literal["scene", "cap", "hand", "sky", "composite"] = "scene"
    seed: int = 0
    """Noise, people, leaves and waves of this very moment."""
    light_ev: float = 0.0
    """The scene's light against its usual, in EV (clouds, dusk)."""

    shutter: float = 7.0
    """Tv of the exact series: exposure is 2**-shutter seconds, the tag holds the mark."""
    aperture: float = 6.0
    """Av of the exact series."""
    iso: int = 100
    bias_ev: float = 0.0
    iso_auto: bool = False
    focus_auto: bool = False
    """Told only by a body that writes a maker note."""
    program: int = 1
    exposure_mode: int = 1
    white_balance: int = 1
    warmth_ev: float = 0.0
    """Red against blue gain of the white balance, in EV."""
    flash: int = 16
    focal_mm: float = 24.0
    lens: str | None = None
    """Overrides the body's lens."""
    projection: Projection = "rectilinear"
    lens_tells: bool = True
    """False: the body knows nothing of the lens, neither name nor focal length nor aperture."""

    upright: bool = True
    orientation: int = 8
    """Exif orientation written when the body uses the tag and the frame is upright."""
    stale_orientation: bool = False
    """The tag says nothing of the turn: written 1 though the pixels lie on their side."""

    yaw_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    base_tilt_deg: float = 0.0
    base_tilt_to_deg: float = 0.0
    """Yaw (about the base) at which the leaning base tips the camera up."""
    position_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Where the entrance pupil is: right, down, forward of the scene's own middle."""
    ground_m: float | None = None
    """Everything seen lies on a plane this far below the scene's middle (looking down)."""

    statue_m: float | None = None
    """Radius of a thing that stands in the scene's middle, for walking round it."""

    passer: tuple[float, float] | None = None
    """Somebody walks by close to the camera: middle and width in shares of the picture's width."""
    strollers: int = 0
    """How many people stroll about within a few steps of the camera: others in every frame."""

    focus_m: float | None = None
    """Focus distance; drives local sharpness in scenes that have depth, and the tag."""
    eye_m: float | None = None
    """Height of the camera above level ground: gives a place depth below its horizon, where it has
    none of its own."""
    shake_px: float = 0.0
    """Standard deviation of a blur over the whole frame, in pixels of the file."""

    raw: bool = False
    """A raw companion lies beside the file."""
    fault: Literal["", "empty", "truncated", "no-date", "no-exif", "foreign"] = ""
    gps: tuple[float, float, float] | None = None
    """Latitude, longitude, altitude."""
    composite_deg: tuple[float, float] | None = None
    """Span of the composite for ``look="composite"``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a frame stands in its set. Yaw from the set's middle."""

    file: str
    row: int = 0
    view: int = 0
    leg: int = 0
    step: int = 0
    spare: bool = False
    yaw_deg: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """A finding that was planted. ``frames`` empty: the code is enough."""

    code: str
    frames: tuple[str, ...] = ()
    required: bool = True
    """False: neither its presence nor its absence is a mistake."""
    says: str = ""
    """Words of its message, for a code that is told for several reasons."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Overlap:
    """The share of the frame that two neighbouring views have in common."""

    a: str
    b: str
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TruthSet:
    """What a practitioner would call one set."""

    kind: SetKind
    situation: str
    places: tuple[Place, ...]
    rows: int = 1
    views: int = 1
    legs: int = 1
    steps: int = 1
    closed: bool = False
    span_deg: float | None = None
    direction: str | None = None
    camera_roll_deg: float | None = None
    base_tilt_deg: float | None = None
    overlaps: tuple[Overlap, ...] = ()
    findings: tuple[Expected, ...] = ()
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A card dump to be: every shot, and the truth about it."""

    name: str
    seed: int
    shots: tuple[Shot, ...]
    sets: tuple[TruthSet, ...] = ()
    singles: tuple[tuple[str, str], ...] = ()
    """(file, situation)."""
    either: tuple[str, ...] = ()
    never: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """(kind, files): files that may be singles or some other set, but not one of this kind."""
    dividers: tuple[str, ...] = ()
    previews: tuple[tuple[str, int | None], ...] = ()
    """(file, index of its set)."""
    copies: tuple[tuple[str, str], ...] = ()
    """(new file, file it is a copy of)."""
    findings: tuple[Expected, ...] = ()
    unread: tuple[tuple[str, str], ...] = ()
    """(file, reason)."""
    clock_offsets_s: tuple[tuple[str, float], ...] = ()
    """(body key, seconds that its clock is ahead of the first body's)."""
    situations: dict[str, str] = field(default_factory=dict)
    """Situation of each frame."""
    settings: str = ""
    """What the photographer's settings file says (TOML), a brief for instance; empty: no file."""
