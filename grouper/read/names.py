"""What file and folder names tell: counters, DCF numbers, stems. Pure.

DCF names: CIPA DC-009 (folders 100-999 plus five characters, files four characters plus
0001-9999).
"""

from __future__ import annotations

import re
from typing import Final

_DCF_FILE: Final = re.compile(r"[0-9A-Za-z_]{4}(\d{4})")
_DCF_FOLDER: Final = re.compile(r"([1-9]\d{2})[0-9A-Za-z_]{5}")

_DAY: Final = r"(?:19|20)\d{2}[-_. ]?(?:0[1-9]|1[0-2])[-_. ]?(?:0[1-9]|[12]\d|3[01])"
_SHORT_DAY: Final = r"\d{2}[-_.]?(?:0[1-9]|1[0-2])[-_.]?(?:0[1-9]|[12]\d|3[01])"
_SECONDS: Final = r"[0-2]\d[-_.h]?[0-5]\d[-_.m]?[0-6]\d"
_CLOCK: Final = re.compile(
    # A day with its century, alone or followed by a clock of any fineness ...
    rf"(?:{_DAY}(?:[-_. T]*[0-2]\d[-_.h]?[0-5]\d(?:[-_.m]?[0-6]\d(?:[-_.]?\d{{1,6}})?)?)?"
    # ... or a day without it, which counts only with hours, minutes and seconds.
    rf"|{_SHORT_DAY}[-_. T]*{_SECONDS}(?:[-_.]?\d{{1,3}})?)[a-z]?$"
)
_STAMPED: Final = re.compile(r"_\d{14}_(\d{4})_[A-Z]$")
_TRAILING: Final = re.compile(r"(\d+)$")

MOST_COUNTER_DIGITS: Final = 9
"""Longer runs of digits are identifiers or times, not counters."""


def folder_of(file: str) -> str:
    """The folder part of a relative POSIX path; empty at the root."""
    return file.rpartition("/")[0]


def stem_of(file: str) -> str:
    """The file name without folders and without its last suffix."""
    name = file.rpartition("/")[2]
    stem, dot, _ = name.rpartition(".")
    return stem if dot and stem else name


def suffix_of(file: str) -> str:
    """The last suffix in lower case, with its point; empty where there is none."""
    name = file.rpartition("/")[2]
    stem, dot, suffix = name.rpartition(".")
    return f".{suffix.lower()}" if dot and stem else ""


def counter_of(file: str) -> int | None:
    """The number a body gave to a file, from its name; ``None`` where the digits are none.

    A DCF name (four free characters, then 0001-9999) gives its file number; else the digits
    that end the stem do, unless they are a date or a clock.
    """
    stem = stem_of(file)
    if _CLOCK.search(stem):
        return None
    dcf = _DCF_FILE.fullmatch(stem)
    if dcf is not None and dcf.group(1) != "0000":
        return int(dcf.group(1))
    match = _STAMPED.search(stem) or _TRAILING.search(stem)
    if match is None or len(match.group(1)) > MOST_COUNTER_DIGITS:
        return None
    return int(match.group(1))


def folder_number_of(file: str) -> int | None:
    """The DCF directory number (100-999) of the folder a file lies in, if it has one."""
    match = _DCF_FOLDER.fullmatch(folder_of(file).rpartition("/")[2])
    return int(match.group(1)) if match else None
