"""Which file numbers the card holds, whatever became of the files."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from grouper.model import Frame, Scan


@dataclass(frozen=True, slots=True, kw_only=True)
class CardNumbers:
    """The files of a card by folder and number; unread ones apart.

    Movies, sound notes and the frames of another body use up numbers too.
    """

    held: Mapping[tuple[str, int], str]
    unread: Mapping[tuple[str, int], str]

    def lost(self, numbers: Sequence[int], folders: Sequence[str]) -> tuple[int, ...]:
        """Those of the numbers that no readable file in these folders bears."""
        return tuple(
            number
            for number in numbers
            if not any((folder, number) in self.held for folder in folders)
        )

    def unread_among(self, numbers: Sequence[int], folders: Sequence[str]) -> tuple[str, ...]:
        """The unread files that bear one of the numbers."""
        return tuple(
            self.unread[folder, number]
            for number in numbers
            for folder in dict.fromkeys(folders)
            if (folder, number) in self.unread
        )


def read_card_numbers(scan: Scan) -> CardNumbers:
    """Collect the numbers of every file the scan knows of."""
    held: dict[tuple[str, int], str] = {}
    for frame in scan.frames:
        if frame.counter is not None:
            held[frame.folder, frame.counter] = frame.file
        for companion in frame.companions:
            _add(held, companion)
    for file in scan.ignored:
        _add(held, file)
    unread: dict[tuple[str, int], str] = {}
    for record in scan.unread:
        _add(unread, record.file)
    return CardNumbers(held=held, unread=unread)


def folder_of(file: str) -> str:
    """The folder part of a relative path, empty at the root."""
    return file.rpartition("/")[0]


def stem_of(file: str) -> str:
    """The path without the last suffix: what a frame's files have in common."""
    folder, slash, name = file.rpartition("/")
    return f"{folder}{slash}{name.rpartition('.')[0] or name}"


def number_of(file: str) -> int | None:
    """The digits that end the file's stem, where there are at least four (as in DCF names)."""
    match = re.search(r"(\d{4,})$", stem_of(file))
    return int(match.group(1)) if match else None


def _add(numbers: dict[tuple[str, int], str], file: str) -> None:
    number = number_of(file)
    if number is not None:
        numbers.setdefault((folder_of(file), number), file)


def frames_by_file(frames: Sequence[Frame]) -> dict[str, Frame]:
    """Frames by the path of their main file."""
    return {frame.file: frame for frame in frames}
