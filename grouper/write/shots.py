"""Frames as people are shown them: picture, name, place, what is odd. Pure."""

from __future__ import annotations

import base64
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from urllib.parse import quote

from markupsafe import Markup

from grouper.model import SEVERITIES, Finding, Frame, Member, Result, Set, Severity

MOST_PICTURE_BYTES = 34_000_000
"""Pictures on one page, in base64. More makes a page that a phone will not open; the frames
beyond it are shown without a picture, and the page says so."""

_LONGEST_LABEL = 14
"""Signs of a name that stand in a small picture; names made by programs differ at the end."""

PAIR_CODES = frozenset(("missing-frame", "thin-overlap", "open-circle"))
"""Findings about what lies between two frames: neither of them is odd."""

_WORDS: Mapping[str, str] = {
    "mixed-focal-length": "other focal length",
    "mixed-orientation": "turned",
    "mixed-lens": "other lens",
    "mixed-size": "other size",
    "mixed-aperture": "other aperture",
    "mixed-iso": "other ISO",
    "mixed-shutter": "other shutter time",
    "mixed-focus": "other focus",
    "mixed-white-balance": "other white balance",
    "mixed-flash": "flash differs",
    "short-bracket": "leg missing",
    "short-stack": "step missing",
    "short-row": "row ends early",
    "soft-frame": "soft",
    "uneven-bracket": "uneven legs",
    "drifting-row": "drifts",
}
"""One or two words for a finding, to stand in a small picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """Something odd about a frame: how bad, and in a word what."""

    severity: Severity
    word: str


_ADDRESS = "data:image/jpeg;base64,"


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as a ``data:`` address (RFC 2397), made when the page comes to it.

    All at once they take as much memory as the page.
    """

    pictures: Mapping[str, bytes]
    file: str

    def __html__(self) -> str:
        """The address; nothing in it has to be escaped."""
        return _ADDRESS + base64.b64encode(self.pictures[self.file]).decode("ascii")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A frame as it is shown, wherever on the page."""

    frame: Frame
    anchor: str
    """Where its settings stand on the page."""
    picture: Picture | None
    size_px: tuple[int, int]
    """Width and height to keep free for the picture."""
    link: Markup
    """The photograph itself, as a ``file:`` address (RFC 8089)."""
    alt: str
    """Such as ``QMK_0417.JPG, view 3 of 8, other ISO``."""
    label: str
    """Its file number, or the end of its name where it has none."""
    captions: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Album:
    """Makes shots of the frames of a card."""

    root: str
    pictures: Mapping[str, Picture]
    anchors: Mapping[str, str]
    frames: Mapping[str, Frame]
    left_out: int = 0
    """Pictures that found no room on the page."""

    def member(self, one: Set, member: Member, *captions: str) -> Shot:
        """A member of a set, with its place and its marks."""
        marks = marks_of(one, member.frame.file)
        place = [member.frame.name, *places(one, member), *(mark.word for mark in marks)]
        return self._shot(member.frame, ", ".join(place), captions, marks, member.spare)

    def loose(self, frame: Frame, what: str, *captions: str) -> Shot:
        """A frame outside all sets, ``what`` it is in a word."""
        return self._shot(frame, f"{frame.name}, {what}", captions)

    def _shot(
        self,
        frame: Frame,
        alt: str,
        captions: tuple[str, ...],
        marks: tuple[Mark, ...] = (),
        spare: bool = False,
    ) -> Shot:
        return Shot(
            frame=frame,
            anchor=self.anchors[frame.file],
            picture=self.pictures.get(frame.file),
            size_px=_size(frame),
            alt=alt,
            label=_label(frame),
            captions=captions,
            marks=marks,
            spare=spare,
            link=file_address(self.root, frame.file),
        )


@dataclass(slots=True)
class _Room:
    left: int = MOST_PICTURE_BYTES
    refused: int = 0
    kept: dict[str, Picture] = field(default_factory=dict)


def album(result: Result, most_bytes: int = MOST_PICTURE_BYTES) -> Album:
    """All frames of a card with their pictures, as many as the page has room for."""
    room = _Room(left=most_bytes)
    for frame in result.scan.frames:
        data = result.pictures.get(frame.file)
        if data is None or not data.startswith(b"\xff\xd8"):
            continue
        signs = len(_ADDRESS) + 4 * -(-len(data) // 3)
        if signs > room.left:
            room.refused += 1
            continue
        room.left -= signs
        room.kept[frame.file] = Picture(result.pictures, frame.file)
    return Album(
        root=result.scan.root,
        pictures=room.kept,
        anchors={frame.file: f"f{at}" for at, frame in enumerate(result.scan.frames, 1)},
        frames={frame.file: frame for frame in result.scan.frames},
        left_out=room.refused,
    )


def file_address(root: str, file: str) -> Markup:
    """The ``file:`` address of a photograph: its bytes percent-encoded, nothing else left in."""
    path = os.fsencode(f"{root.rstrip('/')}/{file}").lstrip(b"/")
    return Markup("file:///" + quote(path, safe="/"))


def places(one: Set, member: Member) -> list[str]:
    """Such as ``row 1 of 2``, ``view 3 of 8``, ``leg 1 of 3``; counted from 1, for people."""
    layout = one.layout
    rows = layout.rows if layout is not None else 1
    views = layout.views if layout is not None else 1
    legs = max((layout.legs if layout else 1), 1 + max(m.leg for m in one.members))
    steps = max((layout.steps if layout else 1), 1 + max(m.step for m in one.members))
    found = []
    for word, at, of in (
        ("row", member.row, rows),
        ("view", member.view, views),
        ("leg", member.leg, legs),
        ("step", member.step, steps),
    ):
        if of > 1:
            found.append(f"{word} {at + 1} of {of}")
    if not found:
        found.append(f"frame {_number(one, member)} of {len(one.members)}")
    if member.spare:
        found.append("spare")
    return found


def _number(one: Set, member: Member) -> int:
    files = [other.frame.file for other in one.members]
    return files.index(member.frame.file) + 1


def marks_of(one: Set, file: str) -> tuple[Mark, ...]:
    """What findings say of this one frame, worst first; notes stay in the list of findings."""
    return tuple(
        Mark(severity=finding.severity, word=word_for(finding.code))
        for severity in SEVERITIES[:2]
        for finding in one.findings
        if finding.severity == severity and file in odd_frames(one, finding)
    )


def odd_frames(one: Set, finding: Finding) -> tuple[str, ...]:
    """The frames a finding singles out: none if it is about a pair or most of the set."""
    if finding.code in PAIR_CODES or 2 * len(finding.frames) > len(one.members):
        return ()
    return finding.frames


def word_for(code: str) -> str:
    """A finding's code in one or two words."""
    return _WORDS.get(code, code.replace("-", " "))


def pair_findings(one: Set, codes: Iterable[str]) -> dict[frozenset[str], Finding]:
    """Findings about a pair of frames, by the pair."""
    wanted = set(codes)
    return {
        frozenset(finding.frames): finding
        for finding in reversed(one.findings)
        if finding.code in wanted and len(finding.frames) == 2
    }


def files_of(members: Sequence[Member]) -> set[str]:
    """The main files of members."""
    return {member.frame.file for member in members}


def _label(frame: Frame) -> str:
    if frame.counter is not None:
        return f"{frame.counter:04d}"
    stem = frame.name.rsplit(".", 1)[0] or frame.name
    return stem if len(stem) <= _LONGEST_LABEL else "…" + stem[1 - _LONGEST_LABEL :]


def _size(frame: Frame) -> tuple[int, int]:
    """Space for a picture of 120 px on the long side; 3:2 where the shape is not known."""
    width, height = frame.upright_px or (3, 2)
    scale = 120 / max(width, height, 1)
    return max(1, round(width * scale)), max(1, round(height * scale))


def exposure(seconds: float) -> str:
    """An exposure time as photographers write it: 1/60 s, 2.5 s."""
    if 0 < seconds < 0.3:  # 1/4 s and shorter are marked as fractions (common practice)
        return f"1/{1 / seconds:.0f} s"
    return f"{seconds:.3g} s"


def signed(value: float, digits: int = 1) -> str:
    """A number with its sign, a real minus; ``0`` has none."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return "0"
    return ("−" if value < 0 else "+") + text


def duration(seconds: float) -> str:
    """Such as ``0.4 s``, ``12 s``, ``3 min``, ``2 h 10 min``, ``4 days``."""
    if seconds < 90:
        return f"{seconds:.1f} s" if seconds < 10 else f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    if minutes < 90:
        return f"{minutes} min"
    if minutes < 36 * 60:
        hours, rest = divmod(minutes, 60)
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    return f"{round(minutes / 60 / 24)} days"
