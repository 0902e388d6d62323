"""Which way up: the orientation still to be applied, and orders that are out of date. Pure."""

from __future__ import annotations

from typing import Final

SWAPPING: Final = frozenset({5, 6, 7, 8})
"""Orientations that exchange width and height (TIFF 6.0, CIPA DC-008)."""

_SQUARE: Final = 1.02
"""Sides closer than this ratio do not tell which way a picture was turned."""


def orientation_to_apply(
    tag: int | None,
    stored_px: tuple[int, int] | None,
    camera_px: tuple[int, int] | None,
    from_camera: bool,
) -> int:
    """The orientation (1-8) still to be applied to the stored pixels.

    Values outside 1-8 mean 1. A tag that says "turn by a quarter" is out of date where the
    pixels stand already: a camera that records such a tag stores its sensor's landscape
    pixels, so a file that is taller than wide was turned by software that left the tag.

    Args:
        tag: Exif Orientation.
        stored_px: width and height of the file's own pixels.
        camera_px: width and height in the Exif block, which resizing may have left alone.
        from_camera: whether a body wrote the block (make and model are there); a picture that
            software made may carry any tag over any pixels, rightly.
    """
    if tag is None or not 1 <= tag <= 8:
        return 1
    if tag not in SWAPPING or stored_px is None:
        return tag
    if not _stands(stored_px):
        return tag
    if camera_px is not None and _lies(camera_px):
        return 1
    return 1 if from_camera else tag


def was_turned(tag: int | None, applied: int) -> bool:
    """Whether the pixels were turned after the camera stored them."""
    return tag in SWAPPING and applied == 1


def _stands(size: tuple[int, int]) -> bool:
    return size[1] > size[0] * _SQUARE


def _lies(size: tuple[int, int]) -> bool:
    return size[0] > size[1] * _SQUARE
