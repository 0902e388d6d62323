from __future__ import annotations

from typing import Any

import pytest

from grouper.check.unreadable_file import CHECK
from grouper.model import Unread
from tests.check.sets import ask_card, card, findings, sweep


def unread(name: str, reason: Any = "truncated", detail: str = "") -> Unread:
    return Unread(file=f"100QMARK/{name}", reason=reason, detail=detail)


def test_stays_silent_on_a_card_that_reads_well() -> None:
    assert ask_card(CHECK, card(sweep())) == []


def test_stays_silent_on_files_that_only_lack_metadata() -> None:
    assert ask_card(CHECK, card(sweep(), unread=[unread("EXPORT.JPG", "no-metadata")])) == []


@pytest.mark.parametrize(
    ("record", "says"),
    [
        (unread("QMK_0500.JPG", "empty"), "QMK_0500.JPG is empty."),
        (
            unread("QMK_0500.JPG", "truncated", "ends after 81920 of 9 MB"),
            "QMK_0500.JPG is cut short (ends after 81920 of 9 MB).",
        ),
        (unread("QMK_0500.JPG", "damaged"), "QMK_0500.JPG is damaged."),
        (unread("QMK_0500.XYZ", "unknown-format"), "QMK_0500.XYZ is in no known picture format."),
        (unread("QMK_0500.JPG", "not-permitted"), "QMK_0500.JPG may not be opened."),
        (unread("QMK_0500.JPG", "vanished"), "disappeared while the card was read"),
    ],
    ids=lambda value: value.reason if isinstance(value, Unread) else "",
)
def test_speaks_on(record: Unread, says: str) -> None:
    (problem,) = ask_card(CHECK, card(sweep(), unread=[record]))
    assert problem.frames == (record.file,)
    assert says in problem.message


def test_files_of_one_fate_are_told_together() -> None:
    records = [unread("QMK_0502.JPG", "empty"), unread("QMK_0500.JPG", "empty")]
    (problem,) = ask_card(CHECK, card(sweep(), unread=records))
    assert problem.message == "QMK_0500.JPG and QMK_0502.JPG are empty."


def test_tells_which_set_the_file_belongs_to() -> None:
    on = card(sweep(deleted=[3]), unread=[unread("QMK_0420.JPG")])
    (problem,) = ask_card(CHECK, on)
    assert (
        "by its name it belongs between QMK_0419.JPG and QMK_0421.JPG in the set "
        "20260314-091412-qmk0417" in problem.message
    )


def test_tells_the_other_half_of_a_frame_that_can_be_read() -> None:
    (problem,) = ask_card(CHECK, card(sweep(), unread=[unread("QMK_0420.NEF")]))
    assert "the other half of QMK_0420.JPG, which can be read" in problem.message


def test_the_hole_in_the_set_names_the_file() -> None:
    in_sets, on_card = findings(sweep(deleted=[3]), unread=[unread("QMK_0420.JPG")])
    missing = next(finding for finding in in_sets if finding.code == "missing-frame")
    assert "QMK_0420.JPG is on the card but cannot be read." in missing.message
    assert [finding.code for finding in on_card] == ["unreadable-file"]


@pytest.mark.parametrize("reason", ["empty", "truncated", "damaged", "unknown-format"])
def test_never_says_that_a_card_may_be_formatted(reason: str) -> None:
    (problem,) = ask_card(CHECK, card(sweep(), unread=[unread("QMK_0500.JPG", reason)]))
    assert "write nothing to the card" in problem.advice
