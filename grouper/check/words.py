"""How the checks put numbers and names into words a photographer would use."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from grouper.optics import next_counter

_NAMED = 4
"""A sentence names at most so many frames; the finding's ``frames`` hold them all."""

_PROGRAMS = {
    "manual": "manual exposure",
    "aperture": "aperture priority",
    "shutter": "shutter priority",
    "auto": "program automatic",
}


def base_name(file: str) -> str:
    """The file name without its folders."""
    return file.rsplit("/", 1)[-1]


def listed(words: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``; beyond four ``a, b, c and 5 more``."""
    if len(words) > _NAMED:
        words = [*words[: _NAMED - 1], f"{len(words) - _NAMED + 1} more"]
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def names(files: Iterable[str]) -> str:
    """File names as a list in a sentence."""
    return listed([base_name(file) for file in files])


def counted(number: int, noun: str, plural: str | None = None) -> str:
    """``1 frame``, ``3 frames``."""
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def is_are(number: int) -> str:
    """The verb that goes with a number of things."""
    return "is" if number == 1 else "are"


def degrees(value: float) -> str:
    """``71°``; with a decimal below 10 degrees, where it matters."""
    return f"{value:.1f}°" if abs(value) < 9.95 else f"{value:.0f}°"


def share(value: float) -> str:
    """``31 %``."""
    return f"{100 * value:.0f} %"


def span(low: str, high: str) -> str:
    """``35 to 36°``, or one of them where both read the same."""
    if low == high:
        return low
    for unit in ("°", " %", " EV", " s"):
        if low.endswith(unit) and high.endswith(unit):
            return f"{low.removesuffix(unit)} to {high}"
    return f"{low} to {high}"


def shutter(exposure_s: float) -> str:
    """``1/60 s``, ``0.5 s``, ``2 s``: as a camera shows it."""
    if exposure_s < 0.28:
        return f"1/{round(1 / exposure_s)} s"
    return f"{exposure_s:.3g} s"


def aperture(aperture_f: float) -> str:
    """``f/11``."""
    return f"f/{aperture_f:.3g}"


def iso(value: float) -> str:
    """``ISO 100``."""
    return f"ISO {value:.0f}"


def millimetres(value: float) -> str:
    """``24 mm``."""
    return f"{value:.4g} mm"


def distance(metres: float) -> str:
    """``2.5 m``, ``45 cm``, ``infinity``."""
    if math.isinf(metres):
        return "infinity"
    return f"{100 * metres:.0f} cm" if metres < 1 else f"{metres:.3g} m"


def plain_distance(metres: float) -> float | str:
    """A distance for a finding's measured values; JSON has no infinity."""
    return "infinity" if math.isinf(metres) else round(metres, 3)


def stops(value: float) -> str:
    """``2 EV``, ``0.7 EV``."""
    text = f"{value:.1f}".removesuffix(".0")
    return f"{'0' if text == '-0' else text} EV"


def signed_stops(value: float) -> str:
    """``+2 EV``, ``−0.7 EV``, ``0 EV``."""
    text = f"{abs(value):.1f}".removesuffix(".0")
    if text == "0":
        return "0 EV"
    return f"{'+' if value > 0 else '−'}{text} EV"


def duration(seconds: float) -> str:
    """``4.1 s``, ``3 min 12 s``, ``1 h``, ``2 days 3 h``: two units at most, no sign."""
    rest = abs(seconds)
    if rest < 10:
        return f"{rest:.1f}".removesuffix(".0") + " s"
    whole = round(rest)
    parts = []
    for size, unit in ((86400, "days"), (3600, "h"), (60, "min"), (1, "s")):
        number, whole = divmod(whole, size)
        if number:
            parts.append(f"{number} {'day' if unit == 'days' and number == 1 else unit}")
        elif parts:
            break
        if len(parts) == 2:
            break
    return " ".join(parts)


def file_number(number: int) -> str:
    """A file number with its four digits."""
    return f"{number:04d}"


def file_numbers(numbers: Sequence[int]) -> str:
    """``0421``, ``0421 and 0422``, ``0421 to 0429``, ``0421, 0425 to 0427 and 0430``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == next_counter(runs[-1][-1]):
            runs[-1].append(number)
        else:
            runs.append([number])
    told = []
    for run in runs:
        if len(run) > 2:
            told.append(f"{file_number(run[0])} to {file_number(run[-1])}")
        else:
            told.extend(file_number(number) for number in run)
    return listed(told)


def program(name: str) -> str:
    """Who chose the exposure, in words."""
    return _PROGRAMS.get(name, name)
