"""The few values looked up in XMP packets (ISO 16684-1)."""

from __future__ import annotations

import time

import pytest

from grouper.read.xmp import Packet, read_packet

GIMBAL = b"""<x:xmpmeta><rdf:Description xmlns:q="http://example.org/q/"
 q:GimbalYawDegree="-103.60" q:GimbalPitchDegree="+12.5" q:GimbalRollDegree="0.00"/>"""
PANORAMA = b"""<rdf:Description xmlns:GPano="http://ns.google.com/photos/1.0/panorama/">
<GPano:ProjectionType>equirectangular</GPano:ProjectionType>"""


@pytest.mark.parametrize(
    ("packet", "expected"),
    [
        pytest.param(b"", Packet(), id="empty"),
        pytest.param(GIMBAL, Packet(yaw_deg=-103.6, pitch_deg=12.5, roll_deg=0.0), id="gimbal"),
        pytest.param(
            b"<a:GimbalYawDegree>45.0</a:GimbalYawDegree>", Packet(yaw_deg=45.0), id="as-element"
        ),
        pytest.param(b'q:GimbalYawDegree="north"', Packet(), id="no-number"),
        pytest.param(b'q:GimbalYawDegree="1e999"', Packet(), id="no-plain-number"),
        pytest.param(b'q:GimbalYawDegree="720.0"', Packet(), id="out-of-range"),
        pytest.param(PANORAMA, Packet(panorama=True), id="panorama"),
        pytest.param(
            PANORAMA.replace(b"GPano", b"p"), Packet(panorama=True), id="panorama-other-prefix"
        ),
        pytest.param(PANORAMA.split(b"\n")[0], Packet(), id="namespace-alone-is-no-panorama"),
        pytest.param(
            b'xmlns:e="http://ns.adobe.com/exif/1.0/" e:DateTimeOriginal="2026-03-14T09:14:12.5Z"',
            Packet(taken="2026-03-14T09:14:12.5Z"),
            id="time",
        ),
    ],
)
def test_packets(packet: bytes, expected: Packet) -> None:
    assert read_packet(packet) == expected


def test_entities_are_not_expanded() -> None:
    bomb = b'<!DOCTYPE x [<!ENTITY a "9"><!ENTITY b "&a;&a;">]><q:GimbalYawDegree>&b;'
    assert read_packet(bomb) == Packet()


def test_a_hostile_packet_takes_no_time() -> None:
    packet = b"GimbalYawDegree ProjectionType " + b"a:" * 400_000 + b"a-" * 400_000
    packet += b'xmlns:e="http://ns.google.com/photos/1.0/panorama/"'
    start = time.perf_counter()
    read_packet(packet)
    assert time.perf_counter() - start < 1.0
