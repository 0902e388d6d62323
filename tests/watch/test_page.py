"""The page over all cards: worst first, nothing foreign taken for markup, nothing from outside."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from grouper.watch.page import page
from grouper.watch.state import Record

NOW = 1_772_000_000.0


def record(number: int, name: str = "QMARK", **changes: Any) -> Record:
    told: dict[str, Any] = {
        "verdict": "whole",
        "headline": [["whole", "all 3 sets are whole"]],
        "frames": 30,
        "sets": 3,
        "bodies": ["Quillmark Q5"],
        "first": "2026-03-14T09:14:12",
        "last": "2026-03-14T11:02:00",
        "findings": [],
        **changes.pop("told", {}),
    }
    base: dict[str, Any] = {
        "id": number, "name": name, "out": f"out{number}", "stage": "done", "first_seen": NOW,
        "grouped_at": NOW + number, "told": told,
    }  # fmt: skip
    return Record(**{**base, **changes})


def made(*records: Record, **how: Any) -> str:
    how = {"inbox": "/srv/inbox", "now": NOW, "running": True, **how}
    return page(records, **how).decode("utf-8")


def order(text: str) -> list[str]:
    return re.findall(r'href="(out\d+)/report.html"', text)


BAD = {"verdict": "reshoot", "headline": [["reshoot", "1 set to reshoot"]]}
LOOK = {"verdict": "look", "headline": [["look", "1 set to look at closer"]]}


def test_problems_first_then_newest_first() -> None:
    text = made(
        record(1), record(2, told=BAD), record(3), record(4, told=LOOK), record(5, told=BAD)
    )
    assert order(text) == ["out5", "out2", "out4", "out3", "out1"]
    assert "2 cards to look after" in text
    assert "1 card to look at closer" in text
    assert "2 cards whole" in text


def test_an_error_comes_first_and_keeps_the_old_report() -> None:
    text = made(record(1, told=BAD), record(2, stage="failed", error="the disk is full"))
    assert order(text) == ["out2", "out1"]
    assert "Could not be grouped as it is now:</b> the disk is full" in text


@pytest.mark.parametrize("name", ['<script>alert(1)</script>"', "a\u202egpj", "a\nb", "\udcff&"])
def test_foreign_text_is_shown_and_harmless(name: str) -> None:
    finding = {"severity": "problem", "code": "x", "message": name, "set": "s1"}
    text = made(
        record(1, name=name, told={**BAD, "findings": [finding]}, error=name, hook_error=name),
        inbox=f"/srv/{name}",
        troubles=[name],
        strays=[name],
    )
    assert "<script" not in text
    assert "\u202e" not in text
    body = html.unescape(text)
    shown = {"\u202e": "\\u202e", "\n": "\\x0a", "\udcff": "\\udcff"}
    for sign, escape in shown.items():
        if sign in name:
            assert name.replace(sign, escape) in body


def test_a_policy_forbids_all_but_the_page_s_own_style() -> None:
    text = made(record(1))
    policy = html.unescape(re.findall(r'Content-Security-Policy" content="([^"]+)"', text)[0])
    assert re.fullmatch(
        r"default-src 'none'; style-src 'sha256-[^']+'; base-uri 'none'; form-action 'none'",
        policy,
    )
    assert "style=" not in text
    assert not re.findall(r'(?:src|href)="(?:https?:)?//', text)


def test_links_are_quoted() -> None:
    text = made(record(1, out="Käfer_1-ab"))
    assert 'href="K%C3%A4fer_1-ab/report.html"' in text


def test_it_renews_itself_only_while_something_is_under_way() -> None:
    arriving = record(2, stage="arriving", grouped_at=None, told={}, files=12)
    assert 'http-equiv="refresh"' not in made(record(1))
    assert 'http-equiv="refresh"' in made(record(1), arriving)
    assert 'http-equiv="refresh"' not in made(record(1), arriving, running=False)
    assert "12 files so far" in made(arriving)


def test_cards_that_left_are_folded_away() -> None:
    text = made(record(1), record(2, gone_at=NOW), record(3, gone_at=NOW, cleaned=True))
    assert "Left the inbox: 2 cards" in text
    assert order(text) == ["out1", "out2"]
    assert "its outputs were cleaned up" in text


def test_it_says_that_a_grouped_card_is_no_backup() -> None:
    assert "not a backup" in made()
    assert "No card in the inbox" in made()


def test_told_values_that_make_no_sense_do_no_harm() -> None:
    told: dict[str, Any] = {
        "verdict": "x",
        "headline": ["y", ["a", "b", "c"]],
        "first": 3,
        "findings": ["z"],
        "bodies": [3],
    }
    assert "QMARK" in made(record(1, told=told))


def test_the_same_cards_give_the_same_bytes() -> None:
    assert made(record(1), record(2)) == made(record(2), record(1))
