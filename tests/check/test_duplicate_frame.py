from __future__ import annotations

from dataclasses import replace

from grouper.check.duplicate_frame import CHECK
from tests.check.sets import ask_card, card, change, findings, regard, sweep
from tests.support import frame


def test_stays_silent_on_frames_whose_content_was_not_compared() -> None:
    assert ask_card(CHECK, card(sweep())) == []


def test_stays_silent_on_different_content() -> None:
    singles = [frame(500, digest="a"), frame(501, digest="b")]
    assert ask_card(CHECK, card(singles=singles)) == []


def test_speaks_on_a_copy_in_the_same_folder() -> None:
    copy = frame(500, digest="a", file="100QMARK/QMK_0500 (1).JPG")
    (problem,) = ask_card(CHECK, card(singles=[frame(500, digest="a"), copy]))
    assert problem.frames == ("100QMARK/QMK_0500.JPG", "100QMARK/QMK_0500 (1).JPG")
    assert problem.message == "QMK_0500 (1).JPG is a copy of QMK_0500.JPG, byte for byte."


def test_speaks_once_on_a_folder_copied_whole() -> None:
    originals = [frame(n, digest=f"content {n}") for n in range(500, 510)]
    copies = [replace(f, file=f"BACKUP/{f.name}", folder="BACKUP") for f in originals]
    (problem,) = ask_card(CHECK, card(singles=[*originals, *copies]))
    assert len(problem.frames) == 20
    assert problem.message.startswith(
        "10 files in BACKUP are copies of frames in 100QMARK, byte for byte: QMK_0500.JPG, "
    )


def test_a_copy_in_a_set_is_not_a_spare_too() -> None:
    found = regard(change(sweep(), [2, 3], digest="same"), [3], spare=True, view=2)
    in_sets, on_card = findings(found)
    assert "spare-take" not in [finding.code for finding in in_sets]
    assert [finding.code for finding in on_card] == ["duplicate-frame"]
