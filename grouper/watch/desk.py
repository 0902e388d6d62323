"""What is to be done next: the service's decisions, without disk, clock or sleep.

Every method takes the time as ``now``, in seconds of a clock that only runs forwards, so a
wall clock that jumps changes nothing. A card is *due* once it was still for ``settle_s``: two
looks that far apart saw the same, and no event came between.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final, Literal

from grouper.settings import WatchSettings
from grouper.watch.look import Look

Stage = Literal["arriving", "waiting", "grouping", "done", "failed"]

PAUSE_S: Final = 1.0
"""After an event a card is looked at no sooner than this, so that a copy under way costs one
look and not one a file; with a short ``settle_s``, after a quarter of it."""
_GROWTH: Final = 4.0
"""Each wait before another try is so many times the one before."""


@dataclass(slots=True)
class Place:
    """A card on the desk."""

    name: str
    look: Look | None = None
    """The last one."""
    changed_at: float = -math.inf
    """When it was last seen or heard to change."""
    look_at: float = -math.inf
    """When to look next; infinity: not before something happens."""
    asked_at: float | None = None
    """Since when a look is under way."""
    is_still: bool = False
    still_at: float = math.inf
    grouped: bytes | None = None
    """What it was last grouped from: a look's identity."""
    is_stale: bool = False
    """Grouped under other settings or by another version."""
    tries: int = 0
    failed: bytes | None = None
    """The identity at which grouping failed."""
    retry_at: float = -math.inf
    was_moving: bool = False
    """It changed between two looks."""

    @property
    def is_grouped(self) -> bool:
        """Whether what was last seen is what was grouped."""
        seen = self.look
        return seen is not None and seen.identity == self.grouped and not self.is_stale


@dataclass(slots=True)
class Desk:
    """All cards of the inbox, by name."""

    settings: WatchSettings
    once: bool = False
    """Judge what is still and be done: a card that moves meanwhile is left."""
    places: dict[str, Place] = field(default_factory=dict)
    busy: str | None = None
    """The card being grouped."""
    listed: bool = False
    """Whether the inbox was listed at all."""

    # ---- what was seen and heard

    def remember(
        self, name: str, grouped: bytes | None, *, is_stale: bool, tries: int, failed: bytes | None
    ) -> None:
        """Put a card on the desk as an earlier run left it."""
        self.places[name] = Place(
            name=name, grouped=grouped, is_stale=is_stale, tries=tries, failed=failed
        )

    def list_cards(self, names: Iterable[str], now: float) -> tuple[list[str], list[str]]:
        """Take in what cards there are: names that came and names that went."""
        names = set(names)
        self.listed = True
        came = sorted(names - self.places.keys())
        went = sorted(self.places.keys() - names)
        for name in came:
            self.places[name] = Place(name=name, look_at=now)
        for name in went:
            del self.places[name]
        return came, went

    def touch(self, name: str, now: float) -> bool:
        """An event came from inside a card; ``False`` for a card not known yet."""
        place = self.places.get(name)
        if place is None:
            return False
        place.changed_at = now
        place.is_still = False
        place.look_at = now + min(PAUSE_S, self.settings.settle_s / 4)
        return True

    def look_again(self, now: float) -> None:
        """Look at everything, as now and then has to be done: events can be lost."""
        for place in self.places.values():
            place.look_at = min(place.look_at, now)

    def to_look(self, now: float) -> list[str]:
        """Cards to be looked at now; each is asked for once."""
        names = [
            place.name
            for place in self.places.values()
            if place.look_at <= now and place.asked_at is None and place.name != self.busy
        ]
        for name in names:
            self.places[name].asked_at = now
        return names

    def take_look(self, name: str, look: Look, now: float) -> None:
        """Take in what a look saw."""
        place = self.places.get(name)
        if place is None:
            return
        asked_at, place.asked_at = place.asked_at, None
        heard = asked_at is not None and place.changed_at > asked_at
        if look.trouble == "stopped":
            return
        before, place.look = place.look, look
        if before is None or before.stillness != look.stillness or before.trouble != look.trouble:
            place.is_still = False
            place.was_moving |= before is not None
            if before is not None or not place.is_grouped:
                place.changed_at = now
        if heard:
            return  # the event has said when to look again
        self._settle(place, now)

    def _settle(self, place: Place, now: float) -> None:
        still_from = place.changed_at + self.settings.settle_s
        if now < still_from:
            place.look_at = still_from
            return
        place.look_at = math.inf
        if not place.is_still:
            place.is_still, place.still_at = True, now

    def restale(self, stale: Iterable[str]) -> None:
        """Settings changed: say of which cards the outputs are stale now."""
        stale = set(stale)
        for place in self.places.values():
            place.is_stale = place.name in stale

    # ---- what is to be done

    def next_due(self, now: float) -> str | None:
        """The card to group next: the one that is still for longest."""
        due = [place for place in self.places.values() if self._is_due(place, now)]
        if self.busy is not None or not due:
            return None
        return min(due, key=lambda place: (place.still_at, place.name)).name

    def _is_due(self, place: Place, now: float) -> bool:
        look = place.look
        if look is None or not place.is_still or place.is_grouped or place.asked_at is not None:
            return False
        if look.files == 0 and not look.trouble:
            return False  # nothing on it, or nothing any more
        if self.once and place.was_moving:
            return False
        return place.failed != self._cause(look) or now >= place.retry_at

    @staticmethod
    def _cause(look: Look) -> bytes:
        """What a failure belongs to: the same card in the same state."""
        return look.identity or look.trouble.encode()

    def begin(self, name: str) -> None:
        """A card is being grouped."""
        self.busy = name

    def finish(self, name: str, identity: bytes, now: float) -> None:
        """A card was grouped as it was when ``identity`` was seen."""
        self.busy = None
        place = self.places.get(name)
        if place is not None:
            place.grouped, place.is_stale = identity, False
            place.tries, place.failed = 0, None
            place.look_at = now  # it may have changed meanwhile

    def put_off(self, name: str, now: float) -> None:
        """A card changed under the hands of whoever grouped it: it has to settle again."""
        self.busy = None
        place = self.places.get(name)
        if place is not None:
            place.was_moving = True
            self.touch(name, now)

    def fail(self, name: str, now: float) -> float:
        """Grouping a card failed: the wait in seconds until it is tried again."""
        self.busy = None
        place = self.places.get(name)
        if place is None or place.look is None:
            return 0.0
        cause = self._cause(place.look)
        place.tries = place.tries + 1 if place.failed == cause else 1
        place.failed = cause
        wait_s = self.wait_after(place.tries)
        place.retry_at = math.inf if self.once else now + wait_s
        place.look_at = now  # a share that went away is seen at once
        return wait_s

    def wait_after(self, tries: int) -> float:
        """The wait in seconds after so many tries."""
        growth: float = _GROWTH ** min(tries - 1, 20)
        return min(self.settings.retry_s * growth, self.settings.retry_most_s)

    def give_up(self, now: float) -> None:
        """Whoever grouped is gone for a reason of ours: the card stays due."""
        if self.busy is not None and (place := self.places.get(self.busy)) is not None:
            place.look_at = now
        self.busy = None

    def wait_s(self, now: float) -> float:
        """Seconds until something is to be done, if nothing happens before."""
        return max(0.0, min(self._times(now), default=math.inf) - now)

    def _times(self, now: float) -> Iterator[float]:
        for place in self.places.values():
            if place.asked_at is None and place.name != self.busy:
                yield place.look_at
                if place.is_still and not place.is_grouped and place.retry_at > now:
                    yield place.retry_at

    # ---- what is told

    def stage(self, name: str) -> Stage | None:
        """Where a card is; ``None`` for a folder with nothing on it that is no card (yet)."""
        place = self.places[name]
        look = place.look
        if name == self.busy:
            return "grouping"
        if look is None:
            return "done" if place.grouped and not place.is_stale else "arriving"
        if look.files == 0 and not look.trouble:
            return None
        if place.is_grouped:
            return "done"
        if place.failed == self._cause(look):
            return "failed"
        return "waiting" if place.is_still else "arriving"

    def is_idle(self, now: float) -> bool:
        """Whether nothing is left that looking or grouping could do; for ``once``."""
        return (
            self.listed
            and self.busy is None
            and self.next_due(now) is None
            and all(
                place.asked_at is None
                and place.look is not None
                and (place.look_at == math.inf or place.was_moving)
                for place in self.places.values()
            )
        )

    def left(self) -> list[str]:
        """Cards that moved while they were watched and are not grouped as they are now."""
        return sorted(
            place.name
            for place in self.places.values()
            if place.was_moving and not place.is_grouped and place.failed is None
        )
