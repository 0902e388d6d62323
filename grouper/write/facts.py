"""The settings of a set's frames: what all share said once, the rest as a table. Pure."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from grouper.model import Frame, Member, Set, camera_name
from grouper.write.shots import Album, Shot, exposure, places, signed

UNKNOWN = "-"


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A cell; ``code`` names the finding that calls it odd."""

    text: str
    code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A frame's line in the table."""

    shot: Shot
    place: str
    values: tuple[Value, ...]
    companions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """The same in all frames as pairs of name and value; what varies as a table."""

    same: tuple[tuple[str, str], ...]
    heads: tuple[str, ...]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class _Column:
    head: str
    read: Callable[[Member], str]
    code: str = ""
    """The finding that is about this setting."""
    is_setting: bool = True
    """Measured values are worth a column, but say nothing where all are alike."""


def settings_of(one: Set, album: Album) -> Facts:
    """A set's settings, the odd ones marked by the findings that name them."""
    odd = {finding.code: frozenset(finding.frames) for finding in one.findings}
    columns: list[tuple[_Column, list[str]]] = []
    same: list[tuple[str, str]] = []
    for column in _COLUMNS:
        values = [column.read(member) for member in one.members]
        if len(set(values)) > 1:
            columns.append((column, values))
        elif values[0] != UNKNOWN and column.is_setting:
            same.append((column.head, values[0]))
    lines = [
        Line(
            shot=album.member(one, member),
            place=", ".join(places(one, member)),
            values=tuple(
                Value(
                    text=values[at],
                    code=column.code
                    if member.frame.file in odd.get(column.code, frozenset())
                    else "",
                )
                for column, values in columns
            ),
            companions=member.frame.companions,
        )
        for at, member in enumerate(one.members)
    ]
    return Facts(
        same=tuple(same),
        heads=tuple(column.head for column, _ in columns),
        lines=tuple(lines),
    )


def _of(read: Callable[[Frame], str | None]) -> Callable[[Member], str]:
    return lambda member: read(member.frame) or UNKNOWN


def _number(name: str, form: str) -> Callable[[Member], str]:
    def read(member: Member) -> str:
        value = getattr(member.frame, name)
        if value is None:
            return UNKNOWN
        return "∞" if math.isinf(value) else form.format(value)

    return read


def _angle(name: str) -> Callable[[Member], str]:
    def read(member: Member) -> str:
        value = getattr(member.pointing, name)
        return UNKNOWN if value is None else f"{signed(value)}°"

    return read


def _yes_no(name: str, words: tuple[str, str]) -> Callable[[Member], str]:
    def read(member: Member) -> str:
        value = getattr(member.frame, name)
        return UNKNOWN if value is None else words[bool(value)]

    return read


def _balance(frame: Frame) -> str | None:
    said = [text for text in (frame.white_balance, frame.white_balance_detail) if text]
    return ", ".join(said) or None


def _size(frame: Frame) -> str | None:
    return None if frame.upright_px is None else "{} × {}".format(*frame.upright_px)


def _camera(frame: Frame) -> str | None:
    return camera_name(frame.make, frame.model) or None


_COLUMNS: tuple[_Column, ...] = (
    _Column("taken", _of(lambda f: f"{f.taken:%H:%M:%S}" if f.taken is not None else None)),
    _Column(
        "exposure",
        _of(lambda f: exposure(f.exposure_s) if f.exposure_s is not None else None),
        "mixed-shutter",
    ),
    _Column("light, EV", lambda m: signed(m.ev_offset), "uneven-bracket", False),
    _Column("aperture", _number("aperture_f", "f/{:g}"), "mixed-aperture"),
    _Column("ISO", _number("iso", "{:g}"), "mixed-iso"),
    _Column("program", _of(lambda f: f.program)),
    _Column("focal length", _number("focal_mm", "{:.4g} mm"), "mixed-focal-length"),
    _Column("focus", _number("focus_m", "{:.3g} m"), "mixed-focus"),
    _Column("focusing", _yes_no("focus_auto", ("manual", "automatic")), "auto-focus"),
    _Column("white balance", _of(_balance), "mixed-white-balance"),
    _Column("flash", _yes_no("flash_fired", ("off", "fired")), "mixed-flash"),
    _Column("lens", _of(lambda f: f.lens), "mixed-lens"),
    _Column("pixels", _of(_size), "mixed-size"),
    _Column(
        "held",
        _of(lambda f: None if f.is_upright is None else ("across", "upright")[f.is_upright]),
        "mixed-orientation",
    ),
    _Column("camera", _of(_camera)),
    _Column("yaw", _angle("yaw_deg"), is_setting=False),
    _Column("pitch", _angle("pitch_deg"), is_setting=False),
    _Column("roll", _angle("roll_deg"), is_setting=False),
)


def files_of_set(one: Set, folder: str, *, has_lists: bool) -> Iterator[tuple[str, str]]:
    """(path relative to the output folder, what it is for) of what is written for a set."""
    yield f"{folder}/set.json", "everything known of the set"
    if not has_lists:
        return
    yield f"{folder}/frames.txt", "its frames, a path a line"
    used = [member for member in one.members if not member.spare]
    numbers: Mapping[str, list[int]] = {
        "leg": sorted({member.leg for member in used}),
        "step": sorted({member.step for member in used}),
    }
    for word, found in numbers.items():
        for number in found if len(found) > 1 else []:
            yield f"{folder}/{word}-{number}.txt", f"{word} {number + 1} of each view"
