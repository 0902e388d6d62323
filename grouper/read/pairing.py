"""Files of one exposure become one frame: a main file and its companions. Pure."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import fields, replace
from typing import Final
from unicodedata import normalize

from grouper.model import Frame
from grouper.read.names import folder_of, stem_of, suffix_of

_FAMILIES: Final = (
    ("jpeg", (".jpg", ".jpeg", ".jpe", ".jfif")),
    ("heif", (".heic", ".heif", ".hif", ".avif")),
    ("png", (".png",)),
    ("webp", (".webp",)),
    ("jxl", (".jxl",)),
    ("tiff", (".tif", ".tiff")),
)
"""Kinds of finished picture, the likeliest main file first; everything else is a raw.

A JPEG leads because everything can show it; the raw beside it holds the same exposure."""

SAME_EXPOSURE_S: Final = 2.0
"""Two files of one exposure carry one time; formats that write it with and without sub-seconds,
or round it, differ by up to a second or two. Common practice, no source."""

_OWN: Final = frozenset({
    "file", "companions", "size_bytes", "digest", "width_px", "height_px", "orientation",
    "folder", "counter", "folder_number", "picture", "taken", "taken_resolution_s",
    "utc_offset_min", "composite", "sensor_long_mm", "sensor_from", "software",
})  # fmt: skip
"""Fields that belong to the main file, or that go together and are settled by hand."""


def family_of(file: str) -> str:
    """The kind of picture a file is, by its suffix; "raw" for all that is no finished one."""
    suffix = suffix_of(file)
    return next((name for name, suffixes in _FAMILIES if suffix in suffixes), "raw")


def join_companions(frames: Iterable[Frame]) -> list[Frame]:
    """Join the files of one exposure, each given as a frame of its own; sorted by path.

    Companions lie in one folder under one stem (case aside), or come from one body with the
    same time and counter; and they are of different kinds, for two JPEGs are two pictures.
    """
    ordered = sorted(frames, key=lambda frame: frame.file)
    ordered = _join(ordered, _by_stem)
    ordered = _join(ordered, _by_exposure)
    return sorted(ordered, key=lambda frame: frame.file)


def _by_stem(frame: Frame) -> Hashable:
    stem = stem_of(frame.file).casefold()
    # One name may be spelt composed and decomposed (Unicode Standard Annex 15), as macOS does.
    return folder_of(frame.file), stem if stem.isascii() else normalize("NFC", stem)


def _by_exposure(frame: Frame) -> Hashable:
    if frame.taken is None or frame.counter is None or frame.model is None:
        return frame.file
    return frame.make, frame.model, frame.taken, frame.counter


def _join(frames: Sequence[Frame], key: Callable[[Frame], Hashable]) -> list[Frame]:
    groups: dict[Hashable, list[Frame]] = {}
    for frame in frames:
        groups.setdefault(key(frame), []).append(frame)
    joined: list[Frame] = []
    for group in groups.values():
        joined += _join_group(group) if len(group) > 1 else group
    return joined


def _join_group(group: Sequence[Frame]) -> list[Frame]:
    """Join what belongs together of frames that share a name or an exposure."""
    order = [name for name, _ in _FAMILIES] + ["raw"]
    ranked = sorted(group, key=lambda frame: (order.index(family_of(frame.file)), frame.file))
    mains: list[list[Frame]] = []
    for frame in ranked:
        home = next((main for main in mains if _belongs(frame, main)), None)
        if home is None:
            mains.append([frame])
        else:
            home.append(frame)
    return [_merge(main) for main in mains]


def _belongs(frame: Frame, group: Sequence[Frame]) -> bool:
    kinds = {family_of(file) for member in group for file in (member.file, *member.companions)}
    own = {family_of(file) for file in (frame.file, *frame.companions)}
    return not kinds & own and all(_same_exposure(frame, member) for member in group)


def _same_exposure(a: Frame, b: Frame) -> bool:
    """Whether nothing that both say speaks against one exposure."""
    if a.taken and b.taken and abs((a.taken - b.taken).total_seconds()) > SAME_EXPOSURE_S:
        return False
    if a.model and b.model and a.model != b.model:
        return False
    return not (a.serial and b.serial and a.serial != b.serial)


def _merge(group: Sequence[Frame]) -> Frame:
    main, *others = group
    for other in others:
        main = _complete(main, other)
    companions = sorted(
        {file for other in others for file in (other.file, *other.companions)}
        | set(group[0].companions)
    )
    return replace(main, companions=tuple(companions))


def _complete(main: Frame, other: Frame) -> Frame:
    """Fill what the main file does not say from its companion."""
    changes: dict[str, object] = {
        item.name: getattr(other, item.name)
        for item in fields(Frame)
        if item.name not in _OWN and getattr(main, item.name) is None
    }
    if main.taken is None or (
        other.taken is not None and other.taken_resolution_s < main.taken_resolution_s
    ):
        changes |= {"taken": other.taken, "taken_resolution_s": other.taken_resolution_s}
    if main.utc_offset_min is None:
        changes["utc_offset_min"] = other.utc_offset_min
    ranks = ("equivalent", "focal-plane", "body", "assumed")
    if ranks.index(other.sensor_from) < ranks.index(main.sensor_from):
        changes |= {"sensor_long_mm": other.sensor_long_mm, "sensor_from": other.sensor_from}
    if _shows_better(other, main):
        changes["picture"] = other.picture
    return replace(main, **changes)  # type: ignore[arg-type]


def _shows_better(other: Frame, main: Frame) -> bool:
    """Whether the companion's embedded picture serves the main file better than its own."""
    if other.picture is None or other.picture.kind == "main":
        return False
    own = main.picture is not None and main.picture.kind != "main"
    return not own and other.orientation == main.orientation
