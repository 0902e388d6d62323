"""How loud a finding is: the check's default, moved or silenced by the settings.

The only place where severity is decided; a check says what it saw and no more.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping

from grouper.errors import BadSettings
from grouper.model import Severity
from grouper.settings import Settings

_LEVELS: dict[str, Severity | None] = {
    "problem": "problem",
    "warning": "warning",
    "note": "note",
    "off": None,
}


def decide_severities(
    defaults: Mapping[str, Severity], settings: Settings
) -> dict[str, Severity | None]:
    """The severity of every code in force; ``None`` silences it.

    Raises:
        BadSettings: the settings name a code that no check has, or a level that is none.
    """
    decided: dict[str, Severity | None] = dict(defaults)
    for code, level in settings.severity:
        if code not in defaults:
            raise BadSettings(f"[severity] knows no finding code {code!r}{_hint(code, defaults)}")
        if level not in _LEVELS:
            raise BadSettings(f"[severity] {code}: {level!r} is none of {', '.join(_LEVELS)}")
        decided[code] = _LEVELS[level]
    return decided


def _hint(code: str, known: Mapping[str, Severity]) -> str:
    close = difflib.get_close_matches(code, sorted(known), n=1)
    return f"; did you mean {close[0]!r}?" if close else f"; known are {', '.join(sorted(known))}"
