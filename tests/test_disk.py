"""What disks, cards and network shares do to a scan: nothing is lost, and each is said plainly."""

from __future__ import annotations

import errno
import os
import stat
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from grouper.discover import find_files
from grouper.errors import explain_disk
from grouper.model import Scan, Unread
from grouper.pipeline import scan
from grouper.settings import Settings
from tests.read.files import jpeg_bytes, raw_bytes, write_photo


def ends(found: Scan) -> list[str]:
    """Every file of a scan, wherever it ended."""
    files = [file for frame in found.frames for file in (frame.file, *frame.companions)]
    return sorted([*files, *(item.file for item in found.unread), *found.ignored])


def on_disk(card: Path) -> list[str]:
    return sorted(str(path.relative_to(card)) for path in card.rglob("*") if not path.is_dir())


def write(card: Path, *names: str) -> Path:
    for name in names:
        path = card / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(jpeg_bytes())
    return card


def said(found: Scan) -> dict[str, tuple[str, str]]:
    return {item.file: (item.reason, item.detail) for item in found.unread}


# ---- names


@pytest.mark.parametrize(
    "name",
    [
        "weiß.jpg",
        "Ilse’s Tavrin 📷.JPG",
        "e\u0301te\u0301.jpg",
        "\u202egpj.exe.jpg",
        "two\nlines.jpg",
        "tab\tand\x1b[31mred.jpg",
        " leading and trailing .jpg",
        "-rf *.jpg",
        "%2e%2e%2fA.JPG",
        "<script>alert(1)</script>.jpg".replace("/", "∕"),
        "x" * 250 + ".JPG",
        os.fsdecode(b"Q\xff\xfe_0001.JPG"),
        os.fsdecode(b"\xe9t\xe9/A.JPG"),
    ],
    ids=lambda name: ascii(name)[:30],
)
@pytest.mark.skipif(os.name == "nt", reason="most of these cannot be file names there")
def test_any_name(tmp_path: Path, name: str) -> None:
    found = scan([write(tmp_path / "card", name)])
    assert [frame.file for frame in found.frames] == [name]
    assert scan([tmp_path / "card"], use_cache=True) == found
    assert scan([tmp_path / "card"], use_cache=True) == found


def test_a_card_of_any_name(tmp_path: Path) -> None:
    card = write(tmp_path / "Tavrin ’26 \n 📷", "A.JPG")
    assert [frame.file for frame in scan([card], use_cache=True).frames] == ["A.JPG"]


def test_names_that_differ_in_case_only_are_two_frames(tmp_path: Path) -> None:
    card = write(tmp_path, "QMK_0001.JPG")
    (card / "qmk_0001.jpg").write_bytes(jpeg_bytes(shade=30))
    if len(list(card.iterdir())) == 1:
        pytest.skip("this file system has one name for both")
    assert [frame.file for frame in scan([card]).frames] == ["QMK_0001.JPG", "qmk_0001.jpg"]


def test_companions_whatever_the_case_and_spelling(tmp_path: Path) -> None:
    write_photo(tmp_path / "\u00e9t\u00e9_0001.JPG")
    (tmp_path / "E\u0301TE\u0301_0001.nef").write_bytes(raw_bytes())
    (frame,) = scan([tmp_path]).frames
    assert (frame.file, frame.companions) == (
        "\u00e9t\u00e9_0001.JPG",
        ("E\u0301TE\u0301_0001.nef",),
    )


# ---- links, pipes, devices


def test_loops_of_links_end(tmp_path: Path) -> None:
    card = write(tmp_path / "card", "DCIM/A.JPG")
    (card / "DCIM/up").symlink_to("..")
    (card / "DCIM/itself.JPG").symlink_to("itself.JPG")
    (card / "one.JPG").symlink_to("two.JPG")
    (card / "two.JPG").symlink_to("one.JPG")
    found = scan([card])
    assert [frame.file for frame in found.frames] == ["DCIM/A.JPG"]
    assert found.ignored == ("DCIM/up",)
    assert said(found) == dict.fromkeys(
        ("DCIM/itself.JPG", "one.JPG", "two.JPG"), ("vanished", "a link that leads nowhere")
    )


def test_pipes_and_devices_are_not_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    card = write(tmp_path, "A.JPG")
    os.mkfifo(card / "pipe.JPG")
    (card / "link-to-pipe.JPG").symlink_to("pipe.JPG")
    (card / "zero.JPG").symlink_to("/dev/zero")
    names = {"link-to-pipe.JPG", "pipe.JPG", "zero.JPG"}
    try:
        os.mknod(card / "device.JPG", 0o644 | stat.S_IFCHR, os.makedev(1, 5))
        names.add("device.JPG")
    except PermissionError:
        pass
    opened: list[str] = []
    real = os.open

    def noted(path: Any, *args: Any, **kwargs: Any) -> int:
        opened.append(str(path))
        return real(path, *args, **kwargs)

    monkeypatch.setattr(os, "open", noted)
    found = scan([card])
    assert set(found.ignored) == names
    assert {path for path in opened if path.startswith(str(card))} == {str(card / "A.JPG")}


def test_a_pipe_put_in_a_files_place_does_not_hang(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = write(tmp_path, "A.JPG", "B.JPG")

    def swapped(*args: Any) -> Any:
        found = find_files(*args)
        (card / "B.JPG").unlink()
        os.mkfifo(card / "B.JPG")
        return found

    monkeypatch.setattr("grouper.pipeline.find_files", swapped)
    results: list[Scan] = []
    run = threading.Thread(target=lambda: results.append(scan([card])), daemon=True)
    run.start()
    run.join(20)
    assert results
    assert said(results[0]) == {"B.JPG": ("vanished", "it is no longer a plain file")}


# ---- what goes away


def test_files_and_folders_that_vanish_while_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = write(tmp_path, "100QMARK/A.JPG", "100QMARK/B.JPG", "101QMARK/C.JPG")

    def vanishing(*args: Any) -> Any:
        found = find_files(*args)
        (card / "100QMARK/B.JPG").unlink()
        (card / "101QMARK/C.JPG").unlink()
        (card / "101QMARK").rmdir()
        return found

    monkeypatch.setattr("grouper.pipeline.find_files", vanishing)
    found = scan([card], use_cache=True)
    assert [frame.file for frame in found.frames] == ["100QMARK/A.JPG"]
    assert said(found) == dict.fromkeys(
        ("100QMARK/B.JPG", "101QMARK/C.JPG"), ("vanished", "it was there when the card was listed")
    )


def test_a_folder_that_vanishes_while_listing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = write(tmp_path, "100QMARK/A.JPG", "101QMARK/C.JPG")
    failing(monkeypatch, "101QMARK", FileNotFoundError(errno.ENOENT, "No such file"))
    found = scan([card])
    assert [frame.file for frame in found.frames] == ["100QMARK/A.JPG"]
    (reason, detail) = said(found)["101QMARK"]
    assert reason == "vanished"
    assert "it was there when the card was listed" in detail


class _Listing:
    """A listing that fails once its entries were handed out."""

    def __init__(self, inner: Any, error: OSError) -> None:
        self.inner, self.error = inner, error

    def __enter__(self) -> _Listing:
        return self

    def __exit__(self, *_: object) -> None:
        self.inner.close()

    def __iter__(self) -> Iterator[Any]:
        yield from self.inner
        raise self.error


def failing(
    monkeypatch: pytest.MonkeyPatch, folder: str, error: OSError, *, late: bool = False
) -> None:
    scandir = os.scandir

    def fail(path: Any) -> Any:
        if str(path).endswith(folder):
            if late:
                return _Listing(scandir(path), error)
            raise error
        return scandir(path)

    monkeypatch.setattr(os, "scandir", fail)


def test_a_listing_that_breaks_off_keeps_what_it_gave(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = write(tmp_path, "100QMARK/A.JPG", "100QMARK/B.JPG")
    failing(monkeypatch, "100QMARK", OSError(errno.EIO, "Input/output error"), late=True)
    found = scan([card])
    assert [frame.file for frame in found.frames] == ["100QMARK/A.JPG", "100QMARK/B.JPG"]
    assert said(found) == {
        "100QMARK": (
            "damaged", "the folder cannot be listed: the disk fails: Input/output error"
        )
    }  # fmt: skip


TROUBLE = [
    pytest.param(errno.EIO, "damaged", "the disk fails", id="EIO"),
    pytest.param(errno.ESTALE, "vanished", "card or network share went away", id="ESTALE"),
    pytest.param(errno.ENODEV, "vanished", "card or network share went away", id="ENODEV"),
    pytest.param(errno.ENOTCONN, "vanished", "card or network share went away", id="ENOTCONN"),
    pytest.param(errno.ETIMEDOUT, "vanished", "card or network share went away", id="ETIMEDOUT"),
    pytest.param(errno.EHOSTDOWN, "vanished", "card or network share went away", id="EHOSTDOWN"),
    pytest.param(errno.EACCES, "not-permitted", "not allowed", id="EACCES"),
    pytest.param(errno.EPERM, "not-permitted", "not allowed", id="EPERM"),
    pytest.param(errno.ENAMETOOLONG, "not-permitted", "longer than this system", id="ENAMETOOLONG"),
    pytest.param(errno.ELOOP, "vanished", "leads nowhere", id="ELOOP"),
    pytest.param(errno.ENOTDIR, "vanished", "was there when", id="ENOTDIR"),
]


@pytest.mark.parametrize(("number", "reason", "word"), TROUBLE)
def test_every_error_has_its_word(number: int, reason: str, word: str) -> None:
    told = explain_disk(OSError(number, os.strerror(number)))
    assert told[0] == reason
    assert word in told[1]


@pytest.mark.parametrize(("number", "reason", "word"), TROUBLE)
def test_a_file_that_cannot_be_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, reason: str, word: str
) -> None:
    card = write(tmp_path, "A.JPG", "B.JPG")
    real = os.open

    def fail(path: Any, *args: Any, **kwargs: Any) -> int:
        if str(path).endswith("B.JPG"):
            raise OSError(number, os.strerror(number))
        return real(path, *args, **kwargs)

    monkeypatch.setattr("grouper.read.source.os.open", fail)
    found = scan([card])
    assert [frame.file for frame in found.frames] == ["A.JPG"]
    assert said(found)["B.JPG"][0] == reason
    assert word in said(found)["B.JPG"][1]


@pytest.mark.parametrize(("number", "reason", "word"), TROUBLE)
def test_a_folder_that_cannot_be_listed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, reason: str, word: str
) -> None:
    card = write(tmp_path, "100QMARK/A.JPG", "101QMARK/B.JPG")
    failing(monkeypatch, "101QMARK", OSError(number, os.strerror(number)))
    found = scan([card])
    assert [frame.file for frame in found.frames] == ["100QMARK/A.JPG"]
    assert said(found)["101QMARK"][0] == reason
    assert word in said(found)["101QMARK"][1]


class _Failing:
    """An open file whose bytes come until a read fails."""

    def __init__(self, inner: Any, good: int, number: int) -> None:
        self.inner, self.good, self.number = inner, good, number

    def __enter__(self) -> _Failing:
        return self

    def __exit__(self, *_: object) -> None:
        self.inner.close()

    def read(self, length: int = -1) -> bytes:
        self.good -= 1
        if self.good < 0:
            raise OSError(self.number, os.strerror(self.number))
        return bytes(self.inner.read(length))

    def __getattr__(self, name: str) -> Any:
        return getattr(self.inner, name)


@pytest.mark.parametrize("good", [0, 1, 2, 3, 5, 8, 13, 30])
@pytest.mark.parametrize("number", [errno.EIO, errno.ESTALE])
@pytest.mark.parametrize("suffix", [".jpg", ".nef", ".png", ".webp", ".avif"])
def test_a_disk_that_fails_at_any_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, suffix: str, number: int, good: int
) -> None:
    card = tmp_path / "card"
    if suffix == ".nef":
        write(card, "A.nef")
        (card / "A.nef").write_bytes(raw_bytes(preview=jpeg_bytes((160, 107))))
    else:
        write_photo(card / f"A{suffix}")
    real = os.fdopen

    def fragile(*args: Any, **kwargs: Any) -> Any:
        return _Failing(real(*args, **kwargs), good, number)

    monkeypatch.setattr("grouper.read.source.os.fdopen", fragile)
    found = scan([card])
    # Either the reader had what it wanted by then, or the failure is told: never half a frame.
    monkeypatch.undo()
    whole = scan([card])
    if found.frames:
        assert found == whole
    else:
        ((reason, _),) = said(found).values()
        assert reason == ("damaged" if number == errno.EIO else "vanished")


def test_a_read_only_card_stays_as_it_was(tmp_path: Path) -> None:
    card = write(tmp_path / "card", "DCIM/100QMARK/A.JPG", "MISC/X.CTG")
    folders = [path for path in (card, *card.rglob("*")) if path.is_dir()]
    for path in card.rglob("*.*"):
        path.chmod(0o444)
    for folder in folders:
        folder.chmod(0o555)
    before = {path: path.stat().st_mtime_ns for path in (card, *card.rglob("*"))}
    try:
        found = scan([card], use_cache=True)
    finally:
        for folder in folders:
            folder.chmod(0o755)
    assert [frame.file for frame in found.frames] == ["DCIM/100QMARK/A.JPG"]
    assert {path: path.stat().st_mtime_ns for path in (card, *card.rglob("*"))} == before


def test_an_entry_whose_kind_cannot_be_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """File systems that do not say the kind in the listing are asked, which can fail."""
    card = write(tmp_path, "A.JPG", "B.JPG")

    class Entry:
        def __init__(self, inner: Any) -> None:
            self.name, self.path, self.inner = inner.name, inner.path, inner

        def __getattr__(self, name: str) -> Any:
            if self.name == "B.JPG":
                raise OSError(errno.EIO, "Input/output error")
            return getattr(self.inner, name)

    scandir = os.scandir

    class Listing(_Listing):
        def __iter__(self) -> Iterator[Any]:
            return (Entry(entry) for entry in self.inner)

    monkeypatch.setattr(os, "scandir", lambda path: Listing(scandir(path), OSError()))
    found = scan([card])
    assert ends(found) == ["A.JPG", "B.JPG"]


# ---- what cameras and systems leave behind

HOUSEKEEPING = """
    DCIM/QMKMSC/M0100.CTG MISC/AUTPRINT.MRK MISC/AUTPRINT.INF NCFL/NC_FLLST.DAT
    PRIVATE/M4ROOT/MEDIAPRO.XML PRIVATE/M4ROOT/STATUS.BIN PRIVATE/AVCHD/BDMV/INDEX.BDM
    PRIVATE/SONY/SONYCARD.IND AVF_INFO/AVIN0001.BNP AVF_INFO/AVIN0001.INP AVF_INFO/AVIN0001.INT
    DATABASE/DATABASE.BIN DCIM/100QMARK/QMK_0001.THM DCIM/100QMARK/QMK_0001.XMP
    DCIM/100QMARK/QMK_0001.AAE DCIM/100QMARK/QMK_0001.MOV DCIM/100QMARK/QMK_0001.WAV
    DCIM/100QMARK/.QMK_0001.JPG DCIM/100QMARK/._QMK_0001.JPG .Trashes/501/QMK_0001.JPG
    .Spotlight-V100/Store-V2/x.JPG .fseventsd/0000000012 .DS_Store
    .com.apple.timemachine.donotpresent
    Thumbs.db desktop.ini @eaDir/QMK_0001.JPG/SYNOPHOTO_THUMB_M.jpg #recycle/QMK_0001.JPG
    $RECYCLE.BIN/S-1-5/x.JPG __MACOSX/DCIM/._QMK_0001.JPG lost+found/
"""


def test_housekeeping_of_cameras_and_systems_is_passed_over(tmp_path: Path) -> None:
    names = HOUSEKEEPING.split()
    card = write(tmp_path, *[name for name in names if not name.endswith("/")])
    write(card, "System Volume Information/IndexerVolumeGuid", "DCIM/100QMARK/QMK_0001.JPG")
    (card / "lost+found").mkdir()
    # What a camera writes to mark its folders has no picture's first bytes.
    for name in ("NIKON001.DSC", "DCIM/100QMARK/INFO", "VOLUME.ID"):
        (card / name).write_bytes(b"mark" * 128)
    found = scan([card])
    assert [frame.file for frame in found.frames] == ["DCIM/100QMARK/QMK_0001.JPG"]
    assert not found.unread
    assert ends(found) == on_disk(card)


def test_a_fork_of_macos_under_another_name_is_said_to_be_one(tmp_path: Path) -> None:
    (tmp_path / "_QMK_0001.JPG").write_bytes(b"\0\5\x16\7\0\2\0\0Mac OS X" + bytes(4000))
    ((reason, detail),) = said(scan([tmp_path])).values()
    assert reason == "unknown-format"
    assert "macOS" in detail


# ---- many


def test_a_hundred_thousand_files_in_one_folder(tmp_path: Path) -> None:
    folder = tmp_path / "100QMARK"
    folder.mkdir()
    for half in range(2):  # a file has at most 65,000 names on some file systems
        first = folder / f"QMK_{50_000 * half:06d}.JPG"
        first.touch()
        for number in range(50_000 * half + 1, 50_000 * (half + 1)):
            os.link(first, folder / f"QMK_{number:06d}.JPG")
    start = time.process_time()
    found = find_files([tmp_path], Settings())
    used = time.process_time() - start
    assert len(found.files) == 100_000
    assert found.files[0] == "100QMARK/QMK_000000.JPG"
    assert used < 10.0  # 0.3 s measured; a step that grew with the square would take hours


def test_a_thousand_folders(tmp_path: Path) -> None:
    write(tmp_path, *[f"{number // 100}/{number}/A.JPG" for number in range(1000)])
    assert len(find_files([tmp_path], Settings()).files) == 1000


def test_unread_is_never_silent(tmp_path: Path) -> None:
    write(tmp_path, "A.JPG")
    (tmp_path / "B.JPG").write_bytes(b"")
    found = scan([tmp_path])
    assert all(isinstance(item, Unread) and item.detail for item in found.unread)
    assert ends(found) == on_disk(tmp_path)
