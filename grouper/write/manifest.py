"""``card.json`` and ``sets/<set id>/set.json``: everything known, for programs. Pure.

Both follow ``schema/manifest.schema.json``. Keys stand in a fixed order, unknown is
``null``, paths are POSIX and relative to the card root. Only ``made`` changes from run to
run.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Iterator
from importlib import metadata
from typing import Any, TypeVar

from grouper.contracts import Writer
from grouper.model import Body, BriefLine, Finding, Layout, Member, Result, Scan, Set, Unread
from grouper.settings import settings_table
from grouper.spool import Spool
from grouper.write.paths import set_folder
from grouper.write.plain import (
    angle,
    ev_offset,
    json_bytes,
    json_list_pieces,
    moment,
    offset,
    plain,
    rounded,
    share,
    significant,
    whole,
)

VERSION = 1
"""Raised when a key is renamed or changes its meaning; new keys do not raise it."""

T = TypeVar("T", bound=Hashable)


def card_object(result: Result, made: str) -> dict[str, Any]:
    """The whole card as ``card.json`` holds it; ``made`` is an ISO 8601 time with offset."""
    sets = [set_object(one) for one in result.sets]
    return {**_before_sets(result, made), "sets": sets, **_after_sets(result)}


def _before_sets(result: Result, made: str) -> dict[str, Any]:
    return {
        "manifest": "grouper-card",
        "version": VERSION,
        "made": {"by": made_by(), "at": made},
        "card": _card(result.scan),
        "settings": plain({**settings_table(result.settings), "fixed": result.fixed}),
        "bodies": [_body(body) for body in result.grouping.bodies],
    }


def _after_sets(result: Result) -> dict[str, Any]:
    grouping = result.grouping
    return {
        "singles": [frame.file for frame in grouping.singles],
        "dividers": [frame.file for frame in grouping.dividers],
        "previews": [{"file": one.file, "set": one.set_id} for one in grouping.previews],
        "unread": [_unread(one) for one in result.scan.unread],
        "findings": [_finding(one) for one in result.findings],
    }


def set_manifest(result: Result, one: Set, made: str) -> dict[str, Any]:
    """One set as its ``set.json`` holds it: the object of ``card.json`` under a header."""
    return {**_set_header(result, made), **set_object(one)}


def _set_header(result: Result, made: str) -> dict[str, Any]:
    return {
        "manifest": "grouper-set",
        "version": VERSION,
        "made": {"by": made_by(), "at": made},
        "card": _card(result.scan),
    }


def set_object(one: Set) -> dict[str, Any]:
    """One set as it stands in ``card.json`` under ``sets``.

    ``lens`` and ``focal_mm`` are those of most frames; ``started`` and ``ended`` are the
    times of the earliest and the latest frame.
    """
    frames = one.frames
    times = [frame.taken for frame in frames if frame.taken is not None]
    return {
        "id": one.id,
        "kind": one.kind,
        "confidence": share(one.confidence),
        "evidence": list(one.evidence),
        "body": one.body,
        "lens": most_common(frame.lens for frame in frames),
        "focal_mm": rounded(most_common(frame.focal_mm for frame in frames), 2),
        "started": moment(min(times, default=None)),
        "ended": moment(max(times, default=None)),
        "utc_offset": offset(most_common(frame.utc_offset_min for frame in frames)),
        "frames": [_member(member) for member in one.members],
        "layout": None if one.layout is None else _layout(one.layout),
        "takes": list(one.takes),
        "findings": [_finding(finding) for finding in one.findings],
        **({"brief": [_brief_line(line) for line in one.brief]} if one.brief else {}),
    }


def made_by() -> str:
    """Program and version, such as ``grouper 0.1.0``."""
    try:
        return f"grouper {metadata.version('grouper')}"
    except metadata.PackageNotFoundError:  # run from a bare copy of the source
        return "grouper (not installed)"


def most_common(values: Iterable[T | None]) -> T | None:
    """The value that occurs most, the first of equals; ``None`` where none is known."""
    known = Counter(value for value in values if value is not None)
    return known.most_common(1)[0][0] if known else None


def _card(scan: Scan) -> dict[str, Any]:
    return {
        "root": scan.root,
        "files": scan.files,
        "frames": len(scan.frames),
        "unread": len(scan.unread),
        "ignored": len(scan.ignored),
    }


def _body(body: Body) -> dict[str, Any]:
    return {
        "id": body.id,
        "make": body.make,
        "model": body.model,
        "serial": body.serial,
        "frames": body.frames,
        "clock_offset_s": rounded(body.clock_offset_s, 3),
    }


def _unread(one: Unread) -> dict[str, Any]:
    return {"file": one.file, "reason": one.reason, "detail": one.detail}


def _member(member: Member) -> dict[str, Any]:
    frame = member.frame
    return {
        "file": frame.file,
        "companions": list(frame.companions),
        "row": int(member.row),
        "view": int(member.view),
        "leg": int(member.leg),
        "step": int(member.step),
        "spare": bool(member.spare),
        "taken": moment(frame.taken),
        "exposure_s": significant(frame.exposure_s),
        "aperture_f": rounded(frame.aperture_f, 2),
        "iso": whole(frame.iso),
        "ev_offset": ev_offset(member),
        "yaw_deg": angle(member.pointing.yaw_deg),
        "pitch_deg": angle(member.pointing.pitch_deg),
        "roll_deg": angle(member.pointing.roll_deg),
    }


def _layout(layout: Layout) -> dict[str, Any]:
    return {
        "rows": layout.rows,
        "views": layout.views,
        "legs": layout.legs,
        "steps": layout.steps,
        "closed": layout.closed,
        "direction": layout.direction,
        "span_deg": _pair(layout.span_deg),
        "fov_deg": _pair(layout.fov_deg),
        "overlap": {"min": share(layout.overlap_min), "median": share(layout.overlap_median)},
        "base_tilt_deg": angle(layout.base_tilt_deg),
        "camera_roll_deg": angle(layout.camera_roll_deg),
        "crop_loss": share(layout.crop_loss),
        "projection": layout.projection,
        "size_px": None if layout.size_px is None else [int(side) for side in layout.size_px],
        "pointing_from": layout.pointing_from,
    }


def _pair(pair: tuple[float, float] | None) -> list[float | None] | None:
    return None if pair is None else [angle(pair[0]), angle(pair[1])]


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        "frames": list(finding.frames),
        "message": finding.message,
        "advice": finding.advice,
        "measured": plain(finding.measured),
    }


def _brief_line(line: BriefLine) -> dict[str, Any]:
    return {
        "rule": line.rule,
        "asked": line.asked,
        "found": line.found,
        "passed": line.passed,
        "frames": list(line.frames),
    }


def _render(result: Result, made: str) -> Iterator[tuple[str, bytes | Iterator[bytes]]]:
    """Each set is put into words once, for its own file and for the card's."""
    header = json_bytes(_set_header(result, made)).removesuffix(b"\n}\n") + b","
    told = Spool()
    numbers = []
    for one in result.sets:
        text = json_bytes(set_object(one))
        numbers.append(told.put(text))
        yield f"{set_folder(one)}/set.json", header + text.removeprefix(b"{")
    yield (
        "card.json",
        json_list_pieces(
            _before_sets(result, made), "sets", map(told.get, numbers), _after_sets(result)
        ),
    )


WRITER = Writer(name="manifest", summary="card.json and one set.json per set", render=_render)
