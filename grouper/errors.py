"""Errors that are the user's business: one sentence that names the path and the way out."""

from __future__ import annotations

import errno
from typing import Final


class GrouperError(Exception):
    """Base of everything grouper raises on purpose."""


class BadSettings(GrouperError):
    """A settings file cannot be read, or a key or value in it is not usable."""


class NoSuchCard(GrouperError):
    """A folder named as a card is missing, is not a folder, or cannot be opened."""


class CannotWrite(GrouperError):
    """The output folder cannot be used, or an output cannot be written."""


class UnreadableFile(GrouperError):
    """Raised inside ``read`` for one bad file; it becomes an ``Unread`` record.

    ``reason`` is one of ``model.UnreadReason``.
    """

    def __init__(self, reason: str, detail: str = "") -> None:
        super().__init__(f"{reason}: {detail}" if detail else reason)
        self.reason = reason
        self.detail = detail


_GONE: Final = frozenset(
    getattr(errno, name)
    for name in (
        "ESTALE", "ENODEV", "ENXIO", "ENOMEDIUM", "ENOTCONN", "ESHUTDOWN", "EHOSTDOWN",
        "EHOSTUNREACH", "ENETDOWN", "ENETUNREACH", "ETIMEDOUT", "ECONNRESET", "ECONNABORTED",
    )
    if hasattr(errno, name)
)  # fmt: skip
"""How it shows that a card was pulled out or a network share is no longer there; not every
system has every name."""


def explain_disk(error: OSError) -> tuple[str, str]:
    """What an error of the file system means for what was being read: reason and detail.

    The reason is one of ``model.UnreadReason``.
    """
    if isinstance(error, PermissionError):
        return "not-permitted", "reading it is not allowed"
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return "vanished", "it was there when the card was listed"
    if error.errno in _GONE:
        return "vanished", f"the card or network share went away: {error.strerror or error}"
    if error.errno == errno.ENAMETOOLONG:
        return "not-permitted", "its path is longer than this system allows"
    if error.errno == errno.ELOOP:
        return "vanished", "a link that leads nowhere"
    return "damaged", f"the disk fails: {error.strerror or error}"
