"""Every threshold in force, its unit in its name and its reason beside it.

Settings are an argument everywhere. They are read from TOML with one table per section; an
unknown key or a value of the wrong type is an error that names the key and the nearest
right one.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any, cast, get_args

from grouper.errors import BadSettings
from grouper.model import SetKind


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
    follow_links: bool = setting(
        True,
        "A link to a file outside the card counts as that file: folders of links are a usual way "
        "to gather frames. The service never follows any, for others can write to its inbox.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SightSettings:
    """Looking at the small pictures."""

    enabled: bool = setting(
        True, "Pictures decide what time alone cannot; --no-sight turns this off."
    )
    shelved: int = setting(
        600,
        "Pictures kept packed in memory, about 11 kB each: a part of a long day, which is gone "
        "through part by part. Those used before lie in a temporary file.",
        least=2,
        most=100_000,
    )
    kept: int = setting(
        48,
        "Pictures kept unpacked for the next comparison, about 0.2 MB each, and some MB of spectra "
        "of the last: a long row and its neighbour.",
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

    preview_within_s: float = setting(
        3600.0,
        "A preview belongs to a panorama shot within the hour around it (common practice, no "
        "source).",
        least=0.0,
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
        0.5,
        "Certainty up to which two pictures count as showing no common ground: below even odds "
        "their best fit is likelier chance, if it correlates no better than unrelated pictures do; "
        "between this and the trusted ones nothing is said.",
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
        "Share of the picture that is white in the darkest exposure: the sun and its glare take "
        "1-2 %, a burnt-out sky far more (common practice, no source). Half of the frames with so "
        "much of any one channel at its end are bright blue skies that hold detail (measured on "
        "rendered days and real sets).",
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
        0.58,
        "Sharpness below this share of its fellows' is a blurred frame: measured on rendered "
        "sweeps, sharp views lie at 0.8-1.2 of their neighbours and, where the scene is uneven, "
        "down to 0.61; grossly blurred ones at 0.4-0.56.",
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
        0.15,
        "Correlation between two frames of one view this far below the set's usual: exposure "
        "alone costs every view alike. Measured: still views of rendered bracketed sweeps lie "
        "within 0.12 of theirs; a tenth of the picture moved costs 0.13, a fifth 0.30.",
        least=0.01,
        most=1.0,
    )
    moved_subject_least: float = setting(
        0.8,
        "With no other views to compare, correlation between two frames of one view below this. "
        "Measured on 12 real and rendered cards, still pairs up to 4 EV apart agree to 0.85 and "
        "better; a tenth of the picture moved leaves 0.84, a fifth 0.68.",
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
class BriefSettings:
    """What whoever shoots was asked for. ``None`` asks for nothing; see ``brief-unmet``.

    A range is (least, most), both of them allowed.
    """

    kinds: tuple[str, ...] = setting(
        ("panorama",), "Kinds of set the brief is about: rig tests and bursts are nobody's order."
    )
    aperture_f: tuple[float, float] | None = setting(None, "f-numbers allowed.")
    iso_most: float | None = setting(None, "Highest ISO allowed.")
    slowest_s: float | None = setting(
        None, "Longest exposure allowed, every leg of a bracket included."
    )
    orientation: str | None = setting(None, "How the camera is to be held: upright or across.")
    focal_mm: tuple[float, ...] | None = setting(None, "Focal lengths allowed.")
    views: tuple[int, int] | None = setting(None, "Views of a panorama.")
    rows: tuple[int, int] | None = setting(None, "Rows of a panorama.")
    legs: tuple[int, int] | None = setting(None, "Exposures of every view.")
    overlap_least: float | None = setting(None, "Overlap of every two neighbours, at least.")
    span_deg_least: float | None = setting(None, "Angle across that a panorama is to show.")
    closed: bool | None = setting(None, "Whether a full turn is asked for.")
    locked: tuple[str, ...] | None = setting(
        None, "What must not be automatic: exposure, iso, white-balance, focus."
    )

    @property
    def asks(self) -> bool:
        """Whether there is a brief at all."""
        return any(
            getattr(self, item.name) is not None for item in fields(self) if item.name != "kinds"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class RigLens:
    """Where on its rail a lens turns about its entrance pupil.

    ``marks_mm`` are pairs (focal length, rail mark), by focal length; the rail's zero is the
    photographer's own. ``stood_mm`` is the mark the rail really stood at, if that is known.
    """

    lens: str
    marks_mm: tuple[tuple[float, float], ...]
    stood_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WatchSettings:
    """The service that watches an inbox. 0 turns a limit off where it says so."""

    settle_s: float = setting(
        20.0,
        "A card is judged once its files were still for this long: copying tools and network "
        "shares pause for some seconds between files and write what they hold back within five "
        "to fifteen (common practice, no source).",
        least=0.05,
        most=86_400.0,
    )
    rescan_s: float = setting(
        600.0,
        "Everything is looked over so often even where events come, for events can be lost: ten "
        "minutes cost a disk little and are soon enough for what hardly ever happens.",
        least=0.5,
        most=86_400.0,
    )
    poll_s: float = setting(
        5.0,
        "Where no events come, so often; never more than a tenth of the time is spent looking.",
        least=0.05,
        most=3600.0,
    )
    retry_s: float = setting(
        60.0,
        "First wait before a card that failed is tried again; each further one is four times as "
        "long. A card that changes is tried at once.",
        least=0.05,
        most=86_400.0,
    )
    retry_most_s: float = setting(
        3600.0,
        "Longest such wait: trouble that mends itself (a full disk, a share that was away) is "
        "over within the hour of its end.",
        least=0.05,
        most=604_800.0,
    )
    files_most: int = setting(
        100_000,
        "Files a card may hold: ten full folders of 9,999 frames (CIPA DC-009).",
        least=1,
        most=10_000_000,
    )
    read_most_mb: int = setting(
        100_000,
        "Megabytes that may be read of one card: 3,000 pictures without previews, each of 10 MB "
        "and read whole three times. 0: no limit.",
        least=0,
    )
    memory_most_mb: int = setting(
        2048,
        "Memory of the process that groups: 100,000 frames take about half of it. 0: no limit.",
        least=0,
    )
    card_most_s: float = setting(
        3600.0,
        "Time for one card: a full card takes minutes, on a slow share perhaps half an hour.",
        least=0.1,
        most=604_800.0,
    )
    worker_cards: int = setting(
        50,
        "Cards after which the process that groups is replaced, so that a leak in a decoder stays "
        "small: starting one costs about as much as a small card.",
        least=1,
        most=100_000,
    )
    free_least_mb: int = setting(
        200,
        "Free space that the output folder's disk must have before a card is grouped; a large "
        "card's outputs take up to 100 MB. 0: no limit.",
        least=0,
    )
    hook_most_s: float = setting(
        60.0,
        "Time for a command of yours: a message sent or a list queued takes seconds.",
        least=0.1,
        most=86_400.0,
    )
    keep_days: int = setting(
        0,
        "Days after which outputs of cards that left the inbox are removed. 0: never; a report "
        "may be the last word on a card.",
        least=0,
        most=36_500,
    )
    outputs_most_mb: int = setting(
        0,
        "Space that all outputs may take before those of cards that left the inbox go, the "
        "longest gone first. 0: no limit.",
        least=0,
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
    brief: BriefSettings = field(default_factory=BriefSettings)
    rig: tuple[RigLens, ...] = ()
    """The lenses whose rail marks are known, in the order of their names."""
    watch: WatchSettings = field(default_factory=WatchSettings)


_SECTIONS = ("read", "sight", "group", "check")
_SERVICE = ("watch",)
"""Settings that say when a card is grouped and not how: they stand in no manifest."""


def load_settings(path: Path) -> Settings:
    """Read settings from a TOML file.

    Raises:
        BadSettings: the file is missing or not TOML, or a key or a value is not usable.
    """
    try:
        # Some editors put a byte order mark before UTF-8, which TOML does not know.
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (FileNotFoundError, NotADirectoryError) as error:
        raise BadSettings(
            f"{path}: there is no such settings file; check the name, or leave --settings out "
            "to run with the defaults"
        ) from error
    except IsADirectoryError as error:
        raise BadSettings(f"{path}: this is a folder; name the settings file in it") from error
    except PermissionError as error:
        raise BadSettings(
            f"{path}: not allowed to read this settings file; make it readable"
        ) from error
    except OSError as error:
        reason = error.strerror or error
        raise BadSettings(f"{path}: the settings file cannot be read: {reason}") from error
    except UnicodeDecodeError as error:
        raise BadSettings(f"{path}: not UTF-8 text, so no TOML; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise BadSettings(f"{path}: this is not TOML: {error}") from error
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
        elif name in _SECTIONS or name in _SERVICE:
            section = _section(getattr(settings, name), table, f"{where}: [{name}]")
            settings = replace(settings, **{name: section})
        elif name == "brief":
            settings = replace(settings, brief=_brief(table, f"{where}: [brief]"))
        elif name == "rig":
            settings = replace(settings, rig=_rig(table, f"{where}: [rig"))
        else:
            known = (*_SECTIONS, *_SERVICE, "severity", "brief", "rig")
            raise BadSettings(f"{where}: no section [{name}]{_nearest(name, known)}")
    return settings


def settings_table(settings: Settings) -> dict[str, Any]:
    """Settings as plain JSON values, every threshold in force, keys in a stable order.

    The service's own are left out: they do not change what comes out.
    """
    table: dict[str, Any] = {
        name: {
            item.name: _plain(getattr(getattr(settings, name), item.name))
            for item in fields(getattr(settings, name))
        }
        for name in (*_SECTIONS, "brief")
    }
    table["severity"] = dict(settings.severity)
    table["rig"] = {
        lens.lens: {"marks_mm": [list(mark) for mark in lens.marks_mm], "stood_mm": lens.stood_mm}
        for lens in settings.rig
    }
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


# --- The brief and the rig: what is wanted and what is owned, not thresholds ---------------


def _brief(table: Any, where: str) -> BriefSettings:
    if not isinstance(table, dict):
        raise BadSettings(f"{where} must be a table")
    known = tuple(item.name for item in fields(BriefSettings))
    changes = {}
    for key, value in table.items():
        if key not in known:
            raise BadSettings(f"{where} has no key {key!r}{_nearest(key, known)}")
        changes[key] = _BRIEF[key](value, f"{where} {key}")
    return BriefSettings(**changes)


def _number(value: Any, where: str, least: float = 0.0, most: float | None = None) -> float:
    """A finite number above ``least`` and not above ``most``."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise BadSettings(f"{where}: {value!r} is not a number")
    if not math.isfinite(value) or value <= least or (most is not None and value > most):
        upper = "" if most is None else f" and not above {most:g}"
        raise BadSettings(f"{where}: {value} makes no sense; it must be above {least:g}{upper}")
    return float(value)


def _share(value: Any, where: str) -> float:
    return _number(value, where, most=1.0)


def _turn(value: Any, where: str) -> float:
    return _number(value, where, most=360.0)


def _flag(value: Any, where: str) -> bool:
    if not isinstance(value, bool):
        raise BadSettings(f"{where}: {value!r} is neither true nor false")
    return value


def _seconds(value: Any, where: str) -> float:
    """Seconds as a number, or as cameras show them: ``"1/60"``."""
    if isinstance(value, str):
        top, stroke, bottom = value.partition("/")
        try:
            value = float(top) / float(bottom) if stroke else float(top)
        except (ValueError, ZeroDivisionError) as error:
            raise BadSettings(f'{where}: {value!r} is no time; such as 0.5 or "1/60"') from error
    return _number(value, where)


def _range(value: Any, where: str) -> tuple[float, float]:
    """Two numbers, least and most; one number stands for both."""
    pair = value if isinstance(value, list) else [value, value]
    if len(pair) != 2:
        raise BadSettings(f"{where}: {value!r} is neither a number nor [least, most]")
    least, most = (_number(item, where) for item in pair)
    if least > most:
        raise BadSettings(f"{where}: {least:g} is more than {most:g}; write [least, most]")
    return least, most


def _count_range(value: Any, where: str) -> tuple[int, int]:
    least, most = _range(value, where)
    if least != int(least) or most != int(most):
        raise BadSettings(f"{where}: {value!r} counts things; whole numbers only")
    return int(least), int(most)


def _numbers(value: Any, where: str) -> tuple[float, ...]:
    items = value if isinstance(value, list) else [value]
    if not items:
        raise BadSettings(f"{where}: an empty list allows nothing; leave the key out")
    return tuple(sorted(_number(item, where) for item in items))


def _one_of(*words: str) -> Callable[[Any, str], str]:
    def parse(value: Any, where: str) -> str:
        if not isinstance(value, str) or value not in words:
            raise BadSettings(f"{where}: {value!r} is none of {', '.join(words)}")
        return value

    return parse


def _some_of(*words: str) -> Callable[[Any, str], tuple[str, ...]]:
    one = _one_of(*words)

    def parse(value: Any, where: str) -> tuple[str, ...]:
        if not isinstance(value, list) or not value:
            raise BadSettings(f"{where}: {value!r} is no list of some of {', '.join(words)}")
        said = [one(item, where) for item in value]
        return tuple(word for word in words if word in said)

    return parse


_BRIEF: dict[str, Callable[[Any, str], Any]] = {
    "kinds": _some_of(*get_args(SetKind)),
    "aperture_f": _range,
    "iso_most": _number,
    "slowest_s": _seconds,
    "orientation": _one_of("upright", "across"),
    "focal_mm": _numbers,
    "views": _count_range,
    "rows": _count_range,
    "legs": _count_range,
    "overlap_least": _share,
    "span_deg_least": _turn,
    "closed": _flag,
    "locked": _some_of("exposure", "iso", "white-balance", "focus"),
}
"""How each key of the brief is read; a test holds it to the fields."""


def _rig(table: Any, where: str) -> tuple[RigLens, ...]:
    if not isinstance(table, dict):
        raise BadSettings(f'{where}] must hold a table for each lens: [rig."name of the lens"]')
    return tuple(_rig_lens(name, table[name], f"{where}.{name!r}]") for name in sorted(table))


def _rig_lens(name: str, table: Any, where: str) -> RigLens:
    if not isinstance(table, dict):
        raise BadSettings(f"{where} must be a table with marks_mm = [[focal length, mark], ...]")
    for key in table:
        if key not in ("marks_mm", "stood_mm"):
            known = ("marks_mm", "stood_mm")
            raise BadSettings(f"{where} has no key {key!r}{_nearest(key, known)}")
    marks = table.get("marks_mm")
    if not isinstance(marks, list) or not marks:
        raise BadSettings(f"{where} marks_mm must list pairs: [[focal length, mark], ...]")
    pairs: dict[float, float] = {}
    for mark in marks:
        if not isinstance(mark, list) or len(mark) != 2:
            raise BadSettings(f"{where} marks_mm: {mark!r} is no pair [focal length, mark]")
        focal = _number(mark[0], f"{where} marks_mm")
        if focal in pairs:
            raise BadSettings(f"{where} marks_mm: {focal:g} mm has two marks")
        pairs[focal] = _mark(mark[1], f"{where} marks_mm")
    stood = table.get("stood_mm")
    return RigLens(
        lens=name,
        marks_mm=tuple(sorted(pairs.items())),
        stood_mm=None if stood is None else _mark(stood, f"{where} stood_mm"),
    )


def _mark(value: Any, where: str) -> float:
    """A place on a rail: any finite number, for the zero may lie anywhere."""
    return _number(value, where, least=-math.inf)


_LISTED = 12
"""So many names still help in a sentence; more bury it."""


def _nearest(word: str, known: tuple[str, ...]) -> str:
    close = difflib.get_close_matches(word, known, n=1)
    if close:
        return f"; did you mean {close[0]!r}?"
    if len(known) <= _LISTED:
        return f"; known are {', '.join(known)}"
    return (
        f'; it has {len(known)} keys, all of which stand under "settings" in the card.json of '
        "any run"
    )
