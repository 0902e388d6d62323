"""The rim of sight: opens the files, keeps the prepared pictures, remembers habits."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

import numpy as np

from grouper.contracts import Eye, Progress
from grouper.lenses import Lens
from grouper.model import Frame, Glance, Sighting, Solution
from grouper.rotations import rotation
from grouper.settings import Settings
from grouper.sight.camera import CameraBelief, CameraKey, camera_of
from grouper.sight.glance import glance as glance_at
from grouper.sight.horizon import HorizonLine, find_horizons
from grouper.sight.lean import lean_by_elevation, lean_by_horizon, may_show_horizon
from grouper.sight.load import load_closer, load_pixels, load_upright, stored_px
from grouper.sight.pair import (
    LEVEL,
    Match,
    Ways,
    find_matches,
    is_sure,
    likeliest_view,
    other_ways,
    pitches_after,
    sighting,
    ways_near,
)
from grouper.sight.picture import ByteArray, Upright, preview, stood_up
from grouper.sight.plate import (
    CLOSE_SCALES_PX,
    SCOUT,
    SEARCH,
    Plate,
    ShelvedPlate,
    look_alike,
    prepare,
    shelved,
)
from grouper.sight.search import Pair
from grouper.sight.shelf import Shelf
from grouper.sight.solve import solve_pointings
from grouper.sight.sphere import DoubleArray, View
from grouper.sight.verdict import expected_certainty

_TURNED = 0.9
"""Pictures that overlap more than this look the same under any focal length."""
_FINER = (1.0, 0.8, 1.25)
"""A second look round the likeliest of the focal lengths, which lie further apart."""
_PLAIN_SURE = 0.95
"""Certainty from which plain pictures are said to overlap: two skies of one make are alike."""
_LIKELY = 0.9
"""What is found less surely between pictures that look alike all round, is explained by that."""
_WAVE = 16
"""Pairs compared at once: most of the gain of doing them together is had; twice as many take no
less time, and 6 MB more (measured)."""
_CLOSE_WAVE = 4
"""The same of larger pictures, that take four times the room."""
_RECENT = 2 * _WAVE
"""Pictures used last, whose slopes and spectra are kept, a tenth of a megabyte a view: no more are
compared at once, and a frame is held against a dozen earlier ones, the next against the same."""
_CAMERAS = 1000
"""Frames whose cameras are remembered, half a kilobyte each: far more than one wave's."""
_LEARN_PAIRS = 12
"""Pairs of one camera from which an unknown focal length is learned: enough that one bad
pair does not decide."""


FramePair = tuple[Frame, Frame]
PlatePair = tuple[Plate | None, Plate | None]


class BlindEye:
    """Knows nothing: for runs that are not to look at pictures."""

    def glance(self, frames: Sequence[Frame]) -> list[Glance | None]:
        """Not known, for every frame."""
        return [None] * len(frames)

    def compare(
        self, pairs: Sequence[tuple[Frame, Frame]], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        """Not known, for every pair."""
        return [None] * len(pairs)

    def compare_near(
        self, pairs: Sequence[tuple[Frame, Frame]], turns_deg: Sequence[tuple[float, float, float]]
    ) -> list[Sighting | None]:
        """Not known, for every pair."""
        del turns_deg
        return [None] * len(pairs)

    def compare_closely(self, pairs: Sequence[tuple[Frame, Frame]]) -> list[Sighting | None]:
        """Not known, for every pair."""
        return [None] * len(pairs)

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        """Not known."""
        del frames, sightings
        return None


Keep = Callable[[Frame, Upright], None]
"""Is given each small picture as it is looked at first."""


def open_eye(
    root: Path,
    settings: Settings,
    *,
    jobs: int = 1,
    progress: Progress | None = None,
    keep: Keep | None = None,
) -> Eye:
    """An eye on the pictures below ``root``; a blind one where the settings say so."""
    if not settings.sight.enabled:
        return BlindEye()
    return PictureEye(root, settings, jobs=jobs, progress=progress, keep=keep)


@dataclass(slots=True)
class _Habit:
    """What the last good links of a camera showed: how it is held, its focal length."""

    pitch_deg: float = 0.0
    lens: Lens | None = None


class PictureEye:
    """Looks at thumbnails, else previews, else main pictures decoded small.

    Answers depend only on the calls made and their order, not on ``jobs``: large pictures are
    decoded ahead by threads, all are compared by one, some pairs at once (see ``_WAVE``).
    """

    def __init__(
        self,
        root: Path,
        settings: Settings,
        *,
        jobs: int = 1,
        progress: Progress | None = None,
        keep: Keep | None = None,
    ) -> None:
        self._root = root
        self._keep = keep
        self._settings = settings.sight
        self._jobs = max(1, jobs)
        self._progress = progress
        self._shelf = Shelf(self._settings.shelved)
        self._glances: dict[str, Glance | None] = {}
        self._plates: OrderedDict[str, Plate] = OrderedDict()
        self._habits: dict[CameraKey, _Habit] = {}
        self._cameras: dict[str, CameraBelief] = {}
        self._pitches: dict[str, float] = {}
        self._horizons: dict[str, tuple[HorizonLine, ...]] = {}

    def glance(self, frames: Sequence[Frame]) -> list[Glance | None]:
        """What each picture shows on its own, in the order asked."""
        new = [(frame,) for frame in frames if frame.file not in self._glances]
        for _ in self._ahead(new, "looking"):
            pass  # what was looked at is remembered
        return [self._glances[frame.file] for frame in frames]

    def compare(
        self, pairs: Sequence[FramePair], *, quick: bool | Sequence[bool] = False
    ) -> list[Sighting | None]:
        """How the camera turned from the first to the second frame of each pair.

        ``None`` where a picture is missing or too plain to be recognised.
        """
        each = [quick] * len(pairs) if isinstance(quick, bool) else list(quick)
        self._learn(pairs)
        seen: list[Sighting | None] = []
        for wave, plates in self._waves(pairs):
            first = len(seen)
            seen += self._compare(wave, plates, each[first : first + len(wave)])
        return seen

    def compare_near(
        self, pairs: Sequence[FramePair], turns_deg: Sequence[tuple[float, float, float]]
    ) -> list[Sighting | None]:
        """How the camera turned, looked for only near the turn expected for each pair."""
        turns = rotation(np.radians(np.array(turns_deg).reshape(-1, 3)))
        seen: list[Sighting | None] = []
        for wave, plates in self._waves(pairs):
            first = len(seen)
            seen += self._compare_near(wave, plates, turns[first : first + len(wave)])
        return seen

    def compare_closely(self, pairs: Sequence[FramePair]) -> list[Sighting | None]:
        """How the camera turned, as larger pictures show that are decoded for it."""
        seen: list[Sighting | None] = []
        plates: dict[str, Plate | None] = {}
        with ThreadPoolExecutor(self._jobs) as pool:
            for first in range(0, len(pairs), _CLOSE_WAVE):
                wave = pairs[first : first + _CLOSE_WAVE]
                frames = {frame.file: frame for pair in wave for frame in pair}
                plates = {file: plates[file] for file in frames if file in plates}
                new = [frame for file, frame in frames.items() if file not in plates]
                for frame, plate in zip(new, pool.map(self._closer, new), strict=True):
                    plates[frame.file] = plate
                both: list[PlatePair] = [(plates[a.file], plates[b.file]) for a, b in wave]
                seen += self._compare(wave, both, [False] * len(wave))
                if self._progress is not None:
                    self._progress("looking closely", len(seen), len(pairs))
        return seen

    def _closer(self, frame: Frame) -> Plate | None:
        shown = load_closer(self._root, frame)
        return None if shown is None else prepare(preview(shown), CLOSE_SCALES_PX)

    def solve(
        self, frames: Sequence[Frame], sightings: Sequence[tuple[int, int, Sighting]]
    ) -> Solution | None:
        """Solve the pointings of frames from sightings between them, given by index."""
        solution = solve_pointings(frames, sightings)
        if solution is None:
            return None
        camera = self._camera(frames[0])
        lens = self._lens_of(camera)
        share = lens.share if camera.known or self._is_learned(camera) else None
        solution = replace(solution, focal_share=share, mapping=lens.mapping)
        return self._with_lean(frames, solution)

    def _with_lean(self, frames: Sequence[Frame], solution: Solution) -> Solution:
        """The lean of the base from recorded elevations, else from the horizon in the pictures."""
        if solution.base_tilt_deg is not None:
            return solution
        lean = lean_by_elevation(solution.pointings, frames)
        # A fisheye bends the horizon.
        if lean is None and solution.mapping == "rectilinear" and may_show_horizon(solution):
            share = self._lens_of(self._camera(frames[0])).share * solution.focal_scale
            lean = lean_by_horizon(
                solution.pointings, share, lambda at: self._horizons_of(frames[at])
            )
        if lean is None or not lean.is_known:
            return solution
        return replace(solution, base_tilt_deg=round(lean.deg, 2))

    def _horizons_of(self, frame: Frame) -> tuple[HorizonLine, ...]:
        if frame.file not in self._horizons:
            shown = load_upright(self._root, frame)
            lines = () if shown is None else find_horizons(preview(shown).luma, shown.full_px)
            self._horizons[frame.file] = lines
        return self._horizons[frame.file]

    def _waves(
        self, pairs: Sequence[FramePair]
    ) -> Iterator[tuple[list[FramePair], list[PlatePair]]]:
        """Some pairs after the other with their pictures: what is found shows how to go on."""
        wave: list[FramePair] = []
        plates: list[PlatePair] = []
        for pair, (a, b) in zip(pairs, self._plates_of(pairs, "comparing"), strict=True):
            wave.append(pair)
            plates.append((a, b))
            if len(wave) == _WAVE:
                yield wave, plates
                wave, plates = [], []
        if wave:
            yield wave, plates

    def _compare(
        self, frames: Sequence[FramePair], plates: Sequence[PlatePair], quick: Sequence[bool]
    ) -> list[Sighting | None]:
        places, pairs = self._pairs_of(frames, plates)
        best: list[Match | None] = [None] * len(pairs)
        tried: list[frozenset[View]] = [frozenset()] * len(pairs)
        # What the first look and the wider one tell of the pitch helps those still in doubt.
        for is_wide in (False, True, False):
            left = [i for i in range(len(pairs)) if not is_sure(best[i])]
            hasty = [quick[places[i]] for i in left]
            ways: list[Ways] = []
            scouted = ""
            for i, soon in zip(left, hasty, strict=True):
                first, second = frames[places[i]]
                # Of pairs in a row every second one will do: what it shows the others try next.
                everywhere = is_wide and first.file != scouted
                ways.append(
                    self._ways((first, second), pairs[i], tried[i], is_wide, everywhere, soon)
                )
                if any(level == SCOUT for _, level in ways[-1]):
                    scouted = second.file
            found = find_matches([pairs[i] for i in left], ways, quick=hasty)
            for i, match in zip(left, found, strict=True):
                before = best[i]
                if match is not None and (before is None or match.certainty > before.certainty):
                    best[i] = match
                    self._remember(frames[places[i]], match)
            for i, own in zip(left, ways, strict=True):
                tried[i] |= {view for views, level in own if level == SEARCH for view in views}
        seen: list[Sighting | None] = [None] * len(frames)
        for at, pair, match in zip(places, pairs, best, strict=True):
            seen[at] = _told(pair.a, pair.b, match)
        return seen

    def _ways(
        self,
        frames: FramePair,
        pair: Pair,
        tried: frozenset[View],
        on_side: bool,
        everywhere: bool,
        is_quick: bool,
    ) -> Ways:
        """The ways to look next at a pair: the likeliest first."""
        pitches, habit = self._holds_of(frames), self._habit_of(frames).pitch_deg
        if not tried:
            return [((likeliest_view(pitches, habit),), SEARCH)]
        if is_quick:
            return other_ways(pair, pitches, tried)
        # The pairs around may have shown that the camera is held another way by now.
        return other_ways(
            pair, pitches, tried, habit_deg=habit, on_side=on_side, everywhere=everywhere
        )

    def _compare_near(
        self, frames: Sequence[FramePair], plates: Sequence[PlatePair], turns: DoubleArray
    ) -> list[Sighting | None]:
        places, pairs = self._pairs_of(frames, plates)
        pitches = [
            next((hold for hold in self._holds_of(frames[at]) if hold is not None), 0.0)
            for at in places
        ]
        matches = find_matches(
            pairs, [ways_near(pitch) for pitch in pitches], [turns[at] for at in places]
        )
        seen: list[Sighting | None] = [None] * len(frames)
        for at, pair, match in zip(places, pairs, matches, strict=True):
            if match is not None:
                match = replace(match, certainty=expected_certainty(match.certainty))
                seen[at] = None if _is_too_plain(pair.a, pair.b, match) else sighting(match)
        return seen

    def _pairs_of(
        self, frames: Sequence[FramePair], plates: Sequence[PlatePair]
    ) -> tuple[list[int], list[Pair]]:
        """The pairs of which both pictures are there, and their places."""
        places, pairs = [], []
        for at, (both, (a, b)) in enumerate(zip(frames, plates, strict=True)):
            if a is not None and b is not None:
                places.append(at)
                pairs.append(Pair(a, b, self._lenses_of(both)))
        return places, pairs

    def _remember(self, frames: FramePair, match: Match) -> None:
        """Learn from a match, if it is sure, how far up the cameras looked."""
        if not is_sure(match):
            return
        pitches = pitches_after(match, self._holds_of(frames))
        if pitches is None:
            return
        self._habit_of(frames).pitch_deg = pitches[1]
        for frame, pitch in zip(frames, pitches, strict=True):
            self._pitches[frame.file] = pitch

    def _habit_of(self, frames: FramePair) -> _Habit:
        return self._habits.setdefault(self._camera(frames[0]).key, _Habit())

    def _lenses_of(self, pair: FramePair) -> tuple[Lens, Lens]:
        """The lenses of two frames."""
        return self._lens_of(self._camera(pair[0])), self._lens_of(self._camera(pair[1]))

    def _holds_of(self, pair: FramePair) -> tuple[float | None, float | None]:
        """How far up each camera looked: as recorded, else as earlier matches showed."""
        return self._hold_of(pair[0]), self._hold_of(pair[1])

    def _hold_of(self, frame: Frame) -> float | None:
        recorded = self._camera(frame).pitch_deg
        return self._pitches.get(frame.file) if recorded is None else recorded

    def _camera(self, frame: Frame) -> CameraBelief:
        """What is believed of a frame's camera; asked for a dozen times a pair."""
        belief = self._cameras.get(frame.file)
        if belief is None:
            if len(self._cameras) >= _CAMERAS:
                self._cameras.clear()
            belief = self._cameras[frame.file] = camera_of(frame)
        return belief

    def _lens_of(self, camera: CameraBelief) -> Lens:
        habit = self._habits.get(camera.key)
        learned = None if habit is None else habit.lens
        return camera.lenses[0] if learned is None else learned

    def _is_learned(self, camera: CameraBelief) -> bool:
        habit = self._habits.get(camera.key)
        return habit is not None and habit.lens is not None

    def _learn(self, pairs: Sequence[FramePair]) -> None:
        """Let the pictures choose the lens of cameras whose metadata leaves it open."""
        open_pairs: dict[CameraKey, list[FramePair]] = {}
        for pair in pairs:
            cameras = self._camera(pair[0]), self._camera(pair[1])
            habit = self._habits.get(cameras[0].key)
            if (
                cameras[0].key == cameras[1].key
                and len(cameras[0].lenses) > 1
                and (habit is None or habit.lens is None)
            ):
                open_pairs.setdefault(cameras[0].key, []).append(pair)
        for key, chosen in open_pairs.items():
            some = chosen[:: max(1, len(chosen) // _LEARN_PAIRS)][:_LEARN_PAIRS]
            lens = self._likeliest(some, self._camera(some[0][0]).lenses)
            if lens is not None:
                finer = tuple(lens._replace(share=lens.share * step) for step in _FINER)
                lens = self._likeliest(some, finer) or lens
                self._habits.setdefault(key, _Habit()).lens = lens

    def _likeliest(self, pairs: Sequence[FramePair], lenses: Sequence[Lens]) -> Lens | None:
        """The lens under which turned pictures agree best; ``None`` if they do under none."""
        totals = dict.fromkeys(lenses, 0.0)
        telling = False
        for a, b in self._plates_of(pairs, None):
            if a is None or b is None:
                continue
            tried = [Pair(a, b, (lens, lens)) for lens in lenses]
            matches = dict(zip(lenses, find_matches(tried, [LEVEL] * len(tried)), strict=True))
            if not any(
                is_sure(match) and match.evidence.fit.overlap < _TURNED
                for match in matches.values()
            ):
                continue
            telling = True
            for lens, match in matches.items():
                totals[lens] += 0.0 if match is None else match.evidence.fit.strength
        return max(lenses, key=lambda lens: totals[lens]) if telling else None

    def _plates_of(
        self, wanted: Sequence[tuple[Frame, ...]], what: str | None
    ) -> Iterator[list[Plate | None]]:
        for frames, packed in zip(wanted, self._ahead(wanted, what), strict=True):
            yield [
                None if one is None else self._plate(frame.file, one)
                for frame, one in zip(frames, packed, strict=True)
            ]

    def _plate(self, file: str, packed: ShelvedPlate) -> Plate:
        """The plate, made ready for work; those not used lately go back on the shelf."""
        plate = self._plates.pop(file, None)
        if plate is None:
            plate = packed.taken_down()
        self._plates[file] = plate
        for resting in islice(reversed(self._plates.values()), _RECENT, _RECENT + 1):
            resting.rest()
        while len(self._plates) > self._settings.kept:
            self._plates.popitem(last=False)
        return plate

    def _ahead(
        self, wanted: Sequence[tuple[Frame, ...]], what: str | None
    ) -> Iterator[list[ShelvedPlate | None]]:
        """What is known of each tuple of frames in turn, large ones decoded ahead by threads."""
        total = len(wanted)
        with ThreadPoolExecutor(self._jobs) as pool:
            coming: dict[str, Future[ByteArray | None]] = {}
            fetched = 0
            for done, frames in enumerate(wanted):
                while fetched < total and fetched <= done + self._settings.ahead:
                    for frame in wanted[fetched]:
                        if (
                            self._is_worth_a_thread(frame)
                            and frame.file not in self._shelf
                            and frame.file not in coming
                        ):
                            coming[frame.file] = pool.submit(load_pixels, self._root, frame)
                    fetched += 1
                yield [self._looked(frame, coming) for frame in frames]
                if self._progress is not None and what is not None:
                    self._progress(what, done + 1, total)

    def _is_worth_a_thread(self, frame: Frame) -> bool:
        """Whether decoding takes longer than threads lose by waiting for one another.

        A thumbnail takes 0.2 ms; threads that decode them beside the comparison take a fifth
        more processor time altogether, and no less time (measured).
        """
        return self._jobs > 1 and frame.picture is not None and frame.picture.kind != "thumbnail"

    def _looked(
        self, frame: Frame, coming: dict[str, Future[ByteArray | None]]
    ) -> ShelvedPlate | None:
        future = coming.pop(frame.file, None)
        if frame.file in self._shelf:
            with suppress(KeyError):
                return self._shelf.get(frame.file)
        pixels = load_pixels(self._root, frame) if future is None else future.result()
        packed = None if pixels is None else self._look(frame, pixels)
        self._shelf.put(frame.file, packed)
        if packed is None:
            self._glances[frame.file] = None
        return packed

    def _look(self, frame: Frame, pixels: ByteArray) -> ShelvedPlate:
        """Make of a picture that was decoded all that is wanted of it."""
        upright = stood_up(pixels, stored_px(frame), frame.orientation)
        if self._keep is not None:
            self._keep(frame, upright)
        shown = preview(upright)
        plate = prepare(shown)
        self._glances[frame.file] = replace(glance_at(shown), is_alike=plate.profile.size > 0)
        return shelved(plate)


def _told(a: Plate, b: Plate, match: Match | None) -> Sighting | None:
    """What a match says of two pictures, ``None`` where they are too plain to say anything."""
    if _is_too_plain(a, b, match):
        return None
    if not (a.is_telling or b.is_telling) and _is_unmoved(match):
        return None
    if (match is None or match.certainty < _LIKELY) and look_alike(a, b):
        return None  # they may overlap anywhere
    return sighting(match)


def _is_too_plain(a: Plate, b: Plate, match: Match | None) -> bool:
    """Whether one picture shows too little for what was found, or not found, to count."""
    is_telling = a.is_telling and b.is_telling
    return not is_telling and (match is None or match.certainty < _PLAIN_SURE)


def _is_unmoved(match: Match | None) -> bool:
    """Whether two pictures lie on one another: so do any two skies, by their even shading."""
    return match is not None and match.evidence.fit.overlap > _TURNED
