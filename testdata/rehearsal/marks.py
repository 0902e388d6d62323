"""Marked values of the third-stop series: what a camera writes for what it does.

Bodies aim at exact powers of two and write the rounded marks that photographers know
(1/60 s for 1/64 s). Marks: ISO 516 (shutter) and ISO 517 (apertures), from memory, in the
form that current bodies show; checked against the exact series in the tests.
"""

from __future__ import annotations

from fractions import Fraction

_SLOW = {
    -15: "30", -14: "25", -13: "20", -12: "15", -11: "13", -10: "10", -9: "8", -8: "6",
    -7: "5", -6: "4", -5: "32/10", -4: "25/10", -3: "2", -2: "16/10", -1: "13/10", 0: "1",
    1: "8/10", 2: "6/10", 3: "1/2", 4: "4/10", 5: "3/10",
}  # fmt: skip
_FAST = (
    4, 5, 6, 8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500,
    640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000, 5000, 6400, 8000,
)  # fmt: skip
_APERTURES = (
    "1", "1.1", "1.2", "1.4", "1.6", "1.8", "2", "2.2", "2.5", "2.8", "3.2", "3.5", "4", "4.5",
    "5", "5.6", "6.3", "7.1", "8", "9", "10", "11", "13", "14", "16", "18", "20", "22", "25",
)  # fmt: skip

SLOWEST_TV, FASTEST_TV = -5.0, 13.0


def shutter_mark(tv: float) -> Fraction:
    """The mark for an exact Tv, which must lie on the third-stop series -5..13."""
    third = round(tv * 3)
    if third in _SLOW:
        return Fraction(_SLOW[third])
    if not 6 <= third < 6 + len(_FAST):
        raise ValueError(f"no shutter mark for Tv {tv}")
    return Fraction(1, _FAST[third - 6])


def aperture_mark(av: float) -> Fraction:
    """The mark for an exact Av, which must lie on the third-stop series 0..9.33."""
    third = round(av * 3)
    if not 0 <= third < len(_APERTURES):
        raise ValueError(f"no aperture mark for Av {av}")
    return Fraction(_APERTURES[third])


def nearest_third(value: float) -> float:
    """The value on the third-stop series next to ``value``."""
    return round(value * 3) / 3
