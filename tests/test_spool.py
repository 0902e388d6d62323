from __future__ import annotations

import os
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from grouper import spool
from grouper.spool import Spool

PIECES = [b"", b"a", bytes(range(256)) * 8, b"", b"z" * 5000, b"last"]


@pytest.fixture(params=[1, 4000, 1 << 20], ids=["each", "some", "never"])
def at_once(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    monkeypatch.setattr(spool, "_AT_ONCE", request.param)
    return int(request.param)


def test_gives_back_what_it_took_in_any_order(at_once: int) -> None:
    kept = Spool()
    assert [kept.put(piece) for piece in PIECES] == list(range(len(PIECES)))
    for number in (5, 0, 3, 2, 1, 4, 4):
        assert kept.get(number) == PIECES[number]
    assert kept.put(b"more") == len(PIECES)  # after reading, too
    assert kept.get(len(PIECES)) == b"more"
    assert kept.get(2) == PIECES[2]


def test_is_for_several_threads(at_once: int) -> None:
    kept = Spool()

    def there_and_back(size: int) -> bool:
        data = bytes([size % 256]) * size
        return kept.get(kept.put(data)) == data

    with ThreadPoolExecutor(4) as pool:
        assert all(pool.map(there_and_back, range(1, 400)))


def test_what_the_disk_does_not_take_stays_in_memory(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", "/nowhere/at/all")
    kept = Spool()
    numbers = [kept.put(piece) for piece in PIECES]
    assert [kept.get(number) for number in numbers] == PIECES


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_costs_nothing_that_was_put_by(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spool, "_AT_ONCE", 1)
    kept = Spool()
    kept.put(b"before")
    file = kept._file
    assert file is not None
    with Path("/dev/full").open("r+b", buffering=0) as full:
        kept._file = full
        numbers = [kept.put(piece) for piece in PIECES]
    kept._file = file
    assert [kept.get(number) for number in numbers] == PIECES
    assert kept.get(0) == b"before"


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", os.fspath(tmp_path))
    monkeypatch.setattr(spool, "_AT_ONCE", 1)
    kept = Spool()
    kept.put(b"picture")
    assert kept.get(0) == b"picture"
    file = kept._file
    assert file is not None
    assert not file.closed
    del kept
    assert file.closed
    assert not list(tmp_path.iterdir())


def test_the_current_folder_is_no_folder_for_temporary_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("TMPDIR", "TEMP", "TMP"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(spool, "_AT_ONCE", 1)
    monkeypatch.setattr(tempfile, "tempdir", os.fspath(tmp_path))  # as if nothing else were left
    monkeypatch.chdir(tmp_path)
    kept = Spool()
    assert kept.get(kept.put(b"picture")) == b"picture"
    assert kept._file is None
    assert kept.is_refused
    monkeypatch.setenv("TMPDIR", os.fspath(tmp_path))  # but whoever asks for it gets it
    kept = Spool()
    kept.put(b"picture")
    assert kept._file is not None


def test_a_file_that_cannot_be_read_back_is_named_as_what_it_is(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(spool, "_AT_ONCE", 1)
    kept = Spool()
    kept.put(b"picture")
    assert kept._file is not None
    kept._file.truncate(3)
    with pytest.raises(OSError, match="a temporary file lost what was put by"):
        kept.get(0)
