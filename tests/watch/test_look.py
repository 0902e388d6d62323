"""What a look sees: every change, no link followed, and never more than it may."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from grouper.watch.look import SAMPLE, list_inbox, look_at, share_files
from tests.watch.cards import add_photo, make_card


@pytest.fixture
def card(tmp_path: Path) -> Path:
    return make_card(tmp_path / "inbox" / "QMARK")


def photo(card: Path, number: int = 1) -> Path:
    return card / f"DCIM/100QMARK/QMK_{number:04d}.JPG"


def _grow(card: Path) -> None:
    with photo(card).open("ab") as stream:
        stream.write(b"more")


def _same_size(card: Path) -> None:
    data = photo(card).read_bytes()
    photo(card).write_bytes(data[::-1])


CHANGES: dict[str, Callable[[Path], object]] = {
    "a file more": lambda card: add_photo(card, 9),
    "a file less": lambda card: photo(card).unlink(),
    "a file grown": _grow,
    "a file rewritten": _same_size,
    "a file renamed": lambda card: photo(card).rename(card / "x.JPG"),
    "a folder more": lambda card: (card / "MISC").mkdir(),
    "a link more": lambda card: (card / "a").symlink_to("nowhere"),
    "a file without pictures more": lambda card: (card / "x.txt").write_text("x"),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_changes_that_are_seen(card: Path, change: Callable[[Path], object]) -> None:
    before = look_at(str(card), 1000)
    assert look_at(str(card), 1000) == before
    change(card)
    after = look_at(str(card), 1000)
    assert after.identity != before.identity
    assert after.stillness != before.stillness


def test_a_touch_that_restores_the_time_is_no_change_but_not_still(card: Path) -> None:
    before = look_at(str(card), 1000)
    facts = photo(card).stat()
    photo(card).chmod(0o600)
    os.utime(photo(card), ns=(facts.st_atime_ns, facts.st_mtime_ns))
    after = look_at(str(card), 1000)
    assert after.identity == before.identity
    assert after.stillness != before.stillness


def test_figures(card: Path) -> None:
    seen = look_at(str(card), 1000)
    assert seen.files == 3
    assert seen.size_bytes == sum(photo(card, number).stat().st_size for number in (1, 2, 3))
    paths = [folder.path for folder in seen.folders]
    assert paths == [str(card), f"{card}/DCIM", f"{card}/DCIM/100QMARK"]


def test_links_are_never_followed(card: Path, tmp_path: Path) -> None:
    other = make_card(tmp_path / "private", photos=5)
    (card / "escape").symlink_to(other)
    (card / "QMK_0009.JPG").symlink_to(photo(other))
    seen = look_at(str(card), 1000)
    assert seen.files == 5  # the two links count as what they are
    paths = [folder.path for folder in seen.folders]
    assert not [path for path in paths if "escape" in path or "private" in path]
    before = seen.identity
    add_photo(other, 77)
    assert look_at(str(card), 1000).identity == before


def test_a_card_that_is_a_link_a_file_or_gone(card: Path, tmp_path: Path) -> None:
    link = tmp_path / "link"
    link.symlink_to(card)
    assert look_at(str(link), 1000).trouble == "link"
    (tmp_path / "file").write_text("x")
    assert look_at(str(tmp_path / "file"), 1000).trouble == "link"
    assert look_at(str(tmp_path / "none"), 1000).trouble == "gone"


def test_too_many_files_end_the_look(card: Path) -> None:
    assert look_at(str(card), 5).trouble == ""
    seen = look_at(str(card), 4)
    assert (seen.trouble, seen.identity) == ("too-many", b"")
    assert "more than 4 files" in seen.detail


def test_a_look_can_be_broken_off(card: Path) -> None:
    assert look_at(str(card), 1000, lambda: True).trouble == "stopped"


@pytest.mark.skipif(os.geteuid() == 0, reason="root may open everything")
def test_a_closed_folder(card: Path) -> None:  # pragma: no cover - not as root
    card.chmod(0)
    try:
        assert look_at(str(card), 1000).trouble == "closed"
    finally:
        card.chmod(0o755)


def test_a_folder_that_fails(card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = look_at(str(card), 1000)
    scandir = os.scandir

    def fail(path: str) -> object:
        if str(path).endswith("100QMARK"):
            raise OSError(5, "Input/output error")
        return scandir(path)

    monkeypatch.setattr(os, "scandir", fail)
    seen = look_at(str(card), 1000)
    assert seen.trouble == ""  # grouping tells of it, folder by folder
    assert seen.identity != before.identity
    monkeypatch.setattr(os, "scandir", lambda path: (_ for _ in ()).throw(OSError(5, "I/O")))
    assert look_at(str(card), 1000).trouble == "closed"


def test_names_that_are_no_text(tmp_path: Path) -> None:
    inbox = os.fsencode(tmp_path)
    for name in (b"\xff\xfe", b"-rf", b"a\nb", b"x..", b"\xe2\x80\xaegpj", b"x" * 255):
        os.makedirs(os.path.join(inbox, name))  # noqa: PTH103, PTH118
        with open(os.path.join(inbox, name, b"f\xff.jpg"), "wb"):  # noqa: PTH118, PTH123
            pass
    listing = list_inbox(str(tmp_path))
    assert len(listing.cards) == 6, listing
    for name in listing.cards:
        assert look_at(f"{tmp_path}/{name}", 10).files == 1


def test_what_is_a_card(tmp_path: Path) -> None:
    for name in ("QMARK", ".hidden", "@eaDir", "$RECYCLE.BIN", "Ostrel"):
        (tmp_path / name).mkdir()
    (tmp_path / "loose.jpg").write_bytes(b"x")
    (tmp_path / "link").symlink_to(tmp_path / "QMARK")
    os.mkfifo(tmp_path / "pipe")
    listing = list_inbox(str(tmp_path))
    assert listing.cards == ("Ostrel", "QMARK")
    assert listing.strays == ("link", "loose.jpg", "pipe")
    assert list_inbox(str(tmp_path / "none")).error


def test_samples_tell_cards_apart(tmp_path: Path) -> None:
    one = look_at(str(make_card(tmp_path / "one", photos=400)), 1000)
    assert len(one.sample) == 8 * SAMPLE
    for number in range(1, 361):  # nine in ten go
        photo(tmp_path / "one", number).unlink()
    make_card(tmp_path / "one", photos=100, first=500)
    assert share_files(one.sample, look_at(str(tmp_path / "one"), 1000).sample)
    two = look_at(str(make_card(tmp_path / "two", photos=50, first=2000)), 1000)
    assert not share_files(one.sample, two.sample)
    os.utime(photo(tmp_path / "two", 2000), (1, 1))
    assert share_files(two.sample, look_at(str(tmp_path / "two"), 1000).sample)
