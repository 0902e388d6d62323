"""``grouper status``: what it says, and the status that monitoring goes by."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from grouper.cli import cli
from grouper.watch.lock import FILE_NAME as LOCK
from grouper.watch.lock import Lock, read_lock
from grouper.watch.state import Record, State, open_state


@pytest.fixture
def state(tmp_path: Path) -> Iterator[State]:
    opened, _ = open_state(tmp_path)
    with opened.writing():
        opened.put_facts({"inbox": "/srv/inbox", "ears": "events", "once": "0"})
    yield opened
    opened.close()


def put(state: State, name: str, **changes: Any) -> Record:
    with state.writing():
        record = replace(state.add(name, f"out{len(state.records())}", 0.0), **changes)
        state.save(record)
    return record


def ask(folder: Path, *more: str) -> tuple[int, str]:
    outcome = CliRunner().invoke(cli, ["status", str(folder), *more])
    return outcome.exit_code, outcome.output


def test_all_is_well(tmp_path: Path, state: State) -> None:
    told = {"headline": [["whole", "all 3 sets are whole"]]}
    put(state, "QMARK", stage="done", grouped_at=1.0, told=told)
    put(state, "OSTREL", stage="arriving")
    lock = Lock(tmp_path)
    code, text = ask(tmp_path)
    assert code == 0
    assert f"Watching /srv/inbox (events) as process {os.getpid()}" in text
    assert "2 cards in the inbox: 1 arriving, 1 done." in text
    assert "  arriving  OSTREL" in text
    assert "Last card: QMARK" in text
    assert text.rstrip().endswith("All is well.")
    lock.release()


def test_no_service_is_running(tmp_path: Path, state: State) -> None:
    assert ask(tmp_path)[0] == 1
    assert "no service is running" in ask(tmp_path)[1]
    Lock(tmp_path).release()
    assert ask(tmp_path)[0] == 1


def test_after_single_runs_nobody_expects_one(tmp_path: Path, state: State) -> None:
    with state.writing():
        state.put_facts({"once": "1"})
    assert ask(tmp_path)[0] == 0


@pytest.mark.parametrize(
    ("changes", "facts", "words"),
    [
        ({"stage": "failed", "error": "a bug"}, {}, "QMARK: a bug"),
        ({}, {"command_error": "QMARK: s1: ended with 3"}, "the last command failed: QMARK: s1"),
    ],
)
def test_what_is_wrong(
    tmp_path: Path, state: State, changes: dict[str, Any], facts: dict[str, str], words: str
) -> None:
    put(state, "QMARK", **changes)
    with state.writing():
        state.put_facts(facts)
    lock = Lock(tmp_path)
    code, text = ask(tmp_path)
    assert code == 1
    assert words in text
    code, text = ask(tmp_path, "--json")
    table = json.loads(text)
    assert (code, table["ok"], table["running"]) == (1, False, True)
    assert any(words in trouble for trouble in table["troubles"])
    lock.release()


def test_an_error_of_a_card_that_left_is_over(tmp_path: Path, state: State) -> None:
    put(state, "QMARK", error="a bug", gone_at=5.0)
    lock = Lock(tmp_path)
    assert ask(tmp_path)[0] == 0
    lock.release()


def test_troubles_of_the_service_itself(tmp_path: Path, state: State) -> None:
    with state.writing():
        state.put_facts({"troubles": "the inbox cannot be listed"})
    lock = Lock(tmp_path)
    code, text = ask(tmp_path)
    assert (code, "the inbox cannot be listed" in text) == (1, True)
    lock.release()


def test_a_service_that_hangs(tmp_path: Path, state: State) -> None:
    lock = Lock(tmp_path)
    told = json.loads((tmp_path / LOCK).read_bytes())
    (tmp_path / LOCK).write_text(json.dumps({**told, "beat_s": told["beat_s"] - 1000}))
    code, text = ask(tmp_path)
    assert code == 1
    assert "hangs: no heartbeat for 17 min" in text
    lock.beat()
    assert ask(tmp_path)[0] == 0
    lock.release()


@pytest.mark.parametrize("content", [b"", b"\0\xff", b"[]", b'{"pid": "x", "beat_s": "y"}'])
def test_a_lock_file_that_makes_no_sense(tmp_path: Path, content: bytes) -> None:
    (tmp_path / LOCK).write_bytes(content)
    beat = read_lock(tmp_path)
    assert beat is not None
    assert (beat.is_held, beat.pid, beat.age_s) == (False, None, None)


def test_where_no_service_ever_was(tmp_path: Path) -> None:
    outcome = CliRunner().invoke(cli, ["status", str(tmp_path)])
    assert outcome.exit_code == 2
    assert "no service has written here" in outcome.stderr
    assert not list(tmp_path.iterdir())


def test_foreign_names_are_made_harmless(tmp_path: Path, state: State) -> None:
    put(state, "\x1b[31m\udcff", stage="arriving")
    _, text = ask(tmp_path)
    assert "\x1b" not in text
    assert "\\x1b[31m\\udcff" in text
    names = [card["name"] for card in json.loads(ask(tmp_path, "--json")[1])["cards"]]
    assert names == ["\x1b[31m\udcff"]
