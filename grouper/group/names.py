"""Set ids: from the first frame's time and name, so that they stay the same over re-runs."""

from __future__ import annotations

import re
from collections.abc import Sequence

from grouper.model import Frame


def set_id(first: Frame, taken: set[str]) -> str:
    """An id such as ``20260314-091412-abc0417``, safe as a folder name and not in ``taken``.

    An undated frame has ``undated`` in place of its time. Two sets whose first frames share
    time and name (copies in other folders) are told apart by a letter.
    """
    time = first.taken.strftime("%Y%m%d-%H%M%S") if first.taken else "undated"
    stem = first.name.rsplit(".", 1)[0]
    plain = re.sub(r"[^a-z0-9]+", "", stem.lower().encode("ascii", "ignore").decode())
    base = f"{time}-{plain[-24:] or 'frame'}"
    name, letters = base, iter("bcdefghijklmnopqrstuvwxyz")
    number = 27
    while name in taken:
        letter = next(letters, None)
        if letter is None:
            letter, number = str(number), number + 1
        name = f"{base}-{letter}"
    taken.add(name)
    return name


def by_start(frames: Sequence[Frame]) -> tuple[str, str]:
    """Sort key of a set: start time, then the first file's path."""
    return (frames[0].taken.isoformat() if frames[0].taken else "~", frames[0].file)
