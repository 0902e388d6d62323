"""Fit the weights that turn agreement into certainty, and judge them on cards left out.

Run ``python -m testdata.verdict FOLDER...`` with cards that have their ``truth.json``, or folders
of such; days and situations, ``passers-by`` among them, make a fair mixture. It prints how sure the
fit is of each kind of pair on cards that it did not see, then the numbers for
``grouper/sight/verdict.py``. Nothing is written. A few thousand pairs take a minute or two.
"""

from __future__ import annotations

import itertools
import json
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from grouper.lenses import angle_off_axis
from grouper.model import Frame
from grouper.pipeline import scan
from grouper.rotations import rotation_vector
from grouper.sight.camera import camera_of
from grouper.sight.load import load_upright
from grouper.sight.pair import Match, find_matches, likeliest_view, other_ways
from grouper.sight.picture import preview
from grouper.sight.plate import SEARCH, Plate, prepare
from grouper.sight.search import Pair
from grouper.sight.sphere import DoubleArray
from grouper.sight.verdict import features
from testdata.rehearsal.camera import rotation

LEAST_SHARE = 0.1
"""Neighbours that share less of the frame are not expected to be found."""
RIGHT_SHARE, WRONG_SHARE = 0.04, 0.16
"""Misplaced by less than the first share of the frame's long side, a neighbour was found; by more
than the second, what was found is not there; between them it is left out."""
MOST_OF_A_SET = 12
"""Pairs of a kind from one set, so that no long row outweighs the others."""
STRANGERS_A_CARD = 30
LEAST_ROW, OPPOSITE_SHARES = 10, (0.4, 0.6)
"""Where no pointing is known: frames of a row of so many views that lie so far apart in it see
nothing of one another, at the usual overlap."""
SHARES = {"neighbour": 3.0, "same": 1.0, "opposite": 2.0, "stranger": 1.0, "misplaced": 1.0}
"""What each kind of pair weighs, however many there are; photographed and rendered ones alike."""
RIGHT_ODDS = 1.5
"""Right to wrong among the pairs that a job finds anything for: three in five (days of tuning)."""
FEW = 100
"""A kind with fewer pairs than this weighs so much less."""
RIDGE = 1e-3
"""Keeps weights of numbers that tell nothing small."""
FOLDS = 8


@dataclass(frozen=True, slots=True)
class Sample:
    """A pair of which something was found: what was measured, and whether it is there."""

    kind: str
    card: str
    is_photographed: bool
    is_right: bool
    numbers: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Asked:
    """A pair to be compared; ``turn`` is the true rotation between the cameras, where known."""

    kind: str
    files: tuple[str, str]
    turn: DoubleArray | None = None


class _Card:
    """A card with its truth; its pictures are prepared when they are asked for."""

    def __init__(self, folder: Path) -> None:
        self.name = folder.name
        self.truth: dict[str, Any] = json.loads((folder / "truth.json").read_text())
        self.is_photographed = "rendered" not in str(self.truth.get("source", ""))
        scanned = scan([folder / "card"])
        self.root = Path(scanned.root)
        self.frames = {one.file: one for one in scanned.frames if one.picture is not None}
        self._plates: dict[str, Plate | None] = {}

    def plate(self, file: str) -> Plate | None:
        """A picture made ready; ``None`` where it shows too little to be recognised."""
        if file not in self._plates:
            shown = load_upright(self.root, self.frames[file])
            plate = None if shown is None else prepare(preview(shown))
            self._plates[file] = plate if plate is not None and plate.is_telling else None
        return self._plates[file]

    def pose(self, file: str) -> DoubleArray | None:
        """The rotation from a frame's camera to the world, where truth tells it."""
        told = self.truth["frames"].get(file, {})
        if told.get("yaw_deg") is None:
            return None
        return rotation(told["yaw_deg"], told["pitch_deg"], told["roll_deg"])

    def pitch(self, file: str) -> float | None:
        told: float | None = self.truth["frames"].get(file, {}).get("pitch_deg")
        return camera_of(self.frames[file]).pitch_deg if told is None else told

    def asked(self, rng: np.random.Generator) -> Iterator[_Asked]:
        """The pairs of its sets, of each kind no more than ``MOST_OF_A_SET``."""
        for one in self.truth["sets"]:
            views = [[file for file in view if file in self.frames] for view in one["views"]]
            views = [view for view in views if view]
            for pairs in (
                self._same(one["kind"], views),
                self._neighbours(one),
                self._opposite(one["kind"], views),
            ):
                some = list(pairs)
                for at in sorted(rng.permutation(len(some))[:MOST_OF_A_SET].tolist()):
                    yield some[at]

    def _same(self, kind: str, views: Sequence[Sequence[str]]) -> Iterator[_Asked]:
        if kind in ("bracket", "focus-stack"):
            views = [list(itertools.chain.from_iterable(views))]
        elif kind != "panorama":
            return  # what moves on from frame to frame
        for view in views:
            if len(view) > 1:
                yield _Asked("same", (view[0], view[-1]))

    def _neighbours(self, one: dict[str, Any]) -> Iterator[_Asked]:
        if one["kind"] != "panorama":
            return
        told = [((at["a"], at["b"]), at["share"]) for at in one.get("overlaps", ())]
        if not told and self.is_photographed:
            rows = one.get("rows") or [one["views"]]
            told = [((a[0], b[0]), 1.0) for row in rows for a, b in itertools.pairwise(row)]
        for (a, b), share in told:
            if share < LEAST_SHARE or a not in self.frames or b not in self.frames:
                continue
            first, second = self.pose(a), self.pose(b)
            known = first is not None and second is not None
            yield _Asked("neighbour", (a, b), first.T @ second if known else None)  # type: ignore[union-attr,operator]

    def _opposite(self, kind: str, views: Sequence[Sequence[str]]) -> Iterator[_Asked]:
        if kind != "panorama":
            return
        for i, j in itertools.combinations(range(len(views)), 2):
            a, b = views[i][0], views[j][0]
            first, second = self.pose(a), self.pose(b)
            if first is not None and second is not None:
                apart = np.arccos(np.clip(first[:, 2] @ second[:, 2], -1, 1))
                # The diagonal of the picture is at most 1.25 times its long side.
                lens = camera_of(self.frames[a]).lenses[0]
                corner = angle_off_axis(lens.mapping, np.array(0.5 * 1.25 / lens.share))
                is_apart = bool(apart > 2 * float(corner))
            else:
                share = (j - i) / len(views)
                is_long = self.is_photographed and len(views) >= LEAST_ROW
                is_apart = is_long and OPPOSITE_SHARES[0] < share < OPPOSITE_SHARES[1]
            if is_apart:
                yield _Asked("opposite", (a, b))


def samples(folders: Sequence[Path], seed: int = 1) -> list[Sample]:
    """What is measured on the pairs of cards, those of which nothing is found left out."""
    rng = np.random.default_rng(seed)
    made: list[Sample] = []
    before: list[_Card] = []
    for folder in folders:
        card = _Card(folder)
        for one in card.asked(rng):
            a, b = one.files
            made += _sample(one.kind, (card, a), (card, b), one.turn)
        # Frames of two places that have nothing to do with one another.
        others = [other for other in before if _are_strangers(card, other)]
        files = list(card.frames)
        for _ in range(STRANGERS_A_CARD if others and files else 0):
            other = others[int(rng.integers(len(others)))]
            theirs = list(other.frames)
            a, b = files[int(rng.integers(len(files)))], theirs[int(rng.integers(len(theirs)))]
            made += _sample("stranger", (card, a), (other, b), None)
        if card.frames:
            before = [*before[-FOLDS:], card]
    return made


def _are_strangers(card: _Card, other: _Card) -> bool:
    """Whether two cards show other places: neither variants of a card nor one owner's rooms."""
    if card.name == other.name or card.is_photographed != other.is_photographed:
        return False
    owners = [str(one.truth["source"]).split("/")[0] for one in (card, other)]
    return not card.is_photographed or owners[0] != owners[1]


def _sample(
    kind: str, first: tuple[_Card, str], second: tuple[_Card, str], turn: DoubleArray | None
) -> list[Sample]:
    plates = [card.plate(file) for card, file in (first, second)]
    if plates[0] is None or plates[1] is None:
        return []
    frames: list[Frame] = [card.frames[file] for card, file in (first, second)]
    lenses = [camera_of(frame).lenses[0] for frame in frames]
    pair = Pair(plates[0], plates[1], (lenses[0], lenses[1]))
    match = _found(pair, (first[0].pitch(first[1]), second[0].pitch(second[1])))
    if match is None:
        return []
    is_right = kind in ("neighbour", "same")
    if turn is not None:
        # An angle in units of the long side: near enough for telling right from wrong.
        off = float(np.linalg.norm(rotation_vector(match.turn.T @ turn))) * lenses[0].share
        if RIGHT_SHARE < off < WRONG_SHARE:
            return []
        is_right = off <= RIGHT_SHARE
    card = first[0]
    told = kind if is_right or kind != "neighbour" else "misplaced"
    return [Sample(told, card.name, card.is_photographed, is_right, features(match.evidence))]


def _found(pair: Pair, pitches: tuple[float | None, float | None]) -> Match | None:
    """The best match: the likeliest way first, then all others, as the eye looks."""
    view = likeliest_view(pitches, 0.0)
    best = find_matches([pair], [[((view,), SEARCH)]])[0]
    if best is not None and best.certainty > 0.5:
        return best
    ways = other_ways(pair, pitches, frozenset((view,)), on_side=True, everywhere=True)
    wider = find_matches([pair], [ways])[0]
    found = [one for one in (best, wider) if one is not None]
    return max(found, key=lambda one: one.certainty, default=None)


def weights_of(some: Sequence[Sample]) -> DoubleArray:
    """How much each counts, of shape (n,): by its kind, right and wrong ones at ``RIGHT_ODDS``."""
    kinds: dict[tuple[str, bool], list[int]] = defaultdict(list)
    for at, one in enumerate(some):
        kinds[one.kind, one.is_photographed].append(at)
    weights = np.zeros(len(some))
    for (kind, _), places in kinds.items():
        weights[places] = SHARES[kind] * min(1.0, len(places) / FEW) / len(places)
    is_right = np.array([one.is_right for one in some])
    weights[is_right] *= RIGHT_ODDS / weights[is_right].sum()
    weights[~is_right] *= 1.0 / weights[~is_right].sum()
    return np.asarray(weights * len(some) / weights.sum())


def fitted(some: Sequence[Sample]) -> DoubleArray:
    """Logistic regression by Newton's method: the weight of each number, then the intercept."""
    numbers = np.array([[*one.numbers, 1.0] for one in some])
    middle, spread = numbers.mean(axis=0), numbers.std(axis=0)
    middle[-1], spread[-1] = 0.0, 1.0
    standard = (numbers - middle) / np.maximum(spread, 1e-9)
    right, counts = np.array([one.is_right for one in some], dtype=float), weights_of(some)
    ridge = RIDGE * len(some) * np.diag([1.0] * (numbers.shape[1] - 1) + [0.0])
    found = np.zeros(numbers.shape[1])
    for _ in range(50):
        chance = _chance(standard @ found)
        slope = standard.T @ (counts * (chance - right)) + ridge @ found
        bend = (standard.T * (counts * chance * (1 - chance))) @ standard + ridge
        step = np.linalg.solve(bend, slope)
        found -= step
        if np.abs(step).max() < 1e-8:
            break
    weights = found / np.maximum(spread, 1e-9)
    weights[-1] -= float((weights[:-1] * middle[:-1]).sum())
    return np.asarray(weights)


def _chance(weighed: DoubleArray) -> DoubleArray:
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(weighed, -30.0, 30.0))))


def judged(some: Sequence[Sample]) -> DoubleArray:
    """The certainty of each by a fit to other cards, of shape (n,)."""
    cards = sorted({one.card for one in some})
    fold = {card: at % FOLDS for at, card in enumerate(cards)}
    certain = np.zeros(len(some))
    for left_out in range(FOLDS):
        rest = [one for one in some if fold[one.card] != left_out]
        places = [at for at, one in enumerate(some) if fold[one.card] == left_out]
        if places:
            weights = fitted(rest)
            numbers = np.array([[*some[at].numbers, 1.0] for at in places])
            certain[places] = _chance(numbers @ weights)
    return certain


def report(some: Sequence[Sample], certain: NDArray[np.float64]) -> Iterator[str]:
    """Lines that tell how sure a fit is of each kind of pair."""
    yield f"{'kind':28}{'pairs':>7}{'> 0.5':>9}{'> 0.9':>9}"
    kinds = sorted({(one.kind, one.is_photographed) for one in some})
    for kind, photographed in kinds:
        own = np.array([(one.kind, one.is_photographed) == (kind, photographed) for one in some])
        name = f"{kind}, {'photographed' if photographed else 'rendered'}"
        half, sure = (int((certain[own] > least).sum()) for least in (0.5, 0.9))
        yield f"{name:28}{int(own.sum()):7}{half:9}{sure:9}"
    is_right = np.array([one.is_right for one in some])
    for low, high in itertools.pairwise((0.0, 0.1, 0.3, 0.7, 0.9, 0.99, 1.001)):
        here = (certain >= low) & (certain < high)
        if here.any():
            yield f"certainty {low:.2f}-{min(high, 1):.2f}: {is_right[here].mean():.3f} right"


def main(folders: Sequence[Path]) -> None:
    """Fit, and print."""
    cards = [
        card
        for folder in folders
        for card in ([folder] if (folder / "truth.json").is_file() else sorted(folder.iterdir()))
        if (card / "truth.json").is_file()
    ]
    some = samples(cards)
    for line in report(some, judged(some)):
        print(line)
    *weights, bias = fitted(some)
    print(f"_BIAS = {bias:.3g}")
    print(f"_WEIGHTS = ({', '.join(f'{one:.4g}' for one in weights)})")


if __name__ == "__main__":
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    main([Path(one) for one in sys.argv[1:]])
