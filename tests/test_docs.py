"""Prose is tested like code: what README.md and DEVELOPERS.md promise is so."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from grouper.check import CODES
from grouper.cli import cli
from grouper.settings import settings_from

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def blocks(text: str, language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", text, flags=re.DOTALL)


def test_every_finding_code_is_in_the_readme_and_no_other() -> None:
    table = README.split("## Findings")[1].split("## Limits")[0]
    named = set(re.findall(r"`([a-z]+-[a-z-]+)`", table))
    assert named == set(CODES)


def test_every_command_is_in_the_readme_and_no_other() -> None:
    table = README.split("## Commands")[1].split("As a library")[0]
    assert set(re.findall(r"^\| `grouper (\w+)", table, flags=re.MULTILINE)) == set(cli.commands)


@pytest.mark.parametrize("command", sorted(cli.commands))
def test_every_command_has_help_with_an_example(command: str) -> None:
    result = CliRunner().invoke(cli, [command, "--help"])
    assert result.exit_code == 0
    assert "Example:" in result.output
    assert f"grouper {command}" in result.output


def test_options_named_in_the_readme_exist() -> None:
    known = {
        name
        for command in cli.commands.values()
        for parameter in command.params
        for name in (*parameter.opts, *parameter.secondary_opts)
    }
    named = set(re.findall(r"`(--[a-z-]+)", README.split("## Commands")[1].split("## How")[0]))
    assert named <= known


def test_the_library_example_runs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    (example,) = blocks(README, "python")
    exec(compile(example, "README.md", "exec"), {})
    assert "panorama" in capsys.readouterr().out


def test_paths_named_in_the_guide_exist() -> None:
    paths = set(re.findall(r"`((?:grouper|tests|testdata)/[\w./-]+)`", README + DEVELOPERS))
    paths |= {
        f"grouper/{p}"
        for p in re.findall(r"`((?:read|group|sight|check|write)/\w+\.py)`", DEVELOPERS)
    }
    assert len(paths) > 20
    missing = [path for path in sorted(paths) if not (ROOT / path).exists()]
    assert not missing


def test_picture_of_the_readme_exists() -> None:
    (picture,) = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", README)
    assert (ROOT / picture).stat().st_size > 1000


def test_both_readme_commands_are_marked_for_the_build() -> None:
    assert re.findall(r"<!-- run: (\w+) -->\n```sh\n", README) == ["main", "tests"]


def test_the_settings_example_is_understood() -> None:
    (example,) = blocks(README, "toml")
    settings = settings_from(tomllib.loads(example))
    assert dict(settings.severity)["too-wide"] == "off"
    assert settings.brief is not None
