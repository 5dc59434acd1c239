"""What a listener does with mouse and keys who thinks of the music, not of the page."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from batch.model import Variety
from batch.overview import Overview
from exporters.page import TakesPage
from pages.making import listed_of, long_take, put, take_of
from pages.playing import chosen, is_paused, listen_for_seeks, now_s, pick, point, row, wait_until

SCROLL = "document.querySelector('#wave > div').shadowRoot.querySelector('.scroll')"
SCROLLED = f"{SCROLL}.scrollLeft"


@pytest.fixture
def page(show, tmp_path):
    """Return the page of a take of eight phrases: 0.5 to 1.0 s, 1.5 to 2.0 s, and so on."""
    return show(put(tmp_path, take_of()))


def slide(page: Any, time_s: float) -> None:
    """Move the slider to a time, as a hand does."""
    slider = page.locator("#where")
    box = slider.bounding_box()
    share = time_s / float(slider.get_attribute("max"))
    slider.click(position={"x": 8 + (box["width"] - 16) * share, "y": box["height"] / 2})
    wait_until(page, f"Math.abs(media.currentTime - {time_s}) < 0.1")


def test_a_phrase_that_the_take_was_played_up_to_is_repeated_if_that_was_asked_for(page):
    pick(page, "after", "again")
    listen_for_seeks(page)
    page.locator("#play").click()
    wait_until(page, "sought.length >= 2")
    assert page.evaluate("sought")[:2] == [0.5, 0.5]
    assert chosen(page) == 1


def test_played_into_a_phrase_with_only_some_listed_it_goes_on_with_those(page):
    pick(page, "density", "dense")
    pick(page, "after", "next")
    slide(page, 1.3)
    page.locator("#play").click()
    wait_until(page, "chosen === 5")
    assert now_s(page) >= 4.5


def test_the_slider_chooses_the_phrase_it_is_moved_to(page):
    slide(page, 4.7)
    assert chosen(page) == 5
    assert page.locator("#clock").text_content() == "0:04 / 0:09"
    page.locator("#play").click()
    wait_until(page, "media.paused")
    assert 5.0 <= now_s(page) < 5.5


@pytest.mark.parametrize(("button", "phrase"), [("#before", 4), ("#next", 5)])
def test_from_between_two_phrases_the_neighbours_are_those_beside_it(page, button, phrase):
    slide(page, 4.25)
    page.locator(button).click()
    assert chosen(page) == phrase


def test_space_plays_after_the_slider_was_moved(page):
    slide(page, 4.7)
    page.keyboard.press("Space")
    wait_until(page, "!media.paused && media.currentTime > 4.7")


def test_space_plays_after_a_choice_was_made(page):
    page.locator('input[name="after"][value="on"]').click()
    page.keyboard.press("Space")
    wait_until(page, "!media.paused && media.currentTime > 0.1")
    page.keyboard.press("Space")
    wait_until(page, "media.paused")


def test_space_still_chooses_among_radio_buttons(page):
    button = page.locator('input[name="after"][value="stop"]')
    page.evaluate('document.querySelector(\'input[name="after"][value="stop"]\').checked = false')
    button.focus()
    page.keyboard.press("Space")
    assert button.is_checked()
    assert is_paused(page)


def test_a_closer_view_shows_the_place_that_was_gone_to(page):
    slide(page, 7.25)
    page.locator("#closer").click()
    page.locator("#closer").click()
    wide, whole = page.evaluate(f"(scroll => [scroll.clientWidth, scroll.scrollWidth])({SCROLL})")
    at = 7.25 * whole / 9 - page.evaluate(SCROLLED)
    assert whole > 2 * wide
    assert 0 <= at <= wide


@pytest.mark.parametrize("canvas", ["#blocks", "#contour"])
def test_a_close_view_is_moved_by_hand_and_by_wheel_and_nothing_plays(page, canvas):
    for _ in range(2):
        page.locator("#closer").click()
    before = page.evaluate(SCROLLED)
    box = page.locator(canvas).bounding_box()
    y = box["y"] + 30
    page.mouse.move(box["x"] + 600, y)
    page.mouse.down()
    page.mouse.move(box["x"] + 200, y, steps=4)
    page.mouse.up()
    assert page.evaluate(SCROLLED) == before + 400
    page.mouse.wheel(300, 0)
    wait_until(page, f"{SCROLLED} === {before + 700}")
    assert is_paused(page)
    assert chosen(page) == 1


def test_a_click_with_an_unsteady_hand_still_plays_the_phrase(page):
    box = page.locator("#blocks").bounding_box()
    x, y = box["x"] + box["width"] * 3.7 / 9, box["y"] + 40
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 3, y + 1)
    page.mouse.up()
    wait_until(page, "!media.paused && chosen === 4")


def test_the_address_may_come_to_ask_for_another_phrase(page):
    page.evaluate("location.hash = '#phrase-6'")
    wait_until(page, "chosen === 6 && Math.abs(media.currentTime - 5.5) < 0.05")
    assert row(page, 6).get_attribute("aria-current") == "true"


def test_a_click_in_the_picture_between_phrases_leaves_the_neighbours_beside_it(page):
    point(page, "#blocks", 6.25)
    page.keyboard.press("ArrowRight")
    wait_until(page, "chosen === 7")


def folder_page(folder: Path, *takes: Any) -> Path:
    """Write the page of a folder with these takes; return where it is."""
    page = folder / "listen.html"
    page.write_bytes(TakesPage().render(Overview("An evening", takes, (), 0)))
    return page


def test_a_folder_on_paper_is_a_table_whose_heads_have_room(show, tmp_path):
    page = show(folder_page(tmp_path, listed_of(take_of())), size=(700, 1000), media="print")
    assert page.locator("#takes").evaluate("table => getComputedStyle(table).display") == "table"
    edges = page.evaluate(
        """[...document.querySelectorAll("#takes thead th")].map((head) => {
          const text = document.createRange();
          text.selectNodeContents(head);
          const { left, right } = text.getBoundingClientRect();
          return [left, right];
        })"""
    )
    assert len(edges) == 15
    assert all(right < left for (_, right), (left, _) in pairwise(edges))


def test_a_take_of_twenty_phrases_is_one_sheet_of_paper(show, tmp_path):
    kinds = ("short dense in", "long sparse against") * 10
    page = show(put(tmp_path, take_of(kinds)), media="print")
    assert page.pdf(format="A4").count(b"/Type /Page\n") == 1


NO_BEAT = "no grid: give grid.tempo_bpm in takemill.toml (groove unmeasured)"


@pytest.mark.parametrize(
    ("phrases", "warnings", "remark"),
    [
        (8, (NO_BEAT,), "no grid"),
        (8, ("left out: speech 0:00-0:14", NO_BEAT), "left out: speech 0:00-0:14"),
        (2, (NO_BEAT,), "no score: 2 phrases"),
        (0, ("no phrases: the take is silent", NO_BEAT), "no phrases: the take is silent"),
    ],
)
def test_a_folder_s_page_says_of_a_take_what_concerns_it_alone(show, tmp_path, phrases, warnings, remark):
    unscored = Variety(None, None, None, {}, f"{phrases} phrases") if phrases < 4 else None
    take = replace(take_of(variety=unscored), warnings=warnings)
    page = show(folder_page(tmp_path, listed_of(take, phrases=phrases)))
    told = page.locator("#takes .name .more").all_text_contents()
    assert remark in told
    assert not any("grid.tempo_bpm" in words for words in told)


def test_six_steps_lead_from_three_hours_to_single_notes_and_back(show, tmp_path):
    page = show(put(tmp_path, long_take(), recorded=False), expects="ERR_FILE_NOT_FOUND")
    row(page, 1000).click()
    for _ in range(6):
        page.locator("#closer").click()
    assert page.locator("#closer").is_disabled()
    for _ in range(6):
        page.locator("#wider").click()
    assert page.locator("#wider").is_disabled()
