"""Which rail mark a lens needs, from the rig that the settings describe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from grouper import optics
from grouper.check import words
from grouper.settings import RigLens


@dataclass(frozen=True, slots=True, kw_only=True)
class Rail:
    """What the rig says of one lens at one focal length."""

    focal_mm: float
    mark_mm: float | None
    """``None`` beyond the outer marks."""
    is_measured: bool
    """The focal length itself was measured, not read off between two that were."""
    outer_mm: tuple[float, float]
    stood_mm: float | None

    @property
    def offset_mm(self) -> float | None:
        """How far the rail stood from where it should have, where both are known."""
        if self.mark_mm is None or self.stood_mm is None:
            return None
        return abs(self.mark_mm - self.stood_mm)

    @property
    def said(self) -> str:
        """The mark in a sentence."""
        focal = words.millimetres(self.focal_mm)
        if self.mark_mm is None:
            low, high = map(words.millimetres, self.outer_mm)
            return f"{focal}: rail mark not known, the rig has {words.span(low, high)}."
        how = "" if self.is_measured else " (interpolated between the rig's marks)"
        return f"{focal}: rail mark {self.mark_mm:.4g}{how}."

    @property
    def measured(self) -> dict[str, object]:
        """Plain values for a finding."""
        known = "marked" if self.is_measured else "interpolated"
        return {
            "rail_mark_mm": None if self.mark_mm is None else round(self.mark_mm, 2),
            "rail_mark_from": "not known" if self.mark_mm is None else known,
        }


def find_rail(lens: str | None, focal_mm: float, rig: Sequence[RigLens]) -> Rail | None:
    """What the rig says; ``None`` if the lens is not in it.

    A lens is told by its recorded name. Where none was recorded, by the only lens of the rig
    whose marks span the focal length.
    """
    owned = _by_focal(focal_mm, rig) if lens is None else _by_name(lens, rig)
    if owned is None:
        return None
    return Rail(
        focal_mm=focal_mm,
        mark_mm=optics.rail_mark_mm(focal_mm, owned.marks_mm),
        is_measured=optics.is_at_mark(focal_mm, owned.marks_mm),
        outer_mm=(owned.marks_mm[0][0], owned.marks_mm[-1][0]),
        stood_mm=owned.stood_mm,
    )


def _by_name(lens: str, rig: Sequence[RigLens]) -> RigLens | None:
    """The lens of the same name, whatever its capitals and spaces."""
    name = _folded(lens)
    return next((owned for owned in rig if _folded(owned.lens) == name), None)


def _folded(name: str) -> str:
    return "".join(name.casefold().split())


def _by_focal(focal_mm: float, rig: Sequence[RigLens]) -> RigLens | None:
    fitting = [owned for owned in rig if optics.rail_mark_mm(focal_mm, owned.marks_mm) is not None]
    return fitting[0] if len(fitting) == 1 else None
