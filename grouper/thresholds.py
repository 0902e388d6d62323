"""The numbers that grouping, seeing and checking go by and that no setting changes."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache
from numbers import Integral, Real
from types import ModuleType
from typing import Any

_PACKAGES = ("group", "sight", "check")
"""Steps that judge. The others walk, read and write; what they go by is in the settings."""


@cache
def fixed_thresholds() -> dict[str, Any]:
    """Every fixed number by where it stands, such as ``group.panorama.START``.

    Package by package, then by name. A number that a module takes over from another stands with
    both, since both go by it. Values are as ``numbers_of`` gives them. Imports the three steps.
    """
    table: dict[str, Any] = {}
    for package in _PACKAGES:
        home = importlib.import_module(f"grouper.{package}")
        inside = sorted(info.name for info in pkgutil.iter_modules(home.__path__))
        table |= numbers_of(home, package)
        for name in inside:
            module = importlib.import_module(f"grouper.{package}.{name}")
            table |= numbers_of(module, f"{package}.{name}")
    return table


def numbers_of(module: ModuleType, prefix: str) -> dict[str, Any]:
    """A module's upper-case constants that are numbers, or tuples or dicts of nothing else.

    Python's own numbers, lists for tuples and text for keys, as JSON has them; sorted by name.
    """
    found = {
        f"{prefix}.{name}": _plain(value)
        for name, value in vars(module).items()
        if name.isupper() and _is_numeric(value)
    }
    return dict(sorted(found.items()))


def _is_numeric(value: object) -> bool:
    if isinstance(value, tuple):
        return bool(value) and all(_is_numeric(item) for item in value)
    if isinstance(value, dict):
        return bool(value) and all(_is_numeric(item) for item in value.values())
    return isinstance(value, Real) and not isinstance(value, bool)


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    return int(value) if isinstance(value, Integral) else float(value)
