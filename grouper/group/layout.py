"""The shape of a panorama, from the places and pointings of its frames."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Sequence

from grouper import optics
from grouper.group.looking import is_sure
from grouper.lenses import LensMapping, angle_of_view, focal_px_from_fov, mapping_by_name
from grouper.model import Direction, Frame, Layout, Link, Member, PointingSource, Solution

SIDEWAYS = 0.8
"""Share of the steps that must agree before a sweep is said to run one way."""


def field_of_view_deg(frame: Frame, solution: Solution | None = None) -> tuple[float, float] | None:
    """Horizontal and vertical angle of view of the upright frame, or ``None``.

    Args:
        frame: that may tell the focal length, the sensor's size and the lens.
        solution: what its pictures showed of the lens, if they were solved.
    """
    size = frame.upright_px
    share = _focal_share(frame, solution)
    if size is None or not share or min(size) <= 0:
        return None
    mapping = _mapping(frame, solution)
    across, up = (angle_of_view(side / max(size), share, mapping) for side in size)
    return across, up


def _focal_share(frame: Frame, solution: Solution | None) -> float | None:
    """The focal length in long sides of the picture, as far as it is known."""
    if solution is not None and solution.focal_share is not None:
        return solution.focal_share * solution.focal_scale
    if not frame.focal_mm or not frame.sensor_long_mm:
        return None
    return frame.focal_mm / frame.sensor_long_mm * (solution.focal_scale if solution else 1.0)


def _mapping(frame: Frame, solution: Solution | None) -> LensMapping:
    return mapping_by_name(frame.lens) if solution is None else solution.mapping


def build_layout(
    members: Sequence[Member],
    solution: Solution | None,
    neighbours: Sequence[Link],
    pointing_from: PointingSource,
) -> Layout:
    """Describe a panorama.

    Args:
        members: the set's members in shooting order.
        solution: how the pointings were found, if they were.
        neighbours: links between views that stand next to each other in the layout.
        pointing_from: what the pointings rest on.
    """
    fov = field_of_view_deg(members[0].frame, solution)
    mapping = _mapping(members[0].frame, solution)
    # A sighting that is hardly believed, as over a gap, is no overlap.
    sightings = [link.sighting for link in neighbours]
    overlaps = sorted(seen.overlap for seen in sightings if seen is not None and is_sure(seen))
    closed = solution is not None and solution.closed
    span = _span(members, fov, closed)
    roll = solution.camera_roll_deg if solution else None
    return Layout(
        rows=len({m.row for m in members}),
        views=len({m.view for m in members}),
        legs=len({m.leg for m in members}),
        steps=len({m.step for m in members}),
        closed=closed,
        direction=_direction(members),
        span_deg=span,
        fov_deg=fov,
        mapping=mapping,
        overlap_min=overlaps[0] if overlaps else None,
        overlap_median=overlaps[len(overlaps) // 2] if overlaps else None,
        base_tilt_deg=solution.base_tilt_deg if solution else None,
        camera_roll_deg=roll,
        crop_loss=_crop_loss(members, fov, solution),
        projection=optics.projection_for(*span) if span else None,
        size_px=_size_px(members[0].frame, span, fov, mapping),
        pointing_from=pointing_from,
    )


def _span(
    members: Sequence[Member], fov: tuple[float, float] | None, closed: bool
) -> tuple[float, float] | None:
    known = [
        (m.pointing.yaw_deg, m.pointing.pitch_deg)
        for m in members
        if m.pointing.yaw_deg is not None and m.pointing.pitch_deg is not None
    ]
    if not known or fov is None:
        return None
    yaws, pitches = [yaw for yaw, _ in known], [pitch for _, pitch in known]
    across = 360.0 if closed else min(360.0, max(yaws) - min(yaws) + fov[0])
    return across, min(180.0, max(pitches) - min(pitches) + fov[1])


def _direction(members: Sequence[Member]) -> Direction:
    """Which way the sweep ran, from the order in which its views were first shot."""
    seen: dict[int, Member] = {}
    for member in members:
        if member.pointing.yaw_deg is not None and not member.spare:
            seen.setdefault(member.view, member)
    path = list(seen.values())
    moves: dict[Direction, int] = defaultdict(int)
    for a, b in itertools.pairwise(path):
        across = (b.pointing.yaw_deg or 0.0) - (a.pointing.yaw_deg or 0.0)
        up = (b.pointing.pitch_deg or 0.0) - (a.pointing.pitch_deg or 0.0)
        if abs(across) >= abs(up):
            moves["right" if across > 0 else "left"] += 1
        else:
            moves["up" if up > 0 else "down"] += 1
    if not moves:
        return "mixed"
    way = max(moves, key=lambda name: moves[name])
    return way if moves[way] >= SIDEWAYS * sum(moves.values()) else "mixed"


def _crop_loss(
    members: Sequence[Member], fov: tuple[float, float] | None, solution: Solution | None
) -> float | None:
    """Share of the height lost to a straight crop of a single row, from its ups and downs."""
    if fov is None or solution is None or len({m.row for m in members}) != 1:
        return None
    pitches = [m.pointing.pitch_deg for m in members if m.pointing.pitch_deg is not None]
    if len(pitches) < 2:
        return None
    loss = (max(pitches) - min(pitches)) / fov[1]
    yaws = sorted({round(m.pointing.yaw_deg, 3) for m in members if m.pointing.yaw_deg is not None})
    if solution.camera_roll_deg is not None and len(yaws) > 1:
        step = (yaws[-1] - yaws[0]) / (len(yaws) - 1)
        loss += optics.roll_crop_loss(solution.camera_roll_deg, step, fov[1])
    return min(1.0, loss)


def _size_px(
    frame: Frame,
    span: tuple[float, float] | None,
    fov: tuple[float, float] | None,
    mapping: LensMapping,
) -> tuple[int, int] | None:
    """Pixels of the joined picture at the frames' own scale."""
    size = frame.upright_px
    if span is None or fov is None or size is None:
        return None
    projection = optics.projection_for(*span)
    return optics.panorama_size_px(
        projection, span[0], span[1], focal_px_from_fov(fov[0], size[0], mapping)
    )
