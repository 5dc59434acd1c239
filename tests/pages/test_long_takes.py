"""A take of three hours, 2,000 phrases and 30,000 notes is handled like any other."""

import numpy as np
import pytest
import soundfile

from exporters.page import TakePage
from pages.making import RATE_HZ, long_take, put
from pages.playing import chosen, is_paused, now_s, pick, row, rows_shown, wait_until

EVERY_S = 5.4
"""From one phrase to the next."""
PROMPT_MS = 2000
"""What nobody would call prompt: each of these takes some hundredths of a second where nothing else runs."""


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    """Return the page of such a take; of its recording there is the silence alone."""
    folder = tmp_path_factory.mktemp("long")
    take = long_take()
    page = put(folder, take, recorded=False)
    with soundfile.SoundFile(folder / "takes" / "solo.wav", "w", RATE_HZ, 1, "PCM_U8", format="WAV") as sound:
        for _ in range(180):
            sound.write(np.zeros(60 * RATE_HZ, dtype=np.int16))
    return page


@pytest.fixture
def page(show, path):
    return show(path)


def took_ms(page, action):
    """Return how long an action takes, with what is laid out and drawn because of it."""
    return page.evaluate(
        """async (action) => {
          const began = performance.now();
          const at = document.querySelector(action);
          at.click();
          document.body.offsetHeight;
          await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
          return performance.now() - began;
        }""",
        action,
    )


def test_a_late_phrase_is_played_and_its_neighbour(page):
    row(page, 1999).click()
    wait_until(page, f"chosen === 1999 && !media.paused && media.currentTime > {EVERY_S * 1998}")
    assert now_s(page) == pytest.approx(EVERY_S * 1998, abs=1.5)
    page.keyboard.press("ArrowRight")
    wait_until(page, "chosen === 2000")
    assert row(page, 2000).is_visible()


def test_choosing_and_filtering_are_prompt(page):
    assert took_ms(page, "#phrases li:nth-child(1000) button") < PROMPT_MS
    assert took_ms(page, 'input[value="sparse"]') < PROMPT_MS
    assert took_ms(page, "#filters input[value='long']") < PROMPT_MS
    # Of eight phrases, the second, fourth and seventh are long and sparse.
    assert rows_shown(page) == [i + 1 for i in range(2000) if i % 8 in (1, 3, 6)]
    assert page.locator("#count").inner_text() == "750 of 2000 phrases"


def test_arrow_keys_reach_the_next_listed_among_many(page):
    pick(page, "groove", "against-groove")
    row(page, 1998).click()
    page.keyboard.press("ArrowRight")
    wait_until(page, "chosen === 2000")
    page.keyboard.press("ArrowRight")
    assert chosen(page) == 2000


def test_the_view_comes_closer_to_the_chosen_phrase_and_scrolls(show, path):
    page = show(path, hash_="#phrase-1500")
    for _ in range(6):
        assert took_ms(page, "#closer") < PROMPT_MS
    assert page.locator("#closer").is_disabled()
    picture = page.locator("#blocks")
    width = picture.bounding_box()["width"]
    # The chosen phrase begins a quarter of the width from the left.
    picture.click(position={"x": width / 4 + 5, "y": 60})
    wait_until(page, "chosen === 1500 && !media.paused")
    page.keyboard.press(" ")
    wait_until(page, "media.paused")
    wider = page.locator("#wider")
    for _ in range(7):
        if wider.is_enabled():
            wider.click()
    assert wider.is_disabled()
    picture.click(position={"x": width * 0.1, "y": 60})
    wait_until(page, "Math.abs(media.currentTime - 1080) < 30")


def test_the_place_is_told_in_hours(show, path):
    page = show(path, hash_="#phrase-1500")
    assert page.locator("#clock").inner_text() == "2:14:54 / 3:00:00"
    assert is_paused(page)


def test_the_page_s_size_is_that_of_what_it_tells():
    size = len(TakePage().render(long_take()))
    assert size < 30_000 * 40 + 2_000 * 1_000 + 200_000  # bytes a note, a phrase, and for the scripts
