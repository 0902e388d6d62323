"""Writers of others: found under the entry-point group ``grouper.writers``, asked for by name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from importlib import metadata

from grouper.contracts import Writer
from grouper.errors import CannotWrite
from grouper.model import Result

GROUP = "grouper.writers"


def load_writer(name: str, own: Sequence[Writer] = ()) -> Writer:
    """The writer called ``name``: one of ``own``, or one that an installed package offers.

    Raises:
        CannotWrite: there is none, two packages offer one, or it cannot be loaded.
    """
    for writer in own:
        if writer.name == name:
            return writer
    entries = list(metadata.entry_points(group=GROUP))
    named = [entry for entry in entries if entry.name == name]
    if len(named) != 1:
        known = sorted({*(writer.name for writer in own), *(entry.name for entry in entries)})
        fault = f"{len(named)} installed packages offer one" if named else "there is none"
        raise CannotWrite(f"writer {name!r}: {fault}; known are {', '.join(known)}")
    try:
        writer = named[0].load()
    except Exception as error:  # foreign code: whatever it raises is its fault, and is named
        raise CannotWrite(
            f"writer {name!r} ({named[0].value}) cannot be loaded: {error!r}"
        ) from error
    if not isinstance(writer, Writer):
        raise CannotWrite(
            f"writer {name!r} ({named[0].value}) is no grouper.contracts.Writer; "
            f"it is a {type(writer).__name__}"
        )
    return writer


def rendered(writer: Writer, result: Result, made: str) -> list[tuple[str, bytes]]:
    """What a foreign writer renders.

    Raises:
        CannotWrite: it fails, or yields something other than pairs of path and bytes.
    """
    try:
        pairs = [
            (path, b"".join(data) if isinstance(data, Iterator) else data)
            for path, data in writer.render(result, made)
        ]
    except Exception as error:  # foreign code again
        raise CannotWrite(f"writer {writer.name!r} failed: {error!r}") from error
    for path, data in pairs:
        if not isinstance(path, str) or not isinstance(data, bytes):
            raise CannotWrite(f"writer {writer.name!r} must yield pairs of str and bytes")
    return pairs
