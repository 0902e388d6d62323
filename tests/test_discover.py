"""Folders to candidate files."""

from __future__ import annotations

import os
import socket
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from grouper.discover import Found, find_files, refuse_empty
from grouper.errors import NoSuchCard
from grouper.model import Scan, Unread
from grouper.settings import ReadSettings, Settings
from tests.support import frame


def make(folder: Path, *names: str) -> Path:
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"x")
    return folder


def find(*cards: Path, ignore: tuple[str, ...] = ()) -> Found:
    return find_files(cards, replace(Settings(), read=ReadSettings(ignore=ignore)))


def test_a_card(tmp_path: Path) -> None:
    card = make(tmp_path / "card", "DCIM/101QMARK/B.JPG", "DCIM/100QMARK/A.NEF", "DCIM/A.txt")
    found = find(card)
    assert found == Found(
        root=str(card.resolve()),
        cards=(str(card.resolve()),),
        files=("DCIM/100QMARK/A.NEF", "DCIM/101QMARK/B.JPG"),
        ignored=("DCIM/A.txt",),
    )


@pytest.mark.parametrize(
    "name",
    [
        "A.JPG", "A.jpeg", "A.NEF", "A.CR3", "A.heic", "A.dng", "A.X3F", "A.PNG",
        "FILE0001.CHK", "recovered", "A.JPG.partial", "100QMARK/A.JPG", "FOUND.000/FILE0001.CHK",
        "LOST.DIR/1234", "name with blanks.jpg", "weiß.jpg", "-rf.jpg",
    ],
)  # fmt: skip
def test_candidates(tmp_path: Path, name: str) -> None:
    assert find(make(tmp_path, name)).files == (name,)


@pytest.mark.parametrize(
    "name",
    [
        "A.XMP", "A.thm", "A.MOV", "A.mp4", "A.WAV", "A.txt", "index.html", "A.CTG", "A.aae",
        "._A.JPG", ".hidden.jpg", ".Trashes/A.JPG", ".Spotlight-V100/deep/A.JPG", "Thumbs.db",
        "System Volume Information/A.JPG", "$RECYCLE.BIN/A.JPG", "__MACOSX/A.JPG", "desktop.ini",
    ],
)  # fmt: skip
def test_ignored_but_counted(tmp_path: Path, name: str) -> None:
    found = find(make(tmp_path, name))
    assert (found.files, found.ignored) == ((), (name,))


@pytest.mark.parametrize(
    ("pattern", "kept"),
    [
        ("*.JPG", ("a/B.NEF", "b/C.NEF")),
        ("a/*", ("b/C.NEF", "b/D.JPG")),
        ("B.*", ("a/A.JPG", "b/C.NEF", "b/D.JPG")),
        ("*", ()),
        ("nothing", ("a/A.JPG", "a/B.NEF", "b/C.NEF", "b/D.JPG")),
    ],
)
def test_patterns_of_files_to_ignore(tmp_path: Path, pattern: str, kept: tuple[str, ...]) -> None:
    found = find(make(tmp_path, "a/A.JPG", "a/B.NEF", "b/C.NEF", "b/D.JPG"), ignore=(pattern,))
    assert found.files == kept
    assert len(found.files) + len(found.ignored) == 4


def test_several_cards_are_one_dump(tmp_path: Path) -> None:
    one, two = make(tmp_path / "in/one", "A.JPG"), make(tmp_path / "in/two", "A.JPG")
    found = find(two, one)
    assert found.root == str((tmp_path / "in").resolve())
    assert found.files == ("one/A.JPG", "two/A.JPG")
    assert found.cards == (str(two.resolve()), str(one.resolve()))


def test_cards_named_twice_or_inside_one_another_are_read_once(tmp_path: Path) -> None:
    card = make(tmp_path / "card", "DCIM/A.JPG", "B.JPG")
    link = tmp_path / "same"
    link.symlink_to(card)
    found = find(card / "DCIM", card, link, card / ".." / "card")
    assert found.cards == (str(card.resolve()),)
    assert found.files == ("B.JPG", "DCIM/A.JPG")


def test_a_card_whose_name_begins_like_anothers_is_another(tmp_path: Path) -> None:
    found = find(make(tmp_path / "card", "A.JPG"), make(tmp_path / "card2", "B.JPG"))
    assert found.files == ("card/A.JPG", "card2/B.JPG")


def test_links_to_folders_are_not_followed(tmp_path: Path) -> None:
    card = make(tmp_path / "card", "DCIM/A.JPG")
    (card / "DCIM" / "loop").symlink_to(card)
    (card / "self").symlink_to(card / "self")
    found = find(card)
    assert found.files == ("DCIM/A.JPG",)
    assert found.ignored == ("DCIM/loop",)
    assert [item.file for item in found.unread] == ["self"]


def test_links_to_files(tmp_path: Path) -> None:
    card = make(tmp_path / "card", "A.JPG")
    other = make(tmp_path / "other", "B.JPG")
    (card / "again.JPG").symlink_to(card / "A.JPG")
    (card / "outside.JPG").symlink_to(other / "B.JPG")
    (card / "nowhere.JPG").symlink_to(tmp_path / "gone.JPG")
    (card / "nowhere.txt").symlink_to(tmp_path / "gone.txt")
    found = find(card)
    assert found.files == ("A.JPG", "outside.JPG")
    assert found.ignored == ("again.JPG", "nowhere.txt")
    assert [(item.file, item.reason) for item in found.unread] == [("nowhere.JPG", "vanished")]


def test_pipes_and_sockets_are_never_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.JPG")
    with socket.socket(socket.AF_UNIX) as plug:
        here = Path.cwd()
        os.chdir(tmp_path)  # the name of a socket may only be short
        try:
            plug.bind("plug.JPG")
        finally:
            os.chdir(here)
        found = find(tmp_path)
    assert (found.files, found.ignored) == ((), ("pipe.JPG", "plug.JPG"))


@pytest.mark.skipif(os.name == "nt", reason="names are bytes on POSIX only")
def test_names_that_are_no_text_survive(tmp_path: Path) -> None:
    name = os.fsdecode(b"Q\xff\xfe_0001.JPG")
    (tmp_path / name).write_bytes(b"x")
    assert find(tmp_path).files == (name,)


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may open everything")
def test_a_closed_folder_is_said_not_skipped(tmp_path: Path) -> None:
    card = make(tmp_path / "card", "open/A.JPG", "closed/B.JPG")
    (card / "closed").chmod(0)
    try:
        found = find(card)
    finally:
        (card / "closed").chmod(0o755)
    assert found.files == ("open/A.JPG",)
    assert [(item.file, item.reason) for item in found.unread] == [("closed", "not-permitted")]


def test_a_folder_that_cannot_be_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    card = make(tmp_path / "card", "open/A.JPG", "closed/B.JPG", ".hidden/C.JPG")
    scandir = os.scandir

    def fail(path: str) -> object:
        if str(path).endswith(("closed", ".hidden")):
            raise PermissionError(13, "Permission denied")
        return scandir(path)

    monkeypatch.setattr(os, "scandir", fail)
    found = find(card)
    assert found.files == ("open/A.JPG",)
    assert [(item.file, item.reason) for item in found.unread] == [("closed", "not-permitted")]


@pytest.mark.parametrize(
    ("manifest", "passed"),
    [
        pytest.param(b'{"manifest": "grouper-card", "version": 1}', True, id="ours"),
        pytest.param(b'{\n  "manifest" : "grouper-card"}', True, id="ours-other-blanks"),
        pytest.param(b'{"manifest": "something"}', False, id="of-something-else"),
        pytest.param(b"\xff" * 100_000, False, id="no-json"),
        pytest.param(b"", False, id="empty"),
    ],
)
def test_our_own_output_is_no_part_of_the_card(
    tmp_path: Path, manifest: bytes, passed: bool
) -> None:
    make(tmp_path, "A.JPG", "card-sets/sets/x/frames/B.JPG", "card-sets/report.html")
    (tmp_path / "card-sets" / "card.json").write_bytes(manifest)
    found = find(tmp_path)
    assert found.files == ("A.JPG",) if passed else "card-sets/sets/x/frames/B.JPG" in found.files
    assert bool(found.ignored) != passed


def test_a_card_that_holds_a_manifest_itself_is_still_read(tmp_path: Path) -> None:
    make(tmp_path, "A.JPG")
    (tmp_path / "card.json").write_bytes(b'{"manifest": "grouper-card"}')
    assert find(tmp_path).files == ("A.JPG",)


def test_an_empty_card(tmp_path: Path) -> None:
    assert find(tmp_path) == Found(root=str(tmp_path.resolve()), cards=(str(tmp_path.resolve()),))


@pytest.mark.parametrize("name", ["gone", "file.JPG", "loop", "a\0b"])
def test_no_such_card(tmp_path: Path, name: str) -> None:
    make(tmp_path, "file.JPG")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    with pytest.raises(NoSuchCard) as caught:
        find(tmp_path / name)
    assert name in str(caught.value)


def test_no_card_named() -> None:
    with pytest.raises(NoSuchCard, match="no card was named"):
        find()


def test_a_deep_card(tmp_path: Path) -> None:
    deep = "/".join(["folder"] * 300)
    assert len(find(make(tmp_path, f"{deep}/A.JPG")).files) == 1


def scan_of(**changes: Any) -> Scan:
    return replace(Scan(root="/media/QMARK", cards=("/media/QMARK",), frames=()), **changes)


@pytest.mark.parametrize(
    ("ignored", "said"), [((), "no photographs found;"), (("a.MOV",), "among 1 other file;")]
)
def test_a_folder_without_photographs_is_no_card(ignored: tuple[str, ...], said: str) -> None:
    with pytest.raises(NoSuchCard, match="/media/QMARK: no photographs found") as caught:
        refuse_empty(scan_of(ignored=ignored))
    assert said in str(caught.value)


def test_a_card_of_unreadable_pictures_is_a_card() -> None:
    refuse_empty(scan_of(unread=(Unread(file="A.JPG", reason="empty"),)))
    refuse_empty(scan_of(frames=(frame(1),)))
