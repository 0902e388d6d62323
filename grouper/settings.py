"""Every threshold in force, its unit in its name and its reason beside it.

Settings are an argument everywhere. They are read from TOML with one table per section; an
unknown key or a value of the wrong type is an error that names the key and the nearest
right one.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, cast

from grouper.errors import BadSettings


def setting(
    default: Any, why: str, *, least: float | None = None, most: float | None = None
) -> Any:
    """A dataclass field with the reason for its default and the range that makes sense."""
    return field(default=default, metadata={"why": why, "least": least, "most": most})


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadSettings:
    """Reading files."""

    ignore: tuple[str, ...] = setting(
        (), "Glob patterns (relative to the card) of files that are not to be read at all."
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SightSettings:
    """Looking at the small pictures."""

    enabled: bool = setting(
        True, "Pictures decide what time alone cannot; --no-sight turns this off."
    )
    shelved: int = setting(
        5000,
        "Pictures kept packed, about 12 kB each, so that an ordinary card is decoded once: "
        "60 MB of the memory budget.",
        least=2,
        most=100_000,
    )
    kept: int = setting(
        128,
        "Pictures kept unpacked for the next comparison, about 0.2 MB each: a long row and "
        "its neighbour.",
        least=2,
        most=5000,
    )
    ahead: int = setting(
        16,
        "Pairs whose pictures are decoded ahead of the comparison: enough to keep the threads "
        "busy, few enough to cost no memory.",
        least=0,
        most=1000,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupSettings:
    """Turning frames into sets."""

    same_exposure_ev: float = setting(
        0.17,
        "Two frames count as equally exposed within this: raw marked values may be off by up "
        "to 0.163 EV against the exact series (brute force over the third-stop marks).",
        least=0.0,
        most=0.5,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckSettings:
    """Thresholds of the checks, each named after its code; shared ones come first."""

    same_exposure_ev: float = setting(
        0.10,
        "Exposure settings count as equal within this once marks are snapped to the exact "
        "series: snapping leaves at most 0.05 EV, the smallest step a body offers is 0.33.",
        least=0.0,
        most=0.5,
    )
    trusted_sighting: float = setting(
        0.8,
        "Certainty from which two pictures count as overlapping as they show: four in five, "
        "below it angles and file numbers speak first.",
        least=0.5,
        most=1.0,
    )
    rejected_sighting: float = setting(
        0.1,
        "Certainty up to which two pictures count as showing no common ground; between the "
        "two thresholds nothing is said.",
        least=0.0,
        most=0.5,
    )
    rejected_score: float = setting(
        0.4,
        "Correlation up to which a rejected pair shows no common ground: measured, unrelated "
        "pictures reach 0.2-0.3 at their best fit, true neighbours hard to match about 0.55.",
        least=0.0,
        most=1.0,
    )
    even_steps: float = setting(
        1.35,
        "Steps count as even while the largest is within this factor of the middle one: "
        "hand-held sweeps vary by about a third, click-stop heads by a few hundredths "
        "(common practice, no source).",
        least=1.0,
        most=2.0,
    )
    missing_frame_steps: float = setting(
        1.6,
        "A step this many times the usual one has left out a view: two steps in one are 1.6 to "
        "2.4 usual ones while each is even to a fifth.",
        least=1.2,
        most=3.0,
    )
    missing_frame_overlap: float = setting(
        0.10,
        "Overlap below which joining fails as a rule: 10-15 % (common practice, no source).",
        least=0.0,
        most=0.5,
    )
    covered_overlap: float = setting(
        0.30,
        "In an even sweep a view left out is not reported where the two beside it still overlap "
        "by this much: as much as a sweep is planned with (25-33 % on a tripod, common practice).",
        least=0.0,
        most=0.9,
    )
    missing_frame_intervals: float = setting(
        1.6,
        "In an interval series a pause this many times the usual one has left out a frame; "
        "timers keep theirs to well under a second (common practice, no source).",
        least=1.2,
        most=3.0,
    )
    thin_overlap_share: float = setting(
        0.20,
        "Overlap below which automatic matching becomes unsafe: 20 % (common practice; "
        "textbooks ask for 15-40 or 30-50 %).",
        least=0.0,
        most=0.5,
    )
    uneven_bracket_ev: float = setting(
        0.25,
        "Legs count as evenly spaced while their steps differ by less: half a stop's grid is the "
        "next finer setting, marks snapped to thirds leave 0.05 EV.",
        least=0.05,
        most=1.0,
    )
    short_stack_steps: float = setting(
        1.8,
        "In a focus stack a step in dioptres this many times the usual one has left out a "
        "frame; recorded distances are coarse, so twice is nearly asked for.",
        least=1.3,
        most=3.0,
    )
    short_row_steps: float = setting(
        0.6,
        "A row that ends this many steps before the others is short; rows set half a step apart, "
        "like bricks, are not.",
        least=0.1,
        most=5.0,
    )
    tilted_base_deg: float = setting(
        2.0,
        "A base leaning by more is worth a warning (common practice); levels in bodies are good "
        "to about half a degree to one degree.",
        least=0.1,
        most=45.0,
    )
    tilted_base_loss: float = setting(
        0.05,
        "Share of the height lost to a leaning base from which to warn whatever the angle: a "
        "twentieth is about what framing leaves to spare (common practice, no source).",
        least=0.0,
        most=1.0,
    )
    rolled_camera_deg: float = setting(
        2.0,
        "A camera rolled by more is worth a warning (common practice, no source).",
        least=0.1,
        most=45.0,
    )
    drifting_row_share: float = setting(
        0.10,
        "A row may climb or sink by this share of the frame's height: textbooks ask to keep "
        "vertical misalignment under about a tenth (Curtin, Short Courses).",
        least=0.0,
        most=1.0,
    )
    parallax_offset_mm: float = setting(
        80.0,
        "Distance from the turning axis to the entrance pupil: a plain head turns about the "
        "tripod screw, 60-100 mm behind it (common practice). 0 for a panorama head set up well.",
        least=0.0,
        most=1000.0,
    )
    parallax_shift_px: float = setting(
        3.0,
        "Shift against the background that blending hides as a rule: 3 px (common practice).",
        least=0.1,
        most=1000.0,
    )
    parallax_near_m: float = setting(
        3.0,
        "Focus nearer than this says that something near matters; farther, nothing is known of "
        "what is near (common practice, no source).",
        least=0.0,
        most=1000.0,
    )
    shallow_focus_far_m: float = setting(
        50.0,
        "Sharpness that ends nearer than this leaves the background soft (common practice).",
        least=0.0,
    )
    too_wide_deg: float = setting(
        120.0,
        "A flat picture stretches its edge fourfold at this span (1/cos² of half of it).",
        least=30.0,
        most=179.0,
    )
    clipped_highlights_share: float = setting(
        0.05,
        "Share of the picture with a channel at its end in the darkest exposure: the sun and its "
        "glare take 1-2 %, a burnt-out sky far more (common practice, no source).",
        least=0.0,
        most=1.0,
    )
    blocked_shadows_share: float = setting(
        0.10,
        "Share of the picture without detail in the brightest exposure: a tenth is more than "
        "deep shade in daylight takes (common practice, no source).",
        least=0.0,
        most=1.0,
    )
    soft_frame_share: float = setting(
        0.65,
        "Sharpness below this share of its fellows' is a blurred frame: measured on rendered "
        "sweeps, sharp views lie at 0.8-1.2 of their neighbours, grossly blurred ones at 0.4-0.6.",
        least=0.05,
        most=1.0,
    )
    soft_frame_below: float = setting(
        0.75,
        "In a sweep a soft frame must also stay below this share of every other view's "
        "sharpness, so that scenes of uneven detail do not speak.",
        least=0.05,
        most=1.0,
    )
    number_gap_each: int = setting(
        8,
        "Up to so many gaps outside sets are told one by one for each body; more are summed up, "
        "as after clearing out rejects (common practice, no source).",
        least=0,
    )
    moved_subject_drop: float = setting(
        0.2,
        "Correlation between two frames of one view this far below the set's usual: exposure "
        "alone costs every view alike (common practice, no source).",
        least=0.01,
        most=1.0,
    )
    moved_subject_least: float = setting(
        0.5,
        "With no other views to compare, correlation between two frames of one view below this.",
        least=0.0,
        most=1.0,
    )
    mixed_focal_length_share: float = setting(
        0.01,
        "Focal lengths count as equal within this share: 1 % moves the edge of a 6000 px frame "
        "by 30 px, more than an automatic join hides.",
        least=0.0,
        most=0.2,
    )
    mixed_size_share: float = setting(
        0.02,
        "Picture sizes count as equal within this share of a side: raw files hold a border of "
        "up to about 1 % that their JPEG lacks; the next smaller setting is far below.",
        least=0.0,
        most=0.2,
    )
    mixed_focus_dioptres: float = setting(
        0.1,
        "Focus distances count as equal within this: recorded distances are coarse towards the "
        "far end, where 10 m and infinity are 0.1 dioptre apart.",
        least=0.0,
        most=2.0,
    )
    mixed_white_balance_mired: float = setting(
        5.0,
        "Recorded colour temperatures count as equal within this: 5 mired is about the least "
        "difference seen between two pictures side by side (from memory).",
        least=0.0,
        most=50.0,
    )
    steep_pitch_deg: float = setting(
        60.0,
        "Beyond this pitch a body's gravity sensor cannot tell upright from across and rows hold "
        "few frames, so orientation and row ends are not judged (common practice, no source).",
        least=20.0,
        most=90.0,
    )
    number_gap_most: int = setting(
        200,
        "A longer run of missing file numbers is another card or a new numbering, not frames "
        "that went missing; as many as the smallest folder limit of known bodies.",
        least=1,
        most=9998,
    )
    lone_companion_run: int = setting(
        3,
        "Up to so many frames in a row without their companion are odd; a longer run was a "
        "change of the quality setting (common practice, no source).",
        least=1,
        most=100,
    )
    set_in_doubt_below: float = setting(
        0.6,
        "A set whose chance of being exactly right is below this is worth a look: more than two "
        "in five such sets are wrong.",
        least=0.0,
        most=1.0,
    )
    clock_jump_s: float = setting(
        2.0,
        "Smaller steps of a clock are rounding: times kept in whole seconds differ by up to two.",
        least=0.0,
        most=3600.0,
    )
    clock_offset_s: float = setting(
        2.0,
        "Smaller differences between two bodies' clocks are rounding: whole seconds on both.",
        least=0.0,
        most=3600.0,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """All settings of a run. The default is a sensible run."""

    read: ReadSettings = field(default_factory=ReadSettings)
    sight: SightSettings = field(default_factory=SightSettings)
    group: GroupSettings = field(default_factory=GroupSettings)
    check: CheckSettings = field(default_factory=CheckSettings)
    severity: tuple[tuple[str, str], ...] = ()
    """(code, "problem" | "warning" | "note" | "off"): moves or silences a finding code."""


_SECTIONS = ("read", "sight", "group", "check")


def load_settings(path: Path) -> Settings:
    """Read settings from a TOML file.

    Raises:
        BadSettings: the file is missing or not TOML, or a key or a value is not usable.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise BadSettings(f"{path}: cannot read these settings: {error}") from error
    return settings_from(data, str(path))


def settings_from(data: dict[str, Any], where: str = "settings") -> Settings:
    """Build settings from parsed TOML.

    Raises:
        BadSettings: naming the key and, where there is one, the nearest right key.
    """
    settings = Settings()
    for name, table in data.items():
        if name == "severity":
            settings = replace(settings, severity=_severity(table, where))
        elif name in _SECTIONS:
            section = _section(getattr(settings, name), table, f"{where}: [{name}]")
            settings = replace(settings, **{name: section})
        else:
            raise BadSettings(
                f"{where}: no section [{name}]{_nearest(name, (*_SECTIONS, 'severity'))}"
            )
    return settings


def settings_table(settings: Settings) -> dict[str, Any]:
    """Settings as plain JSON values, every threshold in force, keys in a stable order."""
    table: dict[str, Any] = {
        name: {
            item.name: _plain(getattr(getattr(settings, name), item.name))
            for item in fields(getattr(settings, name))
        }
        for name in _SECTIONS
    }
    table["severity"] = dict(settings.severity)
    return table


def _plain(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _severity(table: Any, where: str) -> tuple[tuple[str, str], ...]:
    allowed = ("problem", "warning", "note", "off")
    if not isinstance(table, dict):
        raise BadSettings(f"{where}: [severity] must be a table of code = level")
    for code, level in table.items():
        if level not in allowed:
            raise BadSettings(
                f"{where}: [severity] {code}: {level!r} is none of {', '.join(allowed)}"
            )
    return tuple(sorted((str(code), str(level)) for code, level in table.items()))


def _section(section: Any, table: Any, where: str) -> Any:
    if not isinstance(table, dict):
        raise BadSettings(f"{where} must be a table")
    known = {item.name: item for item in fields(section)}
    changes: dict[str, Any] = {}
    for key, value in table.items():
        if key not in known:
            raise BadSettings(f"{where} has no key {key!r}{_nearest(key, tuple(known))}")
        changes[key] = _value(value, getattr(section, key), known[key].metadata, f"{where} {key}")
    return replace(section, **changes)


def _value(value: Any, default: Any, limits: Any, where: str) -> Any:
    if isinstance(default, bool):
        good = isinstance(value, bool)
    elif isinstance(default, int):
        good = isinstance(value, int) and not isinstance(value, bool)
    elif isinstance(default, float):
        good = isinstance(value, int | float) and not isinstance(value, bool)
        value = float(value) if good else value
    elif isinstance(default, tuple):
        good = isinstance(value, list) and all(isinstance(item, str) for item in value)
        value = tuple(value) if good else value
    else:
        good = isinstance(value, str)
    if not good:
        raise BadSettings(f"{where}: {value!r} is not of the kind {type(default).__name__}")
    least, most = limits.get("least"), limits.get("most")
    if least is not None and cast(float, value) < least:
        raise BadSettings(f"{where}: {value} is below {least}, the least that makes sense")
    if most is not None and cast(float, value) > most:
        raise BadSettings(f"{where}: {value} is above {most}, the most that makes sense")
    return value


def _nearest(word: str, known: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(word, known, n=1)
    return f"; did you mean {close[0]!r}?" if close else f"; known are {', '.join(known)}"
