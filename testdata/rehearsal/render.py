"""Cards to folders: every file of a card rendered, in parallel, and its truth beside it."""

from __future__ import annotations

import json
import multiprocessing
import os
import shutil
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from testdata.rehearsal.files import shoot
from testdata.rehearsal.records import Card, Expected, Place, Shot, TruthSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Tones:
    """Shares of a picture that hold no detail, beyond doubt and nearly."""

    white: float
    nearly_white: float
    black: float
    nearly_black: float


SETTINGS = "settings.toml"
"""The photographer's settings file, beside the card where there is one."""

_WHITE, _BLACK = 250, 5
"""Levels of 255 that the codec's noise makes of the ends of the scale (measured on this one)."""
_MUCH_WHITE, _MUCH_BLACK = 0.05, 0.10
"""Shares of a picture that are too much to lose: common practice, no source."""


def render_card(card: Card, folder: Path, jobs: int = 2) -> None:
    """Write ``folder/card``, ``folder/truth.json`` and, where there are any, the settings.

    An older rendering is replaced.
    """
    target = folder / "card"
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir(parents=True)
    tones = render_shots(card.shots, target, jobs)
    for new, old in card.copies:
        path = target / new
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(target / old, path)
    write_truth(card, folder / "truth.json", tones)
    (folder / SETTINGS).unlink(missing_ok=True)
    if card.settings:
        (folder / SETTINGS).write_text(card.settings, encoding="utf-8")


def render_cards(cards: Sequence[tuple[Card, Path]], jobs: int = 2) -> None:
    """Render several cards, each in one process; a single card's frames are shared out."""
    if len(cards) <= 1 or jobs <= 1:
        for card, folder in cards:
            render_card(card, folder, jobs)
        return
    with multiprocessing.get_context("spawn").Pool(min(jobs, len(cards))) as pool:
        for _ in pool.imap_unordered(_render_alone, cards):
            pass


def _render_alone(item: tuple[Card, Path]) -> None:
    render_card(*item, jobs=1)


def write_truth(card: Card, path: Path, tones: Mapping[str, Tones] | None = None) -> None:
    """Write a card's truth as JSON."""
    text = json.dumps(truth_table(card, tones), indent=1, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8")


def render_shots(shots: Sequence[Shot], target: Path, jobs: int = 2) -> dict[str, Tones]:
    """Render shots below ``target``; scenes are painted once per batch.

    Returns what is lost at either end of the scale, by file.
    """
    tones: dict[str, Tones] = {}
    batches = _batches(shots)
    work = [(batch, str(target)) for batch in batches]
    if jobs <= 1 or len(work) == 1:
        for item in work:
            tones.update(_render_batch(item))
        return tones
    context = multiprocessing.get_context("spawn")
    with context.Pool(min(jobs, len(work))) as pool:
        for part in pool.imap_unordered(_render_batch, work):
            tones.update(part)
    return tones


def _batches(shots: Sequence[Shot], most: int = 60) -> list[list[Shot]]:
    """Shots of one scene together, big batches halved so that two cores share the work."""
    by_scene: OrderedDict[Any, list[Shot]] = OrderedDict()
    for shot in shots:
        by_scene.setdefault(shot.scene, []).append(shot)
    batches = [
        group[start : start + most]
        for group in by_scene.values()
        for start in range(0, len(group), most)
    ]
    return sorted(batches, key=len, reverse=True)


def _render_batch(item: tuple[list[Shot], str]) -> dict[str, Tones]:
    shots, target = item
    cv2.setNumThreads(1)
    tones: dict[str, Tones] = {}
    for shot in shots:
        for name, data in shoot(shot).items():
            path = Path(target) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
            if name == shot.file and (lost := lost_tones(data)) is not None:
                tones[name] = lost
    return tones


def lost_tones(data: bytes) -> Tones | None:
    """What of a whole picture holds no detail; ``None`` if it is none."""
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR) if data else None
    if picture is None:
        return None
    grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    return Tones(
        white=float((picture.min(axis=2) >= _WHITE).mean()),
        nearly_white=float((grey >= _WHITE).mean()),
        black=float((picture.max(axis=2) <= _BLACK).mean()),
        nearly_black=float((grey <= 2 * _BLACK).mean()),
    )


def _tone_findings(truth: TruthSet, tones: Mapping[str, Tones] | None) -> list[Expected]:
    """Lost tones of a set: where even the best exposure of some view lacks far too much.

    Where it is too much only if what is nearly white or black is counted in, where it comes of
    an odd setting that is told already, and where nothing was measured, any answer is right.
    """
    ends: tuple[tuple[str, str, float], ...] = (
        ("clipped-highlights", "white", _MUCH_WHITE),
        ("blocked-shadows", "black", _MUCH_BLACK),
    )
    if tones is None:
        return [Expected(code=code, required=False) for code, _, _ in ends]
    if truth.kind not in ("panorama", "bracket"):
        return []
    found = []
    for code, end, much in ends:
        sure = _best_frames(truth, tones, end)
        nearly = _best_frames(truth, tones, f"nearly_{end}")
        views = {view for view, (share, _) in nearly.items() if share > much / 2}
        files = tuple(place.file for place in truth.places if place.view in views)
        if files:
            told = {file for share, file in sure.values() if share > much * 1.5}
            required = bool(told - _odd_files(truth))
            found.append(Expected(code=code, frames=files, required=required))
    return found


def _best_frames(
    truth: TruthSet, tones: Mapping[str, Tones], end: str
) -> dict[int, tuple[float, str]]:
    """For each view how much the frame loses that loses least, and its file."""
    best: dict[int, tuple[float, str]] = {}
    for place in truth.places:
        if not place.spare and place.file in tones:
            share = float(getattr(tones[place.file], end)), place.file
            best[place.view] = min(best.get(place.view, share), share)
    return best


def _odd_files(truth: TruthSet) -> set[str]:
    """Frames whose exposure is told as odd already; all of them where it wanders."""
    codes = ("mixed-aperture", "mixed-iso", "mixed-shutter")
    odd = [item for item in truth.findings if item.code in codes]
    if any(not item.frames for item in odd):
        return {place.file for place in truth.places}
    return {file for item in odd for file in item.frames}


def usual_jobs() -> int:
    """As many processes as there are cores, at most two: painting is bound by memory."""
    return min(2, os.cpu_count() or 1)


def truth_table(card: Card, tones: Mapping[str, Tones] | None = None) -> dict[str, Any]:
    """A card's truth as plain JSON values; what the pictures lose needs them rendered."""
    sets = [
        replace(truth, findings=(*truth.findings, *_tone_findings(truth, tones)))
        for truth in card.sets
    ]
    frames: dict[str, dict[str, Any]] = {
        shot.file: {"situation": card.situations.get(shot.file, "")}
        for shot in card.shots
        if not shot.fault or shot.fault == "no-date"
    }
    frames.update({new: {"situation": card.situations.get(old, "")} for new, old in card.copies})
    for truth in card.sets:
        for place in truth.places:
            frames[place.file].update(_place(place))
    return {
        "name": card.name,
        "source": "rendered by testdata.rehearsal",
        "seed": card.seed,
        "sets": [_set(truth) for truth in sets],
        "either": sorted(card.either),
        "never": [{"kind": kind, "files": list(files)} for kind, files in card.never],
        "singles": [file for file, _ in card.singles],
        "dividers": list(card.dividers),
        "previews": [{"file": file, "set": index} for file, index in card.previews],
        "findings": [_finding(item) for item in card.findings],
        "unread": [{"file": file, "reason": reason} for file, reason in card.unread],
        "clock_offsets_s": dict(card.clock_offsets_s),
        "frames": frames,
    }


def _place(place: Place) -> dict[str, Any]:
    return {
        "row": place.row,
        "view": place.view,
        "leg": place.leg,
        "step": place.step,
        "spare": place.spare,
        "yaw_deg": _rounded(place.yaw_deg),
        "pitch_deg": _rounded(place.pitch_deg),
        "roll_deg": _rounded(place.roll_deg),
    }


def _set(truth: TruthSet) -> dict[str, Any]:
    views: dict[int, list[str]] = {}
    rows: dict[int, dict[int, list[str]]] = {}
    for place in truth.places:
        views.setdefault(place.view, []).append(place.file)
        rows.setdefault(place.row, {}).setdefault(place.view, []).append(place.file)
    return {
        "kind": truth.kind,
        "situation": truth.situation,
        "views": [views[key] for key in sorted(views)],
        "rows": [[rows[row][view] for view in sorted(rows[row])] for row in sorted(rows)]
        if truth.kind == "panorama"
        else [],
        "layout": {
            "rows": truth.rows,
            "views": truth.views,
            "legs": truth.legs,
            "steps": truth.steps,
            "closed": truth.closed,
            "span_deg": _rounded(truth.span_deg),
            "direction": truth.direction,
            "camera_roll_deg": _rounded(truth.camera_roll_deg),
            "base_tilt_deg": _rounded(truth.base_tilt_deg),
        },
        "overlaps": [
            {"a": item.a, "b": item.b, "share": round(item.share, 4)} for item in truth.overlaps
        ],
        "findings": [_finding(item) for item in truth.findings],
        "note": truth.note,
    }


def _finding(item: Any) -> dict[str, Any]:
    said = {"says": item.says} if item.says else {}
    return {"code": item.code, "frames": list(item.frames), "required": item.required, **said}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
