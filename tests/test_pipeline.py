"""The whole job on the bundled sample card, against its truth."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import cv2
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

import grouper
from grouper import pipeline
from grouper.model import Result
from grouper.settings import Settings, SightSettings

ROOT = Path(__file__).parent.parent
CARD = ROOT / "testdata" / "card"
TRUTH = json.loads((ROOT / "testdata" / "card-truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def result() -> Result:
    return grouper.run([CARD])


def truth_sets() -> set[tuple[str, frozenset[str]]]:
    return {
        (truth["kind"], frozenset(file for view in truth["views"] for file in view))
        for truth in TRUTH["sets"]
    }


def test_every_set_is_found_exactly_and_nothing_else(result: Result) -> None:
    found = {(s.kind, frozenset(frame.file for frame in s.frames)) for s in result.sets}
    assert found == truth_sets()


def test_every_threshold_in_force_goes_with_the_result(result: Result) -> None:
    assert result.fixed["group.panorama.START"] < 0
    assert {name.split(".")[0] for name in result.fixed} == {"group", "sight", "check"}


def test_singles_stay_singles(result: Result) -> None:
    assert sorted(f.file for f in result.grouping.singles) == sorted(TRUTH["singles"])
    assert not result.grouping.dividers
    assert not result.grouping.previews


def test_views_are_the_truths_views(result: Result) -> None:
    for truth in TRUTH["sets"]:
        files = {file for view in truth["views"] for file in view}
        (found,) = [s for s in result.sets if {f.file for f in s.frames} == files]
        views: dict[int, set[str]] = {}
        for member in found.members:
            views.setdefault(member.view, set()).add(member.frame.file)
        assert sorted(map(sorted, views.values())) == sorted(map(sorted, truth["views"]))


def test_planted_faults_are_found(result: Result) -> None:
    found = {(f.code, f.frames) for s in result.sets for f in s.findings}
    planted = [
        (f["code"], tuple(f["frames"]))
        for t in TRUTH["sets"]
        for f in t["findings"]
        if f["required"]
    ]
    assert planted
    assert set(planted) <= found


def test_no_problem_is_invented(result: Result) -> None:
    problems = [f for s in result.sets for f in s.findings if f.severity == "problem"]
    planted = {f["code"] for t in TRUTH["sets"] for f in t["findings"]}
    assert {f.code for f in problems} <= planted
    assert not [f for f in result.findings if f.severity == "problem"]


def test_every_file_ends_in_one_place(result: Result) -> None:
    on_disk = sum(1 for path in CARD.rglob("*") if path.is_file())
    assert result.scan.files == on_disk
    grouping = result.grouping
    placed = sum(len(s.members) for s in grouping.sets)
    placed += len(grouping.singles) + len(grouping.dividers) + len(grouping.previews)
    assert placed == len(result.scan.frames)


def test_the_card_is_never_touched(result: Result, tmp_path: Path) -> None:
    def fingerprint() -> dict[str, tuple[str, int]]:
        return {
            str(path): (hashlib.sha256(path.read_bytes()).hexdigest(), path.stat().st_mtime_ns)
            for path in sorted(CARD.rglob("*"))
            if path.is_file()
        }

    before = fingerprint()
    grouper.write(grouper.run([CARD]), tmp_path / "out", links="copy")
    assert fingerprint() == before


def test_jobs_do_not_change_the_result(result: Result) -> None:
    assert grouper.run([CARD], jobs=2).grouping == result.grouping


def test_grouping_keeps_the_numerical_libraries_to_one_thread(result: Result) -> None:
    threads: set[int] = set()

    def look_round(what: str, done: int, total: int) -> None:
        threads.update(library["num_threads"] for library in threadpool_info())
        threads.add(cv2.getNumThreads())

    before = cv2.getNumThreads()
    cv2.setNumThreads(2)
    try:
        with threadpool_limits(limits=2):  # whatever the machine and its settings
            pipeline.group(result.scan, progress=look_round)
            assert {library["num_threads"] for library in threadpool_info()} == {2}
        assert cv2.getNumThreads() == 2
    finally:
        cv2.setNumThreads(before)
    assert threads == {1}


def test_without_sight_brackets_are_found_and_confidence_is_lower(result: Result) -> None:
    blind = grouper.run([CARD], Settings(sight=SightSettings(enabled=False)))
    (bracket,) = [s for s in truth_sets() if s[0] == "bracket"]
    assert bracket in {(s.kind, frozenset(f.file for f in s.frames)) for s in blind.sets}
    seen = {frozenset(f.file for f in s.frames): s.confidence for s in result.sets}
    for found in blind.sets:
        files = frozenset(f.file for f in found.frames)
        if found.kind == "panorama" and files in seen:
            assert found.confidence < seen[files]


def test_the_steps_one_by_one_give_the_same(result: Result) -> None:
    scanned = grouper.scan([CARD])
    grouping, findings = grouper.check(scanned, grouper.group(scanned))
    assert (grouping, findings) == (result.grouping, result.findings)


def test_a_missing_card_is_said_with_its_path() -> None:
    with pytest.raises(grouper.NoSuchCard, match="no-such-card"):
        grouper.run([ROOT / "no-such-card"])
