"""The service's own files in the output folder: written beside and renamed, and cleaned up."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

from grouper.errors import CannotWrite, GrouperError
from grouper.write.replace import LOCK, RECORD, TEMPORARY, check_place, opened


def put(target: Path, data: bytes) -> bool:
    """Let ``data`` stand at ``target``; whether it did not already.

    Raises:
        OSError: it cannot be written; nothing is half-written.
    """
    with contextlib.suppress(OSError):
        if not target.is_symlink() and target.read_bytes() == data:
            return False
    temporary = target.parent / f"{TEMPORARY}{secrets.token_hex(8)}"
    try:
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    return True


def clean_up(folder: Path, outs: Iterable[str]) -> int:
    """Remove what a killed run left half-written, here and in these outputs; how many files.

    Outputs in which another run is writing right now are left alone.
    """
    removed = 0
    for leftover in folder.glob(f"{TEMPORARY}*"):
        if leftover.is_file() or leftover.is_symlink():
            with contextlib.suppress(OSError):
                leftover.unlink()
                removed += 1
    for out in outs:
        found = list(_leftovers(folder / out))
        if found:
            with contextlib.suppress(CannotWrite, OSError), opened(folder / out) as inside:
                inside.keep_books()  # opening it has removed them; nothing else is done
            removed += sum(not os.path.lexists(leftover) for leftover in found)
    return removed


def _leftovers(out: Path) -> Iterator[Path]:
    for place, _, names in os.walk(out):
        for name in names:
            if name.startswith(TEMPORARY) or (name == LOCK and Path(place) == out):
                yield Path(place) / name


def remove_output(out: Path) -> tuple[int, list[str]]:
    """Remove what grouper wrote into an output folder, as far as nobody edited it.

    Returns:
        how many files went, and sentences about what was kept.

    Raises:
        CannotWrite: another run is writing there, or something cannot be removed.
    """
    if out.is_symlink() or not out.is_dir() or not (out / RECORD).is_file():
        return 0, []
    with opened(out) as folder:
        folder.sweep()
    written = folder.report()
    if not written.kept:
        with contextlib.suppress(OSError):
            (out / RECORD).unlink()
            (out / "sets").rmdir()
        with contextlib.suppress(OSError):
            out.rmdir()
    return len(written.removed), list(written.notes)


def size_of(folder: Path) -> int:
    """Bytes that the files below a folder take."""
    total = 0
    for place, _, names in os.walk(folder):
        for name in names:
            with contextlib.suppress(OSError):
                total += os.lstat(os.path.join(place, name)).st_size  # noqa: PTH118
    return total


def free_bytes(folder: Path) -> int:
    """Bytes that can still be written to the disk of a folder."""
    return shutil.disk_usage(folder).free


def refuse_nesting(inbox: Path, out: Path) -> None:
    """Make sure that the outputs are not watched and the inbox is not written to.

    Raises:
        CannotWrite: the output folder lies in the inbox, or cannot be written to.
        GrouperError: the inbox is no folder, or lies in the output folder.
    """
    if not inbox.is_dir():
        raise GrouperError(f"{inbox}: there is no such folder; name the inbox that cards come to")
    inner, outer = (os.path.realpath(place).rstrip(os.sep) + os.sep for place in (inbox, out))
    if outer.startswith(inner):
        raise CannotWrite(
            f"the output folder {out} lies in the inbox {inbox}, where nothing is written; choose "
            f"another with --out DIR"
        )
    check_place(out, (inbox,))  # compares as the file system does, too
    if inner.startswith(outer):
        raise GrouperError(
            f"the inbox {inbox} lies in the output folder {out}; choose another with --out DIR"
        )
