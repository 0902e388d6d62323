"""What an output folder looks like after one run, two runs, and runs that go wrong."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import stat
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from grouper.contracts import Writer
from grouper.errors import CannotWrite
from grouper.model import Result
from grouper.write import WRITERS, LinkKind, Written, write_result
from grouper.write import replace as disk
from tests.write.results import (
    BRACKET,
    LATER,
    MADE,
    PANORAMA,
    bracket,
    panorama,
    renamed,
    result,
    shoot,
)

RECORD = ".grouper-files.json"
BASE = {
    "card.json",
    "frames.csv",
    "report.html",
    RECORD,
    f"sets/{PANORAMA}/set.json",
    f"sets/{PANORAMA}/frames.txt",
    f"sets/{BRACKET}/set.json",
    f"sets/{BRACKET}/frames.txt",
    *(f"sets/{BRACKET}/leg-{leg}.txt" for leg in range(3)),
}


def tree(folder: Path) -> dict[str, bytes]:
    """Relative path to content (or link target) of everything that is no folder."""
    return {
        path.relative_to(folder).as_posix(): (
            os.fsencode(path.readlink()) if path.is_symlink() else path.read_bytes()
        )
        for path in sorted(folder.rglob("*"))
        if path.is_symlink() or not path.is_dir()
    }


def mtimes(folder: Path) -> dict[str, int]:
    return {name: (folder / name).lstat().st_mtime_ns for name in tree(folder)}


def write(of: Result, out: Path, made: str = MADE, **rest: Any) -> Written:
    return write_result(of, out, made=made, **rest)


def test_the_first_run_writes_everything(tmp_path: Path) -> None:
    written = write(result(), tmp_path / "deep" / "out")
    assert set(tree(tmp_path / "deep" / "out")) == BASE
    assert set(written.written) == BASE - {RECORD}
    assert written == Written(written=written.written)


def test_the_second_run_leaves_everything_alone(tmp_path: Path) -> None:
    write(result(), tmp_path)
    before, times = tree(tmp_path), mtimes(tmp_path)
    again = write(result(), tmp_path, LATER)
    assert (tree(tmp_path), mtimes(tmp_path)) == (before, times)
    assert set(again.unchanged) == BASE - {RECORD}
    assert again.written == ()


def test_two_folders_differ_in_made_only(tmp_path: Path) -> None:
    write(result(), tmp_path / "a")
    write(result(), tmp_path / "b", LATER)
    a, b = tree(tmp_path / "a"), tree(tmp_path / "b")
    differing = {path for path in a if a[path] != b[path]}
    assert differing == {path for path in BASE if path.endswith(("set.json", "card.json"))}
    assert {p: d.replace(LATER.encode(), MADE.encode()) for p, d in b.items()} == a


def test_only_what_changed_is_written(tmp_path: Path) -> None:
    write(result(), tmp_path)
    changed = result(panorama(confidence=0.5), bracket())
    again = write(changed, tmp_path, LATER)
    assert set(again.written) == {"card.json", "report.html", f"sets/{PANORAMA}/set.json"}
    assert LATER in (tmp_path / "card.json").read_text()
    assert again.kept == ()


def test_a_set_that_is_gone_is_removed(tmp_path: Path) -> None:
    write(result(), tmp_path)
    again = write(result(panorama()), tmp_path)
    assert set(tree(tmp_path)) == {path for path in BASE if BRACKET not in path}
    assert not (tmp_path / "sets" / BRACKET).exists()
    assert len(again.removed) == 5
    assert BRACKET not in (tmp_path / RECORD).read_text()


@pytest.mark.parametrize(
    ("name", "data"),
    [("frames.txt", b"edited\n"), ("my notes.txt", b"keep me\n")],
    ids=["edited", "added"],
)
def test_a_set_that_is_gone_but_touched_is_kept_whole(
    tmp_path: Path, name: str, data: bytes
) -> None:
    write(result(), tmp_path)
    (tmp_path / "sets" / BRACKET / name).write_bytes(data)
    before = {path: data for path, data in tree(tmp_path).items() if BRACKET in path}
    for _ in range(2):  # and stays kept
        again = write(result(panorama()), tmp_path)
        assert {p: d for p, d in tree(tmp_path).items() if f"sets/{BRACKET}" in p} == before
        assert again.kept == (f"sets/{BRACKET}",)
        assert name in again.notes[0]
    (tmp_path / "sets" / BRACKET / name).unlink()
    write(result(panorama()), tmp_path)
    assert not (tmp_path / "sets" / BRACKET).exists()


def test_without_a_record_nothing_is_removed(tmp_path: Path) -> None:
    write(result(), tmp_path)
    (tmp_path / RECORD).unlink()
    again = write(result(panorama()), tmp_path)
    assert (tmp_path / "sets" / BRACKET / "set.json").exists()
    assert again.removed == ()


@pytest.mark.parametrize("record", [b"{", b"[]", b'{"files": {"../x": "y"}}', b"\xff", b"{}"])
def test_a_damaged_record_is_no_licence(tmp_path: Path, record: bytes) -> None:
    out = tmp_path / "out"
    (tmp_path / "x").write_bytes(b"not yours")
    write(result(), out)
    (out / RECORD).write_bytes(record)
    write(result(panorama()), out)
    assert (tmp_path / "x").read_bytes() == b"not yours"
    assert (out / "sets" / BRACKET / "set.json").exists()


def test_a_record_cannot_remove_through_a_link(tmp_path: Path) -> None:
    """A forged record, with the right digest, and a link out of the folder."""
    victim = tmp_path / "elsewhere" / "set.json"
    victim.parent.mkdir()
    victim.write_bytes(b"{}")
    out = tmp_path / "out"
    write(result(), out)
    (out / "sets" / "old").symlink_to(victim.parent)
    record = json.loads((out / RECORD).read_bytes())
    record["files"]["sets/old/set.json"] = f"sha256:{hashlib.sha256(b'{}').hexdigest()}"
    (out / RECORD).write_text(json.dumps(record))
    write(result(), out)
    assert victim.read_bytes() == b"{}"
    assert (out / "sets" / "old").is_symlink()


def test_a_file_of_somebody_else_is_moved_aside(tmp_path: Path) -> None:
    (tmp_path / "card.json").write_bytes(b"my own\n")
    (tmp_path / "card.json.edited").write_bytes(b"older\n")
    written = write(result(), tmp_path)
    assert (tmp_path / "card.json.edited-2").read_bytes() == b"my own\n"
    assert (tmp_path / "card.json.edited").read_bytes() == b"older\n"
    assert written.kept == ("card.json.edited-2",)
    assert any("card.json.edited-2" in note for note in written.notes)


def test_a_folder_with_things_of_somebody_else_is_told_of_once(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_bytes(b"mine\n")
    first, second = write(result(), tmp_path), write(result(), tmp_path)
    assert "not an output folder of grouper's" in first.notes[0]
    assert (tmp_path / "letter.txt").read_bytes() == b"mine\n"
    assert second.notes == ()


@pytest.mark.parametrize("name", ["", ".DS_Store"])
def test_an_empty_folder_needs_no_word(tmp_path: Path, name: str) -> None:
    if name:
        (tmp_path / name).write_bytes(b"")
    assert write(result(), tmp_path).notes == ()


def test_an_edited_manifest_is_moved_aside(tmp_path: Path) -> None:
    write(result(), tmp_path)
    path = tmp_path / "sets" / PANORAMA / "frames.txt"
    path.write_bytes(b"edited\n")
    write(result(), tmp_path)
    assert path.read_bytes().startswith(b"/media/ilse/QMARK/")
    assert (path.parent / "frames.txt.edited").read_bytes() == b"edited\n"


@pytest.mark.parametrize("link", ["sets", f"sets/{PANORAMA}"])
@pytest.mark.parametrize("inside", [False, True], ids=["outwards", "inwards"])
def test_no_write_through_a_symbolic_link(tmp_path: Path, link: str, inside: bool) -> None:
    out, elsewhere = tmp_path / "out", tmp_path / "elsewhere"
    target = out / "other" if inside else elsewhere
    target.mkdir(parents=True)
    (out / link).parent.mkdir(parents=True, exist_ok=True)
    (out / link).symlink_to(target)
    with pytest.raises(CannotWrite, match="symbolic link"):
        write(result(), out)
    assert list(target.iterdir()) == []  # no folders either


def test_a_link_in_place_of_a_file_is_not_followed(tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_bytes(b"mine")
    out = tmp_path / "out"
    out.mkdir()
    (out / "card.json").symlink_to(victim)
    write(result(), out)
    assert victim.read_bytes() == b"mine"
    assert not (out / "card.json").is_symlink()


def test_the_output_folder_itself_may_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write(result(), tmp_path / "link")
    assert set(tree(tmp_path / "real")) == BASE


@pytest.mark.parametrize("set_id", ["../x", "a/b", "", ".", "..", "a..b", "a\0b", "-a", "ä", "a."])
def test_an_unsafe_set_id_writes_nothing(tmp_path: Path, set_id: str) -> None:
    with pytest.raises(CannotWrite, match="folder name"):
        write(result(panorama(id=set_id)), tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_two_sets_cannot_share_a_folder(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match="share"):
        write(result(panorama(id="a-b"), bracket(id="A-B")), tmp_path / "out")


@pytest.mark.parametrize(
    "path", ["/etc/x", "../x", "a/../../x", "a//b", "", "a\\b", ".grouper-files.json", "C:x"]
)
def test_a_foreign_writer_cannot_leave_the_folder(tmp_path: Path, path: str) -> None:
    writer = Writer(name="odd", summary="", render=lambda result, made: [(path, b"x")])
    with pytest.raises(CannotWrite, match="odd"):
        write(result(), tmp_path / "out", writers=[*WRITERS, writer])
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("kind", ["", "deep/er", "link"])
def test_never_onto_a_card_unless_asked(tmp_path: Path, kind: str) -> None:
    card = tmp_path / "card"
    of = shoot(card, result())
    out = card / kind
    if kind == "link":
        out = tmp_path / "link"
        out.symlink_to(card / "100QMARK")
    before = tree(card)
    with pytest.raises(CannotWrite, match="--out"):
        write(of, out)
    assert tree(card) == before
    write(of, out, onto_card=True)
    assert (out / "card.json").exists()


def test_an_output_beside_the_card_is_fine(tmp_path: Path) -> None:
    of = shoot(tmp_path / "card", result())
    before = tree(tmp_path / "card")
    write(of, tmp_path / "card-sets", links="symlink")
    assert tree(tmp_path / "card") == before


def test_an_output_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"x")
    with pytest.raises(CannotWrite, match="is a file"):
        write(result(), tmp_path / "out")
    with pytest.raises(CannotWrite, match="out is a file"):
        write(result(), tmp_path / "out" / "deeper")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "sets").write_bytes(b"x")
    with pytest.raises(CannotWrite, match="there is a file where"):
        write(result(), tmp_path / "other")


def test_a_place_without_permission_is_named_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By os.access, for the tests may run as root, whom nothing stops."""
    monkeypatch.setattr(os, "access", lambda path, mode: path != tmp_path)
    with pytest.raises(CannotWrite, match=f"{tmp_path} cannot be written to.*--out"):
        disk.check_place(tmp_path / "new" / "out", ())
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_cannot_even_be_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path) -> bool:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "exists", refuse)
    with pytest.raises(CannotWrite, match="not permitted"):
        disk.check_place(tmp_path / "out", ())


def test_a_folder_where_a_file_has_to_be(tmp_path: Path) -> None:
    (tmp_path / "frames.csv" / "x").mkdir(parents=True)
    written = write(result(), tmp_path)
    assert (tmp_path / "frames.csv").is_file()
    assert (tmp_path / "frames.csv.edited" / "x").is_dir()
    assert written.kept == ("frames.csv.edited",)


@pytest.fixture
def failing(monkeypatch: pytest.MonkeyPatch) -> Iterator[dict[str, BaseException]]:
    """Writes whose data holds the key fail half-way with the value."""
    faults: dict[str, BaseException] = {}
    real = disk._write_new

    def write_new(temporary: Path, pieces: Iterable[bytes]) -> None:
        data = b"".join(pieces)
        for word, fault in faults.items():
            if word.encode() in data:
                temporary.write_bytes(data[: len(data) // 2])
                raise fault
        real(temporary, (data,))

    monkeypatch.setattr(disk, "_write_new", write_new)
    return faults


@pytest.mark.parametrize(
    ("number", "words"),
    [(errno.ENOSPC, "disk is full"), (errno.EROFS, "read-only"), (errno.EIO, "Input/output")],
)
def test_an_error_of_the_disk_names_path_and_way_out(
    tmp_path: Path, failing: dict[str, BaseException], number: int, words: str
) -> None:
    failing["file,companions"] = OSError(number, os.strerror(number))
    with pytest.raises(CannotWrite, match=words) as caught:
        write(result(), tmp_path)
    assert "frames.csv" in str(caught.value)
    assert not [path for path in tree(tmp_path) if "tmp" in path or "lock" in path]
    assert "frames.csv" not in tree(tmp_path)


@pytest.mark.parametrize("word", ["file,companions", "<!doctype", "grouper-card", "/QMK_0021"])
def test_ctrl_c_leaves_whole_files_only_and_the_next_run_mends(
    tmp_path: Path, failing: dict[str, BaseException], word: str
) -> None:
    write(result(), tmp_path / "wanted")
    wanted = tree(tmp_path / "wanted")
    out = tmp_path / "out"
    failing[word] = KeyboardInterrupt()
    with pytest.raises(KeyboardInterrupt):
        write(result(), out)
    assert all(data == wanted[p] for p, data in tree(out).items() if p != RECORD)
    failing.clear()
    written = write(result(), out)
    assert tree(out) == wanted
    assert written.kept == ()


def test_ctrl_c_over_an_older_run_keeps_the_books(
    tmp_path: Path, failing: dict[str, BaseException]
) -> None:
    write(result(), tmp_path)
    failing["grouper-card"] = KeyboardInterrupt()
    with pytest.raises(KeyboardInterrupt):
        write(result(panorama(confidence=0.5)), tmp_path)
    failing.clear()
    again = write(result(panorama(confidence=0.5)), tmp_path)
    assert again.kept == ()
    assert not (tmp_path / "sets" / BRACKET).exists()
    assert "0.5" in (tmp_path / "card.json").read_text()


def test_a_killed_run_does_not_make_the_next_one_doubt_its_own_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As after a power cut: files are new, the record still is the one of the announcement."""
    write(result(), tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(disk.Folder, "save", lambda self: None)
        write(result(panorama(confidence=0.5), bracket()), tmp_path)
    (tmp_path / ".grouper-tmp-0123").write_bytes(b"left over")
    (tmp_path / "sets" / PANORAMA / ".grouper-tmp-4567").write_bytes(b"left over")
    again = write(result(panorama(confidence=0.7), bracket()), tmp_path)
    assert again.kept == ()
    assert set(tree(tmp_path)) == BASE


def test_two_runs_cannot_write_to_one_folder(tmp_path: Path) -> None:
    with disk.opened(tmp_path), pytest.raises(CannotWrite, match=f"process {os.getpid()}"):
        write(result(), tmp_path)
    assert write(result(), tmp_path).written  # and can afterwards
    assert not (tmp_path / disk.LOCK).exists()


def test_without_file_locks_a_second_run_is_refused_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(disk, "fcntl", None)
    with disk.opened(tmp_path), pytest.raises(CannotWrite, match="delete"):
        write(result(), tmp_path)
    assert write(result(), tmp_path).written


def test_a_stale_lock_file_does_not_bar_the_way(tmp_path: Path) -> None:
    (tmp_path / disk.LOCK).write_text("99999")
    assert write(result(), tmp_path).written


def test_files_have_the_mode_of_new_files(tmp_path: Path) -> None:
    probe = tmp_path / "probe"
    probe.write_bytes(b"")
    write(result(), tmp_path / "out")
    modes = {stat.S_IMODE((tmp_path / "out" / p).stat().st_mode) for p in BASE}
    assert modes == {stat.S_IMODE(probe.stat().st_mode)}


def test_hostile_names_everywhere(tmp_path: Path) -> None:
    one = renamed(panorama(), "QMK_0001", "<script>\udcff\u202e\n\"'&")
    out = tmp_path / "out"
    of = shoot(tmp_path / "card", result(one))
    written = write(of, out, links="symlink")
    assert "line break" in written.notes[0]
    assert not (out / "sets" / PANORAMA / "frames.txt").exists()
    card = json.loads((out / "card.json").read_bytes())
    file = card["sets"][0]["frames"][0]["file"]
    assert (tmp_path / "card" / file).read_bytes().startswith(b"picture")


# Links


@pytest.mark.parametrize("how", ["symlink", "hard", "copy"])
def test_links_lead_to_the_photographs(tmp_path: Path, how: LinkKind) -> None:
    card, out = tmp_path / "card", tmp_path / "out"
    of = shoot(card, result(panorama()))
    before, times = tree(card), mtimes(card)
    write(of, out, links=how)
    frames = out / "sets" / PANORAMA / "frames"
    names = {f"QMK_{number:04d}.JPG" for number in (1, 2, 3, 4)} | {"QMK_0004.NEF"}
    assert {path.name for path in frames.iterdir()} == names
    for name in names:
        link, photograph = frames / name, card / "100QMARK" / name
        assert link.read_bytes() == photograph.read_bytes()
        assert link.is_symlink() == (how == "symlink")
        assert link.samefile(photograph) == (how != "copy")
    if how == "symlink":
        assert str((frames / "QMK_0001.JPG").readlink()) == "../../../../card/100QMARK/QMK_0001.JPG"
    again = write(of, out, LATER, links=how)
    assert again.written == ()
    assert (tree(card), mtimes(card)) == (before, times)


def test_links_go_when_not_asked_for_but_copies_stay(tmp_path: Path) -> None:
    of = shoot(tmp_path / "card", result(panorama()))
    write(of, tmp_path / "linked", links="symlink")
    write(of, tmp_path / "linked")
    assert not (tmp_path / "linked" / "sets" / PANORAMA / "frames").exists()
    write(of, tmp_path / "copied", links="copy")
    again = write(of, tmp_path / "copied")
    assert (tmp_path / "copied" / "sets" / PANORAMA / "frames" / "QMK_0001.JPG").exists()
    assert again.removed == ()


@pytest.mark.parametrize("how", ["hard", "copy"])
def test_copies_of_a_set_that_is_gone_stay(tmp_path: Path, how: LinkKind) -> None:
    """They may be the last ones: the card may have been formatted since."""
    of = shoot(tmp_path / "card", result())
    out = tmp_path / "out"
    write(of, out, links=how)
    other = replace(of, grouping=replace(of.grouping, sets=of.sets[:1]))
    again = write(other, out, links=how)
    assert (out / "sets" / BRACKET / "frames" / "QMK_0020.JPG").exists()
    assert again.kept == (f"sets/{BRACKET}",)


def test_copies_that_left_a_set_are_pointed_out(tmp_path: Path) -> None:
    of = shoot(tmp_path / "card", result(panorama()))
    write(of, tmp_path / "out", links="copy")
    one = replace(of.sets[0], members=of.sets[0].members[1:])
    fewer = replace(of, grouping=replace(of.grouping, sets=(one,)))
    again = write(fewer, tmp_path / "out", links="copy")
    assert (tmp_path / "out" / "sets" / PANORAMA / "frames" / "QMK_0001.JPG").exists()
    assert [note for note in again.notes if "not of the set any more" in note]
    assert write(fewer, tmp_path / "out").notes == ()  # nothing gathered, nothing to say


def test_another_photograph_of_the_same_name_is_not_overwritten(tmp_path: Path) -> None:
    card, out = tmp_path / "card", tmp_path / "out"
    of = shoot(card, result(panorama()))
    write(of, out, links="copy")
    photograph = card / "100QMARK" / "QMK_0001.JPG"
    old = photograph.read_bytes()
    photograph.write_bytes(b"another picture")
    written = write(of, out, links="copy")
    frames = out / "sets" / PANORAMA / "frames"
    assert (frames / "QMK_0001.JPG").read_bytes() == b"another picture"
    assert (frames / "QMK_0001.JPG.edited").read_bytes() == old
    assert len(written.notes) == 1


def test_a_photograph_that_is_gone_is_noted(tmp_path: Path) -> None:
    of = shoot(tmp_path / "card", result(panorama()))
    (tmp_path / "card" / "100QMARK" / "QMK_0001.JPG").unlink()
    written = write(of, tmp_path / "out", links="symlink")
    assert "QMK_0001.JPG is gone" in written.notes[0]


def test_gathering_tells_how_far_it_is(tmp_path: Path) -> None:
    of = shoot(tmp_path / "card", result(panorama()))
    told: list[tuple[str, int, int]] = []
    write(of, tmp_path / "out", links="copy", progress=lambda *step: told.append(step))
    assert told == [("gathering", done, 5) for done in range(1, 6)]


def test_same_names_from_two_folders(tmp_path: Path) -> None:
    one = panorama()
    members = list(one.members)
    for at, file in ((0, "100QMARK/QMK_0001.JPG"), (1, "101QMARK/qmk_0001.jpg")):
        members[at] = replace(members[at], frame=replace(members[at].frame, file=file))
    one = replace(one, members=tuple(members))
    write(shoot(tmp_path / "card", result(one)), tmp_path / "out", links="symlink")
    names = {path.name for path in (tmp_path / "out" / "sets" / PANORAMA / "frames").iterdir()}
    assert {"100QMARK_QMK_0001.JPG", "101QMARK_qmk_0001.jpg", "QMK_0003.JPG"} <= names


@pytest.mark.parametrize(
    ("barred", "how", "expected"),
    [
        (("symlink_to",), "symlink", "hard"),
        (("symlink_to", "hardlink_to"), "symlink", "copy"),
        (("hardlink_to",), "hard", "copy"),
    ],
)
def test_where_links_cannot_be_made(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    barred: tuple[str, ...],
    how: LinkKind,
    expected: str,
) -> None:
    def refuse(self: Path, *rest: object) -> None:
        raise PermissionError(errno.EPERM, "Operation not permitted")

    of = shoot(tmp_path / "card", result(panorama()))
    for name in barred:
        monkeypatch.setattr(Path, name, refuse)
    written = write(of, tmp_path / "out", links=how)
    assert len(written.notes) == 1
    assert "cannot be made here" in written.notes[0]
    path = tmp_path / "out" / "sets" / PANORAMA / "frames" / "QMK_0001.JPG"
    photograph = tmp_path / "card" / "100QMARK" / "QMK_0001.JPG"
    assert not path.is_symlink()
    assert path.samefile(photograph) == (expected == "hard")
    assert path.read_bytes() == photograph.read_bytes()
    assert not [p for p in tree(tmp_path / "out") if "tmp" in p]


@pytest.mark.parametrize("length", [0, 1, 100, 65_535, 65_536, 65_537, 300_000])
def test_a_digest_does_not_depend_on_how_a_file_is_cut(length: int) -> None:
    made = b'{\n  "made": {\n    "by": "grouper 1",\n    "at": "2026-05-01T10:00:00+02:00"\n  },'
    data = made + bytes(n % 251 for n in range(length))
    expected = disk.digest_of((data,))
    for size in (len(data), 7, 4096, 65_536):
        cut = [data[at : at + size] for at in range(0, len(data), size)]
        assert disk.digest_of(cut) == expected
    assert disk.digest_of((data.replace(b"10:00", b"11:30", 1),)) == expected
    assert disk.digest_of((data + b"!",)) != expected
