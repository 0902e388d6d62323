"""Names of output folders, from names of cards, which are foreign text. Pure."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Callable
from hashlib import blake2b
from typing import Final

MOST_BYTES: Final = 80
"""Of a derived name as UTF-8: leaves room below the 255 bytes that file systems allow, and
can be read in a list."""
_KEPT: Final = "-_."
_RESERVED: Final = frozenset(
    ("con", "prn", "aux", "nul", *(f"{name}{n}" for name in ("com", "lpt") for n in range(10)))
)
"""Names of devices that no folder may have under Windows, whatever follows a dot."""


def out_name(card: str, taken: Callable[[str], bool]) -> str:
    """A folder name for a card: letters, digits, ``-``, ``_`` and ``.``, no other yet taken.

    A name that had to be altered, or is taken, gets eight hexadecimal digits of the card's
    own name behind it, so that two cards never share one.

    Args:
        card: the name of its folder; bytes that are no UTF-8 as lone surrogates (PEP 383).
        taken: whether a name, in lower case, is in use.
    """
    plain = _plain(card)
    if plain == card and not taken(plain.casefold()):
        return plain
    digits = blake2b(os.fsencode(card), digest_size=16).hexdigest()
    for length in range(8, len(digits) + 1):
        name = f"{plain}-{digits[:length]}"
        if not taken(name.casefold()):
            return name
    number = 2
    while taken(f"{plain}-{digits}-{number}".casefold()):
        number += 1
    return f"{plain}-{digits}-{number}"


def _plain(card: str) -> str:
    text = unicodedata.normalize("NFC", card)
    signs = [sign if sign.isalnum() or sign in _KEPT else "_" for sign in text]
    name = "".join(
        sign for at, sign in enumerate(signs) if sign != "_" or signs[at - 1 : at] != ["_"]
    )
    name = name.strip("-._")
    while len(name.encode()) > MOST_BYTES:
        name = name[:-1]
    name = name.rstrip("-._") or "card"
    return f"card-{name}" if name.partition(".")[0].casefold() in _RESERVED else name
