"""A page in real Chromium, opened from disk. Skipped where there is no browser to drive."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from grouper.model import Result
from grouper.write.report import WRITER
from tests.write.results import files_of

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api")
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        pytest.skip("no Chromium on this machine")
    with api.sync_playwright() as playwright:
        driven = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield driven
        driven.close()


@pytest.fixture
def shown(browser: Any, tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """``shown(result, **context)`` opens the report and fails on any complaint or request."""
    complaints: list[str] = []
    contexts: list[Any] = []

    def show(of: Result, **options: Any) -> Any:
        file = tmp_path / "report.html"
        file.write_bytes(files_of(WRITER, of)["report.html"])
        context = browser.new_context(**{"viewport": {"width": 1200, "height": 900}, **options})
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: complaints.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: complaints.append(f"error: {error}"))
        page.on("dialog", lambda box: complaints.append(f"dialog: {box.message}") or box.dismiss())
        page.on(
            "request",
            lambda request: (
                None
                if request.url.startswith((file.as_uri(), "data:"))
                else complaints.append(f"request: {request.url}")
            ),
        )
        page.goto(file.as_uri())
        return page

    yield show
    for context in contexts:
        context.close()
    assert complaints == []
