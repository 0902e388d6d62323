"""Takes the README's picture of the report: ``python -m testdata.readme.shoot``.

The bundled card is grouped and its page opened in Chromium, with the whole sets filtered
away, so that what needs doing stands together. Needs the extra ``browser``.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from pathlib import Path

from PIL import Image

from grouper.pipeline import run, write

HOME = Path(__file__).parent
CARD = HOME.parent / "card"
SIZE_PX = (1280, 1730)


def shoot(page: Path) -> bytes:
    """The upper part of a page as PNG."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--headless", "--no-sandbox"]
        )
        tab = browser.new_page(viewport={"width": SIZE_PX[0], "height": SIZE_PX[1]})
        tab.goto(page.as_uri())
        tab.locator("input[data-filter=verdict][value=whole]").uncheck()
        tab.locator(".where").evaluate("(at) => { at.textContent = 'testdata/card'; }")
        tab.mouse.click(2, 2)
        data: bytes = tab.screenshot()
        browser.close()
    return data


def main() -> None:
    """Write ``report.png`` beside this file, in 256 colours: a quarter of the size."""
    with tempfile.TemporaryDirectory() as folder:
        write(run([CARD]), Path(folder))
        data = shoot(Path(folder) / "report.html")
    image = Image.open(io.BytesIO(data)).convert("RGB").quantize(256, dither=Image.Dither.NONE)
    image.save(HOME / "report.png", optimize=True)


if __name__ == "__main__":
    main()
