"""The cameras of the rehearsal: invented makers, habits that real bodies have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from testdata.rehearsal import notes
from testdata.rehearsal.records import Body, Lens

Q5 = Body(
    key="q5",
    make="Quillmark",
    model="Q5",
    serial="5005001",
    lens="Quillmark 24-70mm f/4",
    claimed_px=(6000, 4000),
)
Q3 = Body(
    key="q3",
    make="Quillmark",
    model="Q3",
    serial=None,
    lens="Quillmark 16-50mm f/3.5-5.6",
    sensor_mm=(23.5, 15.6),
    file_px=(720, 480),
    claimed_px=(4928, 3264),
    subsec_digits=0,
    offset_tag=False,
    thumbnail_quality=60,
    folder_tag="QUILL",
    prefix="QIL_",
    k1=-0.02,
)
M2 = Body(
    key="m2",
    make="Ostrel",
    model="M2",
    serial="OM2-77120",
    lens="Ostrel 12-40mm f/2.8",
    sensor_mm=(17.3, 13.0),
    file_px=(640, 480),
    claimed_px=(4608, 3456),
    subsec_digits=3,
    focal_tags="focal-plane",
    thumbnail_quality=85,
    folder_tag="OSTRL",
    prefix="OM2_",
    distance_tag=True,
)
M1 = Body(
    key="m1",
    make="Ostrel",
    model="M1",
    serial="OM1-10334",
    lens="Ostrel 14-42mm f/3.5-5.6",
    sensor_mm=(17.3, 13.0),
    file_px=(800, 600),
    subsec_digits=1,
    offset_tag=False,
    thumbnail="none",
    folder_tag="OSTRM",
    prefix="OM1_",
)
COMPACT = Body(
    key="c1",
    make="Velm",
    model="Pocket C1",
    serial=None,
    lens="8.8-36.8mm f/1.8-4.9",
    sensor_mm=(13.2, 8.8),
    file_px=(640, 427),
    claimed_px=(5472, 3648),
    subsec_digits=0,
    offset_tag=False,
    focal_tags="none",
    turns="applied",
    thumbnail_quality=55,
    folder_tag="VELM_",
    prefix="VLM_",
    k1=0.012,
)
PHONE = Body(
    key="phone",
    make="Norrby",
    model="Eight",
    serial=None,
    lens="Norrby Eight back camera 5.6mm f/1.8",
    sensor_mm=(7.0, 5.25),
    file_px=(640, 480),
    subsec_digits=3,
    thumbnail="whole",
    folder_tag="NRRBY",
    prefix="NRB_",
    naming="time",
)
DRONE = Body(
    key="drone",
    make="Ostrel",
    model="Hover 3",
    serial="OH3-0091",
    lens="Ostrel 8.8mm f/2.8",
    sensor_mm=(13.2, 8.8),
    file_px=(640, 427),
    claimed_px=(5472, 3648),
    subsec_digits=0,
    folder_tag="HOVER",
    prefix="HOV_",
)

NOTED = replace(
    Q5,
    key="n1",
    make=notes.MAKER,
    model="N1",
    serial="N1-20077",
    lens="N1 24-70mm f/4",
    folder_tag="NOTED",
    prefix="NTD_",
    note=True,
)
"""An invented body that writes its maker note in a layout that is known."""

BODIES = (Q5, Q3, M2, M1, COMPACT, PHONE, DRONE, NOTED)
INTERCHANGEABLE = (Q5, Q3, M2, M1)

FISHEYE_15 = Lens(name="Quillmark Fisheye 15mm f/2.8", focal_mm=15.0, projection="equisolid")
"""Fills a full frame from corner to corner."""
FISHEYE_10 = Lens(name="Quillmark 10.5mm f/2.8 Fisheye", focal_mm=10.5, projection="equisolid")
"""The same for the smaller sensor of a Q3."""
FISHEYE_8 = Lens(
    name="Sundby 8mm f/3.5 Fisheye", focal_mm=8.0, projection="stereographic", tells=False
)
"""Set by hand, without contacts."""

_USUAL = (0.46, 0.2, 0.22, 0.12)


def any_body(rng: np.random.Generator) -> Body:
    """A camera as a panorama photographer brings: mostly with thumbnails, some without."""
    body = INTERCHANGEABLE[int(rng.choice(len(INTERCHANGEABLE), p=_USUAL))]
    if rng.random() < 0.15:
        body = replace(body, turns="applied")
    if rng.random() < 0.15:
        body = replace(body, subsec_digits=0)
    return body


def focal_for(body: Body, equivalent_mm: float) -> float:
    """The true focal length that has the angle of a 35 mm equivalent, to a tenth."""
    return round(equivalent_mm * float(np.hypot(*body.sensor_mm)) / 43.2666, 1)


def equivalent_for(body: Body, focal_mm: float) -> float:
    """The 35 mm equivalent of a focal length, by the diagonals."""
    return focal_mm * 43.2666 / float(np.hypot(*body.sensor_mm))
