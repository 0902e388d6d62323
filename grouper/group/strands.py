"""Frames of one body in the order they were shot.

A strand is one body's time line. Bodies are never mixed on one line: their clocks differ.
"""

from __future__ import annotations

import itertools
import re
from bisect import bisect
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from grouper.model import Frame, camera_name

EPOCH = datetime(2000, 1, 1)
CLOCK_BACK_S = 2.0
"""A clock that runs back by less than this has not been set: whole-second stamps and write
order alone can swap two frames of a burst."""
FEWEST_NUMBERED = 4
"""With fewer frames nothing tells a clock set back from names given by hand."""
COUNTER_TRUST = 0.9
"""Share of steps in file-number order that must run forward in time before the numbers are
believed over the clock, unless it runs back just once. Below it the names were given by hand
or against time."""
MOST_DELETED = 50
"""A clock is set between two frames: of the numbers between them only deleted ones are gone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strand:
    """One body's frames in shooting order.

    ``at_s`` holds seconds on a line that never runs back; ``None`` for an undated frame.
    ``clock_steps`` are (index of the frame after the step, seconds the clock jumped).
    """

    body: str
    make: str | None
    model: str | None
    serial: str | None
    frames: tuple[Frame, ...]
    at_s: tuple[float | None, ...]
    clock_steps: tuple[tuple[int, float], ...] = ()


def build_strands(frames: Iterable[Frame]) -> tuple[Strand, ...]:
    """Sort frames into one strand per body, each in shooting order, busiest body first."""
    bodies: dict[tuple[str | None, str | None, str | None], list[Frame]] = defaultdict(list)
    for frame in frames:
        bodies[frame.make, frame.model, frame.serial].append(frame)
    _adopt_unnumbered(bodies)
    ids = _body_ids(bodies)
    ordered = sorted(bodies, key=lambda key: (-len(bodies[key]), ids[key]))
    return tuple(_strand(ids[key], key, bodies[key]) for key in ordered)


def seconds(frame: Frame) -> float | None:
    """The frame's own clock in seconds since 2000, or ``None`` for an undated frame."""
    return None if frame.taken is None else (frame.taken - EPOCH).total_seconds()


def _adopt_unnumbered(
    bodies: dict[tuple[str | None, str | None, str | None], list[Frame]],
) -> None:
    """Give frames without a serial to the one body of that model that has one.

    Editors drop the serial now and then. With two numbered bodies of one model nothing says
    whose the frame is, so it stays on a line of its own.
    """
    for key in [key for key in bodies if key[2] is None and key[1] is not None]:
        same_model = [other for other in bodies if other[:2] == key[:2] and other[2] is not None]
        if len(same_model) == 1:
            bodies[same_model[0]].extend(bodies.pop(key))


def _body_ids(
    bodies: Iterable[tuple[str | None, str | None, str | None]],
) -> dict[tuple[str | None, str | None, str | None], str]:
    """A short, readable, unique name for each body."""
    keys = sorted(bodies, key=lambda key: tuple((part is not None, part or "") for part in key))
    stems = {key: _slug(camera_name(key[0], key[1])) for key in keys}
    shared = Counter(stems.values())
    ids: dict[tuple[str | None, str | None, str | None], str] = {}
    for key in keys:
        name = stems[key]
        if shared[name] > 1 and key[2]:
            name = f"{name}-{_slug(key[2])}"
        while name in ids.values():
            name += "-x"
        ids[key] = name
    return ids


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "unknown-body"


def _strand(
    body: str, key: tuple[str | None, str | None, str | None], frames: Sequence[Frame]
) -> Strand:
    dated = [frame for frame in frames if frame.taken is not None]
    undated = sorted((frame for frame in frames if frame.taken is None), key=_by_name)
    ordered, steps = _order_dated(dated)
    at_s: list[float | None] = []
    shift = 0.0
    step_at = dict(steps)
    for index, frame in enumerate(ordered):
        shift -= step_at.get(index, 0.0)
        clock = seconds(frame)
        assert clock is not None  # dated frames only
        at_s.append(clock + shift)
    line, times = _weave_undated(ordered, at_s, undated)
    place = {frame.file: index for index, frame in enumerate(line)}
    return Strand(
        body=body,
        make=key[0],
        model=key[1],
        serial=next((frame.serial for frame in frames if frame.serial), None),
        frames=tuple(line),
        at_s=tuple(times),
        clock_steps=tuple((place[ordered[index].file], jump) for index, jump in steps),
    )


def _by_name(frame: Frame) -> tuple[object, ...]:
    """File names with their digits as numbers, so that 9 comes before 10."""
    parts = re.split(r"(\d+)", frame.file)
    return tuple((1, int(part), "") if part.isdecimal() else (0, 0, part) for part in parts)


def _order_dated(dated: Sequence[Frame]) -> tuple[list[Frame], list[tuple[int, float]]]:
    """Shooting order of dated frames, and where the clock was set back.

    Returns the frames and (index of the first frame on the new clock, seconds jumped: negative
    where the clock ran back). Time rules unless the file numbers are plainly the camera's own
    and say that the clock ran back.
    """
    dated = sorted(dated, key=_by_name)  # what decides where all else is the same
    by_time = sorted(dated, key=_time_key)
    numbered = [frame for frame in dated if _has_camera_number(frame)]
    if len(numbered) < len(dated) or len(dated) < FEWEST_NUMBERED:
        return by_time, []
    by_counter = _in_number_order(numbered)
    clock = [seconds(frame) or 0.0 for frame in by_counter]
    back = [i for i in range(1, len(clock)) if clock[i] < clock[i - 1] - CLOCK_BACK_S]
    trusted = len(back) == 1 or 1 - len(back) / (len(clock) - 1) >= COUNTER_TRUST
    # Numbers that began again at 0001 leave a hole where the new ones meet the old.
    run_on = all(
        (by_counter[i].counter or 0) - (by_counter[i - 1].counter or 0) <= MOST_DELETED
        for i in back
    )
    if not back or not trusted or not run_on or _began_again(by_counter, clock):
        return by_time, []
    steps: list[tuple[int, float]] = []
    for index in back:
        usual = _usual_pause_s(clock, index)
        steps.append((index, clock[index] - clock[index - 1] - usual))
    return by_counter, steps


def _began_again(by_counter: Sequence[Frame], clock: Sequence[float]) -> bool:
    """Whether numbers were given out more than once, as with one card after the other.

    A frame that was copied twice has its number twice as well, but at one time.
    """
    return any(
        (a.folder_number, a.counter) == (b.folder_number, b.counter)
        and abs(clock[i + 1] - clock[i]) > CLOCK_BACK_S
        for i, (a, b) in enumerate(itertools.pairwise(by_counter))
    )


def _time_key(frame: Frame) -> tuple[object, ...]:
    # Within one stamp the body's own counters decide; the folder comes first because the
    # counter starts again in a new one. Frames that are alike in all stay in order of names.
    return (
        seconds(frame),
        frame.shutter_count or 0,
        frame.folder_number or 0,
        frame.counter if _has_camera_number(frame) else 0,
    )


def _has_camera_number(frame: Frame) -> bool:
    return frame.counter is not None and frame.folder_number is not None


def _in_number_order(frames: Sequence[Frame]) -> list[Frame]:
    """Frames in order of folder and file number; a body wraps 9999 to 0001 in a new folder.

    Frames of one number stay in the order given.
    """
    return sorted(frames, key=lambda frame: (frame.folder_number or 0, frame.counter or 0))


def _usual_pause_s(clock: Sequence[float], index: int) -> float:
    """The pause to assume across a clock step: the median of the pauses around it."""
    around = [
        clock[i] - clock[i - 1]
        for i in range(max(1, index - 5), min(len(clock), index + 6))
        if i != index and clock[i] >= clock[i - 1]
    ]
    return sorted(around)[len(around) // 2] if around else 0.0


def _weave_undated(
    dated: Sequence[Frame], at_s: Sequence[float | None], undated: Sequence[Frame]
) -> tuple[list[Frame], list[float | None]]:
    """Put undated frames after the frame that their folder and number follow, else at the end."""
    numbers: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for index, frame in enumerate(dated):
        if frame.counter is not None:
            numbers[frame.folder].append((frame.counter, index))
    for known in numbers.values():
        known.sort()
    waiting: dict[int, list[Frame]] = defaultdict(list)
    for frame in undated:
        known = numbers.get(frame.folder, [])
        found = -1 if frame.counter is None else bisect(known, (frame.counter, -1)) - 1
        waiting[known[found][1] if found >= 0 else len(dated) - 1].append(frame)
    line: list[Frame] = list(waiting.get(-1, []))
    times: list[float | None] = [None] * len(line)
    for index, (frame, time) in enumerate(zip(dated, at_s, strict=True)):
        after = waiting.get(index, [])
        line += [frame, *after]
        times += [time, *([None] * len(after))]
    return line, times
