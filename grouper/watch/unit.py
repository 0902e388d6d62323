"""The systemd unit that ships with the package."""

from __future__ import annotations

from importlib import resources
from typing import Final

FILE_NAME: Final = "grouper-watch.service"


def unit_text() -> str:
    """The unit as shipped: an example to be adapted, with the places to adapt on top."""
    return resources.files("grouper.watch").joinpath(FILE_NAME).read_text("utf-8")
