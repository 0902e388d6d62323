"""Frames -> sightings: how the camera turned, seen in the small pictures."""

from grouper.sight.eye import BlindEye, open_eye

__all__ = ["BlindEye", "open_eye"]
