"""The order of the steps. The only module that knows it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from threadpoolctl import threadpool_limits

from grouper.check import find_all
from grouper.contracts import Progress
from grouper.discover import find_files
from grouper.group import group_frames
from grouper.model import Finding, Grouping, Result, Scan
from grouper.read import read_frames
from grouper.read.cache import file_for as cache_file_for
from grouper.settings import Settings
from grouper.sight import open_eye
from grouper.sight.small import SmallPictures
from grouper.thresholds import fixed_thresholds
from grouper.write import write_result

if TYPE_CHECKING:
    from grouper.sight.eye import Keep
    from grouper.write import LinkKind, Written


def scan(
    cards: Sequence[Path],
    settings: Settings | None = None,
    *,
    jobs: int = 1,
    progress: Progress | None = None,
    use_cache: bool = False,
) -> Scan:
    """Read the frames on one or more cards; several cards are read as one.

    With ``use_cache`` what was read is kept in the user's cache folder, and files that did not
    change are not read again; the result is the same.

    Raises:
        NoSuchCard: a card is missing, is no folder, or cannot be opened.
    """
    settings = settings or Settings()
    found = find_files(cards, settings)
    read = read_frames(
        Path(found.root),
        found.files,
        settings,
        jobs=jobs,
        progress=progress,
        cache_file=cache_file_for(found.cards) if use_cache else None,
    )
    return Scan(
        root=found.root,
        cards=found.cards,
        frames=read.frames,
        unread=tuple(sorted((*found.unread, *read.unread), key=lambda unread: unread.file)),
        ignored=tuple(sorted((*found.ignored, *read.ignored))),
    )


def group(
    scanned: Scan,
    settings: Settings | None = None,
    *,
    jobs: int = 1,
    progress: Progress | None = None,
    keep: Keep | None = None,
) -> Grouping:
    """Group what was read into sets, looking at the small pictures unless settings say not to.

    ``keep`` is given each small picture as it is looked at first.
    """
    settings = settings or Settings()
    eye = open_eye(Path(scanned.root), settings, jobs=jobs, progress=progress, keep=keep)
    with _one_thread():
        return group_frames(scanned, eye, settings, progress)


@contextmanager
def _one_thread() -> Iterator[None]:
    """Keep the numerical libraries to one thread each for a while.

    Pictures and matrices are so small that their threads do nothing but wait for one another,
    busily: a sixth of the whole job's processor time (measured).
    """
    # Only what is loaded can be limited, and these are imported where they are used.
    import cv2
    import sklearn.cluster
    import sklearn.mixture  # noqa: F401

    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        with threadpool_limits(limits=1):
            yield
    finally:
        cv2.setNumThreads(threads)


def check(
    scanned: Scan, grouping: Grouping, settings: Settings | None = None
) -> tuple[Grouping, tuple[Finding, ...]]:
    """Check every set and the card: the grouping with each set's findings, and the card's.

    Raises:
        BadSettings: a severity is given for a finding that does not exist.
    """
    return find_all(scanned, grouping, settings or Settings())


def run(
    cards: Sequence[Path],
    settings: Settings | None = None,
    *,
    jobs: int = 1,
    progress: Progress | None = None,
    use_cache: bool = False,
    for_report: bool = False,
) -> Result:
    """Read, group and check one or more cards: everything but the writing; see ``scan``.

    With ``for_report`` the small pictures that the report shows are made while they are looked
    at, which saves opening every photograph once more.

    Raises:
        NoSuchCard: a card is missing, is no folder, or cannot be opened.
        BadSettings: a severity is given for a finding that does not exist.
    """
    settings = settings or Settings()
    scanned = scan(cards, settings, jobs=jobs, progress=progress, use_cache=use_cache)
    pictures = SmallPictures(Path(scanned.root), scanned.frames, jobs=jobs, progress=progress)
    keep = pictures.keep if for_report else None
    grouping = group(scanned, settings, jobs=jobs, progress=progress, keep=keep)
    grouping, findings = check(scanned, grouping, settings)
    return Result(
        scan=scanned,
        grouping=grouping,
        findings=findings,
        settings=settings,
        pictures=pictures,
        fixed=fixed_thresholds(),
    )


def write(result: Result, out: Path, *, links: LinkKind | None = None) -> Written:
    """Write a result's manifests, lists, table and report into the folder ``out``.

    Raises:
        CannotWrite: the folder cannot be used or a file cannot be written.
    """
    made = datetime.now().astimezone().isoformat(timespec="seconds")
    return write_result(result, out, made=made, links=links)
