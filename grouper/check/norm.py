"""What most frames have in common, and which are the odd ones out."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T", bound=Hashable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Norm(Generic[T]):
    """The value most frames share. Indexes point into the values that were given."""

    value: T
    typical: tuple[int, ...]
    odd: tuple[int, ...]

    @property
    def is_majority(self) -> bool:
        """Whether more than half of the frames agree on the value."""
        return len(self.typical) > len(self.odd)


def find_norm(values: Sequence[T | None], same: Callable[[T, T], bool]) -> Norm[T] | None:
    """The value with the most like it; among equals the one that came first.

    ``None`` values are not known: neither typical nor odd. ``None`` when nothing is known.
    """
    # A long series repeats few values: compare each of them once, not frame with frame.
    counts: dict[T, int] = {}
    for value in values:
        if value is not None:
            counts[value] = counts.get(value, 0) + 1
    best: tuple[int, T] | None = None
    for candidate in counts:
        support = sum(count for value, count in counts.items() if same(candidate, value))
        if best is None or support > best[0]:
            best = support, candidate
    if best is None:
        return None
    norm = best[1]
    alike = {value: same(norm, value) for value in counts}
    known = [(index, value) for index, value in enumerate(values) if value is not None]
    return Norm(
        value=norm,
        typical=tuple(index for index, value in known if alike[value]),
        odd=tuple(index for index, value in known if not alike[value]),
    )


def median(values: Sequence[float]) -> float:
    """The middle value.

    Raises:
        ValueError: there are none.
    """
    if not values:
        raise ValueError("no values, no middle")
    ordered = sorted(values)
    half = len(ordered) // 2
    if len(ordered) % 2:
        return ordered[half]
    return (ordered[half - 1] + ordered[half]) / 2
