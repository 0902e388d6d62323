"""What is remembered: all of it, in one go or not at all, whatever becomes of the file."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

import grouper.watch.state as module
from grouper.watch.state import (
    FILE_NAME,
    SET_ASIDE,
    NewerState,
    State,
    StateTrouble,
    open_state,
    read_state,
)


def opened(folder: Path) -> State:
    state, fault = open_state(folder)
    assert fault == ""
    return state


def test_a_card_comes_back_as_it_was_kept(tmp_path: Path) -> None:
    state = opened(tmp_path)
    with state.writing():
        record = state.add("\udcff\n-x", "card-1", 5.0)
    record = replace(
        record, stage="done", files=3, sample=b"ab", grouped=b"\0\1", told={"sets": 2},
        error="é \udcff", cleaned=True, gone_at=7.5,
    )  # fmt: skip
    with state.writing():
        state.save(record)
        state.put_sets(record.id, {"a": "1", "b": "2"})
        state.put_facts({"inbox": "/x"})
    state.close()
    state = opened(tmp_path)
    assert state.records() == [replace(record, error="é \\udcff")]
    assert state.sets_of(record.id) == {"a": "1", "b": "2"}
    assert state.facts() == {"inbox": "/x"}
    assert (tmp_path / FILE_NAME).stat().st_mode & 0o077 == 0
    state.close()


def test_a_change_that_fails_leaves_nothing(tmp_path: Path) -> None:
    state = opened(tmp_path)

    def add_two(second: str) -> None:
        with state.writing():
            state.add("A", "a", 0.0)
            state.add("B", {"A": "A"}[second], 0.0)

    with pytest.raises(StateTrouble):
        add_two("A")  # the same folder where case makes no difference
    with pytest.raises(KeyError):
        add_two("other")
    assert state.records() == []
    state.close()


def test_commands_are_kept_until_they_were_run_and_once_for_each_thing(tmp_path: Path) -> None:
    state = opened(tmp_path)
    with state.writing():
        state.add_errands(1, [("set", "a", {"x": "1"}), ("card", "", {}), ("set", "b", {})])
    with state.writing():
        state.add_errands(1, [("set", "a", {"x": "2"})])
    found = state.errands()
    assert [(one.what, one.about) for one in found] == [("card", ""), ("set", "b"), ("set", "a")]
    assert found[-1].words == {"x": "2"}
    with state.writing():
        state.drop_errand(found[0].id)
    assert len(state.errands()) == 2
    # One that is replaced while it runs is another: dropping the old one must not drop it.
    last = state.errands()[-1]
    with state.writing():
        state.add_errands(1, [("set", "a", {"x": "3"})])
    with state.writing():
        state.drop_errand(last.id)
    assert [one.words for one in state.errands()] == [{}, {"x": "3"}]
    state.close()


def test_a_command_for_a_set_that_is_no_more_is_dropped(tmp_path: Path) -> None:
    state = opened(tmp_path)
    with state.writing():
        state.add_errands(1, [("set", "a", {}), ("set", "b", {}), ("card", "", {})])
        state.add_errands(2, [("set", "a", {})])
    with state.writing():
        state.put_sets(1, {"b": "digest", "c": "digest"})
    left = [(one.card, one.what, one.about) for one in state.errands()]
    assert left == [(1, "set", "b"), (1, "card", ""), (2, "set", "a")]
    state.close()


def _foreign(file: Path) -> None:
    with closing(sqlite3.connect(file)) as base, base:
        base.execute("CREATE TABLE other (x)")


def _tableless(file: Path) -> None:
    opened(file.parent).close()
    with closing(sqlite3.connect(file)) as base, base:
        base.execute("DROP TABLE cards")


def _odd_value(file: Path) -> None:
    state = opened(file.parent)
    with state.writing():
        state.add("A", "a", 0.0)
    state.close()
    with closing(sqlite3.connect(file)) as base, base:
        base.execute("UPDATE cards SET told = '{'")


def _torn(file: Path) -> None:
    state = opened(file.parent)
    with state.writing():
        for number in range(500):
            state.add(f"A{number}", f"a{number}", 0.0)
    state.close()
    data = bytearray(file.read_bytes())
    data[4096:12288] = os.urandom(8192)
    file.write_bytes(data)


@pytest.mark.parametrize(
    "damage",
    [
        pytest.param(lambda file: file.write_bytes(b"no database at all" * 50), id="garbage"),
        pytest.param(lambda file: file.write_bytes(b"SQLite format 3\0" + b"x" * 200), id="head"),
        pytest.param(_foreign, id="somebody else's"),
        pytest.param(_tableless, id="a table gone"),
        pytest.param(_odd_value, id="an odd value"),
        pytest.param(_torn, id="torn pages"),
    ],
)
def test_a_damaged_file_is_set_aside(tmp_path: Path, damage: object) -> None:
    damage(tmp_path / FILE_NAME)  # type: ignore[operator]
    state, fault = open_state(tmp_path)
    assert fault
    assert state.records() == []
    state.close()
    assert (tmp_path / (FILE_NAME + SET_ASIDE)).exists()
    opened(tmp_path).close()


def test_a_newer_state_is_refused_and_left_alone(tmp_path: Path) -> None:
    opened(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as base, base:
        base.execute("PRAGMA user_version = 99")
    before = (tmp_path / FILE_NAME).read_bytes()
    for read in (open_state, lambda folder: read_state(folder, repair=True)):
        with pytest.raises(NewerState, match="newer grouper"):
            read(tmp_path)
    assert (tmp_path / FILE_NAME).read_bytes() == before


def test_an_older_state_is_led_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    state = opened(tmp_path)
    with state.writing():
        state.add("A", "a", 0.0)
    state.close()
    more = ("ALTER TABLE facts ADD COLUMN since REAL", "UPDATE cards SET files = 42")
    monkeypatch.setattr(module, "_VERSIONS", (*module._VERSIONS, more))
    state = opened(tmp_path)
    assert [record.files for record in state.records()] == [42]
    state.close()
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as base:
        assert base.execute("PRAGMA user_version").fetchone() == (2,)
        assert base.execute("SELECT since FROM facts").fetchall() == []


def test_an_older_state_that_cannot_be_led_on_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A lead that fails half-way is undone: nothing is half-changed."""
    opened(tmp_path).close()
    more = ("ALTER TABLE facts ADD COLUMN since REAL", "no statement")
    monkeypatch.setattr(module, "_VERSIONS", (*module._VERSIONS, more))
    open_state_fault = ""
    try:
        _, open_state_fault = open_state(tmp_path)
    except StateTrouble as error:
        open_state_fault = str(error)
    assert open_state_fault
    with closing(sqlite3.connect(tmp_path / (FILE_NAME + SET_ASIDE))) as base:
        assert base.execute("PRAGMA user_version").fetchone() == (1,)
        with pytest.raises(sqlite3.OperationalError):
            base.execute("SELECT since FROM facts")


def test_reading_where_there_is_none(tmp_path: Path) -> None:
    assert read_state(tmp_path, repair=True) is None
    assert not list(tmp_path.iterdir())
    _foreign(tmp_path / FILE_NAME)
    assert read_state(tmp_path, repair=True) is None


def test_a_state_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    state = opened(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        state._base.execute("PRAGMA busy_timeout = 10")
        with pytest.raises(StateTrouble, match="locked"), state.writing():
            state.add("A", "a", 0.0)
        with pytest.raises(StateTrouble):
            state.errands()
    state.close()
