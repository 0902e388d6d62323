"""Which outputs a rule removes, and which cards are forgotten: none that is there."""

from __future__ import annotations

import pytest

from grouper.settings import WatchSettings
from grouper.watch import tidy
from grouper.watch.state import Record
from grouper.watch.tidy import to_forget, to_remove

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


MANY = [card(n, 31 + n) for n in range(1, 6)]
BARE, BARE_NEW = card(5, 31, cleaned=True), card(6, 29, cleaned=True)


@pytest.mark.parametrize(
    ("cards", "outputs", "rules", "forgotten"),
    [
        pytest.param([BARE, BARE_NEW], {5, 6}, {}, [5], id="cleaned up and long gone"),
        pytest.param([OLD, OLDER], {3}, {}, [4], id="its owner took the outputs away"),
        pytest.param([OLD, OLDER], {3, 4}, {}, [], id="the outputs are there"),
        pytest.param([NEW], set(), {}, [], id="left not long ago"),
        pytest.param([card(7, -5), card(8, None)], set(), {}, [], id="left just now"),
        pytest.param(
            [card(n, 31 + n) for n in range(1, 6)], {1, 2, 3, 4, 5}, {}, [4, 5], id="many"
        ),
        pytest.param(
            MANY,
            {1, 2, 3, 4, 5},
            {"keep_days": 90},
            [],
            id="many whose outputs are to go one day",
        ),
    ],
)
def test_what_is_forgotten(
    cards: list[Record],
    outputs: set[int],
    rules: dict[str, int],
    forgotten: list[int],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(tidy, "MOST_REMEMBERED", 3)
    found = to_forget(
        cards,
        lambda one: one.id in outputs and not one.cleaned,
        WatchSettings(**rules),
        NOW,
    )
    assert [record.id for record in found] == forgotten
