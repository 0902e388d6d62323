"""A small maker note that tells whether ISO and focus were automatic.

Standard Exif (CIPA DC-008) has no tag for either, so both stand in maker notes only. This one
has the layout and the numbers of one maker's camera settings as the tag tables of the exiv2
library list them (``CanonCs``), for a reader knows a note by its maker. Nothing else is in it.
"""

from __future__ import annotations

import struct

MAKER = "Canon"
_SETTINGS = 0x0001
_SHORTS = 25
"""Numbers in the array; the first tells its length in bytes."""
_FOCUS, _ISO = 7, 16
"""Places of the focus mode and of the ISO in the array."""
_ONE_SHOT, _MANUAL = 0, 3
_AUTO_ISO, _MARKED = 15, 0x4000
"""ISO left to the camera; else the number itself with this bit set."""


def maker_note(at: int, *, iso: int, iso_auto: bool, focus_auto: bool) -> bytes:
    """The note as it stands at an offset of its TIFF block, little-endian.

    The array lies behind the directory and is found by its offset from the block's start.
    """
    numbers = [0] * _SHORTS
    numbers[0] = 2 * _SHORTS
    numbers[_FOCUS] = _ONE_SHOT if focus_auto else _MANUAL
    numbers[_ISO] = _AUTO_ISO if iso_auto else _MARKED | iso
    length = 2 + 12 + 4
    directory = struct.pack("<HHHIII", 1, _SETTINGS, 3, _SHORTS, at + length, 0)
    return directory + struct.pack(f"<{_SHORTS}H", *numbers)
