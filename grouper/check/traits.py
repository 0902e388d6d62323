"""The settings that the checks compare between frames: how to read, compare and show each.

A trait's ``excused`` names what a frame may differ by: the leg for the shutter, the step for
the focus. Frames are only compared with others of the same excuse.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Generic, TypeVar

from grouper import optics
from grouper.check import words
from grouper.model import Frame, Member, Set
from grouper.settings import CheckSettings

T = TypeVar("T", bound=Hashable)


def _nothing(member: Member) -> Hashable:
    return None


def _leg(member: Member) -> Hashable:
    return member.leg


def _step(member: Member) -> Hashable:
    return member.step


@dataclass(frozen=True, slots=True, kw_only=True)
class Trait(Generic[T]):
    """One setting of a frame. ``unit`` ends the keys of what was measured."""

    noun: str
    unit: str
    read: Callable[[Member], T | None]
    same: Callable[[T, T], bool]
    show: Callable[[T], str]
    plain: Callable[[T], object]
    """The value as plain JSON."""
    excused: Callable[[Member], Hashable] = _nothing
    verbs: tuple[str, str] = ("has", "have")
    """What one frame and several frames do with a value, in a sentence."""


def shutter_trait(found: Set, settings: CheckSettings) -> Trait[float]:
    """Exposure time; legs excuse it."""
    grid = optics.recognise_grid(frame.exposure_s for frame in found.frames)

    def same(a: float, b: float) -> bool:
        difference = math.log2(optics.snap_shutter(a, grid) / optics.snap_shutter(b, grid))
        return abs(difference) <= settings.same_exposure_ev

    return Trait(
        noun="shutter speed",
        unit="s",
        read=lambda member: _positive(member.frame.exposure_s),
        same=same,
        show=words.shutter,
        plain=float,
        excused=_leg,
    )


def aperture_trait(settings: CheckSettings) -> Trait[float]:
    """f-number. Legs do not excuse it: another opening is another depth of field."""

    def same(a: float, b: float) -> bool:
        return abs(2.0 * math.log2(a / b)) <= settings.same_exposure_ev

    return Trait(
        noun="aperture",
        unit="f",
        read=lambda member: _positive(member.frame.aperture_f),
        same=same,
        show=words.aperture,
        plain=float,
    )


def iso_trait(settings: CheckSettings) -> Trait[float]:
    """ISO speed; legs excuse it, since some bodies bracket with it."""

    def same(a: float, b: float) -> bool:
        return abs(math.log2(a / b)) <= settings.same_exposure_ev

    return Trait(
        noun="ISO",
        unit="iso",
        read=lambda member: _positive(member.frame.iso),
        same=same,
        show=words.iso,
        plain=float,
        excused=_leg,
    )


def focal_length_trait(settings: CheckSettings) -> Trait[float]:
    """Focal length; the 35 mm equivalent where the true one is not recorded."""

    def read(member: Member) -> float | None:
        return _positive(member.frame.focal_mm) or _positive(member.frame.focal_35mm)

    def same(a: float, b: float) -> bool:
        return abs(a - b) <= settings.mixed_focal_length_share * max(a, b)

    return Trait(
        noun="focal length",
        unit="mm",
        read=read,
        same=same,
        show=words.millimetres,
        plain=float,
    )


def focus_trait(settings: CheckSettings) -> Trait[float]:
    """Focus distance; focus steps excuse it."""

    def same(a: float, b: float) -> bool:
        difference = abs(optics.dioptres(a) - optics.dioptres(b))
        return difference <= settings.mixed_focus_dioptres + 1e-9

    return Trait(
        noun="focus distance",
        unit="m",
        read=lambda member: _positive(member.frame.focus_m),
        same=same,
        show=words.distance,
        plain=lambda metres: None if math.isinf(metres) else float(metres),
        excused=_step,
    )


def orientation_trait(settings: CheckSettings) -> Trait[bool]:
    """Upright or across; not judged where the camera looks steeply up or down."""

    def read(member: Member) -> bool | None:
        pitch = member.pointing.pitch_deg
        if pitch is not None and abs(pitch) >= settings.steep_pitch_deg:
            return None
        size = member.frame.upright_px
        return None if size is None or size[0] == size[1] else size[1] > size[0]

    return Trait(
        noun="orientation",
        unit="orientation",
        read=read,
        same=lambda a, b: a == b,
        show=_orientation,
        plain=_orientation,
        verbs=("is", "are"),
    )


def size_trait(settings: CheckSettings) -> Trait[tuple[int, int]]:
    """Long and short side in pixels, however the camera was held."""

    def read(member: Member) -> tuple[int, int] | None:
        size = member.frame.upright_px
        return None if size is None else (max(size), min(size))

    def same(a: tuple[int, int], b: tuple[int, int]) -> bool:
        return all(
            abs(x - y) <= settings.mixed_size_share * max(x, y) for x, y in zip(a, b, strict=True)
        )

    return Trait(
        noun="picture size",
        unit="px",
        read=read,
        same=same,
        show=lambda size: f"{size[0]} × {size[1]} pixels",
        plain=list,
    )


def lens_trait() -> Trait[str]:
    """The lens by its name."""
    return Trait(
        noun="lens",
        unit="lens",
        read=lambda member: (member.frame.lens or "").strip() or None,
        same=lambda a, b: a.casefold() == b.casefold(),
        show=str,
        plain=str,
    )


def flash_trait() -> Trait[bool]:
    """Whether the flash fired."""
    return Trait(
        noun="flash",
        unit="fired",
        read=lambda member: member.frame.flash_fired,
        same=lambda a, b: a == b,
        show=lambda fired: "flash" if fired else "no flash",
        plain=bool,
    )


WhiteBalance = tuple[str | None, str | None]


def white_balance_trait(settings: CheckSettings) -> Trait[WhiteBalance]:
    """White balance: automatic or not, and the light source or temperature where recorded."""

    def read(member: Member) -> WhiteBalance | None:
        frame = member.frame
        if frame.white_balance is None and frame.white_balance_detail is None:
            return None
        return frame.white_balance, (frame.white_balance_detail or "").strip() or None

    def same(a: WhiteBalance, b: WhiteBalance) -> bool:
        if a[0] is not None and b[0] is not None and a[0] != b[0]:
            return False
        if a[1] is None or b[1] is None or a[1].casefold() == b[1].casefold():
            return True
        kelvin = _kelvin(a[1]), _kelvin(b[1])
        if kelvin[0] is None or kelvin[1] is None:
            return False
        mired = abs(1e6 / kelvin[0] - 1e6 / kelvin[1])
        return mired <= settings.mixed_white_balance_mired

    def show(value: WhiteBalance) -> str:
        mode, detail = value
        if detail is None:
            return f"{mode} white balance"
        return f"white balance {detail}" + (" (auto)" if mode == "auto" else "")

    return Trait(
        noun="white balance",
        unit="white_balance",
        read=read,
        same=same,
        show=show,
        plain=list,
    )


def _kelvin(detail: str) -> float | None:
    """The colour temperature in a detail such as ``5200 K``; ``None`` if it is no number."""
    match = re.fullmatch(r"\s*(\d{4,5})(?:\.\d+)?\s*(?:K|kelvin)?\s*", detail, re.IGNORECASE)
    return float(match.group(1)) if match and float(match.group(1)) > 0 else None


def _orientation(upright: bool) -> str:
    return "upright" if upright else "across"


def _positive(value: float | None) -> float | None:
    return value if value is not None and value > 0 else None


def automatic_frames(found: Set) -> tuple[Frame, ...]:
    """The frames in use whose shutter or aperture the camera chose."""
    return tuple(
        member.frame
        for member in found.members
        if not member.spare and member.frame.program in ("aperture", "shutter", "auto")
    )
