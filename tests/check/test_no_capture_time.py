from __future__ import annotations

from grouper.check.no_capture_time import CHECK
from grouper.model import Unread
from tests.check.sets import ask_card, card, sweep
from tests.support import frame


def test_stays_silent_on_timed_frames() -> None:
    assert ask_card(CHECK, card(sweep())) == []


def test_speaks_on_frames_without_a_time() -> None:
    singles = [frame(500, taken=None), frame(501, taken=None)]
    (problem,) = ask_card(CHECK, card(sweep(), singles=singles))
    assert problem.frames == ("100QMARK/QMK_0500.JPG", "100QMARK/QMK_0501.JPG")
    assert problem.message == "2 files have no capture time: QMK_0500.JPG and QMK_0501.JPG."


def test_speaks_on_a_file_without_any_metadata() -> None:
    record = Unread(file="100QMARK/EXPORT.JPG", reason="no-metadata")
    (problem,) = ask_card(CHECK, card(sweep(), unread=[record]))
    assert problem.message == "1 file has no capture time and no other metadata: EXPORT.JPG."


def test_tells_both_kinds_apart() -> None:
    record = Unread(file="100QMARK/EXPORT.JPG", reason="no-metadata")
    on = card(sweep(), singles=[frame(500, taken=None)], unread=[record])
    (problem,) = ask_card(CHECK, on)
    assert "2 files have no capture time (1 of them no metadata at all)" in problem.message


def test_stays_silent_on_damaged_files() -> None:
    record = Unread(file="100QMARK/QMK_0500.JPG", reason="damaged")
    assert ask_card(CHECK, card(sweep(), unread=[record])) == []
