"""Values as they stand in a manifest: plain, rounded, finite, the same every time. Pure."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any

from grouper.model import Member
from grouper.optics import light_ev

ANGLE_DIGITS = 2
"""Decimals of angles in degrees. Pictures give yaw to about 0.1 degree, so a hundredth is
beyond what is known and rounding loses nothing."""
SHARE_DIGITS = 3
"""Decimals of shares 0..1 (overlap, crop loss, confidence): a tenth of a per cent."""
SIGNIFICANT = 6
"""Significant digits of exposure times and of measured values: 1/60 s is 0.0166667."""


def rounded(value: float | None, digits: int) -> float | None:
    """``value`` to ``digits`` decimals; ``None`` for unknown or not finite; never ``-0.0``."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def ev_offset(member: Member) -> float | None:
    """A member's light against its set; ``None`` where its exposure was not recorded."""
    frame = member.frame
    if light_ev(frame.exposure_s, frame.aperture_f, frame.iso) is None:
        return None
    return rounded(member.ev_offset, 2)


def significant(value: float | None, digits: int = SIGNIFICANT) -> float | None:
    """``value`` to ``digits`` significant digits; ``None`` for unknown or not finite."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}") + 0.0


def angle(value: float | None) -> float | None:
    """An angle in degrees as manifests hold it."""
    return rounded(value, ANGLE_DIGITS)


def share(value: float | None) -> float | None:
    """A share 0..1 as manifests hold it."""
    return rounded(value, SHARE_DIGITS)


def whole(value: float | None) -> float | int | None:
    """A value that is mostly a whole number (ISO 100) without a needless ``.0``."""
    value = significant(value)
    return int(value) if value is not None and value.is_integer() else value


def moment(value: datetime | None) -> str | None:
    """A wall clock time to the millisecond, without a zone."""
    if value is None:
        return None
    return value.replace(tzinfo=None).isoformat(timespec="milliseconds")


def offset(minutes: int | None) -> str | None:
    """An offset from UTC in minutes as ``+02:00``."""
    if minutes is None:
        return None
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def plain(value: Any) -> Any:
    """Any value a check measured, as JSON can hold it.

    Numbers of array libraries become Python's own, what is not finite becomes ``None``,
    sequences become lists. What is none of these becomes its text.
    """
    if value is None or isinstance(value, str | bool):
        return value
    if isinstance(value, int):
        return int(value)
    if isinstance(value, float):
        return significant(value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, set | frozenset):
        return sorted((plain(item) for item in value), key=str)
    if isinstance(value, datetime):
        return moment(value)
    if isinstance(value, date):
        return value.isoformat()
    if hasattr(value, "tolist"):  # numpy scalars and arrays, without importing numpy
        return plain(value.tolist())
    return str(value)


def json_bytes(value: Any) -> bytes:
    r"""JSON as grouper writes it: UTF-8, LF, two spaces, keys in the order given.

    A file name whose bytes are no UTF-8 reaches us with each such byte as a lone surrogate
    (PEP 383). UTF-8 cannot hold those, a JSON escape can: they are written as ``\udc80`` to
    ``\udcff``, and ``os.fsencode(json.loads(...)["file"])`` gives the bytes back.

    Raises:
        ValueError: a number is not finite (a bug: ``plain`` and ``rounded`` remove them).
    """
    text = json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False)
    return utf8(text + "\n")


def json_list_pieces(
    before: Mapping[str, Any], key: str, items: Iterable[bytes], after: Mapping[str, Any]
) -> Iterator[bytes]:
    """``json_bytes`` of an object one of whose values is a long list, item by item.

    Args:
        before: what stands before the list; at least one key.
        key: of the list.
        items: what ``json_bytes`` gives for each item of the list.
        after: what stands behind the list; at least one key.
    """
    yield json_bytes(before)[: -len(b"\n}\n")] + f",\n  {json.dumps(key)}: [".encode()
    comma, end = b"\n    ", b""
    for item in items:
        yield comma + item.rstrip(b"\n").replace(b"\n", b"\n    ")  # no text holds a bare break
        comma, end = b",\n    ", b"\n  "
    yield end + b"]," + json_bytes(after)[1:]


def utf8(text: str) -> bytes:
    r"""Text as valid UTF-8; a lone surrogate becomes its escape, such as ``\udcff``."""
    return text.encode("utf-8", "backslashreplace")
