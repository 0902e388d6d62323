from __future__ import annotations

import base64
import hashlib
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import pytest
from PIL import Image

from grouper.model import BriefLine, Pointing, Result, Set
from grouper.write import shots
from grouper.write.report import WRITER
from tests.write.results import (
    LATER,
    PANORAMA,
    bracket,
    files_of,
    finding,
    layout,
    panorama,
    renamed,
    result,
)

VOID = ("meta", "br", "link", "img", "input")
HOSTILE = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>\u202e\udcff\U0001f3d4.JPG"


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

    @property
    def text(self) -> str:
        return " ".join(
            word
            for tag, words in self.texts.items()
            for word in words
            if tag not in ("style", "script")
        )


def page(of: Result) -> Page:
    return Page(html(of))


def html(of: Result) -> str:
    return files_of(WRITER, of)["report.html"].decode("utf-8")


def jpeg(colour: tuple[int, int, int] = (90, 120, 60)) -> bytes:
    buffer = io.BytesIO()
    Image.new("RGB", (40, 60), colour).save(buffer, "JPEG")
    return buffer.getvalue()


def pictured(of: Result) -> Result:
    """Every frame with a picture of its own."""
    frames = of.scan.frames
    return replace(of, pictures={f.file: jpeg((25 * at, 80, 90)) for at, f in enumerate(frames)})


def hostile() -> Result:
    one = renamed(panorama(evidence=(HOSTILE,)), "100QMARK/QMK_0001.JPG", HOSTILE)
    one = replace(one, findings=(finding("mixed-iso", "warning", HOSTILE, message=HOSTILE),))
    members = tuple(
        replace(m, frame=replace(m.frame, counter=None, lens=HOSTILE, model=HOSTILE))
        for m in one.members
    )
    of = result(replace(one, members=members), root=f"/media/{HOSTILE}")
    of = replace(of, scan=replace(of.scan, ignored=(HOSTILE,)))
    return pictured(replace(of, findings=(finding("clock-jump", "note", advice=HOSTILE),)))


@pytest.mark.parametrize("of", [pictured(result()), hostile()], ids=["plain", "hostile"])
def test_nothing_but_the_page_itself(of: Result) -> None:
    read = page(of)
    used = [tag for tag, _ in read.tags]
    assert not set(used) & {"iframe", "link", "object", "embed", "base", "form"}
    assert used.count("script") == 1
    for tag, attributes in read.tags:
        assert not [name for name in attributes if name.startswith("on")], tag
        assert "style" not in attributes, tag
        target = attributes.get("href") or ""
        if tag == "image":
            assert target.startswith("data:image/jpeg;base64,")
        else:
            assert not re.match(r"(?!file:///)[a-z]+:|//", target), target
        if "src" in attributes:
            assert tag == "img"
            assert (attributes["src"] or "").startswith("data:image/jpeg;base64,")
    assert not re.search(r"url\((?!#)|@import|https?://", html(of))


def test_the_ruler_has_marks_with_and_without_words() -> None:
    (ruler,) = re.findall(r'<g class="ruler".*?</g>', html(result(panorama())), re.DOTALL)
    assert re.search(r'<path d="(M[\d.]+ [\d.]+v\d+){10,}"></path>', ruler)
    assert ruler.count('class="big"') >= 3
    assert "0°</text>" in ruler
    assert ".ruler path { stroke:" in html(result())


def test_the_policy_allows_just_the_style_sheet_and_the_script() -> None:
    """Content Security Policy Level 3, 2.3.1: the hash is of the text of the element."""
    text = html(result())
    policy = next(
        attributes["content"] or ""
        for tag, attributes in page(result()).tags
        if attributes.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'; img-src data:; ")
    for element in ("style", "script"):
        inside = re.search(f"<{element}>(.*?)</{element}>", text, re.DOTALL)
        assert inside is not None
        digest = base64.b64encode(hashlib.sha256(inside[1].encode()).digest()).decode()
        assert f"{element}-src 'sha256-{digest}';" in policy
    assert "prefers-color-scheme: dark" in text
    assert "@media print" in text


def test_foreign_text_is_shown_not_obeyed() -> None:
    text = html(hostile())
    assert "\u202e" not in text
    assert "\\u202e\\udcff\U0001f3d4.JPG" in text
    assert "&lt;script&gt;alert(1)" in text
    assert "<script>alert" not in text


def test_the_same_card_gives_the_same_bytes() -> None:
    of = pictured(result())
    assert files_of(WRITER, of) == files_of(WRITER, of, LATER)


def test_what_needs_doing_stands_first_and_worst_first() -> None:
    broken = bracket(findings=(finding("short-bracket", "problem", "100QMARK/QMK_0020.JPG"),))
    text = html(result(panorama(), broken))
    places = [
        text.index(word)
        for word in ("<h1>", "unreadable-file", "short-bracket", "mixed-iso", 'id="timeline"')
    ]
    assert places == sorted(places)
    assert f'<a href="#set-{PANORAMA}">' in text
    assert f'id="set-{PANORAMA}"' in text


@pytest.mark.parametrize(
    ("sets", "words"),
    [
        ((), "No set on this card"),
        ((bracket(),), "The one set is whole"),
        ((bracket(), bracket(id="b")), "All 2 sets are whole"),
        ((panorama(), bracket()), "1 set to look at closer 1 set whole"),
        (
            (bracket(findings=(finding("short-bracket", "problem"),)),),
            "1 set to reshoot none whole",
        ),
    ],
)
def test_the_headline_says_what_is_whole(sets: tuple[Set, ...], words: str) -> None:
    of = result(*sets)
    of = replace(of, findings=(), grouping=replace(of.grouping, sets=sets, previews=()))
    head = re.search(r"<h1>(.*?)</h1>", html(of), re.DOTALL)
    assert head is not None
    assert " ".join(Page(f"<div>{head[1]}</div>").texts["span"]) == words


def test_nothing_on_the_card_is_missing_from_the_page() -> None:
    of = result()
    text = page(of).text
    scan = of.scan
    names = [name for f in scan.frames for name in (f.file.rsplit("/", 1)[-1], *f.companions)]
    names += [unread.file for unread in scan.unread] + list(scan.ignored)
    assert len(names) == scan.files
    for name in names:
        assert name in text, name


def test_each_frame_has_one_place_and_the_counts_add_up() -> None:
    of = pictured(result())
    ids = [attributes["id"] for _, attributes in page(of).tags if attributes.get("id")]
    assert len(ids) == len(set(ids))
    anchors = [name for name in ids if re.fullmatch(r"f\d+", name or "")]
    assert len(anchors) == len(of.scan.frames)
    text = page(of).text
    assert "13 files: 10 frames, 1 companion, 1 unread, 1 ignored." in text
    assert "10 frames: 7 in 2 sets, 1 single, 1 divider, 1 preview." in text


def test_each_picture_is_there_and_says_what_it_is() -> None:
    read = page(pictured(result()))
    pictures = {attributes["href"] for tag, attributes in read.tags if tag == "image"}
    pictures |= {attributes["src"] for tag, attributes in read.tags if tag == "img"}
    assert len(pictures) == 10
    said = [attributes.get("alt") for tag, attributes in read.tags if tag == "img"]
    said += [attributes.get("aria-label") for tag, attributes in read.tags if tag == "a"]
    assert "QMK_0003.JPG, view 2 of 3" in said
    assert "QMK_0001.JPG, view 1 of 3, other ISO" in said
    assert "QMK_0022.JPG, leg 3 of 3" in said
    assert all(attributes.get("alt") for tag, attributes in read.tags if tag == "img")


def test_pictures_that_find_no_room_are_counted() -> None:
    of = pictured(result())
    each = len("data:image/jpeg;base64,") + len(base64.b64encode(jpeg()))
    book = shots.album(of, most_bytes=4 * each)
    assert 3 <= len(book.pictures) <= 4
    assert len(book.pictures) + book.left_out == 10


def test_what_is_no_jpeg_is_no_picture() -> None:
    of = replace(result(), pictures={"100QMARK/QMK_0001.JPG": b"<svg onload=alert(1)>"})
    assert not shots.album(of).pictures


def test_a_gap_is_hatched_and_said_in_words() -> None:
    one = panorama()
    away = replace(one.members[3], pointing=Pointing(yaw_deg=110.0, pitch_deg=0.0))
    gapped = replace(one, members=(*one.members[:3], away))
    assert 'class="gap"' not in html(result(one))
    text = html(result(gapped))
    assert 'class="gap"' in text
    assert "gap 57°" in text  # 110 - 0 - 53.13
    assert "1 gap" in text


def test_odd_frames_are_marked_by_sign_and_word_and_in_the_table() -> None:
    different = replace(panorama().members[0].frame, iso=400.0)
    one = panorama()
    one = replace(one, members=(replace(one.members[0], frame=different), *one.members[1:]))
    read = page(result(one))
    assert "other ISO" in read.texts["text"]
    assert "≠ 400" in " ".join(read.texts["td"])
    assert "#sign-look" in [attributes.get("href") for tag, attributes in read.tags if tag == "use"]


def test_tables_have_headers() -> None:
    read = page(result())
    heads = [attributes.get("scope") for tag, attributes in read.tags if tag == "th"]
    assert heads
    assert all(scope in ("col", "row") for scope in heads)
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_sets_without_pointing_or_time_are_shown() -> None:
    one = bracket()
    timeless = replace(
        one, members=tuple(replace(m, frame=replace(m.frame, taken=None)) for m in one.members)
    )
    of = result(timeless)
    of = replace(of, scan=replace(of.scan, frames=timeless.frames))
    of = replace(of, grouping=replace(of.grouping, singles=(), dividers=(), previews=()))
    text = html(of)
    assert "time not known" in text
    assert "no times recorded" in text
    assert "The card over time" not in text


def test_assumed_angles_are_not_drawn_as_measured() -> None:
    text = html(result(panorama(layout=layout(pointing_from="assumed"))))
    assert "Their angles are not measured" in text
    assert 'class="sweep"' not in text


def test_without_sets_there_is_nothing_to_filter() -> None:
    of = result()
    alone = replace(of, grouping=replace(of.grouping, sets=()))
    assert "Show sets" in page(of).texts["legend"]
    assert "legend" not in page(alone).texts
    assert page(alone).texts["h2"].count("0 sets") == 1


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
    assert "0 files: 0 frames, 0 companions, 0 unread, 0 ignored." in read.text
    assert "No frames on this card belong together." in read.texts["p"]
    assert "No set on this card" in read.texts["span"]


def test_the_brief_is_a_table_of_words_and_signs() -> None:
    lines = (
        BriefLine(rule="ISO", asked="at most ISO 100", found="ISO 100", passed=True),
        BriefLine(rule="aperture", asked="f/8", found="f/5.6 in <b>.JPG", passed=False),
        BriefLine(rule="focus lock", asked="manual focus", found="not recorded", passed=None),
    )
    read = page(result(panorama(brief=lines)))
    assert "The brief: 0 of 1 set met, 1 not met." in read.text
    said = [word for word in read.texts["td"] if word in ("met", "not met", "not known")]
    assert said == ["met", "not met", "not known"]
    assert "f/5.6 in <b>.JPG" in read.texts["td"]
    rows = [attrs["class"] for tag, attrs in read.tags if tag == "tr" and attrs.get("class")]
    assert rows[:3] == ["whole", "reshoot", "look"]
    heads = [attrs for tag, attrs in read.tags if tag == "th" and attrs.get("scope") == "row"]
    assert len(heads) >= len(lines)


def test_without_a_brief_there_is_no_table_of_it() -> None:
    assert 'class="brief"' not in html(result(panorama()))


def test_a_span_with_a_part_beyond_a_gap_says_what_it_covers() -> None:
    whole = panorama()
    *placed, last = whole.members
    parted = replace(whole, members=(*placed, replace(last, pointing=Pointing())))
    assert "for the part that hangs together" not in html(result(whole))
    text = html(result(parted))
    assert "px for the part that hangs together, cylindrical projection" in text
    assert "The span of the set covers only the part that hangs together." in text
