"""The systemd unit that ships: it parses, its command exists, and it locks the service in."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from grouper.cli import cli
from grouper.watch.lock import BEAT_S
from grouper.watch.unit import FILE_NAME, unit_text


def parsed() -> dict[str, list[tuple[str, str]]]:
    """By section; a key may occur several times (systemd.syntax(7))."""
    sections: dict[str, list[tuple[str, str]]] = {}
    section = ""
    for line in unit_text().splitlines():
        if not line or line.startswith("#"):
            continue
        if head := re.fullmatch(r"\[(\w+)\]", line):
            section = head[1]
            sections[section] = []
        else:
            key, _, value = line.partition("=")
            sections[section].append((key, value))
    return sections


def test_its_sections_and_keys() -> None:
    sections = parsed()
    assert list(sections) == ["Unit", "Service", "Install"]
    for entries in sections.values():
        keys = [key for key, _ in entries]
        assert len(keys) == len(set(keys))
        assert all(re.fullmatch(r"[A-Z]\w+", key) for key in keys)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("ProtectSystem", "strict"),
        ("ReadOnlyPaths", "/srv/photos/inbox"),
        ("ReadWritePaths", "/srv/photos/sets"),
        ("PrivateTmp", "yes"),
        ("PrivateNetwork", "yes"),
        ("NoNewPrivileges", "yes"),
        ("User", "grouper"),
        ("MemoryMax", "3G"),
        ("CapabilityBoundingSet", ""),
        ("Type", "notify"),
    ],
)
def test_it_locks_the_service_in(key: str, value: str) -> None:
    assert dict(parsed()["Service"])[key] == value


def test_its_times_fit_the_service() -> None:
    service = dict(parsed()["Service"])
    assert int(service["WatchdogSec"]) > 3 * BEAT_S
    assert int(service["TimeoutStopSec"]) > 5


def test_its_command_is_one_that_grouper_has() -> None:
    words = shlex.split(dict(parsed()["Service"])["ExecStart"])
    assert Path(words[0]).name == "grouper"
    parent = cli.make_context("grouper", [words[1]])
    cli.commands[words[1]].make_context("watch", words[2:], parent=parent)  # parses, or raises


def test_it_can_be_printed() -> None:
    outcome = CliRunner().invoke(cli, ["watch", "--print-unit"])
    assert (outcome.exit_code, outcome.output) == (0, unit_text())


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="no systemd here")
def test_systemd_accepts_it(tmp_path: Path) -> None:
    unit = tmp_path / FILE_NAME
    unit.write_text(unit_text().replace("/opt/grouper/bin/grouper", sys.executable))
    done = subprocess.run(
        ["systemd-analyze", "verify", str(unit)], capture_output=True, text=True, check=False
    )
    complaints = [line for line in done.stderr.splitlines() if FILE_NAME in line]
    assert (done.returncode, complaints) == (0, []), done.stderr
