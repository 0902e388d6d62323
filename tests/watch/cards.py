"""Tiny real cards for the service's tests, and ways to wait for what a service does."""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from functools import cache
from pathlib import Path

from tests.read.files import TAKEN, jpeg_bytes, write_photo

STAMP = "%Y:%m:%d %H:%M:%S"
SETTINGS = """
[watch]
settle_s = 0.3
rescan_s = 1
poll_s = 0.3
retry_s = 0.5
retry_most_s = 2
free_least_mb = 1
"""
"""Short times, so that tests need not wait long."""


LEGS = (1 / 60, 1 / 240, 1 / 15)
"""Exposure times of a bracket of three, as many bodies fire it: as metered, darker, lighter."""
PAUSE_S = 600.0
"""Between two brackets."""


@cache
def _parts(body: int, leg: int) -> tuple[bytes, bytes]:
    """A photograph of a body, a leg of a bracket, before and after its time."""
    with tempfile.TemporaryDirectory() as place:
        model = write_photo(
            Path(place) / "model.JPG",
            thumbnail=jpeg_bytes((64, 48)),
            subsec="31",
            serial=f"500{body:04d}",
            exposure_s=LEGS[leg],
            exif={0xA402: 2},  # ExposureMode: automatic bracket
        )
        head, tail = model.read_bytes().split(TAKEN.strftime(STAMP).encode())
    return head, tail


def photo_bytes(number: int, later_s: float = 0.0) -> bytes:
    """A photograph: 1 to 3 are a bracket, 4 to 6 the next one, and so on.

    Every 500 numbers another body begins.
    """
    body, place = divmod(number - 1, 500)
    bracket, leg = divmod(place, 3)
    head, tail = _parts(body, leg)
    at = TAKEN + timedelta(seconds=PAUSE_S * bracket + leg + later_s)
    return head + at.strftime(STAMP).encode() + tail


def add_photo(card: Path, number: int, later_s: float = 0.0) -> Path:
    """Put a photograph on a card, as a copy that is finished at once."""
    path = card / "DCIM" / "100QMARK" / f"QMK_{number:04d}.JPG"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(photo_bytes(number, later_s))
    return path


def make_card(card: Path, photos: int = 3, first: int = 1) -> Path:
    """A card of a few photographs: see ``photo_bytes``."""
    for number in range(first, first + photos):
        add_photo(card, number)
    return card


def wait_until(
    what: Callable[[], object], most_s: float = 30.0, *, every_s: float = 0.05
) -> object:
    """Wait until ``what`` is true, and return it; fail after so long."""
    until = time.monotonic() + most_s
    while time.monotonic() < until:
        if found := what():
            return found
        time.sleep(every_s)
    raise AssertionError(f"waited {most_s} s in vain")


def tree(folder: Path) -> dict[str, bytes]:
    """All files below a folder by relative path."""
    return {
        str(Path(place, name).relative_to(folder)): Path(place, name).read_bytes()
        for place, _, names in os.walk(folder)
        for name in names
    }
