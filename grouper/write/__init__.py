"""Results become files: manifests, lists, a table, a report. ``write_result`` is the door.

Writers are pure functions from a result to bytes; ``replace`` alone touches the disk. All
files are rendered before the first one is written, so that an error leaves the folder as it
was; until then they are put by outside of memory.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from importlib import resources
from pathlib import Path
from typing import Any, cast

from grouper.contracts import Progress, Writer
from grouper.errors import CannotWrite
from grouper.model import Result
from grouper.spool import Spool
from grouper.write import lists, manifest, report, table, xmp
from grouper.write.links import planned_links
from grouper.write.manifest import card_object, set_manifest
from grouper.write.owner import refuse_other_card
from grouper.write.paths import check_unique_ids, checked
from grouper.write.plugins import load_writer, rendered
from grouper.write.replace import (
    Content,
    LinkKind,
    Written,
    check_place,
    digest_of,
    opened,
)

__all__ = [
    "WRITERS",
    "LinkKind",
    "Written",
    "card_object",
    "check_place",
    "load_writer",
    "manifest_schema",
    "set_manifest",
    "write_result",
    "writers_for",
]

WRITERS: tuple[Writer, ...] = (
    manifest.WRITER,
    lists.WRITER,
    table.WRITER,
    report.WRITER,
    xmp.WRITER,
)
"""In the order of the contract. Those for ``when == "asked"`` run only when named."""


def writers_for(names: Sequence[str] = ()) -> tuple[Writer, ...]:
    """The writers that always run, and those named, each once.

    Raises:
        CannotWrite: a name is not known, or its writer cannot be loaded.
    """
    always = tuple(writer for writer in WRITERS if writer.when == "always")
    asked = (load_writer(name, WRITERS) for name in dict.fromkeys(names))
    return (*always, *(writer for writer in asked if writer not in always))


def manifest_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of ``card.json`` and ``set.json``."""
    text = resources.files(__name__).joinpath("schema/manifest.schema.json").read_text("utf-8")
    return cast(dict[str, Any], json.loads(text))


def write_result(
    result: Result,
    out: Path,
    *,
    made: str,
    links: LinkKind | None = None,
    writers: Sequence[Writer] | None = None,
    onto_card: bool = False,
    progress: Progress | None = None,
) -> Written:
    """Write a result into the folder ``out``, which is made where it is missing.

    A file whose content (save ``made``) stands there already is left alone. What earlier
    runs wrote and this one does not is removed if it is untouched. Photographs are only
    read, and copies of them are never removed.

    Args:
        result: what to write.
        out: the output folder.
        made: the time of the run, ISO 8601 with offset.
        links: how to gather the photographs of each set, if at all.
        writers: default: those that always run.
        onto_card: allow an ``out`` that lies on one of the cards.
        progress: told how far the gathering of photographs is.

    Raises:
        CannotWrite: nothing, or not all, could be written; the message names the path and
            the way out. No file is left half-written.
    """
    cards = tuple(Path(result.scan.root) / card for card in result.scan.cards)
    check_place(out, cards, onto_card=onto_card)
    refuse_other_card(out, result)
    files = _render_all(result, made, writers_for() if writers is None else writers)
    pairs = list(planned_links(result)) if links is not None else []
    with opened(out.absolute()) as folder:
        folder.announce(files)
        for path in sorted(files, key=_card_last):
            folder.put(path, files[path], yields=path.endswith(".xmp"))
        for done, (path, file) in enumerate(pairs, start=1):
            if links is not None:
                folder.put_link(path, Path(result.scan.root) / file, links)
            if progress is not None:
                progress("gathering", done, len(pairs))
        folder.sweep()
        for set_id in lists.without_lists(result):
            folder.notes.append(
                f"sets/{set_id} got no lists: a path in it holds a line break; see set.json"
            )
    return folder.report()


def _render_all(result: Result, made: str, writers: Sequence[Writer]) -> dict[str, Content]:
    check_unique_ids(result.sets)
    spool = Spool()
    files: dict[str, Content] = {}
    for writer in writers:
        own = writer in WRITERS
        for path, data in writer.render(result, made) if own else rendered(writer, result, made):
            if checked(path, writer.name) in files:
                raise CannotWrite(f"two writers want to write {path}; one is {writer.name!r}")
            try:
                files[path] = _put_by(spool, (data,) if isinstance(data, bytes) else data)
            except OSError as error:  # of a temporary file: nothing was written yet
                raise CannotWrite(f"cannot make {path}: {error.strerror or error}") from error
    return files


def _put_by(spool: Spool, pieces: Iterable[bytes]) -> Content:
    numbers: list[int] = []

    def passed_on() -> Iterator[bytes]:
        for piece in pieces:
            numbers.append(spool.put(piece))
            yield piece

    return Content(digest_of(passed_on()), lambda: map(spool.get, numbers))


def _card_last(path: str) -> tuple[bool, str]:
    """``card.json`` comes last: once it is there, the sets that it names are."""
    return path == "card.json", path
