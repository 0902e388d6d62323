"""The service as its owner meets it: real processes, real cards, short times."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from grouper.watch.state import FILE_NAME, SET_ASIDE, open_state
from grouper.write.replace import TEMPORARY
from tests.watch.cards import SETTINGS, add_photo, make_card, photo_bytes, tree, wait_until
from tests.watch.running import ROOT, Running

EVENTS_ONLY = SETTINGS.replace("rescan_s = 1", "rescan_s = 600")


def times(folder: Path) -> dict[str, int]:
    return {
        str(path.relative_to(folder)): path.stat().st_mtime_ns
        for path in folder.rglob("*")
        if path.is_file()
    }


# ---- cards come, grow, change, go


def test_a_card_that_is_there_and_one_that_comes(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    service.settings.write_text(EVENTS_ONLY)
    service.start()
    service.wait_done("QMARK")
    make_card(service.inbox / "OSTREL", photos=2)
    service.wait_done("QMARK", "OSTREL")
    assert service.card("QMARK")["card"]["frames"] == 3
    assert service.card("OSTREL")["card"]["frames"] == 2
    assert (service.out / "QMARK" / "report.html").is_file()
    wait_until(lambda: "OSTREL/report.html" in (service.out / "index.html").read_text())
    assert service.stop() == 0


def test_polling_needs_no_events(service: Running) -> None:
    service.settings.write_text(EVENTS_ONLY)
    service.start(poll=True)
    service.wait_said("polling: asked for")
    make_card(service.inbox / "QMARK")
    service.wait_done("QMARK")
    add_photo(service.inbox / "QMARK", 9)
    wait_until(lambda: service.card("QMARK")["card"]["frames"] == 4)


def test_a_copy_under_way_is_waited_for(service: Running) -> None:
    service.settings.write_text(SETTINGS.replace("settle_s = 0.3", "settle_s = 0.8"))
    service.start()
    card = make_card(service.inbox / "QMARK", photos=1)
    data = photo_bytes(2)
    path = card / "DCIM/100QMARK/QMK_0002.JPG"
    with path.open("wb") as stream:
        for at in range(0, len(data), len(data) // 12 + 1):  # some three seconds
            stream.write(data[at : at + len(data) // 12 + 1])
            stream.flush()
            time.sleep(0.25)
            assert not service.said("grouped in")
    service.wait_done("QMARK")
    assert service.card("QMARK")["card"] | {"root": ""} == {
        "root": "", "files": 2, "frames": 2, "unread": 0, "ignored": 0,
    }  # fmt: skip
    assert service.said("grouped in") == 1


def test_only_what_changed_is_rewritten(service: Running) -> None:
    card = make_card(service.inbox / "QMARK", photos=6)
    service.start()
    service.wait_done("QMARK")
    assert len(service.card("QMARK")["sets"]) == 2
    before = times(service.folder("QMARK"))
    make_card(card, photos=3, first=7)
    wait_until(lambda: service.card("QMARK")["card"]["frames"] == 9)
    service.wait_done("QMARK")
    after = times(service.folder("QMARK"))
    assert len(service.card("QMARK")["sets"]) == 3
    lists = {path for path in before if path.endswith(".txt")}
    assert len(lists) >= 2
    assert {path: before[path] for path in lists} == {path: after[path] for path in lists}
    assert before["card.json"] != after["card.json"]


def test_a_file_replaced_by_one_of_the_same_size_is_seen(service: Running) -> None:
    card = make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    add_photo(card, 2, later_s=7.0)
    wait_until(
        lambda: service.said("grouped in") == 2 and service.records()["QMARK"].stage == "done"
    )


def test_a_restart_groups_nothing_again(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    assert service.stop() == 0
    before = times(service.folder("QMARK"))
    service.start()
    service.wait_said("watching", times=2)
    make_card(service.inbox / "OSTREL")
    service.wait_done("OSTREL")
    assert service.said("QMARK: grouped") == 1
    assert times(service.folder("QMARK")) == before


def test_what_changed_while_no_service_ran_is_grouped(service: Running) -> None:
    card = make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    service.stop()
    add_photo(card, 9)
    service.start()
    wait_until(lambda: service.card("QMARK")["card"]["frames"] == 4)


def test_a_card_that_leaves_keeps_its_outputs_and_may_come_back(service: Running) -> None:
    card = make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    out = service.folder("QMARK")
    before = times(out)
    shutil.move(card, service.out.parent / "away")
    service.wait_said("QMARK: left the inbox")
    wait_until(lambda: "Left the inbox: 1 card" in (service.out / "index.html").read_text())
    shutil.move(service.out.parent / "away", card)
    service.wait_done("QMARK")
    assert service.folder("QMARK") == out
    assert times(out) == before
    assert service.said("grouped in") == 1


def test_another_card_under_the_same_name_gets_outputs_of_its_own(service: Running) -> None:
    card = make_card(service.inbox / "NO NAME")
    service.start()
    service.wait_done("NO NAME")
    first = service.folder("NO NAME")
    before = tree(first)
    shutil.rmtree(card)
    make_card(card, photos=2, first=700)
    wait_until(
        lambda: (
            "NO NAME" in service.records()
            and service.folder("NO NAME") != first
            and service.records()["NO NAME"].stage == "done"
        )
    )
    assert service.card("NO NAME")["card"]["frames"] == 2
    assert tree(first) == before


def test_a_card_that_is_emptied_keeps_its_outputs(service: Running) -> None:
    card = make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    out = service.folder("QMARK")
    before = tree(out)
    shutil.rmtree(card / "DCIM")  # as a card looks that was taken out of the reader
    service.wait_said("QMARK: is empty now")
    assert tree(out) == before
    make_card(card)
    service.wait_done("QMARK")
    assert service.folder("QMARK") == out
    assert tree(out).keys() == before.keys()


def test_events_come_from_folders_that_took_the_place_of_others(service: Running) -> None:
    """What is watched is the folder, not its path: one put in its place is another."""
    service.settings.write_text(EVENTS_ONLY)
    card = make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    card.rename(service.out.parent / "away")
    make_card(card, photos=4)
    wait_until(lambda: service.card("QMARK")["card"]["frames"] == 4)
    service.wait_done("QMARK")
    time.sleep(3.0)
    add_photo(card, 9)
    wait_until(lambda: service.card("QMARK")["card"]["frames"] == 5)


def test_outputs_of_somebody_else_are_left_alone(service: Running) -> None:
    (service.out / "QMARK").mkdir(parents=True)
    (service.out / "QMARK" / "card.json").write_text("mine")
    make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    assert tree(service.out / "QMARK") == {"card.json": b"mine"}
    assert service.records()["QMARK"].out.startswith("QMARK-")


def test_a_renamed_card_is_a_new_one(service: Running) -> None:
    make_card(service.inbox / "QMARK.part").rename(service.inbox / "QMARK.part")
    service.start()
    service.wait_done("QMARK.part")
    (service.inbox / "QMARK.part").rename(service.inbox / "QMARK")
    service.wait_done("QMARK")
    assert set(service.records()) == {"QMARK"}
    assert (service.out / "QMARK.part" / "card.json").is_file()


def test_a_card_that_changes_while_it_is_read_is_not_written(service: Running) -> None:
    card = make_card(service.inbox / "slow")
    service.start(mischief=True)
    service.wait_said("being grouped")
    time.sleep(0.3)
    add_photo(card, 9)
    service.wait_said("slow: changed while it was read")
    assert not (service.out / "slow" / "card.json").exists()
    service.wait_done("slow")
    assert service.card("slow")["card"]["frames"] == 4


# ---- bad cards


@pytest.mark.parametrize(
    ("name", "words", "limits"),
    [
        ("crash", "was ended by SIGSEGV", ""),
        ("bug", "a bug in grouper: ZeroDivisionError", ""),
        ("hang", "took longer than [watch] card_most_s = 1", "card_most_s = 1"),
        ("greedy", "needs more memory than [watch] memory_most_mb = 600", "memory_most_mb = 600"),
        ("glutton", "more would be read of it than [watch] read_most_mb = 20", "read_most_mb = 20"),
        ("much", "holds more than 4 files", "files_most = 4"),
    ],
)
def test_one_bad_card_never_stops_the_others(
    service: Running, name: str, words: str, limits: str
) -> None:
    make_card(service.inbox / name)
    if name == "much":
        make_card(service.inbox / name, photos=9)
    make_card(service.inbox / "QMARK", photos=2)
    service.settings.write_text(SETTINGS + limits)
    service.start(mischief=True)
    service.wait_said(f"{name}: ")
    service.wait_said(words)
    service.wait_done("QMARK")
    service.wait_said(words, times=2)  # it is tried again
    record = service.records()[name]
    assert record.stage == "failed"
    assert words in (record.error or "")
    assert record.tries >= 1
    assert not (service.out / record.out / "card.json").exists()
    wait_until(lambda: "Could not be grouped" in (service.out / "index.html").read_text())
    assert service.stop() == 0


def test_a_failed_card_is_mended_by_a_change(service: Running) -> None:
    card = make_card(service.inbox / "much", photos=9)
    service.settings.write_text(SETTINGS.replace("retry_s = 0.5", "retry_s = 500") + "files_most=8")
    service.start()
    service.wait_said("holds more than 8 files")
    for number in range(3, 10):
        (card / f"DCIM/100QMARK/QMK_{number:04d}.JPG").unlink()
    service.wait_done("much")
    assert service.records()["much"].error is None


def test_a_failed_card_waits_for_its_time_after_a_restart_too(service: Running) -> None:
    make_card(service.inbox / "bug")
    service.settings.write_text(
        SETTINGS.replace("retry_s = 0.5", "retry_s = 500").replace("retry_most_s = 2", "")
    )
    service.start(mischief=True)
    service.wait_said("a bug in grouper")
    service.stop()
    service.start(mischief=True)
    make_card(service.inbox / "QMARK")
    service.wait_done("QMARK")
    assert service.said("bug: a bug in grouper") == 1


def test_a_full_disk_is_waited_out(service: Running, tmp_path: Path) -> None:
    make_card(service.inbox / "QMARK")
    (tmp_path / "full").touch()
    service.start(full_while=str(tmp_path / "full"))
    service.wait_said("the disk is full")
    assert not (service.out / "QMARK" / "card.json").exists()
    assert service.records()["QMARK"].stage == "failed"
    (tmp_path / "full").unlink()
    service.wait_done("QMARK")
    assert service.stop() == 0  # else it may just be writing the page
    assert not list(service.out.rglob(f"{TEMPORARY}*"))


@pytest.fixture
def tiny_disk(tmp_path: Path) -> Path:
    """A disk of three megabytes at the place of the outputs."""
    place = tmp_path / "out"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(place)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("a small disk cannot be mounted here")
    return place


def fill(ballast: Path) -> None:
    with ballast.open("wb", buffering=0) as stream:
        while True:
            stream.write(bytes(4096))


def test_a_disk_that_is_really_full(service: Running, tiny_disk: Path) -> None:
    try:
        make_card(service.inbox / "QMARK")
        service.start()
        service.wait_done("QMARK")
        ballast = tiny_disk / "ballast"
        with pytest.raises(OSError, match="No space"):
            fill(ballast)
        make_card(service.inbox / "OSTREL")
        service.wait_said("only 0 MB are free")
        add_photo(service.inbox / "QMARK", 9)
        time.sleep(1.0)
        ballast.unlink()
        wait_until(lambda: service.said("the trouble is over"), 60)
        service.wait_done("QMARK", "OSTREL")
        assert service.card("QMARK")["card"]["frames"] == 4
        assert service.stop() == 0
    finally:
        if service.pid is not None:
            service.stop(signal.SIGKILL)
        subprocess.run(["umount", "-l", str(tiny_disk)], check=True)


def seconds_used(pid: int) -> float:
    """Processor time of a process so far (proc(5))."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@pytest.mark.parametrize("name", ["QMARK", "hang", "bug"])
def test_waiting_costs_nothing(service: Running, name: str) -> None:
    """In the middle of a long card, between tries, and with all done."""
    make_card(service.inbox / name)
    service.settings.write_text(SETTINGS.replace("rescan_s = 1", "rescan_s = 600"))
    service.start(mischief=True, idle_s=0.5)
    service.wait_said("being grouped")
    time.sleep(2.5)
    assert service.pid is not None
    before = seconds_used(service.pid)
    time.sleep(3.0)
    assert seconds_used(service.pid) - before < 0.5


def test_a_card_that_leaves_while_it_is_grouped_leaves_no_trace_or_its_outputs(
    service: Running,
) -> None:
    card = make_card(service.inbox / "slow")
    make_card(service.inbox / "QMARK")
    service.start(mischief=True)
    service.wait_said("slow: being grouped")
    shutil.rmtree(card)
    service.wait_said("slow: left the inbox")
    service.wait_done("QMARK")
    assert service.stop() == 0
    assert not (service.out / "slow").exists()
    service.start()
    service.wait_said("watching", times=2)
    assert set(service.records()) == {"QMARK"}


# ---- foreign names and links


def test_odd_names_are_cards_like_all_others(service: Running) -> None:
    names = ["-rf", "a\nb", "\udcff\udcfe", "x" * 255, "qmark", "QMARK", "$(reboot)", "index.html"]
    for name in names:
        make_card(service.inbox / name, photos=2)
    service.start()
    service.wait_done(*names)
    outs = [record.out for record in service.records().values()]
    assert len({out.casefold() for out in outs}) == len(names)
    assert all((service.out / out / "card.json").is_file() for out in outs)
    page = service.out / "index.html"
    wait_until(lambda: page.read_text(encoding="utf-8").count("report.html") == len(names))
    assert "a\\x0ab" in page.read_text(encoding="utf-8")
    assert "\\udcff" in page.read_text(encoding="utf-8")
    assert service.stop() == 0


def test_no_link_leads_out_of_the_inbox(service: Running, tmp_path: Path) -> None:
    private = make_card(tmp_path / "private", photos=3, first=900)
    card = make_card(service.inbox / "QMARK", photos=2)
    (card / "DCIM/100QMARK/QMK_0007.JPG").symlink_to(private / "DCIM/100QMARK/QMK_0900.JPG")
    (card / "more").symlink_to(private)
    (service.inbox / "linked").symlink_to(private)
    service.start()
    service.wait_done("QMARK")
    service.wait_said("linked lies in the inbox and is no folder")
    found = service.card("QMARK")
    assert (found["card"]["frames"], found["card"]["ignored"]) == (2, 2)
    assert found["settings"]["read"]["follow_links"] is False
    assert set(service.records()) == {"QMARK"}
    assert b"QMK_0900" not in b"".join(tree(service.out / "QMARK").values())


def test_nothing_is_written_to_the_inbox(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    before = tree(service.inbox), times(service.inbox)
    service.start()
    service.wait_done("QMARK")
    service.stop()
    assert (tree(service.inbox), times(service.inbox)) == before


# ---- signals, lock, settings


@pytest.mark.parametrize(("number", "status"), [(signal.SIGTERM, 0), (signal.SIGINT, 130)])
def test_ends_cleanly_within_five_seconds_in_the_middle_of_a_card(
    service: Running, number: int, status: int
) -> None:
    make_card(service.inbox / "hang")
    service.start(mischief=True, on_card="sleep 60")
    service.wait_said("being grouped")
    begun = time.monotonic()
    assert service.stop(number) == status
    assert time.monotonic() - begun < 5.0
    assert service.said("ended; every card is as it was last grouped") == 1
    assert "does not run" in (service.out / "index.html").read_text()


def test_a_command_under_way_is_cut_off_and_runs_again(service: Running, tmp_path: Path) -> None:
    make_card(service.inbox / "QMARK")
    script = tmp_path / "command"
    script.write_text(f"#!/bin/sh\necho x >> {tmp_path}/began\n[ -e {tmp_path}/go ] || sleep 60\n")
    script.chmod(0o755)
    service.start(on_card=str(script))
    wait_until(lambda: (tmp_path / "began").exists())
    begun = time.monotonic()
    assert service.stop() == 0
    assert time.monotonic() - begun < 5.0
    (tmp_path / "go").touch()
    service.start(on_card=str(script))
    service.wait_said("command for the card done")
    assert (tmp_path / "began").read_text().split() == ["x", "x"]
    assert service.said("grouped in") == 1


def test_one_service_for_an_output_folder(service: Running, tmp_path: Path) -> None:
    service.start()
    service.wait_said("watching")
    other = subprocess.run(
        [sys.executable, "-m", "grouper", "watch", str(service.inbox), "--out", str(service.out)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert other.returncode == 2
    assert f"another service is writing here (process {service.pid}" in other.stderr
    assert service.stop() == 0


def test_settings_are_read_again(service: Running) -> None:
    card = make_card(service.inbox / "QMARK", photos=3)
    service.start()
    service.wait_done("QMARK")
    assert service.pid is not None
    service.settings.write_text("[watch]\nsettle = 1")
    os.kill(service.pid, signal.SIGHUP)
    service.wait_said("the old ones stay")
    add_photo(card, 4)
    service.wait_said("grouped in", times=2)
    service.settings.write_text(SETTINGS + '[severity]\ntoo-wide = "off"\n')
    os.kill(service.pid, signal.SIGHUP)
    service.wait_said("the settings were read again")
    service.wait_said("grouped in", times=3)  # what comes out may be another thing now
    service.wait_done("QMARK")
    assert service.card("QMARK")["settings"]["severity"] == {"too-wide": "off"}


def test_settings_that_change_in_the_middle_of_a_card(service: Running) -> None:
    make_card(service.inbox / "slow")
    service.start(mischief=True)
    service.wait_said("being grouped")
    assert service.pid is not None
    service.settings.write_text(SETTINGS + '[severity]\ntoo-wide = "off"\n')
    os.kill(service.pid, signal.SIGHUP)
    service.wait_said("the settings were read again")
    service.wait_said("grouped in", times=2)
    service.wait_done("slow")
    assert service.card("slow")["settings"]["severity"] == {"too-wide": "off"}


def test_settings_of_the_service_alone_group_nothing_again(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    assert service.pid is not None
    service.settings.write_text(SETTINGS + "keep_days = 3\n")
    os.kill(service.pid, signal.SIGHUP)
    service.wait_said("the settings were read again")
    time.sleep(1.0)
    assert service.said("grouped in") == 1


def test_a_wall_clock_that_jumps_matters_to_nothing(service: Running) -> None:
    service.settings.write_text(SETTINGS + "keep_days = 1\n")
    make_card(service.inbox / "QMARK")
    make_card(service.inbox / "leaves")
    for number in range(3):
        service.start(jumping=True)
        make_card(service.inbox / f"OSTREL-{number}")
        service.wait_done("QMARK", f"OSTREL-{number}")
        if number == 0:
            service.wait_done("leaves")
            shutil.rmtree(service.inbox / "leaves")
            service.wait_said("leaves: left the inbox")
        add_photo(service.inbox / "QMARK", 10 + number)
        wait_until(lambda n=number: service.card("QMARK")["card"]["frames"] == 4 + n)
        service.wait_done("QMARK")
        assert service.stop() == 0
    assert (service.out / "leaves" / "card.json").exists()
    assert not service.said("removed (gone")


# ---- the state


def test_a_damaged_state_is_set_aside_and_made_up_again(service: Running, tmp_path: Path) -> None:
    for name in ("QMARK", "a b"):
        make_card(service.inbox / name)
    hook = f"cp {{manifest}} {tmp_path}/told"
    service.start(on_set=hook)
    service.wait_done("QMARK", "a b")
    service.wait_said("command for", times=2)
    before = {name: service.folder(name) for name in ("QMARK", "a b")}
    written = {name: times(folder) for name, folder in before.items()}
    service.stop()
    file = service.out / FILE_NAME
    file.write_bytes(b"SQLite format 3\0" + os.urandom(5000))
    service.start(on_set=hook)
    service.wait_said("set aside")
    service.wait_done("QMARK", "a b")
    assert {name: service.folder(name) for name in before} == before
    assert {name: times(folder) for name, folder in before.items()} == written
    assert file.with_name(file.name + SET_ASIDE).exists()
    assert service.stop() == 0
    assert service.said("command for") == 2  # the sets are the same: nobody is told twice


def test_half_written_files_of_a_killed_run_are_cleaned_up(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    service.stop()
    leftovers = [
        service.out / f"{TEMPORARY}1",
        service.folder("QMARK") / f"{TEMPORARY}2",
        next((service.folder("QMARK") / "sets").iterdir()) / f"{TEMPORARY}3",
    ]
    for leftover in leftovers:
        leftover.write_bytes(b"half")
    before = tree(service.folder("QMARK"))
    service.start()
    service.wait_said("half-written files of a killed run removed")
    assert not any(leftover.exists() for leftover in leftovers)
    assert tree(service.folder("QMARK")) == {
        path: data for path, data in before.items() if TEMPORARY not in path
    }


def test_a_kill_between_a_card_s_going_and_the_next_one_s_coming(service: Running) -> None:
    """Two records of one name, neither said to be gone: the older one is."""
    make_card(service.inbox / "QMARK")
    service.start()
    service.wait_done("QMARK")
    service.stop()
    state, _ = open_state(service.out)
    with state.writing():
        state.add("QMARK", "QMARK-2", 0.0)
    state.close()
    assert service.once() == 0
    state, _ = open_state(service.out)
    told = [(one.out, one.gone_at is None, one.stage) for one in state.records()]
    state.close()
    assert told == [("QMARK", False, "gone"), ("QMARK-2", True, "done")]


# ---- single runs


def test_a_single_run_groups_what_is_still_and_leaves(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    assert service.once() == 0
    assert service.card("QMARK")["card"]["frames"] == 3
    begun = time.monotonic()
    assert service.once() == 0
    assert time.monotonic() - begun < 3.0
    assert service.said("grouped in") == 1


def test_a_single_run_says_what_it_left(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    card = make_card(service.inbox / "moving")
    service.settings.write_text(SETTINGS.replace("settle_s = 0.3", "settle_s = 1.5"))
    service.start(once=True)
    service.wait_said("moving: a card")
    time.sleep(0.3)
    add_photo(card, 9)
    assert service.ended() == 1
    assert service.said("moving: its files still changed; left for the next time") == 1
    assert service.records()["QMARK"].stage == "done"
    assert service.once() == 0
    assert service.card("moving")["card"]["frames"] == 4


def test_a_single_run_with_a_bad_card_tells_by_its_status(service: Running) -> None:
    make_card(service.inbox / "bug")
    make_card(service.inbox / "QMARK")
    assert service.once(mischief=True) == 1
    assert service.records()["QMARK"].stage == "done"
    assert service.once(mischief=True) == 1  # tried again, whatever the time
    assert service.said("bug: a bug in grouper") == 2
    assert service.once() == 0


def test_want_of_space_is_over_once_there_is_some_though_no_card_waits_any_more(
    service: Running,
) -> None:
    service.settings.write_text(SETTINGS.replace("free_least_mb = 1", "free_least_mb = 900000000"))
    make_card(service.inbox / "QMARK")
    service.start(trouble_s=0.5)
    service.wait_said("cards wait")
    shutil.rmtree(service.inbox / "QMARK")
    time.sleep(1.5)
    service.settings.write_text(SETTINGS)
    os.kill(service.pid or 0, signal.SIGHUP)
    service.wait_said("the trouble is over")
    assert service.stop() == 0


# ---- commands of the owner's


def test_a_command_runs_once_for_each_new_or_changed_set(service: Running, tmp_path: Path) -> None:
    card = make_card(service.inbox / "QMARK", photos=6)
    script = tmp_path / "command"
    script.write_text(f'#!/bin/sh\necho "$@" >> {tmp_path}/told\n')
    script.chmod(0o755)
    on_set, on_card = f"{script} set {{set}} {{kind}}", f"{script} card {{sets}}"
    service.start(on_set=on_set, on_card=on_card)
    service.wait_said("command for", times=3)
    told = (tmp_path / "told").read_text().splitlines()
    assert sorted(line.split()[0] for line in told) == ["card", "set", "set"]
    assert "card 2" in told
    make_card(card, photos=3, first=7)
    service.wait_said("command for", times=5)
    service.stop()
    service.start(on_set=on_set, on_card=on_card)
    service.wait_said("watching", times=2)
    time.sleep(1.0)
    more = (tmp_path / "told").read_text().splitlines()[3:]
    assert len(more) == 2  # the new set, and the card
    assert service.stop() == 0


def test_a_command_that_fails_or_hangs_stops_nothing(service: Running) -> None:
    make_card(service.inbox / "QMARK")
    service.settings.write_text(SETTINGS + "hook_most_s = 0.5\n")
    service.start(on_set="sh -c 'echo loud; exit 3'", on_card="sleep 60")
    service.wait_said("ended with status 3")
    service.wait_said("took longer than [watch] hook_most_s = 0.5")
    make_card(service.inbox / "OSTREL")
    service.wait_done("OSTREL")
    assert "took longer" in (service.records()["QMARK"].hook_error or "")
    assert service.said("loud") >= 1


# ---- clean-up by rule


def test_outputs_of_cards_that_left_are_removed_only_by_rule(service: Running) -> None:
    for name in ("QMARK", "OSTREL", "Friday"):
        make_card(service.inbox / name)
    service.start()
    service.wait_done("QMARK", "OSTREL", "Friday")
    (service.out / "OSTREL" / "frames.csv").write_text("edited")
    for name in ("QMARK", "OSTREL"):
        shutil.rmtree(service.inbox / name)
        service.wait_said(f"{name}: left the inbox")
    time.sleep(2.5)  # two rescans
    assert (service.out / "QMARK" / "card.json").exists()
    service.stop()
    _age(service.out, 10)
    service.settings.write_text(SETTINGS + "keep_days = 9\n")
    service.start()
    service.wait_said("removed (gone for 10 days", times=2)
    assert not (service.out / "QMARK").exists()
    assert (service.out / "OSTREL" / "frames.csv").read_text() == "edited"
    assert (service.out / "Friday" / "card.json").exists()
    assert service.said("was changed; it was kept") == 1
    make_card(service.inbox / "QMARK")  # it comes back: grouped anew
    service.wait_done("QMARK")
    assert service.card("QMARK")["card"]["frames"] == 3


def test_a_card_that_left_and_whose_outputs_are_gone_is_forgotten(service: Running) -> None:
    for name in ("QMARK", "OSTREL", "Friday"):
        make_card(service.inbox / name)
    service.start()
    service.wait_done("QMARK", "OSTREL", "Friday")
    for name in ("QMARK", "OSTREL"):
        shutil.rmtree(service.inbox / name)
        service.wait_said(f"{name}: left the inbox")
    shutil.rmtree(service.out / "QMARK")
    time.sleep(2.5)  # two rescans: it left just now
    assert not service.said("no longer remembered")
    service.stop()
    _age(service.out, 31)
    service.start()
    service.wait_said("no longer remembered: 1 card that left long ago (QMARK)")
    assert service.stop() == 0
    state, _ = open_state(service.out)
    assert {record.name for record in state.records()} == {"OSTREL", "Friday"}
    state.close()
    assert (service.out / "OSTREL" / "card.json").exists()


def test_one_name_that_is_no_text_does_not_deafen_for_good(service: Running) -> None:
    service.settings.write_text(SETTINGS.replace("rescan_s = 1", "rescan_s = 600"))
    service.start()
    service.wait_said("watching")
    time.sleep(1.0)
    make_card(service.inbox / "\udcff")
    service.wait_done("\udcff")  # though no event says where it is
    assert not service.said("no events any more")


def _age(out: Path, days: float) -> None:
    """Let the cards that left have left some days earlier."""
    import sqlite3
    from contextlib import closing

    with closing(sqlite3.connect(out / FILE_NAME)) as base, base:
        base.execute("UPDATE cards SET gone_run_s = gone_run_s - ?", (days * 86_400,))
