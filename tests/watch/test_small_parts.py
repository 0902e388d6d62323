"""The smaller parts: lock, log, files, events, words to the service manager, answers."""

from __future__ import annotations

import fcntl
import io
import json
import os
import queue
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from grouper.errors import CannotWrite, GrouperError
from grouper.settings import Settings, WatchSettings, settings_from, settings_table
from grouper.watch.adopt import adopted
from grouper.watch.changes import Changes
from grouper.watch.files import clean_up, put, refuse_nesting, remove_output, size_of
from grouper.watch.hand import describe_end
from grouper.watch.jobs import Job, outcome_from, set_digest
from grouper.watch.ledger import Ledger, down_s, uptime_s
from grouper.watch.lock import FILE_NAME as LOCK
from grouper.watch.lock import Lock
from grouper.watch.log import Log
from grouper.watch.look import Folder, list_inbox, look_at
from grouper.watch.looker import ThreadedLooker
from grouper.watch.mail import Deaf, Listed, Looked, Mail, Missed, Touched
from grouper.watch.notify import tell_manager
from grouper.watch.state import open_state
from grouper.watch.worker import answer_to, safe
from grouper.write import write_result
from grouper.write.replace import TEMPORARY
from tests.watch.cards import add_photo, make_card, tree
from tests.watch.running import ROOT
from tests.write.results import MADE, bracket, panorama, result

# ---- lock


def test_the_lock_is_let_go_with_its_process_and_names_its_holder(tmp_path: Path) -> None:
    code = (
        "import sys, pathlib; from grouper.watch.lock import Lock\n"
        f"lock = Lock(pathlib.Path({str(tmp_path)!r})); print('held', flush=True)\n"
        "sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(CannotWrite, match=f"process {holder.pid} on .*stop it or choose"):
            Lock(tmp_path)
        holder.kill()
    Lock(tmp_path).release()


def test_whoever_reads_the_lock_for_a_moment_is_no_other_service(tmp_path: Path) -> None:
    Lock(tmp_path).release()
    with (tmp_path / LOCK).open("rb") as reader:
        fcntl.flock(reader, fcntl.LOCK_SH)
        timer = threading.Timer(0.1, fcntl.flock, (reader, fcntl.LOCK_UN))
        timer.start()
        Lock(tmp_path).release()
        timer.join()


def test_a_link_in_the_lock_s_place_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "precious").write_text("x")
    (tmp_path / LOCK).symlink_to(tmp_path / "precious")
    with pytest.raises(CannotWrite, match="cannot be made"):
        Lock(tmp_path)
    assert (tmp_path / "precious").read_text() == "x"


# ---- log


def said(*events: tuple[str, str, str], as_json: bool = False, least: str = "info") -> str:
    stream = io.StringIO()
    at = datetime(2026, 3, 14, 9, 14, 12, tzinfo=UTC)
    log = Log(least, as_json=as_json, stream=stream, clock=lambda: at)  # type: ignore[arg-type]
    for level, event, message in events:
        log.say(level, event, message, card="QMARK")  # type: ignore[arg-type]
    return stream.getvalue()


def test_lines_for_people() -> None:
    text = said(("info", "x", "one\ntwo"), ("error", "y", "bad \x1b[31m"), ("debug", "z", "no"))
    assert text == "2026-03-14 09:14:12 one / two\n2026-03-14 09:14:12 error: bad \\x1b[31m\n"


def test_lines_for_programs() -> None:
    (line,) = said(("warning", "x", "one\ntwo \udcff"), as_json=True).splitlines()
    assert json.loads(line) == {
        "at": "2026-03-14T09:14:12+00:00", "level": "warning", "event": "x", "card": "QMARK",
        "message": "one\ntwo \udcff",
    }  # fmt: skip


def test_quiet_says_only_what_is_wrong() -> None:
    assert said(("info", "x", "one"), ("warning", "x", "two"), least="warning").count("\n") == 1


def test_nobody_listening_does_no_harm() -> None:
    stream = io.StringIO()
    stream.close()
    Log(stream=stream).say("info", "x", "one")


# ---- files


def test_put_leaves_equal_files_alone(tmp_path: Path) -> None:
    target = tmp_path / "index.html"
    assert put(target, b"one")
    before = target.stat().st_mtime_ns
    assert not put(target, b"one")
    assert target.stat().st_mtime_ns == before
    assert put(target, b"two")
    assert tree(tmp_path) == {"index.html": b"two"}


def test_put_replaces_a_link_and_not_what_it_leads_to(tmp_path: Path) -> None:
    (tmp_path / "precious").write_bytes(b"one")
    (tmp_path / "index.html").symlink_to(tmp_path / "precious")
    assert put(tmp_path / "index.html", b"two")
    assert (tmp_path / "precious").read_bytes() == b"one"


def test_put_cleans_up_behind_itself(tmp_path: Path) -> None:
    (tmp_path / "index.html").mkdir()
    with pytest.raises(OSError, match="directory"):
        put(tmp_path / "index.html", b"x")
    assert not list(tmp_path.glob(f"{TEMPORARY}*"))


@pytest.fixture
def written(tmp_path: Path) -> Path:
    out = tmp_path / "out" / "QMARK"
    write_result(result(panorama(), bracket(), root="/srv/inbox/QMARK"), out, made=MADE)
    return out


def test_removing_outputs_takes_what_grouper_made(written: Path) -> None:
    removed, notes = remove_output(written)
    assert (removed > 5, notes) == (True, [])
    assert not written.exists()


def test_removing_outputs_keeps_what_was_edited_or_added(written: Path) -> None:
    (written / "frames.csv").write_text("edited")
    (written / "notes.txt").write_text("mine")
    assert remove_output(written)[1]
    assert set(tree(written)) == {"frames.csv", "notes.txt", ".grouper-files.json"}
    again = "frames.csv is no longer needed, but was changed; it was kept"
    assert remove_output(written) == (0, [again])


def test_removing_touches_nothing_that_is_not_grouper_s(tmp_path: Path, written: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "card.json").write_text("{}")
    assert remove_output(other) == (0, [])
    (tmp_path / "link").symlink_to(written)
    assert remove_output(tmp_path / "link") == (0, [])
    assert remove_output(tmp_path / "none") == (0, [])
    assert (written / "card.json").exists()
    assert size_of(written) == sum(len(data) for data in tree(written).values())


def test_cleaning_up_leaves_outputs_that_another_run_writes(written: Path) -> None:
    import fcntl

    (written / f"{TEMPORARY}1").touch()
    with (written / ".grouper-lock").open("w") as holder:
        fcntl.flock(holder, fcntl.LOCK_EX)
        assert clean_up(written.parent, ["QMARK"]) == 0
        assert (written / f"{TEMPORARY}1").exists()
    before = tree(written)
    assert clean_up(written.parent, ["QMARK", "none"]) == 2  # the lock file is one, too
    assert tree(written).keys() == before.keys() - {f"{TEMPORARY}1", ".grouper-lock"}


@pytest.mark.parametrize(
    ("inbox", "out", "words"),
    [
        ("a", "a", "lies in the inbox"),
        ("a", "a/b", "lies in the inbox"),
        ("a/b", "a", "lies in the output folder"),
        ("none", "b", "no such folder"),
        ("file", "b", "no such folder"),
    ],
)
def test_inbox_and_outputs_lie_apart(tmp_path: Path, inbox: str, out: str, words: str) -> None:
    (tmp_path / "a/b").mkdir(parents=True)
    (tmp_path / "file").touch()
    with pytest.raises(GrouperError, match=words):
        refuse_nesting(tmp_path / inbox, tmp_path / out)


def test_outputs_are_known_again_by_their_manifest(tmp_path: Path, written: Path) -> None:
    card = json.loads((written / "card.json").read_bytes())
    (one,) = adopted(tmp_path / "out", "/srv/inbox")
    assert (one.name, one.out) == ("QMARK", "QMARK")
    assert one.sets == {
        found["id"]: set_digest("/srv/inbox/QMARK", found) for found in card["sets"]
    }
    assert adopted(tmp_path / "out", "/srv/other") == []
    (written / "card.json").write_text('{"manifest": "grouper-card", "card": []}')
    assert adopted(tmp_path / "out", "/srv/inbox") == []
    assert adopted(tmp_path / "none", "/srv/inbox") == []


# ---- events


@pytest.fixture
def heard(tmp_path: Path) -> Iterator[tuple[Path, Changes, queue.SimpleQueue[Mail]]]:
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    mail: queue.SimpleQueue[Mail] = queue.SimpleQueue()
    changes = Changes(str(inbox), mail.put)
    yield inbox, changes, mail
    changes.close()


def names(mail: queue.SimpleQueue[Mail], wanted: str) -> bool:
    """Whether an event from a card comes within some seconds."""
    until = time.monotonic() + 10
    while time.monotonic() < until:
        try:
            one = mail.get(timeout=0.5)
        except queue.Empty:
            continue
        assert isinstance(one, Touched), one
        if wanted in one.names:
            return True
    return False


def test_events_name_the_card(heard: tuple[Path, Changes, queue.SimpleQueue[Mail]]) -> None:
    inbox, changes, mail = heard
    card = make_card(inbox / "QMARK")
    listing = list_inbox(str(inbox))
    assert listing.folder is not None
    folders = [listing.folder, *look_at(str(card), 1000).folders]
    assert changes.watch(folders)
    assert not changes.watch(folders)
    time.sleep(1.0)
    add_photo(card, 9)
    assert names(mail, "QMARK")
    (inbox / "OSTREL").mkdir()
    assert names(mail, "OSTREL")
    assert not changes.watch(folders[:1])  # fewer folders: nothing new to be looked at


def test_a_folder_that_is_gone_or_no_text_does_not_deafen(
    heard: tuple[Path, Changes, queue.SimpleQueue[Mail]],
) -> None:
    inbox, changes, mail = heard
    odd = inbox / "\udcff"
    odd.mkdir()
    paths = (str(inbox), str(inbox / "none"), str(odd))
    changes.watch([Folder(path, (1, number)) for number, path in enumerate(paths)])
    time.sleep(1.0)
    (inbox / "QMARK").mkdir()
    assert names(mail, "QMARK")


def test_an_event_from_a_name_that_is_no_text_is_missed_and_others_are_heard_again(
    heard: tuple[Path, Changes, queue.SimpleQueue[Mail]],
) -> None:
    inbox, changes, mail = heard
    changes._rest_s = 0.1
    changes.watch([Folder(str(inbox), (1, 1))])
    time.sleep(1.0)
    (inbox / "\udcff").mkdir()
    assert mail.get(timeout=10) == Missed()
    assert mail.get(timeout=10) == Missed()  # what happened while nobody listened
    (inbox / "QMARK").mkdir()
    assert names(mail, "QMARK")
    assert changes.watch([Folder(str(inbox), (1, 2))])  # not deaf


def test_a_bug_in_looking_is_told_and_the_next_look_comes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mail: queue.SimpleQueue[Mail] = queue.SimpleQueue()

    def fail(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("grouper.watch.looker.list_inbox", fail)
    monkeypatch.setattr("grouper.watch.looker.look_at", fail)
    looker = ThreadedLooker(str(tmp_path), mail.put)
    looker.list()
    looker.look("QMARK", 10)
    listed, looked = mail.get(timeout=10), mail.get(timeout=10)
    looker.stop()
    assert isinstance(listed, Listed)
    assert isinstance(looked, Looked)
    assert "a bug" in listed.listing.error
    assert (looked.name, looked.look.trouble) == ("QMARK", "closed")
    assert "a bug" in looked.look.detail


def test_an_inbox_that_cannot_be_watched_is_said(tmp_path: Path) -> None:
    mail: queue.SimpleQueue[Mail] = queue.SimpleQueue()
    changes = Changes(str(tmp_path), mail.put)

    def fail(*_: object, **__: object) -> None:
        raise OSError("OS file watch limit reached")

    changes._listen = fail  # type: ignore[method-assign, assignment]
    changes.watch([])
    assert mail.get(timeout=10) == Deaf("OS file watch limit reached")
    assert not changes.watch([Folder(str(tmp_path), (1, 1))])


# ---- the service manager


def test_words_to_the_service_manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert not tell_manager("READY=1")
    place = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(place))
        monkeypatch.setenv("NOTIFY_SOCKET", str(place))
        assert tell_manager("READY=1", "STATUS=fine")
        assert manager.recv(100) == b"READY=1\nSTATUS=fine"
    place.unlink()
    assert not tell_manager("READY=1")


# ---- the child


def job(card: Path, out: Path, identity: bytes | None = None) -> Job:
    seen = look_at(str(card), 1000).identity if identity is None else identity
    return Job(
        card=str(card), out=str(out), identity=seen, settings=Settings(), jobs=1, use_cache=False
    )


def test_a_job_survives_the_way_to_the_child(tmp_path: Path) -> None:
    made = job(tmp_path / "\udcff\n", tmp_path / "out", b"\0\xff")
    assert Job.from_line(made.line()) == made


def test_what_the_child_answers(tmp_path: Path) -> None:
    card = make_card(tmp_path / "QMARK")
    body = json.loads(json.dumps(answer_to(job(card, tmp_path / "out"))))
    outcome = outcome_from(body)
    assert (outcome.kind, len(outcome.sets), outcome.written) == ("done", 1, 8)
    manifest = json.loads((tmp_path / "out/card.json").read_bytes())
    assert outcome.sets[0].digest == set_digest(str(card), manifest["sets"][0])
    assert outcome.told is not None
    assert (outcome.told["frames"], outcome.told["verdict"]) == (3, "whole")
    again = outcome_from(answer_to(job(card, tmp_path / "out")))
    assert (again.digest, again.sets) == (outcome.digest, outcome.sets)
    add_photo(card, 9)
    assert outcome_from(answer_to(job(card, tmp_path / "out"))).digest != outcome.digest


def test_a_card_that_does_not_look_as_asked_is_not_grouped(tmp_path: Path) -> None:
    card = make_card(tmp_path / "QMARK")
    assert answer_to(job(card, tmp_path / "out", b"other"))["kind"] == "changed"
    link = tmp_path / "link"
    link.symlink_to(card)
    assert answer_to(job(link, tmp_path / "out", job(card, card).identity))["kind"] == "changed"
    assert not (tmp_path / "out").exists()


def test_an_output_folder_of_another_card_is_an_error(tmp_path: Path) -> None:
    one, other = make_card(tmp_path / "one"), make_card(tmp_path / "other", first=900)
    answer_to(job(one, tmp_path / "out"))
    body = answer_to(job(other, tmp_path / "out"))
    assert body["kind"] == "failed"
    assert "another card" in body["error"]


@pytest.mark.parametrize(
    "body",
    [{}, {"kind": "odd"}, {"kind": "done", "sets": [{}]}, {"kind": "done", "told": 3},
     {"kind": "done", "written": "x"}, {"kind": "done", "sets": 3}],
)  # fmt: skip
def test_answers_that_make_no_sense_are_failures(body: dict[str, object]) -> None:
    outcome = outcome_from(body)
    assert outcome.kind == "failed"
    assert "makes no sense" in outcome.error


@pytest.mark.parametrize(
    ("status", "words"), [(3, "status 3"), (-11, "SIGSEGV"), (-9, "SIGKILL"), (-99, "signal 99")]
)
def test_how_a_child_ended(status: int, words: str) -> None:
    assert words in describe_end(status)


def test_the_child_dies_with_its_service(tmp_path: Path) -> None:
    code = (
        "import os, time; from grouper.watch.hand import start_worker\n"
        "print(start_worker().process.pid, flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, cwd=ROOT) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        time.sleep(0.5)
        os.kill(child, 0)
        parent.kill()
    until = time.monotonic() + 15
    while time.monotonic() < until and _lives(child):
        time.sleep(0.05)
    assert not _lives(child)


def _lives(pid: int) -> bool:
    try:
        return "State:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


# ---- settings and start


def test_settings_of_the_service() -> None:
    settings = settings_from({"watch": {"settle_s": 5, "keep_days": 30}})
    assert settings.watch == WatchSettings(settle_s=5.0, keep_days=30)
    assert "watch" not in settings_table(settings)
    assert safe(settings).read.follow_links is False
    with pytest.raises(GrouperError, match="did you mean 'settle_s'"):
        settings_from({"watch": {"settle": 5}})
    with pytest.raises(GrouperError, match=r"below 0\.05"):
        settings_from({"watch": {"settle_s": 0}})


def test_nothing_is_removed_unless_asked() -> None:
    assert (WatchSettings().keep_days, WatchSettings().outputs_most_mb) == (0, 0)


def test_the_service_itself_loads_nothing_heavy() -> None:
    """It runs for years; the libraries that read pictures belong to its child."""
    code = (
        "import sys\n"
        "import grouper.watch.start, grouper.watch.status, grouper.watch.page\n"
        "heavy = {'numpy', 'sklearn', 'PIL', 'scipy', 'exifread', 'watchfiles'}\n"
        "heavy &= set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--on-set", "x {nothing}"], "there is no {nothing}"),
        (["--on-card", ""], "no command"),
        (["--settings", "none.toml"], "none.toml: "),
    ],
)
def test_what_cannot_start_says_why(tmp_path: Path, more: list[str], words: str) -> None:
    (tmp_path / "inbox").mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "grouper", "watch", str(tmp_path / "inbox"), "--out",
         str(tmp_path / "out"), *more],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr


def test_outputs_deleted_under_the_service_are_noticed(tmp_path: Path) -> None:
    """Somebody empties the output folder: better to start anew than to serve a ghost."""
    lock = Lock(tmp_path)
    assert lock.is_there()
    shutil.rmtree(tmp_path)
    assert not lock.is_there()
    lock.release()


@pytest.mark.parametrize(
    ("before", "now", "down"),
    [
        (1000.0, 4600.0, 3600.0),
        (1000.0, 1000.0, 0.0),
        (90_000.0, 120.0, 120.0),  # the machine was started anew
    ],
)
def test_the_time_without_a_service_is_told_by_the_machine_not_the_wall(
    before: float, now: float, down: float
) -> None:
    assert down_s(before, now) == down


@pytest.mark.parametrize("up_s", [5_000_000.0, 5_000_000.4, 5_000_000.6])
def test_a_quick_restart_ages_nothing(tmp_path: Path, up_s: float) -> None:
    state, _ = open_state(tmp_path)

    def ledger(ran_s: float) -> Ledger:
        made = Ledger(
            state,
            tmp_path,
            clock=lambda: ran_s,
            wall=time.time,
            changed=lambda: None,
            trouble=lambda what, wrong: None,
            uptime=lambda: up_s + ran_s,
        )
        made.load("inbox")
        return made

    with closing(state):
        state.put_facts(ledger(0.0).times())
        assert 0 <= ledger(0.3).run_s() <= 2


def test_the_machine_has_run_for_a_while_and_runs_on() -> None:
    first = uptime_s()
    assert 0 < first <= uptime_s()
