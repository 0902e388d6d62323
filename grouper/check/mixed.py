"""Frames of a set that differ in one setting from the rest: the odd ones are named.

The value most frames share is the norm; where equally many share another, the one that came
first. Spares are left out: they are not used, and often are spares because of the setting.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from grouper.check import words
from grouper.check.norm import Norm, find_norm
from grouper.check.traits import Trait
from grouper.check.views import members_in_use
from grouper.contracts import Problem
from grouper.model import Member, Set

T = TypeVar("T", bound=Hashable)

_NAMED = 4
"""Odd frames that are named with their values in the sentence; more are summed up."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Odd(Generic[T]):
    """A frame that differs, and the norm it differs from."""

    member: Member
    value: T
    norm: Norm[T]


def find_odd(found: Set, trait: Trait[T]) -> tuple[Odd[T], ...]:
    """The odd frames in shooting order; each is compared within its own excuse."""
    members = members_in_use(found)
    groups: dict[Hashable, list[int]] = defaultdict(list)
    for index, member in enumerate(members):
        groups[trait.excused(member)].append(index)
    odd: dict[int, Odd[T]] = {}
    for indexes in groups.values():
        values = [trait.read(members[index]) for index in indexes]
        norm = find_norm(values, trait.same)
        if norm is None:
            continue
        for place in norm.odd:
            value = values[place]
            if value is not None:
                odd[indexes[place]] = Odd(member=members[indexes[place]], value=value, norm=norm)
    return tuple(odd[index] for index in sorted(odd))


def find_mixed(found: Set, trait: Trait[T], advice: str) -> Iterator[Problem]:
    """One problem that names the odd frames, or none."""
    odd = find_odd(found, trait)
    if not odd:
        return
    yield Problem(
        frames=tuple(item.member.frame.file for item in odd),
        message=_message(found, trait, odd),
        advice=advice,
        measured={
            f"norm_{trait.unit}": _norms(trait, odd),
            f"odd_{trait.unit}": {item.member.frame.file: trait.plain(item.value) for item in odd},
        },
    )


def _norms(trait: Trait[T], odd: tuple[Odd[T], ...]) -> object:
    values: list[object] = []
    for item in odd:
        plain = trait.plain(item.norm.value)
        if plain not in values:
            values.append(plain)
    return values[0] if len(values) == 1 else values


def _message(found: Set, trait: Trait[T], odd: tuple[Odd[T], ...]) -> str:
    known = sum(trait.read(member) is not None for member in members_in_use(found))
    is_one_norm = len({id(item.norm) for item in odd}) == 1
    if any(not item.norm.is_majority for item in odd):
        return _wandering(trait, odd, known)
    if len(odd) > _NAMED:
        rest = "the others" if not is_one_norm else f"the other {known - len(odd)}"
        return (
            f"{words.counted(len(odd), 'frame')} differ in {trait.noun}: "
            f"{words.names(item.member.frame.file for item in odd)} {_values(trait, odd)}, "
            f"where {rest} {trait.verbs[1]} {trait.show(odd[0].norm.value)}."
        )
    if is_one_norm:
        told = words.listed(
            [f"{item.member.frame.name} ({trait.show(item.value)})" for item in odd]
        )
        verb = "differs" if len(odd) == 1 else "differ"
        rest = words.counted(known - len(odd), "other frame")
        has = trait.verbs[known - len(odd) > 1]
        return f"{told} {verb} in {trait.noun}: the {rest} {has} {trait.show(odd[0].norm.value)}."
    told = words.listed(
        [
            f"{item.member.frame.name} ({trait.show(item.value)} instead of "
            f"{trait.show(item.norm.value)})"
            for item in odd
        ]
    )
    return (
        f"{told} {'differs' if len(odd) == 1 else 'differ'} in {trait.noun} from the other views."
    )


def _values(trait: Trait[T], odd: tuple[Odd[T], ...]) -> str:
    shown: list[str] = []
    for item in odd:
        text = trait.show(item.value)
        if text not in shown:
            shown.append(text)
    return f"({words.listed(shown)})"


def _wandering(trait: Trait[T], odd: tuple[Odd[T], ...], known: int) -> str:
    """No value holds the majority: the setting changes through the set."""
    norm = odd[0].norm
    if known == 2:
        return f"The two frames differ in {trait.noun}: {_pair(trait, odd[0])}."
    values = [norm.value, *(item.value for item in odd)]
    first = odd[0].member.frame.name
    return (
        f"The {trait.noun} changes through the set: {_range(trait, values)} over "
        f"{words.counted(known, 'frame')}; the first to differ is {first}."
    )


def _pair(trait: Trait[T], odd: Odd[T]) -> str:
    """The values of two frames, the odd one's named; the other one is the norm by coming first."""
    verb = trait.verbs[0]
    value, norm = trait.show(odd.value), trait.show(odd.norm.value)
    return f"{odd.member.frame.name} {verb} {value}, the other {norm}"


def _range(trait: Trait[T], values: Sequence[T]) -> str:
    numbers = [v for v in values if isinstance(v, int | float) and not isinstance(v, bool)]
    if len(numbers) == len(values):
        ordered = sorted(values, key=lambda value: float(value))  # type: ignore[arg-type]
        return words.span(trait.show(ordered[0]), trait.show(ordered[-1]))
    shown: list[str] = []
    for value in values:
        if trait.show(value) not in shown:
            shown.append(trait.show(value))
    return words.listed(shown)
