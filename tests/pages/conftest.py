"""A browser for the pages' tests, and a watch on what a page may never do in it."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

Show = Callable[..., Any]

ARGUMENTS = ("--no-sandbox", "--autoplay-policy=no-user-gesture-required")
PATIENCE_MS = 10_000
"""Far more than a busy machine needs."""
LOCAL = ("file:", "blob:", "data:")
KEEP_BLOB = """
const make = URL.createObjectURL.bind(URL);
URL.createObjectURL = (blob) => make(window.lastBlob = blob);
"""
"""What a page makes to be played cannot be asked for from outside: its policy lets nothing be fetched."""
DESK = (1280, 900)
PHONE = (390, 844)


class Watch:
    """What pages complained of, and asked for beyond this machine's files."""

    def __init__(self) -> None:
        self.seen: list[str] = []
        self.expects: str | None = None

    def on(self, page: Any) -> None:
        page.on("console", lambda said: said.type in ("error", "warning") and self.note(said.text))
        page.on("pageerror", lambda error: self.note(str(error)))
        page.on("request", lambda request: request.url.startswith(LOCAL) or self.note(request.url))

    def note(self, text: str) -> None:
        if self.expects is None or self.expects not in text:
            self.seen.append(text)


# Ends with the package: Playwright's loop would stand in the way of other tests' asyncio.run.
@pytest.fixture(scope="package")
def browser() -> Iterator[Any]:
    """Return the browser that the distribution has."""
    playwright = pytest.importorskip("playwright.sync_api", reason="needs playwright (the extra test)")
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("needs a browser: apt-get install chromium")
    with playwright.sync_playwright() as driver:
        launched = driver.chromium.launch(executable_path=chromium, args=list(ARGUMENTS))
        yield launched
        launched.close()


@pytest.fixture(scope="package")
def watched(browser: Any) -> tuple[Any, Watch]:
    """Return one tab for all tests, because a new one takes longer than a page, and the watch on it."""
    page, watch = browser.new_page(), Watch()
    page.set_default_timeout(PATIENCE_MS)
    page.add_init_script(KEEP_BLOB)
    watch.on(page)
    return page, watch


@pytest.fixture
def show(watched: tuple[Any, Watch]) -> Iterator[Show]:
    """Return a function that opens a page from disk.

    Whatever a page complains of fails the test at its end, unless it is what the test ``expects``; so does a
    request for anything but files of this machine.
    """
    page, watch = watched

    def open_page(
        path: Path, *, size: tuple[int, int] = DESK, hash_: str = "", expects: str | None = None, **media: str
    ) -> Any:
        watch.expects = expects
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.emulate_media(
            **{"media": "screen", "color_scheme": "light", "forced_colors": "none", "reduced_motion": None}
            | media
        )
        page.goto(path.as_uri() + hash_)
        assert page.evaluate("document.documentElement.dataset.ready") == "yes"
        return page

    yield open_page
    page.goto("about:blank")
    said, watch.seen, watch.expects = watch.seen, [], None
    assert said == []
