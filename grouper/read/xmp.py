"""A few values out of an XMP packet (ISO 16684-1), without parsing foreign XML.

The packet is searched for attributes and simple elements by name: nothing is expanded, no
entity is resolved, and the work is linear in a bounded number of bytes.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

MOST_PACKET: Final = 1 << 20
"""Bytes of a packet that are searched; the values used stand in the first 64 KiB of it."""

_PANORAMA: Final = b"http://ns.google.com/photos/1.0/panorama/"
"""The namespace that marks a finished panorama, with its ProjectionType."""
_EXIF: Final = b"http://ns.adobe.com/exif/1.0/"
_BASIC: Final = b"http://ns.adobe.com/xap/1.0/"

_NUMBER: Final = re.compile(r"[+-]?\d{1,9}(?:\.\d{1,12})?")


@dataclass(frozen=True, slots=True, kw_only=True)
class Packet:
    """What we use of an XMP packet. Angles in degrees; pitch grows upwards."""

    panorama: bool = False
    taken: str | None = None
    yaw_deg: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None


def read_packet(packet: bytes) -> Packet:
    """Look up what we use in an XMP packet; a packet without it gives an empty record.

    The gimbal attributes of drones carry yaw from north, pitch (-90 is straight down) and roll
    as signed decimals.
    """
    packet = packet[:MOST_PACKET]
    return Packet(
        panorama=_named(packet, _PANORAMA, b"ProjectionType") is not None,
        taken=_named(packet, _EXIF, b"DateTimeOriginal") or _named(packet, _BASIC, b"CreateDate"),
        yaw_deg=_angle(packet, b"GimbalYawDegree"),
        pitch_deg=_angle(packet, b"GimbalPitchDegree"),
        roll_deg=_angle(packet, b"GimbalRollDegree"),
    )


def _angle(packet: bytes, name: bytes) -> float | None:
    found = _value(packet, rb"[\w-]{1,40}", name)
    if found is None or not _NUMBER.fullmatch(found):
        return None
    angle = float(found)
    return angle if -360.0 <= angle <= 360.0 else None


def _named(packet: bytes, namespace: bytes, name: bytes) -> str | None:
    """The value of ``name`` under whatever prefix the packet gives to ``namespace``."""
    if namespace not in packet or name not in packet:
        return None
    bound = re.search(rb"xmlns:([\w-]{1,40})\s{0,9}=\s{0,9}[\"']" + re.escape(namespace), packet)
    return _value(packet, re.escape(bound.group(1)), name) if bound else None


def _value(packet: bytes, prefix: bytes, name: bytes) -> str | None:
    if name not in packet:  # far quicker than the search, and the ordinary case
        return None
    match = re.search(
        rb"\b" + prefix + b":" + name + rb"(?:\s{0,9}=\s{0,9}[\"']|>)([^<>&\"']{1,64})", packet
    )
    return match.group(1).decode("ascii", "replace").strip() if match else None
