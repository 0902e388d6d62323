"""The scorer: what grouper said of a card (card.json) against the truth (truth.json).

Reads nothing else. A set is exactly right when its kind and its member files equal the
truth's; files of the truth's ``either`` count nowhere. All counts add up over cards.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

KINDS = ("panorama", "bracket", "focus-stack", "burst", "interval")

UNSCORED_CODES = {
    "set-in-doubt": "says how sure grouping is; how often it says so of right and of wrong sets "
    "stands in the table",
}
"""Codes for which there is no truth to plant, and why."""

CONFIDENCE_EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)
"""Bins of the calibration table: finer where the confidence ought to be high."""

SAME_SET_JACCARD = 0.5
"""A found set answers for a true one when they share at least half of their frames."""


@dataclass(slots=True)
class Found:
    """Sets of one kind: how many there are, were found exactly, were claimed."""

    truth: int = 0
    exact: int = 0
    claimed: int = 0

    def add(self, other: Found) -> None:
        """Add another count."""
        self.truth += other.truth
        self.exact += other.exact
        self.claimed += other.claimed


@dataclass(slots=True)
class Told:
    """A finding code: how often it was rightly told, missed, told wrongly."""

    right: int = 0
    missed: int = 0
    false: int = 0
    false_problems: int = 0
    """How many of the false ones were told as problems."""

    def add(self, other: Told) -> None:
        """Add another count."""
        self.right += other.right
        self.missed += other.missed
        self.false += other.false
        self.false_problems += other.false_problems


@dataclass(slots=True)
class Part:
    """What came of one situation."""

    found: Found = field(default_factory=Found)
    drawn_in: int = 0
    """Singles wrongly drawn into sets."""
    views: list[int] = field(default_factory=lambda: [0, 0])
    """Exact panoramas whose views and rows are right, of how many."""
    yaw_errors_deg: list[float] = field(default_factory=list)
    told: Told = field(default_factory=Told)

    def add(self, other: Part) -> None:
        """Add another count."""
        self.found.add(other.found)
        self.drawn_in += other.drawn_in
        self.views[0] += other.views[0]
        self.views[1] += other.views[1]
        self.yaw_errors_deg += other.yaw_errors_deg
        self.told.add(other.told)


@dataclass(slots=True)
class Score:
    """All that was counted over one or more cards."""

    cards: int = 0
    frames: int = 0
    sets: dict[str, Found] = field(default_factory=dict)
    """By kind."""
    situations: dict[str, Part] = field(default_factory=dict)
    singles: int = 0
    singles_drawn_in: int = 0
    never_broken: int = 0
    never: int = 0
    parts: dict[str, list[int]] = field(default_factory=dict)
    """views, rows, legs, steps, spares: [right, of] among exact sets."""
    yaw_errors_deg: list[float] = field(default_factory=list)
    unpointed: int = 0
    overlap_errors: list[float] = field(default_factory=list)
    codes: dict[str, Told] = field(default_factory=dict)
    told_of_exact: Told = field(default_factory=Told)
    """The findings of sets that were found exactly, all codes together."""
    judged_sets: int = 0
    """Sets told on cards whose truth says which findings are right."""
    confidences: list[tuple[float, bool]] = field(default_factory=list)
    doubted_wrong: list[int] = field(default_factory=lambda: [0, 0])
    """Sets told to be in doubt, of all those found that are none."""
    doubted_right: list[int] = field(default_factory=lambda: [0, 0])
    """Sets told to be in doubt, of all those found exactly."""
    dividers: list[int] = field(default_factory=lambda: [0, 0])
    previews: list[int] = field(default_factory=lambda: [0, 0])
    unread: list[int] = field(default_factory=lambda: [0, 0])
    mistakes: list[str] = field(default_factory=list)
    """One line for every set that was not found exactly, and every finding missed or told
    wrongly, for looking at."""

    @property
    def told(self) -> Told:
        """The findings of all codes together."""
        whole = Told()
        for told in self.codes.values():
            whole.add(told)
        return whole

    @property
    def false_problems_per_50(self) -> float | None:
        """Problems told wrongly, for every 50 sets told."""
        return 50 * self.told.false_problems / self.judged_sets if self.judged_sets else None

    def part(self, situation: str) -> Part:
        """The counts of a situation."""
        return self.situations.setdefault(situation, Part())

    def add(self, other: Score) -> None:
        """Add the counts of other cards."""
        self.cards += other.cards
        self.frames += other.frames
        for kind, found in other.sets.items():
            self.sets.setdefault(kind, Found()).add(found)
        for name, part in other.situations.items():
            self.part(name).add(part)
        self.singles += other.singles
        self.singles_drawn_in += other.singles_drawn_in
        self.never += other.never
        self.never_broken += other.never_broken
        for key, pair in other.parts.items():
            _count(self.parts, key, pair)
        self.yaw_errors_deg += other.yaw_errors_deg
        self.unpointed += other.unpointed
        self.overlap_errors += other.overlap_errors
        for code, told in other.codes.items():
            self.codes.setdefault(code, Told()).add(told)
        self.told_of_exact.add(other.told_of_exact)
        self.judged_sets += other.judged_sets
        self.confidences += other.confidences
        for field_name in ("dividers", "previews", "unread", "doubted_wrong", "doubted_right"):
            mine_pair, other_pair = getattr(self, field_name), getattr(other, field_name)
            mine_pair[0] += other_pair[0]
            mine_pair[1] += other_pair[1]
        self.mistakes += other.mistakes


def _count(parts: dict[str, list[int]], key: str, pair: Sequence[int]) -> None:
    old = parts.setdefault(key, [0, 0])
    old[0] += pair[0]
    old[1] += pair[1]


@dataclass(frozen=True, slots=True)
class _Pair:
    """A true set, its frames (less ``either``), and the found set that answers for it."""

    truth: Mapping[str, Any]
    members: frozenset[str]
    found: Mapping[str, Any] | None
    exact: bool


def score_card(card: Mapping[str, Any], truth: Mapping[str, Any]) -> Score:
    """Score one card."""
    score = Score(cards=1, frames=len(truth["frames"]))
    either = frozenset(truth["either"])
    found_sets = [
        (item, members)
        for item in card["sets"]
        if (members := frozenset(frame["file"] for frame in item["frames"]) - either)
    ]
    pairs = list(_pairs(truth, found_sets, either))
    _score_sets(score, pairs, found_sets, truth)
    _score_singles(score, card, truth)
    for pair in pairs:
        if pair.exact and pair.found is not None:
            _score_layout(score, pair, truth)
    if "findings" in truth:
        score.judged_sets = len(found_sets)
        _score_findings(score, pairs, found_sets, card, truth)
    _score_leftovers(score, card, truth)
    return score


def true_members(item: Mapping[str, Any]) -> frozenset[str]:
    """The files of a true set."""
    return frozenset(file for view in item["views"] for file in view)


def _pairs(
    truth: Mapping[str, Any],
    found_sets: Sequence[tuple[Mapping[str, Any], frozenset[str]]],
    either: frozenset[str],
) -> Iterator[_Pair]:
    for item in truth["sets"]:
        members = true_members(item) - either
        best, best_share = None, 0.0
        for found, files in found_sets:
            share = len(files & members) / len(files | members)
            if share > best_share:
                best, best_share = found, share
        exact = best is not None and best_share == 1.0 and best["kind"] == item["kind"]
        yield _Pair(item, members, best if best_share >= SAME_SET_JACCARD else None, exact)


def _name(pair: _Pair, truth: Mapping[str, Any]) -> str:
    return str(pair.truth.get("situation") or truth["name"])


def _situation(truth: Mapping[str, Any], file: str) -> str:
    name = truth["frames"].get(file, {}).get("situation")
    return str(name or truth["name"])


def _score_sets(
    score: Score,
    pairs: Sequence[_Pair],
    found_sets: Sequence[tuple[Mapping[str, Any], frozenset[str]]],
    truth: Mapping[str, Any],
) -> None:
    right = {id(pair.found) for pair in pairs if pair.exact}
    for pair in pairs:
        kind = pair.truth["kind"]
        count = Found(truth=1, exact=int(pair.exact))
        score.sets.setdefault(kind, Found()).add(count)
        score.part(_name(pair, truth)).found.add(count)
        if not pair.exact:
            score.mistakes.append(_mistake(truth, pair))
    for found, files in found_sets:
        names = Counter(_situation(truth, file) for file in sorted(files))
        name = names.most_common(1)[0][0]
        score.sets.setdefault(found["kind"], Found()).add(Found(claimed=1))
        score.part(name).found.add(Found(claimed=1))
        exact = id(found) in right
        doubted = score.doubted_right if exact else score.doubted_wrong
        doubted[0] += any(item["code"] == "set-in-doubt" for item in found["findings"])
        doubted[1] += 1
        if found.get("confidence") is not None:
            score.confidences.append((float(found["confidence"]), exact))


def _mistake(truth: Mapping[str, Any], pair: _Pair) -> str:
    name = pair.truth.get("situation") or ""
    first = min(pair.members, default="?")
    text = f"{truth['name']}: {name} {pair.truth['kind']} of {len(pair.members)} from {first}: "
    if pair.found is None:
        return text + "not found"
    files = {frame["file"] for frame in pair.found["frames"]} - set(truth["either"])
    less, more = len(pair.members - files), len(files - pair.members)
    return text + f"found as {pair.found['kind']}, {less} missing, {more} too many"


def _score_singles(score: Score, card: Mapping[str, Any], truth: Mapping[str, Any]) -> None:
    kinds = {frame["file"]: item["kind"] for item in card["sets"] for frame in item["frames"]}
    for file in truth["singles"]:
        name = _situation(truth, file)
        score.singles += 1
        part = score.part(name)
        if file in kinds:
            score.singles_drawn_in += 1
            part.drawn_in += 1
    for rule in truth.get("never", []):
        score.never += len(rule["files"])
        score.never_broken += sum(kinds.get(file) == rule["kind"] for file in rule["files"])


def _score_layout(score: Score, pair: _Pair, truth: Mapping[str, Any]) -> None:
    assert pair.found is not None
    frames = {frame["file"]: frame for frame in pair.found["frames"]}
    places = {file: truth["frames"].get(file, {}) for file in pair.members}
    if pair.truth["kind"] == "panorama":
        part = score.part(_name(pair, truth))
        views = _same_partition(frames, pair.truth["views"], "view")
        _count(score.parts, "views", (views, 1))
        rows = [[file for view in row for file in view] for row in pair.truth.get("rows", [])]
        in_rows = _same_partition(frames, rows, "row") if rows else 1
        if rows:
            _count(score.parts, "rows", (in_rows, 1))
        part.views[0] += views * in_rows
        part.views[1] += 1
        part.yaw_errors_deg += _score_pointing(score, frames, places, pair)
    if not all("leg" in place for place in places.values()):
        return
    for key, name in (("leg", "legs"), ("step", "steps")):
        if len({place[key] for place in places.values()}) > 1:
            same = all(frames[file][key] == place[key] for file, place in places.items())
            _count(score.parts, name, (int(same), 1))
    if any(place["spare"] for place in places.values()):
        spares = sum(bool(frames[file]["spare"]) for file in places)
        right = spares == sum(bool(place["spare"]) for place in places.values())
        _count(score.parts, "spares", (int(right), 1))


def _same_partition(
    frames: Mapping[str, Mapping[str, Any]], groups: Iterable[Sequence[str]], key: str
) -> int:
    """Whether frames are divided by ``key`` just as the groups say, whatever the numbers."""
    known = [frozenset(file for file in group if file in frames) for group in groups]
    said: dict[Any, set[str]] = {}
    for group in known:
        for file in group:
            said.setdefault(frames[file][key], set()).add(file)
    return int({frozenset(group) for group in said.values()} == set(known))


def _score_pointing(
    score: Score,
    frames: Mapping[str, Mapping[str, Any]],
    places: Mapping[str, Mapping[str, Any]],
    pair: _Pair,
) -> list[float]:
    """Adds to the score and hands back the yaw errors of one panorama."""
    assert pair.found is not None
    layout = pair.found["layout"]
    true_yaws = {
        file: place["yaw_deg"]
        for file, place in places.items()
        # Near the zenith yaw is not a direction any more.
        if place.get("yaw_deg") is not None and abs(place["pitch_deg"]) < 70
    }
    known = [file for file in true_yaws if frames[file]["yaw_deg"] is not None]
    if layout["pointing_from"] == "assumed":
        known = []
    score.unpointed += len(true_yaws) - len(known)
    errors: list[float] = []
    if len(known) >= 2:
        said = [frames[file]["yaw_deg"] for file in known]
        errors = yaw_errors(said, [true_yaws[file] for file in known])
        score.yaw_errors_deg += errors
    shares = [item["share"] for item in pair.truth.get("overlaps", [])]
    if shares and layout["overlap"]["median"] is not None:
        score.overlap_errors.append(abs(layout["overlap"]["median"] - float(np.median(shares))))
    return errors


def yaw_errors(said_deg: Sequence[float], true_deg: Sequence[float]) -> list[float]:
    """Absolute yaw errors after taking out the common offset, on the circle, degrees."""
    off = np.radians(np.asarray(said_deg) - np.asarray(true_deg))
    common = math.atan2(float(np.sin(off).mean()), float(np.cos(off).mean()))
    rest = np.degrees(np.mod(off - common + np.pi, 2 * np.pi) - np.pi)
    # The circular mean leaves a straggler's pull in; the median takes it out.
    return [float(value) for value in np.abs(rest - np.median(rest))]


def _score_findings(
    score: Score,
    pairs: Sequence[_Pair],
    found_sets: Sequence[tuple[Mapping[str, Any], frozenset[str]]],
    card: Mapping[str, Any],
    truth: Mapping[str, Any],
) -> None:
    def count(
        wishes: Sequence[Mapping[str, Any]],
        told: Sequence[Mapping[str, Any]],
        name: str,
        *,
        exact: bool = False,
    ) -> None:
        counts, lines = match_findings(wishes, told)
        for code, number in counts.items():
            score.codes.setdefault(code, Told()).add(number)
            if name:
                score.part(name).told.add(number)
            if exact:
                score.told_of_exact.add(number)
        score.mistakes += [f"{truth['name']}: {name or 'the card'}: {line}" for line in lines]

    for pair in pairs:
        told = [] if pair.found is None else pair.found["findings"]
        count(pair.truth.get("findings", []), told, _name(pair, truth), exact=pair.exact)
    answered = {id(pair.found) for pair in pairs}
    for found, files in found_sets:
        # Whatever is said of a set that is none is wrong, but for what is true of a part.
        if id(found) not in answered and files:
            names = Counter(_situation(truth, file) for file in sorted(files))
            count(_true_of_part(files, truth), found["findings"], names.most_common(1)[0][0])
    count(truth["findings"], card["findings"], "")


OF_FRAMES = ("clipped-highlights", "blocked-shadows")
"""What is said of single frames, and as true of them in a part of their set."""


def _true_of_part(files: frozenset[str], truth: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What may be said of a set that is a piece of one true set, cut off by grouping.

    The piece itself is counted as wrong. What its own frames show is not wrong a second time:
    the tones that single frames lose, and a span that by the true pointings outgrows a flat
    picture (from 115 degrees, as for whole sets). None of it counts as right either.
    """
    whole = next((item for item in truth["sets"] if files <= true_members(item)), None)
    if whole is None:
        return []
    wishes = [
        {**wish, "required": False}
        for wish in whole.get("findings", [])
        if wish["code"] in OF_FRAMES and wish["frames"]
    ]
    if _span_of_part(files, whole, truth) > 115:
        wishes.append({"code": "too-wide", "frames": [], "required": False})
    return wishes


def _span_of_part(
    files: frozenset[str], whole: Mapping[str, Any], truth: Mapping[str, Any]
) -> float:
    """True angle across of some frames of an open sweep, degrees; 0 where it is not known."""
    layout = whole.get("layout", {})
    if not layout.get("span_deg") or layout.get("closed") or layout.get("rows") != 1:
        return 0.0
    yaws = {file: truth["frames"].get(file, {}).get("yaw_deg") for file in true_members(whole)}
    known = {file: yaw for file, yaw in yaws.items() if yaw is not None}
    if len(known) < len(yaws):
        return 0.0
    frame_deg = layout["span_deg"] - (max(known.values()) - min(known.values()))
    own = [known[file] for file in files]
    return float(max(own) - min(own) + frame_deg)


def match_findings(
    expected: Sequence[Mapping[str, Any]], told: Sequence[Mapping[str, Any]]
) -> tuple[dict[str, Told], list[str]]:
    """Findings that were told against those that were planted, by code; a line per mistake."""
    told = [item for item in told if item["code"] not in UNSCORED_CODES]
    counts: dict[str, Told] = {}
    lines: list[str] = []
    used: set[int] = set()
    for wish in expected:
        answers = [number for number, item in enumerate(told) if _answers(wish, item)]
        used.update(answers)
        if wish["required"]:
            count = Told(right=int(bool(answers)), missed=int(not answers))
            counts.setdefault(wish["code"], Told()).add(count)
            if not answers:
                lines.append(f"missed {wish['code']} at {', '.join(wish['frames'][:2]) or 'any'}")
    for number, item in enumerate(told):
        if number not in used:
            is_problem = item.get("severity") == "problem"
            count = Told(false=1, false_problems=int(is_problem))
            counts.setdefault(item["code"], Told()).add(count)
            lines.append(f"false {item['code']}: {item.get('message', '')}")
    return counts, lines


def _answers(wish: Mapping[str, Any], item: Mapping[str, Any]) -> bool:
    """The same code, about at least one of the same frames where both name any.

    Where the truth says which words the message has, they must be there.
    """
    if item["code"] != wish["code"] or wish.get("says", "") not in item.get("message", ""):
        return False
    if not wish["frames"] or not item["frames"]:
        return True
    return not set(wish["frames"]).isdisjoint(item["frames"])


def _score_leftovers(score: Score, card: Mapping[str, Any], truth: Mapping[str, Any]) -> None:
    dividers = set(truth.get("dividers", []))
    score.dividers = [len(dividers & set(card["dividers"])), len(dividers)]
    previews = {item["file"] for item in truth.get("previews", [])}
    score.previews = [len(previews & {item["file"] for item in card["previews"]}), len(previews)]
    unread = {item["file"]: item["reason"].split("|") for item in truth.get("unread", [])}
    said = {item["file"]: item["reason"] for item in card["unread"]}
    score.unread = [sum(said.get(file) in why for file, why in unread.items()), len(unread)]


def brier(confidences: Sequence[tuple[float, bool]]) -> float | None:
    """Mean squared difference of confidence and outcome (Brier 1950); None without any."""
    if not confidences:
        return None
    return float(np.mean([(said - right) ** 2 for said, right in confidences]))


def calibration(
    confidences: Sequence[tuple[float, bool]],
) -> list[tuple[float, float, int, float, float]]:
    """Rows (from, to, sets, mean confidence, share right) of the bins that hold any."""
    rows = []
    for low, high in itertools.pairwise(CONFIDENCE_EDGES):
        inside = [
            item
            for item in confidences
            if low <= item[0] < high or (high == CONFIDENCE_EDGES[-1] and item[0] == high)
        ]
        if inside:
            said = float(np.mean([item[0] for item in inside]))
            right = float(np.mean([item[1] for item in inside]))
            rows.append((low, high, len(inside), said, right))
    return rows
