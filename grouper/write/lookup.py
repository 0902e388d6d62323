"""Reading grouped cards back, to look a frame up. What is read is foreign until checked."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from grouper.errors import GrouperError

_KEYS = ("card", "sets", "singles", "dividers", "previews", "unread", "findings")


def load_cards(where: Path | None, here: Path) -> list[dict[str, Any]]:
    """The manifest named by ``where`` (an output folder or the file itself).

    Without ``where``: all those of output folders in the folder ``here``, or ``here`` itself.

    Raises:
        GrouperError: ``where`` holds no manifest of a card that this version can read.
    """
    if where is not None:
        return [load_card(where / "card.json" if where.is_dir() else where)]
    found = [here / "card.json", *sorted(here.glob("*-sets/card.json"))]
    return [load_card(path) for path in found if path.is_file()]


def load_card(path: Path) -> dict[str, Any]:
    """One manifest of a card.

    Raises:
        GrouperError: it is missing, damaged, or none of ours.
    """
    try:
        card = json.loads(path.read_bytes())
    except FileNotFoundError:
        raise GrouperError(f"{path} does not exist; run grouper group first") from None
    except (OSError, ValueError) as error:
        raise GrouperError(f"{path} cannot be read: {error}") from error
    if not isinstance(card, dict) or card.get("manifest") != "grouper-card":
        raise GrouperError(f"{path} is no manifest of a card; run grouper group again")
    if card.get("version") != 1 or any(key not in card for key in _KEYS):
        raise GrouperError(f"{path} is of another version; run grouper group again")
    try:
        list(_names(card))
    except (KeyError, TypeError) as error:
        raise GrouperError(f"{path} is damaged; run grouper group again") from error
    return card


def find_frames(card: Mapping[str, Any], word: str, here: Path) -> list[str]:
    """Main files that ``word`` may mean, sorted: a path, else a file name, else a stem.

    Paths are relative to the card root or to the folder ``here``, or absolute. Companions
    lead to their main file. Case counts only where it is needed to decide.
    """
    names = list(_names(card))
    root = Path(card["card"]["root"])
    if "/" in word:
        paths = {word.removeprefix("./"), os.path.normpath(here / word)}
        return sorted({main for main, file in names if {file, str(root / file)} & paths})
    for part in (_name, _stem):
        for fold in (str, str.casefold):
            hits = {main for main, file in names if fold(part(file)) == fold(word)}
            if hits:
                return sorted(hits)
    return []


def _names(card: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Pairs of a main file and a file that stands for it."""
    for one in card["sets"]:
        for member in one["frames"]:
            for file in (member["file"], *member["companions"]):
                yield member["file"], file
    for file in (*card["singles"], *card["dividers"]):
        yield file, file
    for entry in (*card["previews"], *card["unread"]):
        yield entry["file"], entry["file"]


def _name(file: str) -> str:
    return file.rsplit("/", 1)[-1]


def _stem(file: str) -> str:
    return _name(file).rsplit(".", 1)[0]
