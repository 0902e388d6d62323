"""Whether an output folder holds the sets of another card.

Cards are often called the same (``DCIM``, ``NO NAME``), and so are the folders named after
them: writing a second card over the first would take its sets away.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from grouper.errors import CannotWrite
from grouper.model import Result

MOST_BYTES = 256 * 1024 * 1024
"""A ``card.json`` of 100,000 frames is well below this; anything larger is not ours."""


def refuse_other_card(out: Path, result: Result) -> None:
    """Make sure that ``out`` is new, or of this card.

    A card that moved or was read before under another path still shares frames with what was
    written; one whose root is the same is the same card, whatever has changed on it.

    Raises:
        CannotWrite: the folder holds a card that shares neither its path nor a frame.
    """
    before = _card(out / "card.json")
    if before is None:
        return
    root = before.get("card", {}).get("root")
    seen = _frames(before)
    mine = {
        (frame.file, frame.taken.isoformat(timespec="milliseconds") if frame.taken else None)
        for found in result.sets
        for frame in found.frames
    }
    singles = set(before.get("singles", ()))
    mine_alone = {frame.file for frame in result.grouping.singles}
    same = root == result.scan.root or seen & mine or (not seen and singles & mine_alone)
    if not same and (seen or singles):
        raise CannotWrite(
            f"{out} holds the sets of another card ({root}); "
            f"choose another folder with --out DIR, or move that one away"
        )


def _card(path: Path) -> dict[str, Any] | None:
    try:
        if path.stat().st_size > MOST_BYTES:
            return None
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    ours = isinstance(data, dict) and data.get("manifest") == "grouper-card"
    return data if ours and isinstance(data.get("card"), dict) else None


def _frames(card: dict[str, Any]) -> set[tuple[str, str | None]]:
    sets = card.get("sets")
    return {
        (frame.get("file", ""), frame.get("taken"))
        for found in (sets if isinstance(sets, list) else ())
        if isinstance(found, dict)
        for frame in found.get("frames", ())
        if isinstance(frame, dict)
    }
