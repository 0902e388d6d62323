"""Which outputs to remove, and which cards to forget, by rule. Pure; never one in the inbox.

Both rules are off unless set: outputs go ``keep_days`` after their card left, and the longest
gone ones while all outputs together take more than ``outputs_most_mb``. While the inbox holds
no card at all nothing is removed: a share that is not mounted looks just like that.

What is remembered of a card that left goes once it is of no more use, so that a service that runs
for years does not grow with every card it ever saw.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from grouper.settings import WatchSettings
from grouper.watch.state import Record

_DAY_S: Final = 86_400.0
_MB: Final = 1 << 20
FORGET_DAYS: Final = 30
"""A card that left, and whose outputs are gone too, is forgotten after so many days: until then
the page tells what became of it, and no command runs anew should it come back."""
MOST_REMEMBERED: Final = 10_000
"""Cards that left and whose outputs stay are remembered up to so many, the latest: each takes some
5 kB of memory, and all are gone over whenever the page is written. Where a rule is to remove their
outputs one day, all are remembered until then."""


def wants_sizes(settings: WatchSettings) -> bool:
    """Whether the sizes of the outputs have to be known."""
    return settings.outputs_most_mb > 0


def to_remove(
    records: Sequence[Record],
    sizes: Mapping[int, int],
    settings: WatchSettings,
    run_s: float,
) -> list[tuple[Record, str]]:
    """The cards whose outputs are to be removed, and why, in the order of removal.

    Args:
        records: all cards.
        sizes: bytes that the outputs of each card take, by its number; only for a budget.
        settings: the rules.
        run_s: the running time, in seconds; see ``ledger``.
    """
    if all(record.gone_at is not None for record in records):
        return []
    gone = sorted(
        (record for record in records if record.gone_at is not None and not record.cleaned),
        key=lambda record: (record.gone_run_s or 0.0, record.id),
    )
    chosen: list[tuple[Record, str]] = []
    taken = sum(sizes.values())
    for record in gone:
        days = (run_s - (run_s if record.gone_run_s is None else record.gone_run_s)) / _DAY_S
        if settings.keep_days and days > settings.keep_days:
            chosen.append((record, f"gone for {days:.0f} days, keep_days = {settings.keep_days}"))
        elif settings.outputs_most_mb and taken > settings.outputs_most_mb * _MB:
            chosen.append(
                (
                    record,
                    f"all outputs take {taken / _MB:.0f} MB, "
                    f"outputs_most_mb = {settings.outputs_most_mb}",
                )
            )
        else:
            continue
        taken -= sizes.get(record.id, 0)
    return chosen


def to_forget(
    gone: Sequence[Record],
    has_outputs: Callable[[Record], bool],
    settings: WatchSettings,
    run_s: float,
) -> list[Record]:
    """The cards that left and are to be remembered no longer; what is left of outputs stays.

    Args:
        gone: all cards that left.
        has_outputs: whether outputs of a card are there; asked of long gone ones only.
        settings: the rules.
        run_s: the running time, in seconds; see ``ledger``.
    """
    latest_first = sorted(gone, key=lambda one: (-(one.gone_run_s or 0.0), -one.id))
    has_rule = settings.keep_days or settings.outputs_most_mb
    chosen = [] if has_rule else latest_first[MOST_REMEMBERED:]
    for record in latest_first if has_rule else latest_first[:MOST_REMEMBERED]:
        left = run_s if record.gone_run_s is None else record.gone_run_s
        if run_s - left > FORGET_DAYS * _DAY_S and not has_outputs(record):
            chosen.append(record)
    return chosen
