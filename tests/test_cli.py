"""The command line: what it prints, what it returns, and what it leaves alone."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import signal
import subprocess
import sys
import time
import types
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from click.testing import CliRunner
from click.testing import Result as Outcome

from grouper.check import CARD_CHECKS, SET_CHECKS
from grouper.cli import TerminalProgress, cli, default_out, is_bad, progress_line, style_for
from grouper.errors import NoSuchCard
from grouper.model import Result
from grouper.settings import Settings
from grouper.write import manifest_schema
from tests.write.results import PANORAMA, bracket, finding, panorama, result, shoot

BUNDLED = Path(__file__).parent.parent / "testdata" / "card"


class Pipeline:
    """Stands in for the steps before writing; remembers how it was called."""

    def __init__(self) -> None:
        self.result = result()
        self.fault: BaseException | None = None
        self.calls: list[tuple[tuple[Path, ...], Settings, int, Any]] = []
        self.used_cache: list[bool] = []
        self.for_report: list[bool] = []

    def run(
        self,
        cards: Sequence[Path],
        settings: Settings,
        *,
        jobs: int = 1,
        progress: Any = None,
        use_cache: bool = False,
        for_report: bool = False,
    ) -> Result:
        self.calls.append((tuple(cards), settings, jobs, progress))
        self.used_cache.append(use_cache)
        self.for_report.append(for_report)
        if self.fault is not None:
            raise self.fault
        return self.result


@pytest.fixture
def pipeline(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Pipeline:
    stand_in = Pipeline()
    module = types.ModuleType("grouper.pipeline")
    module.run = stand_in.run  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "grouper.pipeline", module)
    monkeypatch.chdir(tmp_path)
    stand_in.result = shoot(tmp_path / "QMARK", result())
    return stand_in


def run(*args: str) -> Outcome:
    return CliRunner().invoke(cli, args)


def digests(folder: Path) -> dict[str, tuple[str, int]]:
    return {
        path.as_posix(): (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# Help


@pytest.mark.parametrize("args", [[], ["-h"], ["--help"]])
def test_no_arguments_print_help(args: list[str]) -> None:
    outcome = run(*args)
    assert outcome.exit_code == 0
    assert "Commands:" in outcome.output


@pytest.mark.parametrize("name", ["group", "check", "watch", "status", "explain"])
@pytest.mark.parametrize("flag", ["-h", "--help"])
def test_every_command_has_help_with_an_example(name: str, flag: str) -> None:
    outcome = run(name, flag)
    assert outcome.exit_code == 0
    example = outcome.output.split("Example:\n")[1].splitlines()[0]
    assert example.startswith(f"    grouper {name} ")


@pytest.mark.parametrize("name", ["group", "check", "watch"])
def test_reading_commands_share_their_options(name: str) -> None:
    output = run(name, "--help").output
    for option in ("--settings FILE.toml", "--no-sight", "--jobs N", "--quiet", "--verbose"):
        assert option in output


def test_version() -> None:
    outcome = run("--version")
    assert (outcome.exit_code, outcome.output.split()[0]) == (0, "grouper")


def test_help_loads_nothing_heavy() -> None:
    """numpy, scikit-learn and the like take their time; help has to come at once."""
    code = (
        "import sys\n"
        "from grouper.cli import cli\n"
        "try: cli(['group', '--help'])\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'sklearn', 'PIL', 'jinja2', 'exifread', 'scipy', 'watchfiles'}\n"
        "heavy &= set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert "Example:" in done.stdout


# group


def test_group_writes_and_sums_up(pipeline: Pipeline, tmp_path: Path) -> None:
    before = digests(tmp_path / "QMARK")
    outcome = run("group", "QMARK")
    assert outcome.exit_code == 0
    card = json.loads((tmp_path / "QMARK-sets" / "card.json").read_bytes())
    jsonschema.Draft202012Validator(manifest_schema()).validate(card)
    assert "13 files: 10 frames, 1 companion, 1 unread, 1 ignored." in outcome.output
    assert "10 frames: 7 in 2 sets, 1 single, 1 divider, 1 preview." in outcome.output
    assert "3 findings: 1 problem, 1 warning, 1 note. 1 set without findings." in outcome.output
    assert pipeline.for_report == [True]
    assert "Output in QMARK-sets: 10 files written, 0 unchanged." in outcome.output
    assert "A checked card is not a backup" in outcome.output
    assert digests(tmp_path / "QMARK") == before


def test_group_lists_sets_worst_first(pipeline: Pipeline) -> None:
    bad = bracket(findings=(finding("short-bracket", "problem"),))
    pipeline.result = result(panorama(), bad)
    lines = run("group", "QMARK").stdout.splitlines()
    assert lines[0].split() == ["set", "kind", "frames", "layout", "span", "sure", *_WORST]
    assert "bracket" in lines[1]
    assert "problem: short-bracket" in lines[1]
    assert lines[2].split()[:3] == [PANORAMA, "panorama", "4"]
    assert "warning: mixed-iso (+1)" in lines[2]


_WORST = ("worst", "finding")


def test_group_twice_changes_nothing(pipeline: Pipeline, tmp_path: Path) -> None:
    run("group", "QMARK", "--out", "out")
    before = digests(tmp_path / "out")
    outcome = run("group", "QMARK", "--out", "out")
    assert "0 files written, 10 unchanged" in outcome.output
    assert digests(tmp_path / "out") == before


@pytest.mark.parametrize(
    ("args", "link"),
    [
        (["--links", "QMARK"], True),
        (["QMARK", "--links"], True),
        (["--links=symlink", "QMARK"], True),
        (["--links=copy", "QMARK"], False),
    ],
)
def test_links_take_their_value_only_with_a_sign(
    pipeline: Pipeline, tmp_path: Path, args: list[str], link: bool
) -> None:
    outcome = run("group", *args, "--out", "out")
    assert outcome.exit_code == 0, outcome.output
    photograph = tmp_path / "out" / "sets" / PANORAMA / "frames" / "QMK_0001.JPG"
    assert photograph.is_file()
    assert photograph.is_symlink() == link


@pytest.mark.parametrize("args", [["--xmp"], ["--write", "xmp"]])
def test_sidecars_when_asked_for(pipeline: Pipeline, tmp_path: Path, args: list[str]) -> None:
    run("group", "QMARK", "--out", "without")
    run("group", "QMARK", "--out", "with", *args)
    assert not (tmp_path / "without" / "sets" / PANORAMA / "xmp").exists()
    assert (tmp_path / "with" / "sets" / PANORAMA / "xmp" / "QMK_0001.xmp").is_file()


def test_group_does_not_write_onto_the_card(
    pipeline: Pipeline, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = digests(tmp_path / "QMARK")
    monkeypatch.chdir(tmp_path / "QMARK")
    outcome = run("group", ".")
    assert outcome.exit_code == 2
    assert "--out" in outcome.stderr
    assert pipeline.calls == []  # said before minutes of reading
    assert digests(tmp_path / "QMARK") == before
    assert run("group", ".", "--onto-card").exit_code == 0


def test_default_output(tmp_path: Path) -> None:
    assert default_out([tmp_path / "QMARK", tmp_path / "x" / ".." / "OSTREL"]) == Path(
        "QMARK+OSTREL-sets"
    )
    assert default_out([Path("/")]) == Path("card-sets")


def test_group_says_what_it_moved_aside(pipeline: Pipeline, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "frames.csv").write_bytes(b"mine")
    outcome = run("group", "QMARK", "--out", "out", "--quiet")
    assert "frames.csv.edited" in outcome.stderr


# check


@pytest.mark.parametrize(
    ("severity", "fail_on", "status"),
    [
        (None, "note", 0),
        ("note", "problem", 0),
        ("warning", "problem", 0),
        ("problem", "problem", 1),
        ("note", "warning", 0),
        ("warning", "warning", 1),
        ("note", "note", 1),
        ("problem", "never", 0),
    ],
)
def test_exit_status_of_check(
    pipeline: Pipeline, tmp_path: Path, severity: Any, fail_on: str, status: int
) -> None:
    found = () if severity is None else (finding("open-circle", severity),)
    pipeline.result = result(panorama(findings=found), findings=())
    outcome = run("check", "QMARK", "--fail-on", fail_on)
    assert outcome.exit_code == status
    assert ("open-circle seen" in outcome.stdout) == (severity is not None)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["QMARK"]


def test_check_fails_on_problems_unless_told_otherwise(pipeline: Pipeline) -> None:
    assert run("check", "QMARK").exit_code == 1  # the card's unreadable file
    assert pipeline.for_report == [False]
    pipeline.result = result(findings=())
    assert run("check", "QMARK").exit_code == 0


def test_check_goes_set_by_set(pipeline: Pipeline) -> None:
    lines = run("check", "QMARK").stdout.splitlines()
    assert lines[0] == "The card"
    assert lines[1] == "  problem  unreadable-file: unreadable-file seen"
    assert f"panorama {PANORAMA}, 4 frames" in lines
    assert "           do: look at it" in lines


def test_check_json_is_the_manifest(pipeline: Pipeline) -> None:
    outcome = run("check", "QMARK", "--json", "--fail-on", "never")
    card = json.loads(outcome.stdout_bytes)
    jsonschema.Draft202012Validator(manifest_schema()).validate(card)
    run("group", "QMARK", "--out", "out")
    written = json.loads(Path("out/card.json").read_bytes())
    assert {**card, "made": 0} == {**written, "made": 0}
    assert list(card) == list(written)


def test_is_bad() -> None:
    assert not is_bad(None, "note")
    assert is_bad("problem", "note")


# Settings and options


def test_shared_options_reach_the_pipeline(pipeline: Pipeline, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("[severity]\nmixed-iso = 'off'\n")
    run("check", "A", "B", "--settings", "mine.toml", "--no-sight", "--jobs", "3", "-q")
    cards, settings, jobs, progress = pipeline.calls[0]
    assert [str(card) for card in cards] == ["A", "B"]
    assert settings.severity == (("mixed-iso", "off"),)
    assert not settings.sight.enabled
    assert (jobs, progress) == (3, None)


def test_the_cache_is_used_unless_told_not_to(pipeline: Pipeline) -> None:
    run("check", "A")
    run("check", "A", "--no-cache")
    run("group", "QMARK", "--no-cache")
    assert pipeline.used_cache == [True, False, False]


@pytest.mark.parametrize(
    "args",
    [
        *(["group"], ["check"], ["nonsense"], ["--nonsense"]),
        *(["check", "X", "--fail-on", "sometimes"], ["check", "X", "--jobs", "0"]),
        *(["group", "X", "--links=wool"], ["group", "X", "--write", "unheard-of"]),
        *(["check", "X", "--settings", "missing.toml"],),
    ],
    ids=" ".join,
)
def test_bad_usage_is_2(pipeline: Pipeline, args: list[str]) -> None:
    outcome = run(*args)
    assert outcome.exit_code == 2
    assert outcome.stderr
    assert not outcome.stdout
    assert "Traceback" not in outcome.stderr


# What goes wrong


@pytest.mark.parametrize("command", ["group", "check"])
def test_an_error_of_ours_is_a_sentence(pipeline: Pipeline, command: str) -> None:
    pipeline.fault = NoSuchCard("/media/\x1b[31mred\u202e: no such folder")
    outcome = run(command, "QMARK")
    assert outcome.exit_code == 2
    assert outcome.stderr == "grouper: /media/\\x1b[31mred\\u202e: no such folder\n"


def test_a_bug_keeps_its_traceback(pipeline: Pipeline) -> None:
    pipeline.fault = RuntimeError("boom")
    outcome = run("check", "QMARK")
    assert outcome.exit_code == 2
    assert "Traceback" in outcome.stderr
    assert "bug in grouper" in outcome.stderr


def test_ctrl_c_is_130(pipeline: Pipeline, tmp_path: Path) -> None:
    pipeline.fault = KeyboardInterrupt()
    outcome = run("group", "QMARK", "--out", "out")
    assert outcome.exit_code == 130
    assert "Traceback" not in outcome.stderr
    assert not (tmp_path / "out").exists()


def test_hostile_names_cannot_play_tricks(pipeline: Pipeline) -> None:
    nasty = finding("mixed-iso", "warning", "a\x1b]0;x\x07\r\nb\u202e.JPG", message="\x9b2J seen")
    pipeline.result = result(panorama(findings=(nasty,), evidence=("\x1b[2J",)))
    for command in (["group", "QMARK"], ["check", "QMARK"]):
        text = run(*command).output
        assert not {"\x1b", "\x07", "\x9b", "\r", "\u202e"} & set(text)
    assert r"a\x1b]0;x\x07\x0d\x0ab\u202e.JPG" in text


# explain


@pytest.fixture
def checks(monkeypatch: pytest.MonkeyPatch) -> None:
    module = types.ModuleType("grouper.check")
    module.CODES = ("missing-frame", "mixed-iso")  # type: ignore[attr-defined]
    module.headings = dict  # type: ignore[attr-defined]
    module.page = lambda code: f"Page of {code}.\n\nWhat to do.\n"  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "grouper.check", module)


def test_explain_a_code(checks: None) -> None:
    outcome = run("explain", "mixed-iso")
    assert (outcome.exit_code, outcome.stdout) == (0, "Page of mixed-iso.\n\nWhat to do.\n")


def test_explain_every_code_there_is() -> None:
    codes = [one.code for one in (*SET_CHECKS, *CARD_CHECKS)]
    assert "missing-frame" in codes
    for code in codes:
        outcome = run("explain", code)
        assert outcome.exit_code == 0
        assert "What to do" in outcome.stdout, code


def test_explain_alone_lists_every_code() -> None:
    outcome = run("explain")
    assert outcome.exit_code == 0
    lines = dict(line.split(maxsplit=1) for line in outcome.stdout.splitlines())
    assert list(lines) == [one.code for one in (*SET_CHECKS, *CARD_CHECKS)]
    assert lines["short-row"] == "A row ends before the others do."
    assert max(map(len, outcome.stdout.splitlines())) <= 100


@pytest.mark.usefixtures("checks")
def test_explain_a_word_unlike_any_code_says_where_they_are_listed(pipeline: Pipeline) -> None:
    outcome = run("explain", "nonsense")
    assert outcome.exit_code == 2
    assert "grouper explain lists them all" in outcome.stderr


@pytest.mark.usefixtures("checks")
def test_explain_an_unknown_word_suggests(pipeline: Pipeline) -> None:
    outcome = run("explain", "mising-frame")
    assert outcome.exit_code == 2
    assert "did you mean missing-frame" in outcome.stderr
    assert "--in" in outcome.stderr


@pytest.mark.usefixtures("checks")
@pytest.mark.parametrize(
    "word",
    [
        *("QMK_0001.JPG", "QMK_0001", "qmk_0001.jpg", "100QMARK/QMK_0001.JPG"),
        "QMARK/100QMARK/QMK_0001.JPG",
    ],
)
def test_explain_a_frame_of_a_set(pipeline: Pipeline, word: str) -> None:
    run("group", "QMARK")
    outcome = run("explain", word)
    assert outcome.exit_code == 0, outcome.stderr
    assert f"is in the panorama {PANORAMA}: frame 1 of 4 in shooting order" in outcome.stdout
    assert "view 1 of 3" in outcome.stdout
    assert "35.5° left of the set's middle" in outcome.stdout
    assert "Confidence of the set: 0.97" in outcome.stdout
    assert "- 2 of 2 neighbours overlap by 31-36 %" in outcome.stdout
    assert "mixed-iso: mixed-iso seen" in outcome.stdout


@pytest.mark.usefixtures("checks")
@pytest.mark.parametrize(
    ("word", "words"),
    [
        ("QMK_0040.JPG", "a single"),
        ("QMK_0041.JPG", "a divider"),
        ("QMK_0042.JPG", f"attached to set {PANORAMA}"),
        ("QMK_0050.JPG", "could not be read: empty"),
        ("QMK_0004.NEF", "frame 4 of 4"),
        ("QMK_0002.JPG", "a spare"),
        ("QMK_0021.JPG", "leg 2 of 3"),
    ],
)
def test_explain_other_frames(pipeline: Pipeline, word: str, words: str) -> None:
    run("group", "QMARK", "--out", "out")
    for where in ("out", "out/card.json"):
        outcome = run("explain", word, "--in", where)
        assert outcome.exit_code == 0, outcome.stderr
        assert words in outcome.stdout


@pytest.mark.usefixtures("checks")
@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "does not exist"),
        (b"{", "cannot be read"),
        (b"[]", "no manifest"),
        (b'{"manifest": "grouper-card", "version": 2}', "another version"),
    ],
)
def test_explain_with_a_bad_manifest(tmp_path: Path, content: bytes | None, words: str) -> None:
    if content is not None:
        (tmp_path / "card.json").write_bytes(content)
    outcome = run("explain", "QMK_0001", "--in", str(tmp_path))
    assert outcome.exit_code == 2
    assert words in outcome.stderr
    assert "Traceback" not in outcome.stderr


@pytest.mark.usefixtures("checks")
def test_explain_with_a_damaged_manifest(pipeline: Pipeline, tmp_path: Path) -> None:
    run("group", "QMARK", "--out", "out")
    card = json.loads((tmp_path / "out" / "card.json").read_bytes())
    del card["sets"][0]["frames"][0]["yaw_deg"]
    (tmp_path / "out" / "card.json").write_text(json.dumps(card))
    outcome = run("explain", "QMK_0001", "--in", "out")
    assert (outcome.exit_code, "Traceback" in outcome.stderr) == (2, False)
    assert "damaged" in outcome.stderr


# Terminals


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_tells_count_rate_and_time_left() -> None:
    assert progress_line("reading", 0, 498, 0.0) == "reading 0/498"
    assert progress_line("reading", 120, 498, 3.0) == "reading 120/498 (40/s, 9 s left)"
    assert progress_line("looking", 3, 300, 2.0) == "looking 3/300 (1.5/s, 3 min 18 s left)"


def test_progress_draws_seldom_and_cleans_up() -> None:
    stream = Terminal()
    clock = iter([0.0, 0.01, 0.02, 5.0, 5.01, 5.02])
    progress = TerminalProgress(stream, lambda: next(clock))
    for done in (0, 1, 2, 3, 4):
        progress("reading", done, 4)
    progress("looking", 0, 9)
    progress.close()
    drawn = [part for part in stream.getvalue().split("\r") if part]
    assert [line.split("\x1b")[0].split(" (")[0] for line in drawn] == [
        *("reading 0/4", "reading 3/4", "reading 4/4", "looking 0/9", "")
    ]


def test_each_go_at_a_step_has_its_own_pace() -> None:
    stream = Terminal()
    clock = iter([0.0, 100.0, 160.0, 162.0])
    progress = TerminalProgress(stream, lambda: next(clock))
    for done, total in ((0, 75), (75, 75), (0, 80), (40, 80)):
        progress("comparing", done, total)
    assert "comparing 40/80 (20/s, 2 s left)" in stream.getvalue()


@pytest.mark.parametrize("command", ["group", "check"])
def test_nothing_of_the_progress_stays_on_the_screen(
    pipeline: Pipeline, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, command: str
) -> None:
    """Pictures are read while the page is written; their progress is cleared as well."""
    stream = Terminal()
    monkeypatch.setattr(sys, "stderr", stream)
    run = pipeline.run

    def told(*args: Any, progress: Any = None, **how: Any) -> Result:
        progress("reading", 1, 2)

        class Pictures(dict[str, bytes]):
            def get(self, *_: Any) -> Any:
                progress("drawing", 1, 2)

        return replace(run(*args, progress=progress, **how), pictures=Pictures())

    monkeypatch.setattr(sys.modules["grouper.pipeline"], "run", told)
    out = ["--out", str(tmp_path / "o")] if command == "group" else []
    with contextlib.suppress(SystemExit):
        cli.main([command, str(tmp_path / "QMARK"), *out], standalone_mode=False)
    assert "reading 1/2" in stream.getvalue()
    assert ("drawing 1/2" in stream.getvalue()) == (command == "group")
    assert stream.getvalue().endswith("\r\x1b[K")


def test_colour_only_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    assert not style_for(io.StringIO()).colour
    assert style_for(Terminal()).colour
    monkeypatch.setenv("NO_COLOR", "1")
    assert not style_for(Terminal()).colour


# The real thing, as a process

STAND_IN = """
import sys, time, types
from tests.write.results import result, bracket
from dataclasses import replace
module = types.ModuleType("grouper.pipeline")
def run(cards, settings, *, jobs=1, progress=None, use_cache=False, for_report=False):
    print("reading", file=sys.stderr, flush=True)
    time.sleep({pause})
    return result(*[bracket(id=f"set-{{n}}") for n in range({sets})], root=str(cards[0]))
module.run = run
sys.modules["grouper.pipeline"] = module
from grouper.cli import main
main()
"""


def start(tmp_path: Path, *args: str, pause: float = 0, sets: int = 1) -> subprocess.Popen[bytes]:
    here = str(Path(__file__).parent.parent)
    return subprocess.Popen(
        [sys.executable, "-c", STAND_IN.format(pause=pause, sets=sets), *args],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": here},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


@pytest.mark.parametrize(("fail_on", "status"), [("problem", 1), ("never", 0)])
def test_exit_status_of_the_process(tmp_path: Path, fail_on: str, status: int) -> None:
    process = start(tmp_path, "check", "/c", "--fail-on", fail_on)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (status, b"reading\n")
    assert out.startswith(b"The card\n")


def test_ctrl_c_while_reading(tmp_path: Path) -> None:
    process = start(tmp_path, "group", "/c", "--out", "out", pause=60)
    assert process.stderr is not None
    process.stderr.readline()
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (130, b"")
    assert b"Traceback" not in err
    assert not (tmp_path / "out").exists()


def test_ctrl_c_while_writing_leaves_whole_files(tmp_path: Path) -> None:
    process = start(tmp_path, "group", "/c", "--out", "out", sets=800)
    deadline = time.monotonic() + 60
    while not list(tmp_path.glob("out/sets/*/set.json")) and time.monotonic() < deadline:
        time.sleep(0.002)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=60)
    assert process.returncode == 130
    written = [path for path in (tmp_path / "out").rglob("*") if path.is_file()]
    assert not (tmp_path / "out" / "card.json").exists()
    assert {path.name for path in written} <= {
        *(".grouper-files.json", "set.json", "frames.txt", "frames.csv", "report.html"),
        *(f"leg-{leg}.txt" for leg in range(3)),
    }
    for path in written:
        if path.suffix == ".json":
            json.loads(path.read_bytes())


@pytest.mark.parametrize("args", [["check", "/c"], ["check", "/c", "--json"]])
def test_a_closed_pipe_is_no_fuss(tmp_path: Path, args: list[str]) -> None:
    process = start(tmp_path, *args, pause=0.5)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stderr.readline()
    process.stdout.close()
    process.wait(timeout=60)
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.returncode == 141


@pytest.mark.skipif(not BUNDLED.is_dir(), reason="the bundled card is not here")
def test_the_bundled_card_from_end_to_end(tmp_path: Path) -> None:
    before = digests(BUNDLED)
    command = [sys.executable, "-m", "grouper", "group", str(BUNDLED), "--links"]
    env = {**os.environ, "PYTHONPATH": str(BUNDLED.parent.parent)}
    for unchanged in (False, True):
        done = subprocess.run(
            command, cwd=tmp_path, env=env, capture_output=True, text=True, check=False
        )
        assert (done.returncode, done.stderr) == (0, "")
        assert ("0 files written" in done.stdout) == unchanged
    assert digests(BUNDLED) == before
    out = tmp_path / "card-sets"
    card = json.loads((out / "card.json").read_bytes())
    validator = jsonschema.Draft202012Validator(manifest_schema())
    validator.validate(card)
    assert card["sets"]
    for one in card["sets"]:
        validator.validate(json.loads((out / "sets" / one["id"] / "set.json").read_bytes()))
        listed = (out / "sets" / one["id"] / "frames.txt").read_text().splitlines()
        assert listed == [str(BUNDLED / member["file"]) for member in one["frames"]]
        links = list((out / "sets" / one["id"] / "frames").iterdir())
        assert {str(link.resolve()) for link in links} >= set(listed)


def test_a_finding_code_is_explained_whatever_card_is_named(tmp_path: Path) -> None:
    result = CliRunner().invoke(cli, ["explain", "missing-frame", "--in", str(tmp_path)])
    assert result.exit_code == 0
    assert "What it looks for" in result.output


# What is no card


@pytest.mark.parametrize("command", ["check", "group"])
@pytest.mark.parametrize("name", ["", "CLIP.MOV"])
def test_a_folder_without_photographs_could_not_be_run_on(
    tmp_path: Path, command: str, name: str
) -> None:
    card = tmp_path / "card"
    card.mkdir()
    if name:
        (card / name).write_bytes(b"x")
    outcome = run(
        command, str(card), "--no-cache", *(["--out", str(tmp_path / "o")] * (command == "group"))
    )
    assert outcome.exit_code == 2
    assert f"{card}: no photographs found" in outcome.stderr
    assert not (tmp_path / "o").exists()


def test_a_card_of_unreadable_pictures_has_findings(tmp_path: Path) -> None:
    (tmp_path / "QMK_0001.JPG").write_bytes(b"")
    outcome = run("check", str(tmp_path), "--no-cache")
    assert outcome.exit_code == 1
    assert "unreadable-file" in outcome.stdout


def test_a_card_that_cannot_be_read_gets_our_words(
    pipeline: Pipeline, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "access", lambda *args, **more: False)
    pipeline.fault = NoSuchCard("QMARK: not allowed to open this folder")
    outcome = run("check", str(tmp_path / "QMARK"))
    assert outcome.exit_code == 2
    assert outcome.stderr == "grouper: QMARK: not allowed to open this folder\n"
