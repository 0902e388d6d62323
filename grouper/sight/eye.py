"""The rim of sight: opens the files, keeps the prepared pictures, remembers habits."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from grouper.contracts import Eye, Progress
from grouper.model import Frame, Glance, PictureSource, Sighting, Solution
from grouper.settings import Settings
from grouper.sight.camera import CameraBelief, CameraKey, camera_of
from grouper.sight.glance import glance as glance_at
from grouper.sight.pair import Match, best_match, search, sighting
from grouper.sight.picture import Preview, contradicts, decode, preview
from grouper.sight.plate import SCOUT, Plate
from grouper.sight.search import views_for
from grouper.sight.solve import solve_pointings
from grouper.sight.sphere import View

_LEVEL = View()
_SURE = 0.9
_WORTH = 0.0
_LEARN_PAIRS = 12
"""Pairs of one camera from which an unknown focal length is learned: enough that one bad
pair does not decide."""


class BlindEye:
    """Knows nothing: for runs that are not to look at pictures."""

    def glance(self, frames: Sequence[Frame]) -> list[Glance | None]:
        """Not known, for every frame."""
        return [None] * len(frames)

    def compare(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        """Not known, for every pair."""
        return [None] * len(pairs)

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        """Not known."""
        del frames, sightings
        return None


def open_eye(
    root: Path, settings: Settings, *, jobs: int = 1, progress: Progress | None = None
) -> Eye:
    """An eye on the pictures below ``root``; a blind one where the settings say so."""
    if not settings.sight.enabled:
        return BlindEye()
    return PictureEye(root, settings, jobs=jobs, progress=progress)


@dataclass(slots=True)
class _Habit:
    """What the last good links of a camera showed: how it is held, its focal length."""

    view: View = _LEVEL
    share: float | None = None


class PictureEye:
    """Looks at thumbnails, else previews, else main pictures decoded small.

    Answers depend only on the calls made and their order, not on ``jobs``: pictures are
    decoded ahead by threads, compared one pair after the other.
    """

    def __init__(
        self, root: Path, settings: Settings, *, jobs: int = 1, progress: Progress | None = None
    ) -> None:
        self._root = root
        self._settings = settings.sight
        self._jobs = max(1, jobs)
        self._progress = progress
        self._plates: OrderedDict[str, Plate | None] = OrderedDict()
        self._habits: dict[CameraKey, _Habit] = {}

    def glance(self, frames: Sequence[Frame]) -> list[Glance | None]:
        """What each picture shows on its own, in the order asked."""
        seen: list[Glance | None] = []
        for plate in self._ahead([(frame,) for frame in frames], "looking"):
            seen.append(None if plate[0] is None else glance_at(plate[0].preview))
        return seen

    def compare(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        """How the camera turned from the first to the second frame of each pair.

        ``None`` where a picture is missing or too plain to be recognised.
        """
        self._learn(pairs)
        seen: list[Sighting | None] = []
        for pair, plates in zip(pairs, self._ahead(pairs, "comparing"), strict=True):
            seen.append(self._compare(pair, plates))
        return seen

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        """Solve the pointings of frames from sightings between them, given by index."""
        return solve_pointings(frames, sightings)

    def _compare(
        self, pair: tuple[Frame, Frame], plates: Sequence[Plate | None]
    ) -> Sighting | None:
        a, b = plates
        if a is None or b is None:
            return None
        cameras = camera_of(pair[0]), camera_of(pair[1])
        habit = self._habits.setdefault(cameras[0].key, _Habit())
        shares = self._share_of(cameras[0]), self._share_of(cameras[1])
        match = self._match(a, b, cameras, shares, habit)
        if match is not None and match.certainty >= _SURE:
            habit.view = match.view
        if not (a.is_telling and b.is_telling) and (match is None or match.certainty < _SURE):
            return None
        return sighting(match)

    def _match(
        self,
        a: Plate,
        b: Plate,
        cameras: tuple[CameraBelief, CameraBelief],
        shares: tuple[float, float],
        habit: _Habit,
    ) -> Match | None:
        first = habit.view if cameras[0].pitch_deg is None else View(round(cameras[0].pitch_deg))
        found = search(a, b, shares, (first,))
        best = best_match(a, b, shares, found) if found and found[0].score > _WORTH else None
        if best is not None and best.certainty >= _SURE:
            return best
        half = max(*a.pinhole(0, shares[0]).half_fov_rad, *b.pinhole(0, shares[1]).half_fov_rad)
        found = []
        for views in views_for(round(half, 2)):
            if views:
                found += search(a, b, shares, views, SCOUT)
        found.sort(key=lambda one: -one.score)
        again = best_match(a, b, shares, found)
        if best is None or (again is not None and again.certainty > best.certainty):
            best = again
        return best

    def _share_of(self, camera: CameraBelief) -> float:
        habit = self._habits.get(camera.key)
        learned = None if habit is None else habit.share
        return camera.shares[0] if learned is None else learned

    def _learn(self, pairs: Sequence[tuple[Frame, Frame]]) -> None:
        """Let the pictures choose the focal length of cameras whose metadata leaves it open."""
        open_pairs: dict[CameraKey, list[tuple[Frame, Frame]]] = {}
        for pair in pairs:
            cameras = camera_of(pair[0]), camera_of(pair[1])
            habit = self._habits.get(cameras[0].key)
            if (
                cameras[0].key == cameras[1].key
                and len(cameras[0].shares) > 1
                and (habit is None or habit.share is None)
            ):
                open_pairs.setdefault(cameras[0].key, []).append(pair)
        for key, chosen in open_pairs.items():
            share = self._learned(chosen[:: max(1, len(chosen) // _LEARN_PAIRS)][:_LEARN_PAIRS])
            if share is not None:
                self._habits.setdefault(key, _Habit()).share = share

    def _learned(self, pairs: Sequence[tuple[Frame, Frame]]) -> float | None:
        shares = camera_of(pairs[0][0]).shares
        totals = dict.fromkeys(shares, 0.0)
        telling = 0
        for plates in self._ahead(pairs, "comparing", quiet=True):
            a, b = plates
            if a is None or b is None:
                continue
            scores = {}
            turned = False
            for share in shares:
                match = best_match(a, b, (share, share), search(a, b, (share, share), (_LEVEL,)))
                scores[share] = 0.0 if match is None else match.evidence.fit.strength
                turned |= (
                    match is not None
                    and match.certainty >= _SURE
                    and match.evidence.fit.overlap < 0.9
                )
            if turned:
                telling += 1
                for share, score in scores.items():
                    totals[share] += score
        return max(shares, key=lambda share: totals[share]) if telling else None

    def _ahead(
        self, wanted: Sequence[tuple[Frame, ...]], what: str, *, quiet: bool = False
    ) -> Iterator[list[Plate | None]]:
        """The plates of each tuple of frames in turn, decoded ahead of need by threads."""
        total = len(wanted)
        with ThreadPoolExecutor(self._jobs) as pool:
            coming: OrderedDict[str, Future[Plate | None]] = OrderedDict()
            fetched = 0
            for done, frames in enumerate(wanted):
                while fetched < total and fetched <= done + self._settings.ahead:
                    for frame in wanted[fetched]:
                        if frame.file not in self._plates and frame.file not in coming:
                            coming[frame.file] = pool.submit(self._load, frame)
                    fetched += 1
                yield [self._plate(frame, coming) for frame in frames]
                if self._progress is not None and not quiet:
                    self._progress(what, done + 1, total)

    def _plate(self, frame: Frame, coming: OrderedDict[str, Future[Plate | None]]) -> Plate | None:
        if frame.file in self._plates:
            self._plates.move_to_end(frame.file)
            return self._plates[frame.file]
        future = coming.pop(frame.file, None)
        plate = self._load(frame) if future is None else future.result()
        self._plates[frame.file] = plate
        while len(self._plates) > self._settings.kept:
            self._plates.popitem(last=False)
        return plate

    def _load(self, frame: Frame) -> Plate | None:
        shown = load_preview(self._root, frame)
        return None if shown is None else Plate(shown)


def load_preview(root: Path, frame: Frame) -> Preview | None:
    """Read a frame's small picture; ``None`` when there is none or it cannot be decoded."""
    stored = None
    if frame.width_px and frame.height_px:
        stored = frame.width_px, frame.height_px
    source = frame.picture
    pixels = None if source is None else _read(root, source)
    if pixels is None or contradicts(pixels, stored, frame.orientation):
        whole = PictureSource(kind="main", file=frame.file)
        main = None if source == whole else _read(root, whole)
        pixels = pixels if main is None else main
    return None if pixels is None else preview(pixels, stored, frame.orientation)


def _read(root: Path, source: PictureSource):  # type: ignore[no-untyped-def]
    try:
        with (root / source.file).open("rb") as stream:
            if source.offset is None or source.length is None:
                return decode(stream)
            stream.seek(source.offset)
            return decode(stream.read(source.length))
    except OSError:
        return None
