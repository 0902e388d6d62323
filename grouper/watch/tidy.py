"""Which outputs to remove by rule. Pure, and never of a card that is in the inbox.

Both rules are off unless set: outputs go ``keep_days`` after their card left, and the longest
gone ones while all outputs together take more than ``outputs_most_mb``. While the inbox holds
no card at all nothing is removed: a share that is not mounted looks just like that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from grouper.settings import WatchSettings
from grouper.watch.state import Record

_DAY_S: Final = 86_400.0
_MB: Final = 1 << 20


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
        run_s: the running time, in seconds; see ``service``.
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
