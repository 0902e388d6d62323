from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from grouper.model import Pointing, Result
from grouper.write.report import WRITER
from tests.write.results import (
    LATER,
    PANORAMA,
    bracket,
    files_of,
    finding,
    panorama,
    renamed,
    result,
)

VOID = ("meta", "br", "link", "img")
HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>\u202e\udcff.JPG"


class Page(HTMLParser):
    """Tags, attributes and texts of a page; minds that every tag is closed in its turn."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, self.getpos()

    def handle_data(self, data: str) -> None:
        if self.open and data.strip():
            self.texts.setdefault(self.open[-1], []).append(data.strip())


def page(of: Result) -> Page:
    return Page(html(of))


def html(of: Result) -> str:
    return files_of(WRITER, of)["report.html"].decode("utf-8")


def hostile() -> Result:
    one = renamed(panorama(evidence=(HOSTILE,)), "100QMARK/QMK_0001.JPG", HOSTILE)
    one = replace(one, findings=(finding("mixed-iso", "warning", HOSTILE, message=HOSTILE),))
    of = result(one, root=f"/media/{HOSTILE}")
    return replace(of, findings=(finding("clock-jump", "note", advice=HOSTILE),))


@pytest.mark.parametrize("of", [result(), hostile()], ids=["plain", "hostile"])
def test_nothing_but_the_page_itself(of: Result) -> None:
    read = page(of)
    used = {tag for tag, _ in read.tags}
    assert not used & {"script", "img", "iframe", "link", "object", "embed", "base", "form"}
    for tag, attributes in read.tags:
        assert not [name for name in attributes if name.startswith("on")], tag
        target = attributes.get("href") or ""
        assert not re.match(r"[a-z]+:|//", target), target
        assert "src" not in attributes
    assert not re.search(r"url\((?!#)|@import|https?://", html(of))


def test_the_policy_allows_just_the_style_sheet() -> None:
    """Content Security Policy Level 3, 2.3.1: the hash is of the text of the element."""
    text = html(result())
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    policy = next(
        attributes["content"]
        for tag, attributes in page(result()).tags
        if attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy == f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'"
    assert "prefers-color-scheme: dark" in style[1]


def test_foreign_text_is_shown_not_obeyed() -> None:
    text = html(hostile())
    assert "\u202e" not in text
    assert r"\u202e\udcff.JPG" in text
    assert "&lt;script&gt;alert(1)" in text


def test_the_same_card_gives_the_same_bytes() -> None:
    assert files_of(WRITER, result()) == files_of(WRITER, result(), LATER)


def test_findings_stand_worst_first() -> None:
    text = html(result())
    places = [text.index(f"<b>{word}</b>") for word in ("problem", "warning", "note")]
    assert places == sorted(places)
    assert f'<a href="#{PANORAMA}">' in text
    assert f'<section id="{PANORAMA}">' in text


def test_a_gap_is_hatched_and_said_in_words() -> None:
    one = panorama()
    away = replace(one.members[3], pointing=Pointing(yaw_deg=110.0, pitch_deg=0.0))
    gapped = replace(one, members=(*one.members[:3], away))
    assert 'class="gap"' not in html(result(one))
    text = html(result(gapped))
    assert 'class="gap"' in text
    assert "gap 57°" in text  # 110 - 0 - 53.13
    assert "1 gap" in text


def test_odd_frames_are_marked_by_a_sign_too() -> None:
    read = page(result())
    assert "! 0001" in read.texts["text"]
    assert "0003" in read.texts["text"]


def test_sets_without_pointing_or_time_are_shown() -> None:
    one = bracket()
    timeless = replace(
        one, members=tuple(replace(m, frame=replace(m.frame, taken=None)) for m in one.members)
    )
    of = result(timeless)
    of = replace(of, grouping=replace(of.grouping, singles=()))
    assert "there is nothing to draw" in html(of)
    assert "The card over time" not in html(of)


def test_an_empty_card() -> None:
    of = result()
    empty = replace(
        of,
        scan=replace(of.scan, frames=(), unread=(), ignored=()),
        grouping=replace(
            of.grouping, bodies=(), sets=(), singles=(), dividers=(), previews=(), order=()
        ),
        findings=(),
    )
    read = page(empty)
    assert "0 files: 0 frames, 0 companions, 0 unread, 0 ignored." in read.texts["p"]
    assert "None." in read.texts["p"]
