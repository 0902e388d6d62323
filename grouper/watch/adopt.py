"""Known again without a state: which card an output folder is of, from its own manifest."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from grouper.watch.jobs import card_digest, set_digest
from grouper.write.owner import MOST_BYTES
from grouper.write.replace import RECORD


@dataclass(frozen=True, slots=True, kw_only=True)
class Adopted:
    """Outputs of a card of the inbox."""

    name: str
    out: str
    digest: str
    sets: dict[str, str]
    made_at: float
    """Seconds since 1970."""
    told: dict[str, Any]


def adopted(out: Path, inbox: str) -> list[Adopted]:
    """The outputs in ``out`` of cards that lie, or lay, in ``inbox``; one for a card."""
    found: dict[str, Adopted] = {}
    for one in _candidates(out, inbox):
        found.setdefault(one.name, one)
    return list(found.values())


def _candidates(out: Path, inbox: str) -> Iterator[Adopted]:
    try:
        folders = sorted(entry.name for entry in os.scandir(out) if entry.is_dir())
    except OSError:
        return
    for name in folders:
        folder = out / name
        if folder.is_symlink() or not (folder / RECORD).is_file():
            continue
        try:
            if (folder / "card.json").stat().st_size > MOST_BYTES:
                continue
            card = json.loads((folder / "card.json").read_text(encoding="utf-8"))
            root = card["card"]["root"]
            if card["manifest"] != "grouper-card" or os.path.dirname(root) != inbox:  # noqa: PTH120
                continue
            yield Adopted(
                name=os.path.basename(root),  # noqa: PTH119
                out=name,
                digest=card_digest(card),
                sets={one["id"]: set_digest(root, one) for one in card["sets"]},
                made_at=(folder / "card.json").stat().st_mtime,
                told={"frames": int(card["card"]["frames"]), "sets": len(card["sets"])},
            )
        except (OSError, ValueError, KeyError, TypeError):
            continue
