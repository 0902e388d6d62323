"""An eye for tests that knows where every frame looks, and scripts for whole strands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from grouper.contracts import Eye
from grouper.group import group_frames
from grouper.group.evidence import Evidence, weigh
from grouper.group.looking import look_at_neighbours
from grouper.group.pairs import Pairs, gather_pairs
from grouper.group.strands import build_strands
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

    def compare(
        self, pairs: Sequence[tuple[Frame, Frame]], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        self.asked.extend((a.file, b.file) for a, b in pairs)
        return [self._see(self.shots[a.file], self.shots[b.file]) for a, b in pairs]

    def compare_near(
        self, pairs: Sequence[tuple[Frame, Frame]], turns_deg: Sequence[tuple[float, float, float]]
    ) -> list[Sighting | None]:
        return self.compare(pairs)

    def compare_closely(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        return self.compare(pairs)

    def _see(self, a: Shot, b: Shot) -> Sighting | None:
        if min(a.glance.spread, b.glance.spread) <= BLACK.spread:  # nothing to match
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


class UnknowingEye:
    """Knows nothing, as with ``--no-sight``."""

    def glance(self, frames: Sequence[Frame]) -> list[Glance | None]:
        return [None] * len(frames)

    def compare(
        self, pairs: Sequence[tuple[Frame, Frame]], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        return [None] * len(pairs)

    def compare_near(
        self, pairs: Sequence[tuple[Frame, Frame]], turns_deg: Sequence[tuple[float, float, float]]
    ) -> list[Sighting | None]:
        return [None] * len(pairs)

    def compare_closely(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        return [None] * len(pairs)

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        return None


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
    """Shots of different subjects in the same settings, about ``pause_s`` apart.

    Nobody but a timer shoots to the split second, so the pauses vary by a fifth.
    """
    return [
        Shot(
            frame(first + i, at_s + pause_s * (i + 0.1 * (i * 3 % 5 - 2) * (i > 0))),
            f"subject {first + i}",
        )
        for i in range(count)
    ]


def bracket(
    first: int, at_s: float, evs: Sequence[float], *, yaw: float = 0.0, place: str = "ridge"
) -> list[Shot]:
    """Shots of one view at several exposures, a third of a second apart."""
    return [
        Shot(frame(first + i, at_s + 0.3 * i, exposure_s=2.0**ev / 64), place, yaw)
        for i, ev in enumerate(evs)
    ]


def on_stops(
    first: int,
    at_s: float,
    yaws: Sequence[float],
    evs: Sequence[float],
    *,
    place: str = "ridge",
    view_s: float = 8.0,
) -> list[Shot]:
    """Shots of a sweep with a bracket at each view, views ``view_s`` apart."""
    size = len(evs)
    return [
        shot
        for i, yaw in enumerate(yaws)
        for shot in bracket(first + size * i, at_s + view_s * i, evs, yaw=yaw, place=place)
    ]


def knowing(shots: Sequence[Shot]) -> KnowingEye:
    """An eye that knows the truth about these shots."""
    return KnowingEye({shot.frame.file: shot for shot in shots})


def grouped(shots: Sequence[Shot], eye: Eye | None = None) -> Grouping:
    """Group scripted shots, with an eye that knows the truth unless another is given."""
    scan = Scan(root="/card", cards=("/card",), frames=tuple(shot.frame for shot in shots))
    return group_frames(scan, eye or knowing(shots), Settings())


def blindly(shots: Sequence[Shot]) -> Grouping:
    """Group scripted shots without looking at pictures."""
    return grouped(shots, UnknowingEye())


def pairs_of(shots: Sequence[Shot], eye: Eye | None = None) -> Pairs:
    """The looked-at pairs of shots of one body."""
    (strand,) = build_strands(shot.frame for shot in shots)
    eye = eye or knowing(shots)
    pairs = replace(gather_pairs(strand), glances=tuple(eye.glance(strand.frames)))
    look_at_neighbours(pairs, eye)
    return pairs


def evidence_of(shots: Sequence[Shot], eye: Eye | None = None) -> Evidence:
    """The weighed evidence about shots of one body."""
    return weigh(pairs_of(shots, eye))


def everyone(grouping: Grouping) -> list[str]:
    """Every file of a grouping, as often as it stands in it."""
    return sorted(
        [f.file for s in grouping.sets for f in s.frames]
        + [f.file for f in (*grouping.singles, *grouping.dividers)]
        + [p.file for p in grouping.previews]
    )


def run(first: int, last: int) -> list[int]:
    """File numbers from first to last."""
    return list(range(first, last + 1))


def numbers(grouping: Grouping) -> list[tuple[str, list[int | None]]]:
    """Kind and file numbers of every set, by start."""
    return [(s.kind, [f.counter for f in s.frames]) for s in grouping.sets]
