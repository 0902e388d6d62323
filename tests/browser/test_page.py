from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from grouper.model import Member, Pointing, Result
from grouper.sight.small import ALL_BYTES
from grouper.sight.small import _encoded as encoded
from tests.support import frame
from tests.write.results import PANORAMA, bracket, finding, layout, panorama, result
from tests.write.test_report import hostile, pictured

Shown = Callable[..., Any]


def card() -> Result:
    """Three sets: one to look at closer, one whole, one to reshoot."""
    broken = bracket(
        id="broken",
        findings=(finding("short-bracket", "problem", "100QMARK/QMK_0021.JPG"),),
        members=tuple(
            replace(m, frame=replace(m.frame, file=m.frame.file.replace("_", "_1")))
            for m in bracket().members
        ),
    )
    return pictured(result(panorama(), bracket(), broken))


def test_the_page_says_first_what_needs_doing(shown: Shown) -> None:
    page = shown(card())
    assert "1 set to reshoot" in page.locator("h1").inner_text()
    first = page.locator(".todo > li").first
    assert first.bounding_box()["y"] < 900
    assert page.locator("article.set").count() == 3
    assert page.locator("article.set img, article.set image").count() == 10


def test_pictures_are_decoded(shown: Shown) -> None:
    page = shown(card())
    page.locator("#singles").scroll_into_view_if_needed()
    sizes = page.locator("#singles img").evaluate_all(
        "all => Promise.all(all.map((one) => one.decode().then(() => one.naturalWidth)))"
    )
    assert sizes == [40]


def test_a_frame_is_enlarged_and_left_by_keys_alone(shown: Shown) -> None:
    page = shown(card())
    shots = page.locator(f"#set-{PANORAMA} a.shot")
    shots.nth(0).focus()
    page.keyboard.press("Enter")
    look = page.locator("dialog")
    assert look.is_visible()
    title = look.locator("h2")
    assert title.inner_text() == "QMK_0001.JPG, view 1 of 3, other ISO"
    assert look.locator("img").get_attribute("alt") == title.inner_text()
    page.keyboard.press("ArrowRight")
    assert title.inner_text() == "QMK_0003.JPG, view 2 of 3"
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    assert look.locator("[role=status]").inner_text() == f"{shots.count()} of {shots.count()}"
    page.keyboard.press("Home")
    page.keyboard.press("Escape")
    assert not look.is_visible()
    focused = page.evaluate("document.activeElement.getAttribute('aria-label')")
    assert focused == "QMK_0001.JPG, view 1 of 3, other ISO"


def test_the_enlarged_view_shows_the_settings(shown: Shown) -> None:
    page = shown(card())
    page.locator("#set-20260314-092412-qmk0020 a.shot").nth(1).click()
    facts = page.locator("dialog dl").inner_text()
    assert re.search(r"exposure\s+1/30 s", facts)
    assert re.search(r"place\s+leg 2 of 3", facts)


def test_every_control_is_reached_by_tab_and_has_a_name(shown: Shown) -> None:
    page = shown(card())
    names: list[str] = []
    for _ in range(400):
        page.keyboard.press("Tab")
        found = page.evaluate(
            """() => {
              const at = document.activeElement;
              if (at === document.body) return null;
              return at.getAttribute('aria-label') || at.textContent.trim() ||
                (at.labels && at.labels[0] && at.labels[0].textContent.trim()) ||
                (at.querySelector('img') || {}).alt || '';
            }"""
        )
        if found is None:
            break
        names.append(found)
    assert names[0] == "To what needs doing"
    assert "" not in names
    assert "QMK_0001.JPG, view 1 of 3, other ISO" in names
    assert any(name.startswith("Set 1, panorama") for name in names)


def test_filters_hide_sets_and_say_so(shown: Shown) -> None:
    page = shown(card())
    page.locator("input[data-filter=verdict][value=whole]").uncheck()
    assert page.locator("article.set:visible").count() == 2
    assert page.locator("#shown").inner_text() == "2 of 3 sets shown"
    assert page.locator("#timeline .block.off").count() == 1
    page.locator("input[data-filter=kind][value=bracket]").uncheck()
    assert page.locator("article.set:visible").count() == 1
    page.locator("#todo a", has_text="Set 3").first.click()  # a link brings it back
    page.locator("#set-broken").wait_for(state="visible")  # hashchange comes after the click
    assert page.locator("#set-broken").is_visible()
    assert page.locator("#shown").inner_text() == ""


def test_the_line_widens(shown: Shown) -> None:
    page = shown(card())
    line = page.locator("#timeline")
    before = line.bounding_box()["width"]
    page.locator("#zoom").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    assert line.bounding_box()["width"] == pytest.approx(4 * before, rel=0.01)


def test_paths_are_copied_whole(shown: Shown) -> None:
    page = shown(card())
    page.evaluate("navigator.clipboard.writeText = async (text) => { window.copied = text; }")
    page.locator(f"#set-{PANORAMA} details.files summary").click()
    page.locator(f"#set-{PANORAMA} details.files button").nth(1).click()
    path = page.evaluate("window.copied")
    assert path.startswith("/")
    assert path.endswith(f"/sets/{PANORAMA}/frames.txt")


def test_everything_is_there_without_script(shown: Shown) -> None:
    page = shown(card(), java_script_enabled=False)
    assert page.locator("#controls").is_hidden()
    assert page.locator("article.set:visible").count() == 3
    assert page.locator("#timeline .block").count() == 3
    page.locator(f"#set-{PANORAMA} a.shot").first.click()
    assert page.url.endswith("#f1")
    page.locator("#f1").wait_for(state="visible")  # hashchange comes after the click
    assert page.locator("#f1").is_visible()  # the folded table opened for its row


def test_hostile_names_are_text(shown: Shown) -> None:
    page = shown(hostile())
    text = page.locator("body").text_content()
    assert "<script>alert(1)</script>" in text
    assert "\u202e" not in text
    assert "\U0001f3d4" in text
    assert page.locator("img[src=x]").count() == 0
    page.locator(f"#set-{PANORAMA} a.shot").first.click()
    assert page.locator("dialog h2").inner_text().startswith("script>\"'><img src=x")


@pytest.mark.parametrize("width", [320, 390, 768, 1200, 2400])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_keeps_to_the_width(shown: Shown, width: int, scheme: str) -> None:
    page = shown(card(), viewport={"width": width, "height": 800}, color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


# Contrast of text on its ground: WCAG 2.2, 1.4.3 (4.5 to 1), formulas of "relative luminance".
CONTRAST = """() => {
  const light = (colour) => {
    const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map((part) => {
      const share = part / 255;
      return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (node) => {
    for (let at = node; at; at = at.parentElement) {
      const colour = getComputedStyle(at).backgroundColor;
      if (!/, 0\\)$|transparent/.test(colour)) return colour;
    }
    return 'rgb(255, 255, 255)';
  };
  const bad = [];
  for (const node of document.querySelectorAll(
      'p, li, h1 span, h2, h3, h4, summary, figcaption, b, td, th, a, .faint, .code')) {
    if (!node.textContent.trim() || !node.getClientRects().length) continue;
    const [a, b] = [light(getComputedStyle(node).color), light(ground(node))].sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) bad.push(node.outerHTML.slice(0, 90));
  }
  return bad;
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_words_stand_out_from_their_ground(shown: Shown, scheme: str) -> None:
    page = shown(card(), color_scheme=scheme)
    assert page.evaluate(CONTRAST) == []


def test_print_has_the_sets_and_no_controls(shown: Shown) -> None:
    page = shown(card())
    page.emulate_media(media="print")
    assert page.locator("#controls").is_hidden()
    assert page.locator("article.set:visible").count() == 3
    assert page.pdf(format="A4").startswith(b"%PDF")


def test_print_has_the_pictures_that_nobody_scrolled_to(shown: Shown) -> None:
    singles = tuple(frame(at, at_s=9.0 * at) for at in range(100, 180))
    of = card()
    of = pictured(
        replace(
            of,
            scan=replace(of.scan, frames=(*of.scan.frames, *singles)),
            grouping=replace(of.grouping, singles=singles),
        )
    )
    page = shown(of, viewport={"width": 1200, "height": 300})
    page.wait_for_load_state()
    assert page.evaluate("[...document.images].filter((one) => !one.complete).length") == 0
    assert page.locator("#singles img").count() == 80


def test_a_full_card_opens_quickly(shown: Shown) -> None:
    """5,000 frames with grainy pictures: under 40 MB, and words on the screen at once.

    Measured on two idle cores: 28 MB, 1.4-2.3 s to the end of loading, first words after
    0.3 s. The limits are for a machine that is busy with other tests.
    """
    frames = [frame(at % 9999 + 1, at_s=4.0 * at, file=f"A/{at:05d}.JPG") for at in range(5000)]
    grain = np.random.default_rng(3).integers(60, 200, (107, 160, 3), dtype=np.uint8)
    data = encoded(grain, ALL_BYTES // len(frames))
    sweeps = tuple(
        panorama(
            id=f"s{first}",
            layout=layout(views=8),
            members=tuple(
                Member(frame=one, view=at, pointing=Pointing(yaw_deg=35.0 * at, pitch_deg=0.0))
                for at, one in enumerate(frames[first : first + 8])
            ),
            findings=(finding("too-wide", "note"),),
        )
        for first in range(0, 4000, 8)
    )
    of = result(*sweeps)
    of = replace(
        of,
        scan=replace(of.scan, frames=tuple(frames)),
        grouping=replace(
            of.grouping,
            singles=tuple(frames[4000:]),
            dividers=(),
            previews=(),
            order=(tuple(one.file for one in frames),),
        ),
        pictures={one.file: data for one in frames},
    )
    page = shown(of)
    told = page.evaluate(
        """() => {
          const [load] = performance.getEntriesByType('navigation');
          const [paint] = performance.getEntriesByName('first-contentful-paint');
          return [paint.startTime, load.loadEventEnd];
        }"""
    )
    assert told[0] < 3000
    assert told[1] < 12000
    assert page.locator("article.set").count() == 500
    assert page.evaluate("document.documentElement.outerHTML.length") < 40_000_000
    assert page.locator("#singles details").get_attribute("open") is None
