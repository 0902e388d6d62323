"""Builders for tests: records with sensible defaults."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from grouper.model import Frame

START = datetime(2026, 3, 14, 9, 14, 12)


def frame(number: int = 1, at_s: float = 0.0, **changes: Any) -> Frame:
    """A frame of an invented camera: upright, 24 mm, f/11, 1/60 s, ISO 100, all manual.

    ``number`` is the file counter, ``at_s`` the seconds after ``START``.
    """
    base = Frame(
        file=f"100QMARK/QMK_{number:04d}.JPG",
        folder="100QMARK",
        counter=number,
        folder_number=100,
        make="Quillmark",
        model="Q5",
        serial="5005001",
        lens="Quillmark 24-70mm f/4",
        taken=START + timedelta(seconds=at_s),
        taken_resolution_s=0.01,
        exposure_s=1 / 60,
        aperture_f=11.0,
        iso=100.0,
        bias_ev=0.0,
        program="manual",
        white_balance="manual",
        flash_fired=False,
        focal_mm=24.0,
        focal_35mm=24.0,
        sensor_long_mm=36.0,
        sensor_from="equivalent",
        width_px=4000,
        height_px=6000,
    )
    return replace(base, **changes)
