"""What most frames have in common, and which are the odd ones out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

T = TypeVar("T")


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
    known = [(index, value) for index, value in enumerate(values) if value is not None]
    best: tuple[int, T] | None = None
    for _, candidate in known:
        support = sum(same(candidate, value) for _, value in known)
        if best is None or support > best[0]:
            best = support, candidate
    if best is None:
        return None
    value = best[1]
    return Norm(
        value=value,
        typical=tuple(index for index, other in known if same(value, other)),
        odd=tuple(index for index, other in known if not same(value, other)),
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
