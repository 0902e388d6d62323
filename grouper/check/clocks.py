"""What a difference between clocks looks like."""

from __future__ import annotations

_QUARTER_H_S = 900.0
"""All zones differ by whole quarters of an hour (IANA time zone database)."""
_ZONE_MOST_S = 26 * 3600.0
"""Zones run from -12:00 to +14:00 (IANA time zone database), 26 hours apart at most."""
_DRIFT_S = 120.0
"""Set by hand and drifted, two clocks are commonly within two minutes (common practice)."""
_RESET_S = 300 * 86400.0
"""Back by most of a year: the clock fell to its first day after a flat battery (practice)."""


def explain_offset(seconds: float, unsure_s: float = _DRIFT_S) -> str:
    """The likely cause of a difference, as the end of a sentence; empty if it shows none.

    ``unsure_s`` is how far the difference may be off. Zones in use are whole quarters of an
    hour (IANA time zone database).
    """
    size = abs(seconds)
    if seconds <= -_RESET_S:
        return ", as after a flat battery"
    quarters = round(size / _QUARTER_H_S)
    is_zone = size <= _ZONE_MOST_S and abs(size - quarters * _QUARTER_H_S) <= unsure_s
    if quarters == 4 and is_zone:
        return ", as with summer time or a neighbouring zone"
    # Odd quarters are rare zones (+5:45, +8:45, +12:45, +13:45): chance is likelier below.
    if is_zone and quarters >= 4 and quarters % 2 == 0:
        return ", as with another time zone"
    return ""
