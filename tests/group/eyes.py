"""An eye for tests that knows where every frame looks, and scripts for whole strands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from grouper.group import group_frames
from grouper.model import Frame, Glance, Grouping, Pointing, Scan, Sighting, Solution
from grouper.optics import overlap_rectilinear
from grouper.settings import Settings
from tests.support import frame

FOV = (53.13, 73.74)
"""24 mm upright on 36 x 24 mm, as ``tests.support.frame`` makes them."""
PLAIN = Glance(
    mean=0.4, spread=0.2, clipped_share=0.0, blocked_share=0.0, sharpness=1.0, aspect=2 / 3
)
BLACK = Glance(
    mean=0.01, spread=0.004, clipped_share=0.0, blocked_share=1.0, sharpness=0.0, aspect=2 / 3
)


@dataclass(frozen=True)
class Shot:
    """A frame and where it looks: frames of other places never overlap."""

    frame: Frame
    place: str = "ridge"
    yaw: float = 0.0
    pitch: float = 0.0
    glance: Glance = PLAIN


@dataclass(frozen=True)
class KnowingEye:
    """Tells the truth about pictures, as the closed forms give it."""

    shots: dict[str, Shot]
    asked: list[tuple[str, str]] = field(default_factory=list)

    def glance(self, frames: Sequence[Frame]) -> list[Glance | None]:
        return [self.shots[f.file].glance for f in frames]

    def compare(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        self.asked.extend((a.file, b.file) for a, b in pairs)
        return [self._see(self.shots[a.file], self.shots[b.file]) for a, b in pairs]

    def _see(self, a: Shot, b: Shot) -> Sighting | None:
        if BLACK in (a.glance, b.glance):
            return None
        across = (b.yaw - a.yaw + 180) % 360 - 180
        up = b.pitch - a.pitch
        share = overlap_rectilinear(across, FOV[0]) * overlap_rectilinear(up, FOV[1])
        if a.place != b.place or share < 0.08:
            return Sighting(overlap=0.0, certainty=0.02)
        return Sighting(
            overlap=share,
            certainty=0.98,
            turn_deg=(up, across, 0.0),
            shift_share=(across / FOV[0], up / FOV[1]),
            score=0.95,
            margin=2.0,
        )

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        if not sightings:
            return None
        tied = {i for a, b, _ in sightings for i in (a, b)}
        yaws = [self.shots[f.file].yaw for f in frames]
        ends = max(yaws) - min(yaws)
        return Solution(
            pointings=tuple(
                Pointing(
                    yaw_deg=self.shots[f.file].yaw,
                    pitch_deg=self.shots[f.file].pitch,
                    roll_deg=0.0,
                )
                if i in tied
                else Pointing()
                for i, f in enumerate(frames)
            ),
            residual_deg=0.1,
            closed=ends > 300,
        )


def sweep(
    first: int,
    at_s: float,
    yaws: Sequence[float],
    *,
    place: str = "ridge",
    pitch: float = 0.0,
    pause_s: float = 5.0,
    **changes: Any,
) -> list[Shot]:
    """Shots of one row, ``pause_s`` apart."""
    return [
        Shot(frame(first + i, at_s + i * pause_s, **changes), place, yaw, pitch)
        for i, yaw in enumerate(yaws)
    ]


def singles(first: int, at_s: float, count: int, *, pause_s: float = 45.0) -> list[Shot]:
    """Shots of different subjects in the same settings."""
    return [
        Shot(frame(first + i, at_s + i * pause_s), f"subject {first + i}") for i in range(count)
    ]


def bracket(
    first: int, at_s: float, evs: Sequence[float], *, yaw: float = 0.0, place: str = "ridge"
) -> list[Shot]:
    """Shots of one view at several exposures, a third of a second apart."""
    return [
        Shot(frame(first + i, at_s + 0.3 * i, exposure_s=2.0**ev / 64), place, yaw)
        for i, ev in enumerate(evs)
    ]


def grouped(shots: Sequence[Shot]) -> Grouping:
    """Group scripted shots with an eye that knows the truth."""
    eye = KnowingEye({shot.frame.file: shot for shot in shots})
    scan = Scan(root="/card", cards=("/card",), frames=tuple(shot.frame for shot in shots))
    return group_frames(scan, eye, Settings())


def numbers(grouping: Grouping) -> list[tuple[str, list[int | None]]]:
    """Kind and file numbers of every set, by start."""
    return [(s.kind, [f.counter for f in s.frames]) for s in grouping.sets]
