"""Running grouper over cards, adding up the scores, and telling them in text or Markdown."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from grouper.check import CODES
from testdata.rehearsal.baselines import adaptive_groups, fixed_groups, read_stamps, score_groups
from testdata.rehearsal.render import SETTINGS
from testdata.rehearsal.score import (
    KINDS,
    UNSCORED_CODES,
    Found,
    Score,
    Told,
    brier,
    calibration,
    score_card,
)

ROOT = Path(__file__).resolve().parents[2]
REAL = ROOT.parent / "shared" / "real"
"""Real photographs with known truth, where this machine has them; never part of the project."""

GROUP_TIMEOUT_S = 1800


@dataclass(slots=True)
class Rival:
    """A baseline's counts."""

    found: dict[str, Found] = field(default_factory=dict)
    singles_drawn_in: int = 0

    def add(self, found: dict[str, Found], drawn_in: int) -> None:
        """Add a card."""
        for kind, count in found.items():
            self.found.setdefault(kind, Found()).add(count)
        self.singles_drawn_in += drawn_in


@dataclass(slots=True)
class Total:
    """Scores of many cards, with the baselines on the same cards."""

    score: Score = field(default_factory=Score)
    fixed: Rival = field(default_factory=Rival)
    adaptive: Rival = field(default_factory=Rival)
    seconds: float = 0.0
    failed: list[str] = field(default_factory=list)


def find_cards(folders: Iterable[Path]) -> list[Path]:
    """Folders that hold ``truth.json`` and ``card/``, at or below the given ones."""
    found: set[Path] = set()
    for folder in folders:
        found.update(
            path.parent for path in folder.rglob("truth.json") if (path.parent / "card").is_dir()
        )
    return sorted(found)


def score_folders(
    folders: Sequence[Path],
    work: Path,
    *,
    jobs: int = 2,
    options: Sequence[str] = (),
    reuse: bool = False,
) -> Total:
    """Run grouper over each folder's card and score it; outputs stay below ``work``."""

    def run(folder: Path) -> tuple[Path, float, str]:
        target = work / folder.name
        if reuse and (target / "card.json").is_file():
            return target, 0.0, ""
        given = folder / SETTINGS
        own = ["--settings", str(given)] if given.is_file() else []
        return target, *run_grouper(folder / "card", target, [*options, *own])

    total = Total()
    with ThreadPoolExecutor(jobs) as pool:
        for folder, (target, seconds, trouble) in zip(folders, pool.map(run, folders), strict=True):
            total.seconds += seconds
            if trouble:
                total.failed.append(f"{folder.name}: {trouble}")
                continue
            card = json.loads((target / "card.json").read_text(encoding="utf-8"))
            truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
            add_card(total, card, truth, folder / "card")
    return total


def add_card(total: Total, card: dict[str, Any], truth: dict[str, Any], path: Path) -> None:
    """Score one card and both baselines into ``total``."""
    total.score.add(score_card(card, truth))
    stamps = read_stamps(path)
    if stamps:
        total.fixed.add(*score_groups(fixed_groups(stamps), truth))
        total.adaptive.add(*score_groups(adaptive_groups(stamps), truth))


def run_grouper(card: Path, target: Path, options: Sequence[str] = ()) -> tuple[float, str]:
    """Group a card with the command line: seconds taken, and what went wrong (or nothing)."""
    began = time.perf_counter()
    command = [
        sys.executable, "-m", "grouper", "group", str(card), "--out", str(target), "--quiet",
        "--jobs", "1", *options,
    ]  # fmt: skip
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        done = subprocess.run(
            command, cwd=ROOT, capture_output=True, text=True, timeout=GROUP_TIMEOUT_S, check=False
        )
    except subprocess.TimeoutExpired:
        return GROUP_TIMEOUT_S, "took too long"
    trouble = ""
    if done.returncode != 0 or not (target / "card.json").is_file():
        last = " / ".join(done.stderr.strip().splitlines()[-3:])
        trouble = f"exit {done.returncode}: {last or 'no output'}"
    return time.perf_counter() - began, trouble


# Text


def percent(part: int, whole: int) -> str:
    """A share in whole per cent, or a dash."""
    return "-" if whole == 0 else f"{100 * part / whole:.0f} %"


def told_lines(total: Total, *, situations: bool = True, mistakes: bool = False) -> list[str]:
    """The whole score as lines of text."""
    score = total.score
    lines = [f"{score.cards} cards, {score.frames} frames, {total.seconds:.0f} s of grouping", ""]
    lines += [f"{'sets':22}{'true':>6}{'exact':>7}{'claimed':>9}{'recall':>9}{'precision':>11}"]
    lines += [_found_line(kind, score.sets[kind]) for kind in KINDS if kind in score.sets]
    whole = Found()
    for found in score.sets.values():
        whole.add(found)
    lines += [_found_line("all", whole)]
    for name, rival in (
        ("12 s rule (any kind)", total.fixed),
        ("log-gap rule (any kind)", total.adaptive),
    ):
        lines.append(_found_line(name, rival.found.get("any", Found())))
        panoramas = rival.found.get("panorama", Found())
        lines.append(
            f"    of panoramas {panoramas.exact} of {panoramas.truth}; singles drawn in "
            f"{rival.singles_drawn_in} of {score.singles}"
        )
    lines += ["", f"singles drawn into sets: {score.singles_drawn_in} of {score.singles}"]
    if score.never:
        lines.append(f"near-duplicates taken for panoramas: {score.never_broken} of {score.never}")
    for name in ("dividers", "previews", "unread"):
        right, of = getattr(score, name)
        if of:
            lines.append(f"{name}: {right} of {of}")
    for name, (right, of) in sorted(score.parts.items()):
        lines.append(f"{name} right in {right} of {of} exact sets")
    lines += _pointing_lines(score) + _code_lines(score) + _calibration_lines(score)
    if situations:
        lines += _situation_lines(score)
    if mistakes:
        lines += ["", *score.mistakes]
    lines += [f"FAILED {text}" for text in total.failed]
    return lines


def _found_line(name: str, found: Found) -> str:
    recall, precision = percent(found.exact, found.truth), percent(found.exact, found.claimed)
    return f"{name:22}{found.truth:6}{found.exact:7}{found.claimed:9}{recall:>9}{precision:>11}"


def _pointing_lines(score: Score) -> list[str]:
    lines = []
    if score.yaw_errors_deg:
        middle, high = np.percentile(score.yaw_errors_deg, [50, 95])
        lines.append(
            f"yaw error: median {middle:.2f}, 95 % below {high:.2f} degrees "
            f"({len(score.yaw_errors_deg)} frames; {score.unpointed} without pointing)"
        )
    elif score.unpointed:
        lines.append(f"yaw: {score.unpointed} frames without pointing")
    if score.overlap_errors:
        middle, high = np.percentile(score.overlap_errors, [50, 95])
        lines.append(
            f"median overlap off by: median {100 * middle:.1f}, 95 % below {100 * high:.1f} points"
        )
    return lines


def _code_lines(score: Score) -> list[str]:
    if not score.codes:
        return []
    lines = ["", f"{'findings':22}{'right':>6}{'missed':>8}{'false':>7}"]
    for code, told in sorted(score.codes.items()):
        lines.append(f"{code:22}{told.right:6}{told.missed:8}{told.false:7}")
    whole = score.told
    lines.append(f"{'all':22}{whole.right:6}{whole.missed:8}{whole.false:7}")
    exact = score.told_of_exact
    lines.append(f"{'of exact sets':22}{exact.right:6}{exact.missed:8}{exact.false:7}")
    lines.append(f"false problems per 50 sets: {_per_50(score)}")
    (wrong, of_wrong), (right, of_right) = score.doubted_wrong, score.doubted_right
    lines.append(
        f"told to be in doubt: {wrong} of {of_wrong} wrong sets, {right} of {of_right} right ones"
    )
    unseen = sorted(set(CODES) - _exercised(score) - set(UNSCORED_CODES))
    return [*lines, f"never planted here: {', '.join(unseen) or 'none'}"]


def _exercised(score: Score) -> set[str]:
    """Codes that the truth asked for at least once."""
    return {code for code, told in score.codes.items() if told.right + told.missed}


def _per_50(score: Score) -> str:
    per_50 = score.false_problems_per_50
    return "-" if per_50 is None else f"{per_50:.2f} ({score.judged_sets} sets)"


def _calibration_lines(score: Score) -> list[str]:
    if not score.confidences:
        return []
    lines = ["", f"{'confidence':22}{'sets':>6}{'said':>8}{'right':>8}"]
    for low, high, count, said, right in calibration(score.confidences):
        lines.append(f"{f'{low:.2f}-{high:.2f}':22}{count:6}{said:8.2f}{right:8.2f}")
    return [*lines, f"Brier score {brier(score.confidences):.4f}"]


def _situation_lines(score: Score) -> list[str]:
    heads = f"{'singles':>9}{'views':>8}{'yaw':>7}{'findings':>13}"
    lines = ["", f"{'situation':22}{'true':>6}{'exact':>7}{'claimed':>9}{heads}"]
    for name, part in sorted(score.situations.items()):
        found, told = part.found, part.told
        yaw = f"{np.median(part.yaw_errors_deg):.2f}" if part.yaw_errors_deg else "-"
        findings = f"{told.right}/{told.missed}/{told.false}"
        flag = found.exact < found.truth or found.claimed > found.exact or part.drawn_in > 0
        lines.append(
            f"{name:22}{found.truth:6}{found.exact:7}{found.claimed:9}{part.drawn_in:9}"
            f"{_pair_cell(part.views):>8}{yaw:>7}{findings:>13}{'  <' if flag else ''}"
        )
    legend = (
        "singles: drawn into sets; views: exact sets with views and rows right; yaw: median error"
    )
    return [*lines, f"({legend}; findings: right/missed/false)"]


# Markdown, for the README

BEGIN, END = "<!-- accuracy:begin -->", "<!-- accuracy:end -->"


def accuracy_table(parts: Sequence[tuple[str, Total]], date: str, remark: str) -> str:
    """The README's accuracy section: one column of numbers per part."""
    lines = [f"Measured {date}: {remark}", ""]
    lines += ["| | " + " | ".join(name for name, _ in parts) + " |"]
    lines += ["|---|" + "---|" * len(parts)]

    def row(label: str, cells: Iterable[str]) -> None:
        lines.append(f"| {label} | " + " | ".join(cells) + " |")

    totals = [total for _, total in parts]
    row("cards, frames", (f"{t.score.cards}, {t.score.frames:,}" for t in totals))
    for kind in KINDS:
        if any(kind in t.score.sets for t in totals):
            row(f"{kind}: exact of true; claimed", (_cell(t.score.sets.get(kind)) for t in totals))
    row(
        "singles drawn into sets",
        (f"{t.score.singles_drawn_in} of {t.score.singles}" for t in totals),
    )
    row("the 12 s rule: panoramas exact; singles drawn in", (_rival_cell(t.fixed) for t in totals))
    row(
        "the log-gap rule: panoramas exact; singles drawn in",
        (_rival_cell(t.adaptive) for t in totals),
    )
    for name in ("views", "rows", "legs", "steps"):
        row(f"{name} right, of exact sets", (_pair_cell(t.score.parts.get(name)) for t in totals))
    row("yaw error, median and 95 %", (_yaw_cell(t.score) for t in totals))
    row("findings right, missed, false", (_codes_cell(t.score) for t in totals))
    row(
        "the same, of sets found exactly",
        (_told_cell(t.score.told_of_exact) if t.score.codes else "-" for t in totals),
    )
    row("in doubt: of sets that are wrong; of sets that are right", map(_doubt_cell, totals))
    row("false problems per 50 sets", (_per_50(t.score) for t in totals))
    row("Brier score of the confidence", (_brier_cell(t.score) for t in totals))
    return "\n".join([*lines, *_code_table(totals)]) + "\n"


def _code_table(totals: Sequence[Total]) -> list[str]:
    """Findings by code, summed over all cards whose truth says which are right."""
    score = Score()
    for total in totals:
        score.add(total.score)
    if not score.codes:
        return []
    exercised = _exercised(score)
    lines = ["", "Findings by code, over all rendered cards:", ""]
    lines += ["| code | right | missed | false |", "|---|---|---|---|"]
    for code, told in sorted(score.codes.items()):
        if code in exercised or told.false:
            lines.append(f"| `{code}` | {told.right} | {told.missed} | {told.false} |")
    whole = score.told
    lines.append(f"| all | {whole.right} | {whole.missed} | {whole.false} |")
    unseen = sorted(set(CODES) - exercised - set(UNSCORED_CODES))
    if unseen:
        said = [f"`{code}`" for code in unseen]
        lines += ["", f"Never planted on these cards, so only unit-tested: {', '.join(said)}."]
    said = [f"`{code}` ({why})" for code, why in sorted(UNSCORED_CODES.items())]
    return [*lines, "", f"Not scored: {', '.join(said)}."]


def _cell(found: Found | None) -> str:
    return "-" if found is None else f"{found.exact} of {found.truth}; {found.claimed}"


def _rival_cell(rival: Rival) -> str:
    found = rival.found.get("panorama", Found())
    return f"{found.exact} of {found.truth}; {rival.singles_drawn_in}"


def _pair_cell(pair: Sequence[int] | None) -> str:
    return "-" if not pair or not pair[1] else f"{pair[0]}/{pair[1]}"


def _yaw_cell(score: Score) -> str:
    if not score.yaw_errors_deg:
        return "-"
    middle, high = np.percentile(score.yaw_errors_deg, [50, 95])
    return f"{middle:.2f}°, {high:.2f}°"


def _codes_cell(score: Score) -> str:
    if not score.codes:
        return "-"
    return _told_cell(score.told)


def _doubt_cell(total: Total) -> str:
    wrong, right = total.score.doubted_wrong, total.score.doubted_right
    return f"{wrong[0]} of {wrong[1]}; {right[0]} of {right[1]}"


def _told_cell(told: Told) -> str:
    return f"{told.right}, {told.missed}, {told.false}"


def _brier_cell(score: Score) -> str:
    value = brier(score.confidences)
    return "-" if value is None else f"{value:.3f}"


def renew_between_markers(text: str, table: str) -> str:
    """Text with what stands between the accuracy markers replaced.

    Raises:
        ValueError: the markers are not there, once each and in order.
    """
    if text.count(BEGIN) != 1 or text.count(END) != 1 or text.index(BEGIN) > text.index(END):
        raise ValueError(f"the markers {BEGIN} and {END} must stand in the text once, in order")
    head, rest = text.split(BEGIN)
    return f"{head}{BEGIN}\n{table}{END}{rest.split(END)[1]}"
