"""Which outputs a rule removes: none unless asked, and none of a card that is there."""

from __future__ import annotations

import pytest

from grouper.settings import WatchSettings
from grouper.watch.state import Record
from grouper.watch.tidy import to_remove

DAY = 86_400.0
NOW = 1000 * DAY
MB = 1 << 20


def card(number: int, gone_days: float | None, *, cleaned: bool = False) -> Record:
    left = None if gone_days is None else NOW - gone_days * DAY
    name = f"c{number}"
    return Record(id=number, name=name, out=name, gone_at=left, gone_run_s=left, cleaned=cleaned)


HERE, NEW, OLD, OLDER = card(1, None), card(2, 3), card(3, 40), card(4, 50)
SIZES = {1: 60 * MB, 2: 30 * MB, 3: 30 * MB, 4: 30 * MB}


@pytest.mark.parametrize(
    ("cards", "rules", "removed"),
    [
        pytest.param([HERE, NEW, OLD, OLDER], {}, [], id="off unless asked for"),
        pytest.param([HERE, NEW, OLD, OLDER], {"keep_days": 30}, [4, 3], id="by age, oldest first"),
        pytest.param([HERE, NEW, OLD], {"keep_days": 60}, [], id="none is old enough"),
        pytest.param([NEW, OLD, OLDER], {"keep_days": 30}, [], id="never while the inbox is empty"),
        pytest.param([HERE, OLD, OLDER], {"outputs_most_mb": 100}, [4], id="until it fits"),
        pytest.param([HERE, OLD], {"outputs_most_mb": 10}, [3], id="never a card that is there"),
        pytest.param([HERE, OLD, OLDER], {"outputs_most_mb": 500}, [], id="it fits"),
        pytest.param([HERE, card(3, 40, cleaned=True)], {"keep_days": 1}, [], id="done already"),
        pytest.param(
            [HERE, NEW, OLDER], {"keep_days": 30, "outputs_most_mb": 80}, [4, 2], id="both rules"
        ),
        pytest.param([HERE, card(2, -5)], {"keep_days": 1}, [], id="left just now"),
    ],
)
def test_what_is_removed(cards: list[Record], rules: dict[str, int], removed: list[int]) -> None:
    sizes = {one.id: SIZES[one.id] for one in cards}
    found = to_remove(cards, sizes, WatchSettings(**rules), NOW)
    assert [record.id for record, _ in found] == removed
    assert all(why for _, why in found)
