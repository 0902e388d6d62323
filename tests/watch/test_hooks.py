"""The owner's commands: no shell, no foreign words, a time limit, and every end is told."""

from __future__ import annotations

import queue
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from grouper.errors import GrouperError
from grouper.watch.hooks import MOST_OUTPUT, PLACEHOLDERS, Runner, hook_from
from grouper.watch.mail import HookDone, Mail

VALUES = {name: f"<{name}>" for what in PLACEHOLDERS.values() for name in what}


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("tell {manifest}", ["tell", "<manifest>"]),
        ("tell --to={out}/x '{set} {kind}'", ["tell", "--to=<out>/x", "<set> <kind>"]),
        ("tell '{{x}}' {{set}}", ["tell", "{x}", "{set}"]),
        ("tell '' a\\ b", ["tell", "", "a b"]),
        ("tell '$(reboot)' ';' '|' '*'", ["tell", "$(reboot)", ";", "|", "*"]),
    ],
)
def test_words_are_split_once_and_filled_in(line: str, words: list[str]) -> None:
    assert hook_from(line, "set").filled(VALUES) == words


def test_what_is_filled_in_is_never_split_nor_filled_in_again() -> None:
    values = {**VALUES, "card": "/inbox/a b; rm -rf {out} $(x) 'y'\n"}
    assert hook_from("tell {card}", "set").filled(values) == ["tell", values["card"]]


@pytest.mark.parametrize(
    ("line", "what", "words"),
    [
        ("", "set", "no command"),
        ("tell 'x", "set", "No closing quotation"),
        ("tell {manifst}", "set", "there is no {manifst}; there are {manifest}"),
        ("tell {set}", "card", "there is no {set}"),
        ("{manifest} x", "set", "the command itself"),
        ("tell {}", "set", "there is no {}"),
    ],
)
def test_lines_that_are_refused(line: str, what: str, words: str) -> None:
    with pytest.raises(GrouperError, match=r"--on-") as caught:
        hook_from(line, what)
    assert words in str(caught.value)


@pytest.fixture
def mail() -> queue.SimpleQueue[Mail]:
    return queue.SimpleQueue()


@pytest.fixture
def runner(mail: queue.SimpleQueue[Mail]) -> Iterator[Runner]:
    made = Runner(mail.put)
    yield made
    made.end()


def run(runner: Runner, mail: queue.SimpleQueue[Mail], *words: str, most_s: float = 20) -> HookDone:
    runner.run(7, words, most_s)
    done = mail.get(timeout=30)
    assert isinstance(done, HookDone)
    assert done.errand == 7
    return done


def test_success_and_output(runner: Runner, mail: queue.SimpleQueue[Mail]) -> None:
    done = run(runner, mail, "sh", "-c", "echo out; echo err >&2")
    assert (done.output, done.error, done.stopped) == ("out\nerr", "", False)


def test_only_the_end_of_much_output_is_kept(runner: Runner, mail: queue.SimpleQueue[Mail]) -> None:
    done = run(runner, mail, "sh", "-c", "yes long | head -c 3000000; echo end")
    assert len(done.output) <= MOST_OUTPUT
    assert done.output.endswith("end")


def test_failures_are_told(runner: Runner, mail: queue.SimpleQueue[Mail]) -> None:
    assert run(runner, mail, "sh", "-c", "exit 3").error == "ended with status 3"
    assert "cannot be started" in run(runner, mail, "/no/such/command").error
    assert "cannot be started" in run(runner, mail, "echo", "a\0b").error


def test_a_command_that_hangs_is_ended_with_its_children(
    runner: Runner, mail: queue.SimpleQueue[Mail], tmp_path: Path
) -> None:
    script = f"(sleep 2; echo x > {tmp_path}/late) & sleep 60"
    done = run(runner, mail, "sh", "-c", script, most_s=0.5)
    assert "took longer than [watch] hook_most_s = 0.5" in done.error
    time.sleep(2.5)
    assert not (tmp_path / "late").exists()


def test_a_child_left_behind_does_not_hold_the_next_command(
    runner: Runner, mail: queue.SimpleQueue[Mail]
) -> None:
    begun = time.monotonic()
    assert run(runner, mail, "sh", "-c", "sleep 30 & echo done").output == "done"
    assert time.monotonic() - begun < 15


def test_standard_input_is_empty(runner: Runner, mail: queue.SimpleQueue[Mail]) -> None:
    assert run(runner, mail, "cat").output == ""


def test_the_end_of_the_service_cuts_off(mail: queue.SimpleQueue[Mail]) -> None:
    runner = Runner(mail.put)
    runner.run(1, ("sleep", "60"), 100)
    runner.run(2, ("echo", "never"), 100)
    time.sleep(0.5)
    begun = time.monotonic()
    runner.end()
    assert time.monotonic() - begun < 3
    done = mail.get(timeout=10)
    assert isinstance(done, HookDone)
    assert (done.errand, done.stopped) == (1, True)
    with pytest.raises(queue.Empty):
        mail.get(timeout=0.5)
