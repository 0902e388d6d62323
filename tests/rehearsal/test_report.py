"""Baselines, the printed score, the README table, the command line."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner

from testdata.rehearsal import report
from testdata.rehearsal.__main__ import main
from testdata.rehearsal.baselines import (
    Stamp,
    adaptive_groups,
    fixed_groups,
    read_stamps,
    score_groups,
)
from testdata.rehearsal.report import (
    BEGIN,
    END,
    Total,
    accuracy_table,
    find_cards,
    renew_between_markers,
    told_lines,
)
from testdata.rehearsal.sample import HOME
from testdata.rehearsal.score import score_card
from tests.rehearsal.test_score import perfect, truth_of


def stamps(*times: float, settings: str = "a") -> list[Stamp]:
    return [Stamp(f"{number}.JPG", "Q5", at, 0.01, (settings,)) for number, at in enumerate(times)]


def files(*groups: str) -> list[frozenset[str]]:
    return [frozenset(f"{number}.JPG" for number in group) for group in groups]


def test_fixed_rule_cuts_at_twelve_seconds_and_at_settings() -> None:
    assert fixed_groups(stamps(0, 5, 16, 29, 30)) == files("012", "34")
    mixed = [*stamps(0, 2), *[Stamp("2.JPG", "Q5", 4, 0.01, ("b",))]]
    assert fixed_groups(mixed) == files("01")
    other = [*stamps(0, 2), *[Stamp("2.JPG", "M2", 4, 0.01, ("a",))]]
    assert fixed_groups(other) == files("01")


def test_fixed_rule_counts_pauses_from_the_end_of_the_exposure() -> None:
    long = [Stamp(f"{number}.JPG", "Q5", at, 20.0, ("a",)) for number, at in enumerate((0, 25, 50))]
    assert fixed_groups(long) == files("012")


def test_adaptive_rule_is_seventeen_times_the_local_geometric_mean() -> None:
    # Platt et al. 2003: log g >= ln 17 + mean of log g over 2d + 1 gaps, d = 10. With gaps of
    # 1 s and one of G, the mean is ln(G) / n, so the cut comes at G = 17 ** (n / (n - 1)).
    gap = 17 ** (10 / 9)
    for factor, groups in ((1.01, 2), (0.99, 1)):
        times = [float(at) for at in range(6)]
        times += [times[-1] + gap * factor + at for at in range(5)]
        assert len(adaptive_groups(stamps(*times))) == groups


def test_rules_read_the_sample_card() -> None:
    read = read_stamps(HOME / "card")
    truth = json.loads((HOME / "card-truth.json").read_text())
    assert len(read) == len(truth["frames"])
    found, drawn_in = score_groups(fixed_groups(read), truth)
    assert 0 < found["panorama"].exact <= found["panorama"].truth == 5
    assert found["bracket"].exact == 0  # its legs differ in exposure
    assert drawn_in <= len(truth["singles"])


def total_of(name: str) -> Total:
    total = Total()
    truth = truth_of(name)
    total.score.add(score_card(perfect(truth), truth))
    return total


def test_printed_score_names_what_counts() -> None:
    text = "\n".join(told_lines(total_of("missing-counted"), mistakes=True))
    for word in ("panorama", "12 s rule", "log-gap rule", "missing-frame", "Brier", "yaw error"):
        assert word in text


def test_table_goes_between_the_markers_and_nowhere_else() -> None:
    table = accuracy_table([("rendered", total_of("full-circle"))], "2026-05-02", "a remark.")
    assert "2 of 2; 2" in table
    old = f"# Title\n\n{BEGIN}\nold\n{END}\n\nrest\n"
    new = renew_between_markers(old, table)
    assert new == f"# Title\n\n{BEGIN}\n{table}{END}\n\nrest\n"
    assert renew_between_markers(new, table) == new


@pytest.mark.parametrize("text", ["none", f"{END}\n{BEGIN}", f"{BEGIN}{BEGIN}{END}"])
def test_table_needs_its_markers(text: str) -> None:
    with pytest.raises(ValueError, match="markers"):
        renew_between_markers(text, "x")


def test_cards_are_found_below_a_folder(tmp_path: Path) -> None:
    for name in ("b", "a/deep"):
        (tmp_path / name / "card").mkdir(parents=True)
        (tmp_path / name / "truth.json").write_text("{}")
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "truth.json").write_text("{}")
    assert find_cards([tmp_path]) == [tmp_path / "a/deep", tmp_path / "b"]


def test_a_card_is_grouped_by_the_settings_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: dict[str, list[str]] = {}

    def run(card: Path, target: Path, options: Sequence[str] = ()) -> tuple[float, str]:
        asked[card.parent.name] = list(options)
        return 0.0, "not run"

    monkeypatch.setattr(report, "run_grouper", run)
    for name in ("briefed", "plain"):
        (tmp_path / name / "card").mkdir(parents=True)
    settings = tmp_path / "briefed" / "settings.toml"
    settings.write_text("[brief]\n")
    folders = [tmp_path / "briefed", tmp_path / "plain"]
    report.score_folders(folders, tmp_path / "out", jobs=1, options=["--no-sight"])
    assert asked["briefed"] == ["--no-sight", "--settings", str(settings)]
    assert asked["plain"] == ["--no-sight"]


def test_render_command_writes_card_and_truth(tmp_path: Path) -> None:
    out = tmp_path / "x"
    arguments = ["render", "--seed", "11", "--situation", "phone-preview", "--out", str(out)]
    result = CliRunner().invoke(main, [*arguments, "--jobs", "1"])
    assert result.exit_code == 0, result.output
    truth = json.loads((out / "truth.json").read_text())
    written = {path.relative_to(out / "card").as_posix() for path in out.rglob("*.JPG")}
    assert written == set(truth["frames"])


def test_commands_refuse_with_a_sentence(tmp_path: Path) -> None:
    runner = CliRunner()
    assert runner.invoke(main, ["render", "--kind", "situation", "--out", "x"]).exit_code == 2
    result = runner.invoke(main, ["score", str(tmp_path)])
    assert result.exit_code == 2
    assert "no folder" in result.output


def test_table_finds_out_first_that_there_are_no_markers(tmp_path: Path) -> None:
    readme = tmp_path / "README.md"
    readme.write_text("nothing here")
    result = CliRunner().invoke(main, ["table", "--readme", str(readme)])
    assert result.exit_code == 1
    assert "markers" in result.output
    assert readme.read_text() == "nothing here"


def test_situations_are_listed() -> None:
    result = CliRunner().invoke(main, ["situations"])
    assert "brisk-beside-singles" in result.output


def test_table_has_every_code_that_was_planted_and_names_the_others() -> None:
    text = accuracy_table([("rendered", total_of("missing-counted"))], "2026-05-02", "a remark.")
    assert "| `missing-frame` | 2 | 0 | 0 |" in text
    assert "| false problems per 50 sets | 0.00 (2 sets) |" in text
    never = next(line for line in text.splitlines() if line.startswith("Never planted"))
    assert "`missing-frame`" not in never
    assert "`brief-unmet`" in never
    assert "| in doubt: of sets that are wrong; of sets that are right | 0 of 0; 0 of 2 |" in text
    assert "`set-in-doubt`" not in never
    assert "Not scored: `set-in-doubt`" in text


def test_table_without_planted_findings_has_no_codes() -> None:
    assert "by code" not in accuracy_table([("real", Total())], "2026-05-02", "a remark.")
