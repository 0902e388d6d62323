"""Groups the frames on a camera card into sets and checks every set before the card is formatted.

``run`` does everything but the writing; ``scan``, ``group`` and ``check`` are its steps, for
programs that want to look in between; ``write`` puts the manifests into a folder::

    import grouper
    from pathlib import Path

    result = grouper.run([Path("testdata/card")])
    for found in result.sets:
        print(found.id, found.kind, len(found.members), found.confidence)
    grouper.write(result, Path("card-sets"))
"""

import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

from grouper.errors import BadSettings, CannotWrite, GrouperError, NoSuchCard
from grouper.model import (
    Attitude,
    Body,
    BriefLine,
    Finding,
    Frame,
    Glance,
    Grouping,
    Layout,
    Link,
    Member,
    PictureSource,
    Pointing,
    Preview,
    Result,
    Scan,
    Set,
    Sighting,
    Solution,
    Unread,
)
from grouper.settings import BriefSettings, RigLens, Settings, load_settings

if TYPE_CHECKING:
    from grouper.pipeline import check, group, run, scan, write

__version__ = "0.1.0"

__all__ = [
    "Attitude",
    "BadSettings",
    "Body",
    "BriefLine",
    "BriefSettings",
    "CannotWrite",
    "Finding",
    "Frame",
    "Glance",
    "GrouperError",
    "Grouping",
    "Layout",
    "Link",
    "Member",
    "NoSuchCard",
    "PictureSource",
    "Pointing",
    "Preview",
    "Result",
    "RigLens",
    "Scan",
    "Set",
    "Settings",
    "Sighting",
    "Solution",
    "Unread",
    "__version__",
    "check",
    "group",
    "load_settings",
    "run",
    "scan",
    "write",
]

_STEPS = frozenset(("check", "group", "run", "scan", "write"))
"""Functions of the pipeline. It brings numpy, scipy and the readers with it, which ``grouper
--help`` can do without, so it is imported when one of them is first wanted."""


def __getattr__(name: str) -> Any:
    if name not in _STEPS:
        raise AttributeError(f"module 'grouper' has no attribute {name!r}")
    from grouper import pipeline

    return getattr(pipeline, name)


class _Package(ModuleType):
    def __setattr__(self, name: str, value: Any) -> None:
        # Importing the sub-package grouper.group would otherwise hide the function grouper.group.
        if not (name in _STEPS and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package
