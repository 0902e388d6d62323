"""Results built by hand, for the tests of the writers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from grouper.contracts import Writer
from grouper.model import (
    Body,
    Finding,
    Frame,
    Grouping,
    Layout,
    Member,
    Pointing,
    Preview,
    Result,
    Scan,
    Set,
    Unread,
)
from grouper.settings import Settings
from tests.support import frame

MADE = "2026-05-02T18:40:11+02:00"
LATER = "2027-01-31T07:00:00+01:00"
PANORAMA = "20260314-091412-qmk0001"
BRACKET = "20260314-092412-qmk0020"


def layout(**changes: Any) -> Layout:
    base = Layout(
        rows=1,
        views=3,
        legs=1,
        steps=1,
        closed=False,
        direction="right",
        span_deg=(124.12345, 73.7),
        fov_deg=(53.1301, 73.7398),
        overlap_min=0.31234,
        overlap_median=0.33,
        base_tilt_deg=None,
        camera_roll_deg=-0.0001,
        crop_loss=0.03,
        projection="cylindrical",
        size_px=(9000, 6000),
        pointing_from="pictures",
    )
    return replace(base, **changes)


def panorama(**changes: Any) -> Set:
    """Three views 35.5 degrees apart, the last one with a companion, and a spare."""
    members = tuple(
        Member(
            frame=frame(number, at_s=5.0 * number, companions=companions),
            view=view,
            spare=spare,
            pointing=Pointing(yaw_deg=35.5 * (view - 1), pitch_deg=0.2, roll_deg=-0.1),
        )
        for number, view, spare, companions in (
            (1, 0, False, ()),
            (2, 1, True, ()),
            (3, 1, False, ()),
            (4, 2, False, ("100QMARK/QMK_0004.NEF",)),
        )
    )
    base = Set(
        id=PANORAMA,
        kind="panorama",
        body="Quillmark Q5 5005001",
        members=members,
        confidence=0.9712345,
        evidence=("2 of 2 neighbours overlap by 31-36 %", "pauses 5.0 s"),
        layout=layout(),
        findings=(
            finding("mixed-iso", "warning", members[0].frame.file, set_id=PANORAMA),
            finding("spare-take", "note", members[1].frame.file, set_id=PANORAMA),
        ),
    )
    return replace(base, **changes)


def bracket(**changes: Any) -> Set:
    """Three legs, no layout, no pointing."""
    members = tuple(
        Member(
            frame=frame(20 + leg, at_s=600 + leg, exposure_s=2.0**leg / 60),
            leg=leg,
            ev_offset=float(leg - 1),
        )
        for leg in range(3)
    )
    base = Set(
        id=BRACKET, kind="bracket", body="Quillmark Q5 5005001", members=members, confidence=0.9
    )
    return replace(base, **changes)


def finding(code: str, severity: Any, *files: str, **changes: Any) -> Finding:
    base = Finding(
        code=code,
        severity=severity,
        frames=files,
        message=f"{code} seen",
        advice="look at it",
        measured={"gap_deg": 71.23456789},
    )
    return replace(base, **changes)


def result(*sets: Set, root: str = "/media/ilse/QMARK", **changes: Any) -> Result:
    """A card whose frames are those of ``sets`` and a single, a divider and a preview."""
    sets = sets or (panorama(), bracket())
    single, divider = frame(40, at_s=900), frame(41, at_s=950)
    preview = frame(42, at_s=955, composite=True)
    frames = (*(f for one in sets for f in one.frames), single, divider, preview)
    base = Result(
        scan=Scan(
            root=root,
            cards=(root,),
            frames=frames,
            unread=(Unread(file="100QMARK/QMK_0050.JPG", reason="empty"),),
            ignored=("100QMARK/NOTES.TXT",),
        ),
        grouping=Grouping(
            bodies=(
                Body(
                    id="Quillmark Q5 5005001",
                    make="Quillmark",
                    model="Q5",
                    serial="5005001",
                    frames=len(frames),
                    clock_offset_s=0.0,
                ),
            ),
            sets=sets,
            singles=(single,),
            dividers=(divider,),
            previews=(Preview(file=preview.file, set_id=sets[0].id),),
            order=(tuple(sorted(f.file for f in frames)),),
        ),
        findings=(finding("unreadable-file", "problem", "100QMARK/QMK_0050.JPG"),),
        settings=Settings(),
    )
    return replace(base, **changes)


def renamed(one: Set, old: str, new: str) -> Set:
    """The set with one file under another name."""
    members = tuple(
        replace(member, frame=replace(member.frame, file=member.frame.file.replace(old, new)))
        for member in one.members
    )
    return replace(one, members=members)


def files_of(writer: Writer, of: Result, made: str = MADE) -> dict[str, bytes]:
    return {
        path: data if isinstance(data, bytes) else b"".join(data)
        for path, data in writer.render(of, made)
    }


def shoot(card: Path, of: Result) -> Result:
    """Make files for all frames of a result under ``card`` and root the result there."""
    frames: list[Frame] = list(of.scan.frames)
    for name in [file for f in frames for file in (f.file, *f.companions)]:
        path = card / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(f"picture {name!r}".encode())
    scan = replace(of.scan, root=str(card), cards=(str(card),))
    return replace(of, scan=scan)
