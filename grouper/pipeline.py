"""The order of the steps. The only module that knows it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from grouper import check, discover, group, read, sight
from grouper.contracts import Eye, Progress
from grouper.model import Result, Scan
from grouper.settings import Settings


def scan(
    cards: Sequence[Path],
    settings: Settings | None = None,
    *,
    jobs: int = 1,
    progress: Progress | None = None,
) -> Scan:
    """Read the frames on one or more cards; several cards are read as one.

    Raises:
        NoSuchCard: a card is missing, is no folder, or cannot be opened.
    """
    settings = settings or Settings()
    found = discover.find_files(cards, settings)
    result = read.read_frames(
        Path(found.root), found.files, settings, jobs=jobs, progress=progress
    )
    return Scan(
        root=found.root,
        cards=found.cards,
        frames=result.frames,
        unread=tuple(sorted((*found.unread, *result.unread), key=lambda unread: unread.file)),
        ignored=tuple(sorted((*found.ignored, *result.ignored))),
    )


def run(
    cards: Sequence[Path],
    settings: Settings | None = None,
    *,
    jobs: int = 1,
    progress: Progress | None = None,
) -> Result:
    """Read, look, group and check: everything but the writing.

    Raises:
        NoSuchCard: a card is missing, is no folder, or cannot be opened.
        BadSettings: a setting names a finding that does not exist.
    """
    settings = settings or Settings()
    found = scan(cards, settings, jobs=jobs, progress=progress)
    eye: Eye = (
        sight.open_eye(Path(found.root), settings, jobs=jobs, progress=progress)
        if settings.sight.enabled
        else sight.BlindEye()
    )
    grouping = group.group_frames(found, eye, settings, progress)
    grouping, findings = check.find_all(found, grouping, settings)
    return Result(scan=found, grouping=grouping, findings=findings, settings=settings)
