"""When a card is due: decided by looks, events and a clock that only runs forwards."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from grouper.settings import WatchSettings
from grouper.watch.desk import PAUSE_S, Desk
from grouper.watch.look import Look

SETTINGS = WatchSettings(settle_s=20.0, retry_s=60.0, retry_most_s=3600.0)


def look(state: str = "a", *, still: str | None = None, files: int = 3, trouble: str = "") -> Look:
    """A look that saw the card in a state."""
    return Look(
        identity=state.encode() if not trouble else b"",
        stillness=(still or state).encode(),
        files=files,
        trouble=trouble,  # type: ignore[arg-type]
    )


def desk(*names: str, once: bool = False) -> Desk:
    made = Desk(SETTINGS, once=once)
    made.list_cards(names or ("QMARK",), 0.0)
    return made


def play(made: Desk, story: str, name: str = "QMARK") -> str | None:
    """Tell a story in words ``seconds:what`` and return what is due in the end.

    ``seen=x`` is a look that saw state x, ``heard`` an event.
    """
    now = 0.0
    for word in story.split():
        seconds, _, what = word.partition(":")
        now = float(seconds)
        if what == "heard":
            assert made.touch(name, now)
        elif what.startswith("seen="):
            made.places[name].asked_at = now
            made.take_look(name, look(what.removeprefix("seen=")), now)
        else:
            assert what == "now"
    return made.next_due(now)


@pytest.mark.parametrize(
    ("story", "due"),
    [
        pytest.param("0:seen=a 19:seen=a", None, id="not still for long enough"),
        pytest.param("0:seen=a 20:seen=a", "QMARK", id="still"),
        pytest.param("0:seen=a 20:seen=b", None, id="grew"),
        pytest.param("0:seen=a 20:seen=b 39:seen=b", None, id="grew, and still too short"),
        pytest.param("0:seen=a 20:seen=b 40:seen=b", "QMARK", id="grew, then still"),
        pytest.param("0:seen=a 15:heard 20:seen=a", None, id="an event between"),
        pytest.param("0:seen=a 15:heard 35:seen=a", "QMARK", id="still since the event"),
        pytest.param("0:seen=a 20:seen=a 21:heard 21:now", None, id="an event while waiting"),
        pytest.param("0:seen=a 20:seen=b 40:seen=a 59:now", None, id="went back is a change"),
        pytest.param("0:seen=a", None, id="one look tells nothing"),
    ],
)
def test_when_a_card_is_due(story: str, due: str | None) -> None:
    assert play(desk(), story) == due


def test_what_only_touches_a_file_keeps_it_from_being_still_but_is_no_change() -> None:
    made = desk()
    made.take_look("QMARK", look("a", still="1"), 0.0)
    made.take_look("QMARK", look("a", still="2"), 20.0)
    assert made.next_due(20.0) is None
    made.take_look("QMARK", look("a", still="2"), 40.0)
    assert made.next_due(40.0) == "QMARK"
    made.begin("QMARK")
    made.finish("QMARK", b"a", 41.0)
    made.take_look("QMARK", look("a", still="3"), 42.0)
    made.take_look("QMARK", look("a", still="3"), 70.0)
    assert made.next_due(70.0) is None
    assert made.stage("QMARK") == "done"


def test_an_event_during_a_look_counts_after_it() -> None:
    made = desk()
    play(made, "0:seen=a")
    assert made.to_look(20.0) == ["QMARK"]
    made.touch("QMARK", 20.5)
    made.take_look("QMARK", look("a"), 21.0)
    assert made.next_due(21.0) is None
    assert made.places["QMARK"].look_at == pytest.approx(20.5 + PAUSE_S)


def test_a_card_is_asked_for_once_and_looked_at_when_it_may_be_still() -> None:
    made = desk()
    assert made.to_look(0.0) == ["QMARK"]
    assert made.to_look(0.0) == []
    made.take_look("QMARK", look(), 1.0)
    assert made.to_look(20.9) == []
    assert made.wait_s(1.0) == pytest.approx(20.0)
    assert made.to_look(21.0) == ["QMARK"]


def test_events_of_a_copy_cost_one_look() -> None:
    made = desk()
    made.take_look("QMARK", look(), 0.0)
    for second in range(100):
        made.touch("QMARK", second / 2)
        assert made.to_look(second / 2) == []
    assert made.to_look(49.5 + PAUSE_S) == ["QMARK"]


def test_the_longest_still_card_comes_first_and_one_at_a_time() -> None:
    made = desk("A", "B")
    made.take_look("B", look(), 0.0)
    made.take_look("B", look(), 20.0)
    made.take_look("A", look(), 1.0)
    made.take_look("A", look(), 21.0)
    assert made.next_due(21.0) == "B"
    made.begin("B")
    assert made.next_due(21.0) is None
    assert (made.stage("A"), made.stage("B")) == ("waiting", "grouping")
    made.finish("B", b"a", 22.0)
    assert made.next_due(22.0) == "A"


def test_a_card_known_from_before_is_not_grouped_again() -> None:
    made = Desk(SETTINGS)
    made.remember("QMARK", b"a", is_stale=False, tries=0, failed=None)
    made.list_cards(["QMARK"], 0.0)
    assert made.stage("QMARK") == "done"
    made.take_look("QMARK", look("a"), 0.0)
    assert made.next_due(1000.0) is None
    assert made.wait_s(1000.0) == math.inf


@pytest.mark.parametrize(("state", "stale"), [("b", False), ("a", True)])
def test_a_card_known_from_before_is_grouped_again_when_it_or_the_settings_changed(
    state: str, stale: bool
) -> None:
    made = Desk(SETTINGS)
    made.remember("QMARK", b"a", is_stale=stale, tries=0, failed=None)
    made.list_cards(["QMARK"], 0.0)
    made.take_look("QMARK", look(state), 0.0)
    assert made.next_due(19.0) is None
    made.take_look("QMARK", look(state), 20.0)
    assert made.next_due(20.0) == "QMARK"


def test_changed_while_it_was_grouped_is_grouped_again() -> None:
    made = desk()
    assert play(made, "0:seen=a 20:seen=a") == "QMARK"
    made.begin("QMARK")
    made.touch("QMARK", 22.0)
    made.finish("QMARK", b"a", 25.0)
    assert made.to_look(25.0) == ["QMARK"]
    made.take_look("QMARK", look("b"), 25.0)
    assert made.next_due(25.0) is None
    made.take_look("QMARK", look("b"), 45.0)
    assert made.next_due(45.0) == "QMARK"


def test_changed_under_the_hands_of_the_child_has_to_settle_again() -> None:
    made = desk()
    play(made, "0:seen=a 20:seen=a")
    made.begin("QMARK")
    made.put_off("QMARK", 21.0)
    assert made.next_due(21.0) is None
    made.take_look("QMARK", look("b"), 22.0)
    made.take_look("QMARK", look("b"), 42.0)
    assert made.next_due(42.0) == "QMARK"


def test_a_failure_is_tried_again_with_growing_waits_up_to_the_longest() -> None:
    made = desk()
    play(made, "0:seen=a 20:seen=a")
    waits, now = [], 20.0
    for _ in range(6):
        assert made.next_due(now) == "QMARK"
        made.begin("QMARK")
        waits.append(made.fail("QMARK", now))
        made.take_look("QMARK", look("a"), now)
        assert made.stage("QMARK") == "failed"
        assert made.next_due(now + waits[-1] - 1) is None
        assert made.wait_s(now) == pytest.approx(waits[-1])
        now += waits[-1]
    assert waits == [60.0, 240.0, 960.0, 3600.0, 3600.0, 3600.0]


def test_a_failed_card_that_changes_is_tried_at_once_and_counts_anew() -> None:
    made = desk()
    play(made, "0:seen=a 20:seen=a")
    made.begin("QMARK")
    made.fail("QMARK", 21.0)
    made.take_look("QMARK", look("b"), 22.0)
    made.take_look("QMARK", look("b"), 42.0)
    assert made.next_due(42.0) == "QMARK"
    made.begin("QMARK")
    assert made.fail("QMARK", 43.0) == 60.0


def test_one_bad_card_does_not_hold_up_the_others() -> None:
    made = desk("A", "B")
    for name in ("A", "B"):
        made.take_look(name, look(), 0.0)
        made.take_look(name, look(), 20.0)
    made.begin("A")
    made.fail("A", 21.0)
    made.take_look("A", look(), 21.0)
    assert made.next_due(21.0) == "B"


@pytest.mark.parametrize("trouble", ["closed", "too-many"])
def test_a_card_that_cannot_be_looked_at_is_due_to_fail(trouble: str) -> None:
    made = desk()
    made.take_look("QMARK", look(trouble=trouble, files=0), 0.0)
    made.take_look("QMARK", look(trouble=trouble, files=0), 20.0)
    assert made.next_due(20.0) == "QMARK"
    made.begin("QMARK")
    made.fail("QMARK", 20.0)
    made.take_look("QMARK", look(trouble=trouble, files=0), 21.0)
    assert made.stage("QMARK") == "failed"


def test_an_empty_folder_is_no_card() -> None:
    made = desk()
    made.take_look("QMARK", look(files=0), 0.0)
    made.take_look("QMARK", look(files=0), 100.0)
    assert made.next_due(100.0) is None
    assert made.stage("QMARK") is None


def test_cards_come_and_go() -> None:
    made = desk("A", "B")
    assert made.list_cards(["B", "C"], 1.0) == (["C"], ["A"])
    assert not made.touch("A", 1.0)
    made.take_look("A", look(), 1.0)  # a look that was under way
    assert sorted(made.places) == ["B", "C"]


def test_a_card_that_goes_while_it_is_grouped_does_not_block() -> None:
    made = desk("A", "B")
    for name in ("A", "B"):
        made.take_look(name, look(), 0.0)
        made.take_look(name, look(), 20.0)
    made.begin("A")
    made.list_cards(["B"], 21.0)
    made.finish("A", b"a", 22.0)
    assert made.next_due(22.0) == "B"


def test_new_settings_make_cards_stale() -> None:
    made = desk()
    play(made, "0:seen=a 20:seen=a")
    made.begin("QMARK")
    made.finish("QMARK", b"a", 21.0)
    made.take_look("QMARK", look("a"), 21.0)
    assert made.next_due(21.0) is None
    made.restale(["QMARK"])
    assert made.next_due(21.0) == "QMARK"


def test_shorter_settling_counts_at_once() -> None:
    made = desk()
    play(made, "0:seen=a")
    made.settings = replace(SETTINGS, settle_s=2.0)
    made.look_again(3.0)
    assert made.to_look(3.0) == ["QMARK"]
    made.take_look("QMARK", look("a"), 3.0)
    assert made.next_due(3.0) == "QMARK"


def test_once_leaves_what_moves_and_is_done() -> None:
    made = desk("A", "B", once=True)
    assert made.to_look(0.0) == ["A", "B"]
    assert not made.is_idle(0.0)
    for name in ("A", "B"):
        made.take_look(name, look("1"), 0.0)
    assert not made.is_idle(0.0)
    assert made.to_look(20.0) == ["A", "B"]
    made.take_look("A", look("1"), 20.0)
    made.take_look("B", look("2"), 20.0)
    assert made.next_due(20.0) == "A"
    assert not made.is_idle(20.0)
    made.begin("A")
    made.finish("A", b"1", 21.0)
    made.to_look(21.0)
    made.take_look("A", look("1"), 21.0)
    assert made.is_idle(21.0)
    assert made.left() == ["B"]


def test_once_does_not_wait_for_another_try() -> None:
    made = desk(once=True)
    play(made, "0:seen=1 20:seen=1")
    made.begin("QMARK")
    made.fail("QMARK", 21.0)
    made.to_look(21.0)
    made.take_look("QMARK", look("1"), 21.0)
    assert made.is_idle(21.0)
    assert made.left() == []


def test_once_with_an_empty_inbox_is_done_after_the_listing() -> None:
    made = Desk(SETTINGS, once=True)
    assert not made.is_idle(0.0)
    made.list_cards([], 0.0)
    assert made.is_idle(0.0)
