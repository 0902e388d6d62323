"""From a shot to the bytes of its files: pictures, thumbnails, Exif, faults."""

from __future__ import annotations

import io
import math
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from PIL import Image as Pillow

from testdata.rehearsal import exif
from testdata.rehearsal.camera import develop, expose, pointing, shot_rotation
from testdata.rehearsal.exif import Field
from testdata.rehearsal.marks import aperture_mark, shutter_mark
from testdata.rehearsal.notes import maker_note
from testdata.rehearsal.paint import Image, as_image, pink
from testdata.rehearsal.records import Shot
from testdata.rehearsal.scene import Scene, paint_scene

Picture = NDArray[np.uint8]

QUALITY = 82
"""JPEG quality of the main pictures: files stay small, artefacts below those of thumbnails."""


def shoot(shot: Shot) -> dict[str, bytes]:
    """The files of a shot, by path relative to the card."""
    if shot.fault == "empty":
        return {shot.file: b""}
    if shot.fault == "foreign":
        noise = np.random.default_rng(shot.seed).bytes(2048)
        return {shot.file: b"not a picture, only named like one\n" + noise}
    picture = _picture(shot)
    stored = turn_as_stored(picture, shot)
    thumbnail = make_thumbnail(stored, shot)
    block = metadata(shot, stored, thumbnail)
    data = _jpeg(stored, QUALITY, None if shot.fault == "no-exif" else block)
    if shot.fault == "truncated":
        # Cut inside the Exif block's thumbnail or early in it: what a pulled card leaves.
        data = data[: max(1200, len(data) // 40)]
    files = {shot.file: data}
    if shot.raw:
        files[shot.file.rsplit(".", 1)[0] + ".DNG"] = block
    return files


def turn_as_stored(picture: Picture, shot: Shot) -> Picture:
    """Upright picture to stored pixels, undone by the orientation tag where it is told."""
    if shot.upright and shot.body.turns == "tag":
        quarter = {8: -1, 6: 1}[shot.orientation]
        return np.ascontiguousarray(np.rot90(picture, quarter))
    return picture


def _picture(shot: Shot) -> Picture:
    rng = np.random.default_rng([shot.seed, 8])
    long, short = shot.body.file_px
    width, height = (short, long) if shot.upright else (long, short)
    if shot.look == "cap":
        return develop(np.full((height, width, 3), 0.0008, np.float32), shot)
    if shot.look == "hand":
        return develop(_hand(rng, width, height), shot)
    if shot.look == "sky":
        blank = np.full((height, width, 3), (0.35, 0.42, 0.55), np.float32)
        return develop(as_image(blank * np.linspace(0.9, 1.1, height)[:, None, None]), shot)
    assert shot.scene is not None
    scene = paint_scene(shot.scene)
    if shot.look == "composite":
        return _composite(shot, scene)
    return develop(expose(shot, scene), shot)


def _hand(rng: np.random.Generator, width: int, height: int) -> Image:
    """A hand before the lens: a large soft warm shape over a bright ground."""
    shape = np.clip(pink(rng, height, width, 2.0) * 1.5 + 0.9, 0, 1)[..., None]
    ground = as_image(np.exp(0.3 * pink(rng, height, width, 1.6)))[..., None]
    warm, pale = np.array([0.3, 0.17, 0.11]), np.array([0.35, 0.38, 0.4])
    return as_image(shape * warm + (1 - shape) * ground * pale)


def _composite(shot: Shot, scene: Scene) -> Picture:
    """The wide picture a camera puts together itself: a strip of the scene."""
    assert shot.composite_deg is not None
    span, tall = shot.composite_deg
    picture = scene.far[0]
    per_deg = picture.shape[1] / scene.key.span_deg
    left = round((shot.yaw_deg - span / 2 + scene.key.span_deg / 2) * per_deg)
    top = round(
        (scene.key.middle_deg + scene.key.tall_deg / 2 - shot.pitch_deg - tall / 2) * per_deg
    )
    columns = (left + np.arange(round(span * per_deg))) % picture.shape[1]
    rows = np.clip(top + np.arange(round(tall * per_deg)), 0, picture.shape[0] - 1)
    frame_ev = shot.aperture + shot.shutter - math.log2(shot.iso / 100)
    part = picture[rows][:, columns] * np.float32(2.0 ** (scene.ev + shot.light_ev - frame_ev))
    image = Pillow.fromarray(develop(part, shot))
    image.thumbnail((1400, 400), Pillow.Resampling.BOX)
    return np.asarray(image)


def make_thumbnail(stored: Picture, shot: Shot) -> bytes | None:
    """160 x 120 with black bars as DCF (CIPA DC-009) has it, or the whole small picture."""
    if shot.body.thumbnail == "none":
        return None
    height, width = stored.shape[:2]
    image = Pillow.fromarray(stored)
    scale = min(160 / width, 120 / height)
    if shot.body.thumbnail == "whole":
        scale = 160 / max(width, height)
    size = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = image.resize(size, Pillow.Resampling.BOX, reducing_gap=None)
    if shot.body.thumbnail == "letterbox":
        frame = Pillow.new("RGB", (160, 120))
        frame.paste(small, ((160 - size[0]) // 2, (120 - size[1]) // 2))
        small = frame
    buffer = io.BytesIO()
    small.save(buffer, "JPEG", quality=shot.body.thumbnail_quality, subsampling=1)
    return buffer.getvalue()


def _jpeg(stored: Picture, quality: int, block: bytes | None) -> bytes:
    buffer = io.BytesIO()
    extra = {} if block is None else {"exif": b"Exif\0\0" + block}
    Pillow.fromarray(stored).save(buffer, "JPEG", quality=quality, subsampling=2, **extra)
    return buffer.getvalue()


def metadata(shot: Shot, stored: Picture, thumbnail: bytes | None) -> bytes:
    """The TIFF block of a shot's Exif."""
    body = shot.body
    height, width = stored.shape[:2]
    turned = shot.upright and body.turns == "tag" and not shot.stale_orientation
    stamp = shot.taken.strftime("%Y:%m:%d %H:%M:%S")
    main = [
        Field(0x010F, exif.ASCII, body.make),
        Field(0x0110, exif.ASCII, body.model),
        Field(0x0112, exif.SHORT, shot.orientation if turned else 1),
        Field(0x011A, exif.RATIONAL, Fraction(72)),
        Field(0x011B, exif.RATIONAL, Fraction(72)),
        Field(0x0128, exif.SHORT, 2),
        Field(0x0131, exif.ASCII, f"{body.model} firmware 1.2"),
    ]
    if shot.fault != "no-date":
        main.append(Field(0x0132, exif.ASCII, stamp))
    fields = (
        _exposure_fields(shot) + _time_fields(shot, stamp) + _optics_fields(shot, width, height)
    )
    if not body.note:
        return exif.build_tiff(main, fields, _gps_fields(shot), thumbnail)

    def block(note: bytes) -> bytes:
        noted = [*fields, Field(0x927C, exif.UNDEFINED, note)]
        return exif.build_tiff(main, noted, _gps_fields(shot), thumbnail)

    # What the note points to is counted from the block's start: where it lies is seen once built.
    return block(_note(shot, block(_note(shot, 0)).index(_note(shot, 0))))


def _note(shot: Shot, at: int) -> bytes:
    return maker_note(at, iso=shot.iso, iso_auto=shot.iso_auto, focus_auto=shot.focus_auto)


def _time_fields(shot: Shot, stamp: str) -> list[Field]:
    if shot.fault == "no-date":
        return [Field(0x9003, exif.ASCII, "0000:00:00 00:00:00")]
    fields = [Field(0x9003, exif.ASCII, stamp), Field(0x9004, exif.ASCII, stamp)]
    digits = shot.body.subsec_digits
    if digits:
        text = f"{shot.taken.microsecond:06d}"[:digits]
        fields += [Field(tag, exif.ASCII, text) for tag in (0x9290, 0x9291, 0x9292)]
    if shot.body.offset_tag:
        sign = "-" if shot.utc_offset_min < 0 else "+"
        hours, minutes = divmod(abs(shot.utc_offset_min), 60)
        text = f"{sign}{hours:02d}:{minutes:02d}"
        fields += [Field(tag, exif.ASCII, text) for tag in (0x9010, 0x9011, 0x9012)]
    return fields


def _exposure_fields(shot: Shot) -> list[Field]:
    opened = [Field(0x829D, exif.RATIONAL, aperture_mark(shot.aperture))]
    return [
        Field(0x829A, exif.RATIONAL, shutter_mark(shot.shutter)),
        *(opened if shot.lens_tells else []),
        Field(0x8822, exif.SHORT, shot.program),
        Field(0x8827, exif.SHORT, shot.iso),
        Field(0x9000, exif.UNDEFINED, b"0231"),
        Field(0x9101, exif.UNDEFINED, b"\x01\x02\x03\x00"),
        Field(0x9204, exif.SRATIONAL, Fraction(round(shot.bias_ev * 3), 3)),
        Field(0x9207, exif.SHORT, 5),
        Field(0x9209, exif.SHORT, shot.flash),
        Field(0xA001, exif.SHORT, 1),
        Field(0xA402, exif.SHORT, shot.exposure_mode),
        Field(0xA403, exif.SHORT, shot.white_balance),
        Field(0xA406, exif.SHORT, 0),
    ]


def _optics_fields(shot: Shot, width: int, height: int) -> list[Field]:
    body = shot.body
    claimed = (width, height)
    if body.claimed_px is not None and shot.look != "composite":
        claimed = body.claimed_px if width > height else body.claimed_px[::-1]
    fields = [
        Field(0xA002, exif.LONG, claimed[0]),
        Field(0xA003, exif.LONG, claimed[1]),
    ]
    if shot.lens_tells:
        fields += [
            Field(0x920A, exif.RATIONAL, Fraction(round(shot.focal_mm * 10), 10)),
            Field(0xA434, exif.ASCII, shot.lens or body.lens),
        ]
    if body.serial is not None:
        fields.append(Field(0xA431, exif.ASCII, body.serial))
    if body.focal_tags == "equivalent" and shot.lens_tells:
        diagonal = math.hypot(*body.sensor_mm)
        fields.append(Field(0xA405, exif.SHORT, round(shot.focal_mm * 43.2666 / diagonal)))
    elif body.focal_tags == "focal-plane":
        along = Fraction(max(claimed) * 10000, round(body.sensor_mm[0] * 1000)).limit_denominator(
            1000
        )
        fields += [
            Field(0xA20E, exif.RATIONAL, along),
            Field(0xA20F, exif.RATIONAL, along),
            Field(0xA210, exif.SHORT, 3),
        ]
    if body.distance_tag and shot.focus_m is not None:
        metres = (
            Fraction(0xFFFFFFFF, 1)
            if math.isinf(shot.focus_m)
            else Fraction(round(shot.focus_m * 1000), 1000)
        )
        fields.append(Field(0x9206, exif.RATIONAL, metres))
    if body.level_tag:
        # Levels in bodies are good to about half a degree and written to a tenth.
        rng = np.random.default_rng([shot.seed, 12])
        pitch = pointing(shot_rotation(shot))[1] + float(rng.normal(0, 0.3))
        fields.append(Field(0x9405, exif.SRATIONAL, Fraction(round(pitch * 10), 10)))
    if shot.look == "composite":
        fields.append(Field(0xA460, exif.SHORT, 3))
    return fields


def _gps_fields(shot: Shot) -> list[Field]:
    if shot.gps is None:
        return []
    latitude, longitude, altitude = shot.gps
    return [
        Field(0x0000, exif.BYTE, b"\x02\x03\x00\x00"),
        Field(0x0001, exif.ASCII, "N" if latitude >= 0 else "S"),
        Field(0x0002, exif.RATIONAL, _sexagesimal(latitude)),
        Field(0x0003, exif.ASCII, "E" if longitude >= 0 else "W"),
        Field(0x0004, exif.RATIONAL, _sexagesimal(longitude)),
        Field(0x0005, exif.BYTE, b"\0"),
        Field(0x0006, exif.RATIONAL, Fraction(round(altitude * 10), 10)),
    ]


def _sexagesimal(degrees: float) -> list[Fraction]:
    seconds = Fraction(round(abs(degrees) * 3600 * 1000), 1000)
    whole, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    return [Fraction(whole), Fraction(minutes), rest]
