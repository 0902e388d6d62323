"""Tags of one picture to a frame: the part that every container shares. Pure.

Numbers and meanings: CIPA DC-008 (Exif). Sanity ranges stand beside the values they keep.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace
from typing import Final, Literal, NamedTuple

from grouper.model import Attitude, Frame, PictureSource
from grouper.read import names
from grouper.read.maker import Note
from grouper.read.sensor import Sensor, sensor_of
from grouper.read.tags import (
    EXIF,
    GPS,
    IMAGE,
    INTEROP,
    Moment,
    Tags,
    moment,
    utc_offset_min,
    within,
)
from grouper.read.turning import orientation_to_apply
from grouper.read.xmp import Packet

Program = Literal["manual", "aperture", "shutter", "auto"]

EXPOSURE_S: Final = (1e-6, 86_400.0)
"""Electronic shutters reach 1/180 000 s; a day is longer than any exposure on a card."""
APERTURE_F: Final = (0.7, 256.0)
"""0 is written for a lens without contacts; lenses begin at f/0.7, pinholes reach f/200."""
ISO: Final = (1.0, 10_000_000.0)
BIAS_EV: Final = (-15.0, 15.0)
"""Bodies offer 5 EV; Exif's own usual limit of 99.99 lets rubbish through."""
FOCAL_MM: Final = (1.2, 5000.0)
"""Action cameras and phones begin at about 1.5 mm; phones write 1 for "not known"."""
PIXELS: Final = (1, 1_000_000)

_LIGHT: Final = {
    1: "daylight", 2: "fluorescent", 3: "tungsten", 4: "flash", 9: "fine weather", 10: "cloudy",
    11: "shade", 12: "daylight fluorescent", 13: "day white fluorescent",
    14: "cool white fluorescent", 15: "white fluorescent", 16: "warm white fluorescent",
    17: "standard light A", 18: "standard light B", 19: "standard light C", 20: "D55",
    21: "D65", 22: "D75", 23: "D50", 24: "studio tungsten",
}  # fmt: skip
"""LightSource 0x9208; 0 (unknown) and 255 (other) say nothing."""

WIDE: Final = 1.9
"""Long over short side of a picture that no sensor has: a finished panorama or a strip of one."""
PHONE_SENSOR_MM: Final = 14.0
"""Sensors of phones reach the one-inch kind of 13.2 mm; system cameras begin at 17.3 mm. From
memory."""

LEVEL_SIGMA_DEG: Final = 1.0
"""Gravity sensors in bodies and gimbals: 0.5-1 degree. Common practice, no source."""
COMPASS_SIGMA_DEG: Final = 5.0
"""Compasses: several degrees, by declination and nearby steel. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What a container's reader found in a file, before it becomes a frame."""

    file: str
    size_bytes: int
    tags: Tags = Tags()  # noqa: RUF009 - frozen and empty
    packet: Packet = Packet()  # noqa: RUF009 - frozen and empty
    note: Note = Note()  # noqa: RUF009 - frozen and empty
    stored_px: tuple[int, int] | None = None
    """Width and height of the file's own pixels."""
    turned: bool = False
    """The container's own turn is already in ``stored_px``; the Exif tag is to be ignored."""
    picture: PictureSource | None = None
    lists_panorama: bool = False
    """The file lists the single pictures of a panorama (CIPA DC-007)."""


def camera_px(tags: Tags) -> tuple[int, int] | None:
    """Width and height as the camera stored them, from the Exif block."""
    return _size(tags, EXIF, 0xA002, 0xA003)


def related_px(tags: Tags) -> tuple[int, int] | None:
    """Width and height in the interoperability directory, which editors mostly leave alone."""
    return _size(tags, INTEROP, 0x1001, 0x1002)


def _size(tags: Tags, directory: str, wide: int, high: int) -> tuple[int, int] | None:
    width = within(tags.number(directory, wide), *PIXELS)
    height = within(tags.number(directory, high), *PIXELS)
    return None if width is None or height is None else (int(width), int(height))


def largest_px(*sizes: tuple[int, int] | None) -> tuple[int, int] | None:
    """The size with the longest side; resizing makes pictures smaller, hardly ever larger."""
    known = [size for size in sizes if size is not None]
    return max(known, key=max) if known else None


def orientation_of(contents: Contents) -> int:
    """The orientation still to be applied to the stored pixels of a picture."""
    if contents.turned:
        return 1
    tags = contents.tags
    return orientation_to_apply(
        tags.whole(IMAGE, 0x0112),
        contents.stored_px,
        camera_px(tags),
        tags.text(IMAGE, 0x010F) is not None and tags.text(IMAGE, 0x0110) is not None,
    )


def frame_from(contents: Contents) -> Frame:
    """Build the frame of a picture from what its reader found."""
    tags, note, packet = contents.tags, contents.note, contents.packet
    model = tags.text(IMAGE, 0x0110)
    focal_mm = within(_either(tags, 0x920A), *FOCAL_MM)
    focal_35mm = within(tags.number(EXIF, 0xA405), 1.0, FOCAL_MM[1])
    lens = _lens(tags) or note.lens
    sensor = sensor_of(
        model=model,
        focal_mm=focal_mm,
        focal_35mm=focal_35mm,
        plane_per_unit=(tags.number(EXIF, 0xA20E), tags.number(EXIF, 0xA20F)),
        plane_unit=tags.whole(EXIF, 0xA210),
        camera_px=largest_px(camera_px(tags), related_px(tags), contents.stored_px),
        zoom=max(within(tags.number(EXIF, 0xA404), 1.0, 100.0) or 1.0, 1.0),
        lens=lens,
    )
    taken = _taken(tags, packet)
    width, height = contents.stored_px or (None, None)
    place = _place(tags)
    return Frame(
        file=contents.file,
        size_bytes=contents.size_bytes,
        make=_shared(tags.text(IMAGE, 0x010F)),
        model=_shared(model),
        serial=_shared(tags.text(EXIF, 0xA431) or tags.text(IMAGE, 0xC62F) or note.serial),
        lens=_shared(lens),
        lens_serial=_shared(tags.text(EXIF, 0xA435)),
        taken=taken.taken if taken else None,
        taken_resolution_s=taken.resolution_s if taken else 1.0,
        utc_offset_min=taken.utc_offset_min if taken else None,
        exposure_s=_exposure_s(tags),
        aperture_f=_aperture_f(tags),
        iso=_iso(tags) or note.iso,
        bias_ev=within(tags.number(EXIF, 0x9204), *BIAS_EV),
        program=_program(tags),
        bracketing=True if tags.whole(EXIF, 0xA402) == 2 else note.bracketing,
        white_balance=_white_balance(tags),
        white_balance_detail=note.white_balance or _LIGHT.get(tags.whole(EXIF, 0x9208) or 0),
        iso_auto=note.iso_auto,
        focus_auto=note.focus_auto,
        flash_fired=_flash_fired(tags),
        focal_mm=focal_mm,
        focal_35mm=focal_35mm,
        sensor_long_mm=round(sensor.long_mm, 4),
        sensor_from=sensor.origin,
        focus_m=_focus_m(tags) or note.focus_m,
        width_px=width,
        height_px=height,
        orientation=orientation_of(contents),
        composite=packet.panorama or _is_composite(contents, sensor),
        folder=sys.intern(names.folder_of(contents.file)),
        counter=names.counter_of(contents.file),
        folder_number=names.folder_number_of(contents.file),
        shutter_count=note.shutter_count,
        burst_number=note.burst_number,
        attitude=_attitude(tags, packet, note),
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        altitude_m=place.altitude_m,
        picture=contents.picture,
        software=_shared(tags.text(IMAGE, 0x0131)),
    )


def _shared(text: str | None) -> str | None:
    """One text for all frames that say the same: a third of what a frame takes in memory."""
    return None if text is None else sys.intern(text)


def is_wide(size: tuple[int, int] | None) -> bool:
    """Whether a picture has a shape that no sensor has."""
    return size is not None and max(size) >= WIDE * min(size)


def _is_composite(contents: Contents, sensor: Sensor) -> bool:
    """Whether Exif flags a picture as made of several, and means more than one exposure by it.

    Phones blend several shots into an ordinary exposure, at night or against the light, and
    flag some pictures so or all of them; such a one is a frame like its neighbours.
    """
    if contents.tags.whole(EXIF, 0xA460) not in (2, 3):
        return False
    is_phone = sensor.origin != "assumed" and sensor.long_mm <= PHONE_SENSOR_MM
    return not is_phone or contents.lists_panorama or is_wide(contents.stored_px)


def _either(tags: Tags, tag: int) -> float | None:
    """A number from the Exif directory, else from the main one, where TIFF/EP raws keep it."""
    value = tags.number(EXIF, tag)
    return tags.number(IMAGE, tag) if value is None else value


def _taken(tags: Tags, packet: Packet) -> Moment | None:
    """When the frame was taken: the original time, else the next best that is no edit time.

    DateTime moves with every edit, so it counts only where a body wrote the block and gave no
    other time: an editor that kept make and model would have kept the original time too.
    """
    zone = tags.text(EXIF, 0x9011)
    for stamp, subsec, offset in (
        ((EXIF, 0x9003), 0x9291, 0x9011),
        ((IMAGE, 0x9003), 0x9291, 0x9011),
        ((EXIF, 0x9004), 0x9292, 0x9012),
    ):
        found = moment(tags.text(*stamp), tags.text(EXIF, subsec), tags.text(EXIF, offset) or zone)
        if found is not None:
            return _zoned(found, tags)
    found = moment((packet.taken or "").replace("T", " ", 1))
    if found is not None:
        return found
    if tags.text(IMAGE, 0x010F) and tags.text(IMAGE, 0x0110):
        return moment(tags.text(IMAGE, 0x0132), tags.text(EXIF, 0x9290), tags.text(EXIF, 0x9010))
    return None


def _zoned(found: Moment, tags: Tags) -> Moment:
    """Add the zone from the file-change offset or the TIFF/EP hours, if none was given."""
    if found.utc_offset_min is not None:
        return found
    zone = utc_offset_min(tags.text(EXIF, 0x9010))
    if zone is None:
        hours = within(tags.number(EXIF, 0x882A), -12.0, 14.0)
        zone = None if hours is None else round(hours * 60)
    return replace(found, utc_offset_min=zone) if zone is not None else found


def _exposure_s(tags: Tags) -> float | None:
    exposure = within(_either(tags, 0x829A), *EXPOSURE_S)
    if exposure is not None:
        return exposure
    apex = within(_either(tags, 0x9201), -17.0, 20.0)
    return None if apex is None else within(2.0**-apex, *EXPOSURE_S)


def _aperture_f(tags: Tags) -> float | None:
    aperture = within(_either(tags, 0x829D), *APERTURE_F)
    if aperture is not None:
        return aperture
    apex = within(_either(tags, 0x9202), -2.0, 16.0)
    return None if not apex else within(2.0 ** (apex / 2.0), *APERTURE_F)


def _iso(tags: Tags) -> float | None:
    """ISO number; 65535 says that it does not fit and stands in one of the longer tags."""
    plain = within(_either(tags, 0x8827), *ISO)
    if plain is not None and plain < 65535:
        return plain
    longer = (within(tags.number(EXIF, tag), *ISO) for tag in (0x8832, 0x8831, 0x8833))
    panasonic = within(tags.number(IMAGE, 0x0017), *ISO)
    return next((value for value in longer if value is not None), panasonic) or plain


def _program(tags: Tags) -> Program | None:
    """Who chose what. ExposureMode decides where the program is "not defined"."""
    by_program: dict[int | None, Program] = {1: "manual", 3: "aperture", 4: "shutter"}
    program = tags.whole(EXIF, 0x8822)
    if program in by_program:
        return by_program[program]
    if program in (2, 5, 6, 7, 8):
        return "auto"
    by_mode: dict[int | None, Program] = {0: "auto", 1: "manual"}
    return by_mode.get(tags.whole(EXIF, 0xA402))


def _white_balance(tags: Tags) -> Literal["auto", "manual"] | None:
    value = tags.whole(EXIF, 0xA403)
    return "auto" if value == 0 else "manual" if value == 1 else None


def _flash_fired(tags: Tags) -> bool | None:
    value = tags.whole(EXIF, 0x9209)
    return None if value is None else bool(value & 1)


def _focus_m(tags: Tags) -> float | None:
    """Focus distance; 0 is unknown."""
    distance = tags.number(EXIF, 0x9206)
    return distance if distance is not None and distance > 0 else None


def _lens(tags: Tags) -> str | None:
    """The lens by name, else by its range of focal lengths and apertures."""
    name = tags.text(EXIF, 0xA434)
    if name is not None and name.strip("-. 0"):
        return name
    reach = tags.numbers(EXIF, 0xA432)
    if len(reach) < 2 or not reach[0] or not reach[1]:
        return None
    focal = f"{reach[0]:g}" if reach[0] == reach[1] else f"{reach[0]:g}-{reach[1]:g}"
    stops = [f"{stop:g}" for stop in dict.fromkeys(reach[2:4]) if stop]
    return f"{focal} mm f/{'-'.join(stops)}" if stops else f"{focal} mm"


class Place(NamedTuple):
    """Where a frame was taken, degrees and metres above sea level."""

    latitude_deg: float | None
    longitude_deg: float | None
    altitude_m: float | None


def _place(tags: Tags) -> Place:
    latitude = _degrees(tags, 0x02, 0x01, "S", 90.0)
    longitude = _degrees(tags, 0x04, 0x03, "W", 180.0)
    if tags.text(GPS, 0x09) == "V" or latitude is None or longitude is None:
        return Place(None, None, None)
    if latitude == 0.0 and longitude == 0.0:  # no fix yet, not the Gulf of Guinea
        return Place(None, None, None)
    altitude = within(tags.number(GPS, 0x06), -12_000.0, 100_000.0)
    if altitude is not None and tags.whole(GPS, 0x05) == 1:
        altitude = -altitude
    return Place(latitude, longitude, altitude)


def _degrees(tags: Tags, tag: int, reference: int, negative: str, most: float) -> float | None:
    parts = tags.numbers(GPS, tag)
    if not parts or parts[0] is None:
        return None
    minutes, seconds = [*parts[1:3], 0.0, 0.0][:2]
    value = parts[0] + (minutes or 0.0) / 60.0 + (seconds or 0.0) / 3600.0
    if not math.isfinite(value) or not -most <= value <= most:
        return None
    return -value if (tags.text(GPS, reference) or "").upper().startswith(negative) else value


def _attitude(tags: Tags, packet: Packet, note: Note) -> Attitude | None:
    """How the camera was held: a gimbal, else compass, elevation angle and the body's level.

    A gimbal or level of exactly zero in every angle is one that was off.
    """
    if any((packet.yaw_deg, packet.pitch_deg, packet.roll_deg)):
        return Attitude(
            yaw_deg=packet.yaw_deg,
            pitch_deg=packet.pitch_deg,
            roll_deg=packet.roll_deg,
            sigma_deg=LEVEL_SIGMA_DEG,
        )
    yaw = within(tags.number(GPS, 0x11), 0.0, 360.0)
    pitch = within(tags.number(EXIF, 0x9405), -180.0, 180.0)
    level_pitch, level_roll = note.pitch_deg, note.roll_deg
    if not level_pitch and not level_roll:
        level_pitch = level_roll = None
    pitch = level_pitch if pitch is None else pitch
    if yaw is None and pitch is None and level_roll is None:
        return None
    return Attitude(
        yaw_deg=yaw,
        pitch_deg=pitch,
        roll_deg=level_roll,
        sigma_deg=LEVEL_SIGMA_DEG if yaw is None else COMPASS_SIGMA_DEG,
    )
