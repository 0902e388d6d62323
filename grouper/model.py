"""The records that every step takes and returns.

Frozen, slotted, standard library only, no I/O. Foreign values are translated before they
get here: SI units with the unit in the name, ``None`` for unknown, never a sentinel.
Angles are degrees; yaw grows to the right, pitch grows upwards, roll grows clockwise as
seen from behind the camera.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from grouper.lenses import LensMapping
    from grouper.settings import Settings

SetKind = Literal["panorama", "bracket", "focus-stack", "burst", "interval"]
Severity = Literal["problem", "warning", "note"]
UnreadReason = Literal[
    "empty", "truncated", "damaged", "no-metadata", "unknown-format", "not-permitted", "vanished"
]
PointingSource = Literal["pictures", "metadata", "assumed"]
Direction = Literal["right", "left", "up", "down", "mixed"]

SEVERITIES: tuple[Severity, ...] = ("problem", "warning", "note")
"""Worst first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureSource:
    """Where the smallest usable picture of a frame lies: read lazily, never kept here.

    ``file`` is relative to the card root (a companion's preview may serve the main file).
    ``offset`` and ``length`` delimit an embedded JPEG or raw RGB block; both ``None`` means
    that the whole file is the picture and has to be decoded (at reduced scale).
    """

    kind: Literal["thumbnail", "preview", "main"]
    file: str
    offset: int | None = None
    length: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Attitude:
    """How the camera was held, where it was recorded. Any angle may be unknown.

    ``sigma_deg`` is the standard deviation to be expected of the angles (camera levels
    about 0.5-1 degree, compasses several degrees).
    """

    yaw_deg: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    sigma_deg: float = 1.0


def camera_name(make: str | None, model: str | None) -> str:
    """Maker and model as one would say them: many makers repeat their name in the model."""
    first = (make or "").split()[:1]
    if model and first and model.lower().startswith(first[0].lower()):
        return model
    return " ".join(part for part in (make, model) if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One exposure, not one file. Anything may be ``None`` except the file itself.

    Paths are POSIX and relative to the card root. ``taken`` is the body's own wall clock,
    without a zone; ``taken_resolution_s`` says how finely it was recorded (1.0 where the
    sub-seconds are missing). ``width_px`` and ``height_px`` are the stored pixels before
    ``orientation`` is applied; ``upright_px`` is what a viewer shows.
    """

    file: str
    companions: tuple[str, ...] = ()
    size_bytes: int = 0
    digest: str | None = None
    """Content hash of the main file, only computed where two files look like copies."""

    make: str | None = None
    model: str | None = None
    serial: str | None = None
    lens: str | None = None
    lens_serial: str | None = None

    taken: datetime | None = None
    taken_resolution_s: float = 1.0
    utc_offset_min: int | None = None

    exposure_s: float | None = None
    aperture_f: float | None = None
    iso: float | None = None
    bias_ev: float | None = None
    program: Literal["manual", "aperture", "shutter", "auto"] | None = None
    """Who chose what: ``aperture`` and ``shutter`` name the setting the photographer held."""
    bracketing: bool | None = None
    """The body said that it was bracketing (Exif ExposureMode 2 or a maker note)."""
    white_balance: Literal["auto", "manual"] | None = None
    white_balance_detail: str | None = None
    """Light source or colour temperature where recorded, comparable within one body only."""
    iso_auto: bool | None = None
    focus_auto: bool | None = None
    flash_fired: bool | None = None

    focal_mm: float | None = None
    focal_35mm: float | None = None
    sensor_long_mm: float | None = None
    """Length of the sensor area that the picture's long side was taken from."""
    sensor_from: Literal["equivalent", "focal-plane", "body", "assumed"] = "assumed"
    focus_m: float | None = None
    """Focus distance in metres; ``math.inf`` for infinity."""

    width_px: int | None = None
    height_px: int | None = None
    orientation: int = 1
    """Exif orientation 1-8 still to be applied to the stored pixels."""
    composite: bool = False
    """The camera or a phone made this picture out of several (Exif CompositeImage 2 or 3,
    or XMP that marks a finished panorama)."""

    folder: str = ""
    counter: int | None = None
    """File number 1-9999 (DCF), or the digits that end the file's stem."""
    folder_number: int | None = None
    """DCF directory number 100-999."""
    shutter_count: int | None = None
    burst_number: int | None = None
    """Place in a burst or bracket as the body counted it."""

    attitude: Attitude | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    altitude_m: float | None = None

    picture: PictureSource | None = None
    software: str | None = None

    @property
    def upright_px(self) -> tuple[int, int] | None:
        """Width and height as a viewer shows the frame, or ``None`` when not known."""
        if self.width_px is None or self.height_px is None:
            return None
        if self.orientation in (5, 6, 7, 8):
            return self.height_px, self.width_px
        return self.width_px, self.height_px

    @property
    def is_upright(self) -> bool | None:
        """Whether the frame stands (taller than wide); ``None`` when not known."""
        size = self.upright_px
        return None if size is None else size[1] > size[0]

    @property
    def name(self) -> str:
        """The file name without folders."""
        return self.file.rsplit("/", 1)[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """A file that should have become a frame and did not, and why."""

    file: str
    reason: UnreadReason
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Glance:
    """What one small picture shows on its own. Levels are shares of full scale, 0..1."""

    mean: float
    spread: float
    """Standard deviation of the grey levels."""
    clipped_share: float
    """Share of pixels with a channel at or above the top of the scale."""
    blocked_share: float
    """Share of pixels at or below the bottom of the scale."""
    sharpness: float
    """Gradient energy relative to contrast: comparable between frames of one view only."""
    aspect: float
    """Width over height of the upright picture, bars cut off."""
    white_share: float | None = None
    """Share of pixels white or nearly so: no channel holds detail any more. ``None`` where it
    was not measured."""
    is_alike: bool = False
    """Whether it shows one profile from top to bottom in nearly every column, as the sea does:
    such pictures look the same in all directions."""
    focus_map: tuple[float, ...] = ()
    """Where the picture is sharp: natural log of Laplacian over gradient energy in 4 x 4 fields
    (row-major). Focus that moves shows as fields that rise, together or while others fall."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """What two small pictures tell together: how the camera turned from ``a`` to ``b``.

    ``certainty`` is the chance, 0..1, that the pictures do overlap as said. A pair that was
    looked at and shows no common ground has a low certainty and ``overlap`` 0; a pair that
    cannot be judged (no picture, featureless) has no Sighting at all.
    ``turn_deg`` is the rotation vector (x right, y down, z forward; axis times angle) that
    takes camera ``a`` to camera ``b``, in ``a``'s upright frame: turning right is +y,
    tilting up is +x, rolling clockwise is +z.
    """

    overlap: float
    """Common share of the frame's area, 0..1."""
    certainty: float
    turn_deg: tuple[float, float, float] = (0.0, 0.0, 0.0)
    shift_share: tuple[float, float] = (0.0, 0.0)
    """Shift right and up in shares of the frame's width and height: robust where the focal
    length is not known."""
    score: float = 0.0
    """Correlation over the overlap, -1..1."""
    margin: float = 1.0
    """Peak over runner-up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """What is known of two frames taken together; ``a`` was taken before ``b``."""

    a: str
    b: str
    pause_s: float | None = None
    """From the end of exposure ``a`` to the start of exposure ``b``."""
    changed: tuple[str, ...] = ()
    """Names of the Frame fields that differ and matter."""
    sighting: Sighting | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pointing:
    """Where a frame looks within its set. Any angle may be unknown."""

    yaw_deg: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Pointings of several frames solved together from their sightings.

    ``pointings`` are in the order of the frames that were asked for; a frame that no trusted
    sighting ties to the rest has ``Pointing()``. Yaw is relative to the first tied frame.
    """

    pointings: tuple[Pointing, ...]
    residual_deg: float
    """Root mean square misfit of the sightings used."""
    focal_scale: float = 1.0
    """Factor on the assumed focal length that makes the angles agree (1.0 if not seen)."""
    focal_share: float | None = None
    """The focal length that the angles rest on, in long sides of the picture; ``None`` where it is
    told neither by the metadata nor by the pictures."""
    mapping: LensMapping = "rectilinear"
    """How the lens is believed to draw."""
    closed: bool = False
    """The sightings run round a full turn."""
    camera_roll_deg: float | None = None
    """Roll of the camera about its own axis on a level base, from the staircase."""
    base_tilt_deg: float | None = None
    """Lean of the turning axis; ``None`` where nothing shows it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """A frame's place in its set. Rows, views, legs, steps count from 0."""

    frame: Frame
    row: int = 0
    view: int = 0
    """Number of the view within the whole set, rows first, in order of yaw within a row."""
    leg: int = 0
    step: int = 0
    spare: bool = False
    ev_offset: float = 0.0
    """Light recorded against the set's middle leg, in EV; positive is brighter."""
    pointing: Pointing = field(default_factory=Pointing)
    glance: Glance | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The shape of a panorama. Angles in degrees, pairs are (horizontal, vertical)."""

    rows: int
    views: int
    legs: int
    steps: int
    closed: bool
    direction: Direction
    span_deg: tuple[float, float] | None
    fov_deg: tuple[float, float] | None
    overlap_min: float | None
    overlap_median: float | None
    base_tilt_deg: float | None
    camera_roll_deg: float | None
    crop_loss: float | None
    projection: Literal["flat", "cylindrical", "spherical"] | None
    size_px: tuple[int, int] | None
    pointing_from: PointingSource
    mapping: LensMapping = "rectilinear"
    """How the lens draws: it tells what lies between the middle of a frame and its edge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something the photographer should know."""

    code: str
    severity: Severity
    frames: tuple[str, ...]
    message: str
    advice: str
    measured: Mapping[str, object] = field(default_factory=dict)
    set_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BriefLine:
    """One rule of the photographer's brief held against one set."""

    rule: str
    asked: str
    found: str
    passed: bool | None
    """``None``: what was recorded does not tell."""
    frames: tuple[str, ...] = ()
    """The frames that fail the rule; empty where it is met or concerns the whole set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Set:
    """Frames that belong together, in shooting order."""

    id: str
    kind: SetKind
    body: str
    members: tuple[Member, ...]
    confidence: float
    evidence: tuple[str, ...] = ()
    layout: Layout | None = None
    takes: tuple[str, ...] = ()
    links: tuple[Link, ...] = ()
    """What is known between neighbours in the layout; not written out, used by the checks."""
    findings: tuple[Finding, ...] = ()
    brief: tuple[BriefLine, ...] = ()
    """The brief's rules held against the set; empty where none is about it."""

    @property
    def frames(self) -> tuple[Frame, ...]:
        """The frames in shooting order, spares included."""
        return tuple(member.frame for member in self.members)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """One camera body seen on the card. ``id`` names it in every manifest."""

    id: str
    make: str | None
    model: str | None
    serial: str | None
    frames: int
    clock_offset_s: float | None = None
    """Seconds to add to this body's clock to agree with the first body; ``None`` unknown."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """A composite that the camera or a phone made, and the set it belongs to, if any."""

    file: str
    set_id: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """Everything the reading step found: ``files == frames' files + unread + ignored``.

    ``frames`` are in shooting order per body as far as the reader can tell (by path);
    grouping orders them properly.
    """

    root: str
    """Absolute path of the card, or of the folder common to several cards."""
    cards: tuple[str, ...]
    frames: tuple[Frame, ...]
    unread: tuple[Unread, ...] = ()
    ignored: tuple[str, ...] = ()
    """Files that are no pictures, relative to the root."""

    @property
    def files(self) -> int:
        """How many files were found in all."""
        own = sum(1 + len(frame.companions) for frame in self.frames)
        return own + len(self.unread) + len(self.ignored)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grouping:
    """What the grouping step made of a scan.

    Every frame is in exactly one of ``sets`` (as a member), ``singles``, ``dividers`` or
    ``previews``.
    """

    bodies: tuple[Body, ...]
    sets: tuple[Set, ...]
    singles: tuple[Frame, ...]
    dividers: tuple[Frame, ...] = ()
    previews: tuple[Preview, ...] = ()
    order: tuple[tuple[str, ...], ...] = ()
    """Files of each body in shooting order, bodies in the order of ``bodies``."""
    clock_steps: tuple[tuple[str, str, float], ...] = ()
    """(file before, file after, seconds the clock jumped against the counter)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Result:
    """A whole card, read, grouped and checked: all that a writer may need."""

    scan: Scan
    grouping: Grouping
    findings: tuple[Finding, ...]
    """Findings about the card as a whole; those about a set are in the set."""
    settings: Settings
    pictures: Mapping[str, bytes] = field(default_factory=dict, compare=False, repr=False)
    """Small upright JPEGs by main file, for people to look at; may be read when asked for.
    A frame without a picture that can be read is not in it."""
    fixed: Mapping[str, Any] = field(default_factory=dict, compare=False, repr=False)
    """Numbers that no setting changes, by where they stand, as JSON has them."""

    @property
    def sets(self) -> tuple[Set, ...]:
        """The sets by start time, with their findings."""
        return self.grouping.sets
