"""Photograph the listening pages that the README shows, from what the demo wrote.

``python demo/make_screenshots.py OUT PICTURES``: from the demo's output folder OUT into PICTURES. Needs
Playwright (the ``test`` extra) and Debian's chromium; unlike the drawings, a photograph depends on its fonts.
"""

import shutil
import sys
from pathlib import Path

from playwright.sync_api import Page, sync_playwright

WIDTH, HEIGHT = 1280, 900
SHOWN, CHOSEN = "everything", 3


def photograph(out: Path, pictures: Path) -> None:
    """Take the take's page with a phrase chosen, and the page of all takes."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
        _shoot(page, out / f"{SHOWN}.listen.html", f"#phrase-{CHOSEN}", pictures / f"{SHOWN}.listen.png")
        _shoot(page, out / "listen.html", "", pictures / "listen.png")
        browser.close()


def _shoot(page: Page, path: Path, place: str, picture: Path) -> None:
    page.goto(f"{path.resolve().as_uri()}{place}")
    page.wait_for_selector("html[data-ready=yes]")
    page.wait_for_timeout(500)  # for the first drawing
    page.screenshot(path=picture)


if __name__ == "__main__":
    photograph(Path(sys.argv[1]), Path(sys.argv[2]))
