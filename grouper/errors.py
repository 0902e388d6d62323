"""Errors that are the user's business: one sentence that names the path and the way out."""


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
