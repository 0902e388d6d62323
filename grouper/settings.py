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
    kept: int = setting(
        192,
        "Prepared pictures kept for the next comparison, about 0.3 MB each: a long row and "
        "its neighbour, and far below the memory budget.",
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
    """Thresholds of the checks. Each is named after its code."""


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
