"""A take's page plays: phrases, on and on, over and over, and wherever one points."""

import time

import pytest

from pages.making import PHRASES, put, take_of
from pages.playing import chosen, is_paused, listen_for_seeks, now_s, pick, point, row, rows_shown, wait_until

STARTS_S = [i + 0.5 for i in range(len(PHRASES))]
TAIL_S = 0.12
"""What may ring on after a phrase."""
SLACK_S = 0.2
"""A page hears of the time once a frame, on a busy machine of fewer."""


@pytest.fixture
def page(show, tmp_path):
    return show(put(tmp_path, take_of()))


def test_the_take_plays_and_pauses(page):
    page.get_by_role("button", name="Play", exact=True).click()
    wait_until(page, "media.currentTime > 0.2")
    page.get_by_role("button", name="Pause").click()
    stopped_s = now_s(page)
    time.sleep(0.2)
    assert now_s(page) == stopped_s
    assert page.locator("#missing").is_hidden()


def test_a_click_on_a_phrase_plays_it_from_its_start_to_its_end(page):
    listen_for_seeks(page)
    row(page, 4).click()
    wait_until(page, "media.paused && media.currentTime > 3.6")
    assert page.evaluate("sought") == pytest.approx([STARTS_S[3]], abs=0.05)
    assert STARTS_S[3] + 0.5 <= now_s(page) <= STARTS_S[3] + 0.5 + TAIL_S + SLACK_S
    assert chosen(page) == 4


def test_a_phrase_is_repeated_as_long_as_one_likes(page):
    pick(page, "after", "again")
    listen_for_seeks(page)
    row(page, 3).click()
    page.wait_for_function("() => sought.length >= 3")
    assert page.evaluate("sought.slice(0, 3)") == pytest.approx([STARTS_S[2]] * 3, abs=0.05)
    assert not is_paused(page)
    pick(page, "after", "stop")
    wait_until(page, "media.paused")


def test_the_next_phrase_follows_among_those_listed(page):
    pick(page, "length", "long")
    pick(page, "density", "sparse")
    pick(page, "after", "next")
    row(page, 2).click()
    wait_until(page, "chosen === 4")
    assert now_s(page) == pytest.approx(STARTS_S[3], abs=SLACK_S)
    wait_until(page, "chosen === 7 && media.paused")
    assert now_s(page) <= STARTS_S[6] + 0.5 + TAIL_S + SLACK_S


def test_played_on_the_take_goes_its_way_and_the_list_follows(page):
    pick(page, "after", "on")
    row(page, 1).click()
    wait_until(page, "chosen === 2 && media.currentTime > 1.5 && !media.paused")
    assert page.locator("#says-head").inner_text() == "Phrase 2"


@pytest.mark.parametrize(("canvas", "y"), [("#blocks", 60), ("#contour", 80)])
def test_a_click_in_the_picture_plays_the_phrase_there(page, canvas, y):
    point(page, canvas, STARTS_S[5] + 0.25, y)
    wait_until(page, "chosen === 6 && !media.paused")
    assert STARTS_S[5] <= now_s(page) <= STARTS_S[5] + 0.5 + SLACK_S


def test_a_click_between_phrases_goes_there(page):
    point(page, "#blocks", 4.25, 60)
    assert now_s(page) == pytest.approx(4.25, abs=0.05)
    assert is_paused(page)


def test_a_click_in_the_waveform_goes_there_and_on(page):
    point(page, "#wave", 6.7)
    wait_until(page, "Math.abs(media.currentTime - 6.7) < 0.05")
    assert chosen(page) == 7


def test_it_plays_slower(page):
    page.locator("#speed").select_option("0.5")
    row(page, 1).click()
    began = time.monotonic()
    wait_until(page, "media.paused && media.currentTime > 1")
    assert time.monotonic() - began > 2 * 0.5


def test_a_link_may_lead_to_a_phrase(show, tmp_path):
    page = show(put(tmp_path, take_of()), hash_="#phrase-5")
    assert chosen(page) == 5
    assert now_s(page) == pytest.approx(STARTS_S[4], abs=0.05)


def test_the_heads_of_an_analysis_are_there_to_read(page):
    assert page.locator("h1").inner_text() == "Evening take"
    assert page.locator("header").inner_text().splitlines()[-1].endswith("0:09, 120 beats a minute from test")
    assert "61\n" in page.locator(".variety .total").inner_text() + "\n"
    assert "57 to 71" not in page.locator(".variety").inner_text()
    assert "57 to 67" in page.locator(".variety").inner_text()
    assert "groove\nunmeasured" in page.locator(".variety").inner_text()


@pytest.mark.parametrize(
    ("picked", "listed"),
    [
        ({}, [1, 2, 3, 4, 5, 6, 7, 8]),
        ({"length": "long", "density": "sparse"}, [2, 4, 7]),
        ({"groove": "against-groove"}, [2, 5, 6, 8]),
        ({"length": "short", "density": "sparse", "groove": "in-groove"}, [3]),
    ],
)
def test_phrases_are_filtered_by_label(page, picked, listed):
    for group, value in picked.items():
        pick(page, group, value)
    assert rows_shown(page) == listed
    told = "All 8 phrases" if not picked else f"{len(listed)} of 8 phrases"
    assert page.locator("#count").inner_text() == told


def test_a_filter_that_nothing_meets_leaves_a_page_that_works(show, tmp_path):
    kinds = ("short dense in", "long sparse in", "short dense against")
    page = show(put(tmp_path, take_of(kinds)))
    pick(page, "length", "long")
    pick(page, "groove", "against-groove")
    assert rows_shown(page) == []
    assert page.locator("#count").inner_text() == "0 of 3 phrases"
    page.get_by_role("button", name="Next phrase").click()
    assert is_paused(page)
    pick(page, "groove", "any")
    assert rows_shown(page) == [2]
    page.get_by_role("button", name="Next phrase").click()
    wait_until(page, "chosen === 2 && !media.paused")


def test_arrow_keys_pass_over_what_is_not_listed(page):
    pick(page, "groove", "against-groove")
    row(page, 2).click()
    for expected in (5, 6, 8):
        page.keyboard.press("ArrowRight")
        wait_until(page, f"chosen === {expected} && !media.paused")
    page.keyboard.press("ArrowRight")
    assert chosen(page) == 8
    assert page.locator("#told").inner_text() == "That was the last phrase."
    page.keyboard.press("ArrowLeft")
    wait_until(page, "chosen === 6")
