"""The page over all cards in a real browser: no complaint, no request, readable on a phone."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.watch.test_page import BAD, LOOK, NOW, made, record


@pytest.mark.parametrize("width", [360, 1200])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_fits_and_loads_nothing(browser: Any, tmp_path: Path, width: int, scheme: str) -> None:
    finding = {"severity": "problem", "code": "missing-frame", "message": "a gap " * 30, "set": "s"}
    long = "Tavrin-valley-" * 15
    file = tmp_path / "index.html"
    file.write_text(
        made(
            record(1, name=long, told={**BAD, "findings": [finding]}, error=long),
            record(2, told=LOOK),
            record(3),
            record(4, stage="arriving", grouped_at=None, told={}, files=12),
            record(5, gone_at=NOW),
            strays=[long],
            troubles=[long],
        ),
        encoding="utf-8",
    )
    complaints: list[str] = []
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page = context.new_page()
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda request: complaints.append(request.url))
    page.goto(file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("#todo h3 a").count() == 1
    background = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert (background == "rgb(243, 244, 238)") == (scheme == "light")
    assert (
        page.evaluate("getComputedStyle(document.querySelector('.cards')).listStyleType") == "none"
    )
    context.close()
    assert complaints == [file.as_uri()]
