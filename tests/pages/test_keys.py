"""A take's page by keyboard alone."""

import pytest

from pages.making import put, take_of
from pages.playing import chosen, is_paused, now_s, pick, row, wait_until


@pytest.fixture
def page(show, tmp_path):
    return show(put(tmp_path, take_of()))


def focus(page):
    """Return what has the focus: a phrase's number, or else the element's id, value or text."""
    return page.evaluate(
        """() => {
          const at = document.activeElement, rows = [...document.querySelectorAll("#phrases button")];
          if (rows.includes(at)) return rows.indexOf(at) + 1;
          return at.id || at.value || at.textContent;
        }"""
    )


def tab_stops(page, most=40):
    stops = []
    for _ in range(most):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement === document.body"):
            return stops
        stops.append(focus(page))
    raise AssertionError(f"the focus never leaves the page: {stops}")


def test_tab_leads_through_the_page_and_to_one_phrase(page):
    # As they stand on the page; a group of radio buttons is one stop (WAI-ARIA Authoring Practices).
    assert tab_stops(page) == [
        "All takes of this folder",
        *("closer", "play", "before", "next", "where"),
        *("stop", "speed", "recording"),
        *("any", "any", "any"),
        1,
    ]


def test_the_picture_is_no_tab_stop_when_it_scrolls(page):
    page.locator("#closer").click()
    page.locator("#closer").click()
    page.evaluate("document.activeElement.blur()")
    assert tab_stops(page).count(1) == 1
    assert page.evaluate("document.getElementById('wave').scrollWidth") > 0


def test_up_and_down_move_in_the_list_without_playing(page):
    row(page, 1).focus()
    moves = {"ArrowDown": 2, "End": 8, "ArrowUp": 7, "Home": 1}
    assert [(page.keyboard.press(key), focus(page))[1] for key in moves] == list(moves.values())
    page.keyboard.press("ArrowUp")
    assert focus(page) == 1
    assert is_paused(page)
    assert chosen(page) == 1
    page.keyboard.press("ArrowDown")
    assert page.locator("#phrases button[tabindex='0']").count() == 1


def test_the_list_is_walked_as_it_is_filtered(page):
    pick(page, "density", "sparse")
    pick(page, "length", "long")
    stops = page.locator("#phrases button[tabindex='0']")
    assert stops.count() == 1
    stops.focus()
    found = [focus(page)]
    for key in ("ArrowDown", "ArrowDown", "ArrowDown", "Home"):
        page.keyboard.press(key)
        found.append(focus(page))
    assert found == [2, 4, 7, 7, 2]


def test_enter_plays_and_space_pauses_and_goes_on(page):
    row(page, 1).focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    wait_until(page, "chosen === 2 && !media.paused && media.currentTime > 1.6")
    page.keyboard.press(" ")
    wait_until(page, "media.paused")
    stopped_s = now_s(page)
    assert 1.6 < stopped_s < 2
    page.keyboard.press(" ")
    wait_until(page, f"!media.paused && media.currentTime > {stopped_s}")
    wait_until(page, "media.paused && media.currentTime < 2.5")


def test_enter_plays_a_phrase_again_from_its_start(page):
    row(page, 3).focus()
    page.keyboard.press("Enter")
    wait_until(page, "media.currentTime > 2.75")
    page.keyboard.press("Enter")
    wait_until(page, "!media.paused && media.currentTime < 2.75")


def test_space_plays_and_pauses_from_anywhere(page):
    page.keyboard.press(" ")
    wait_until(page, "!media.paused && media.currentTime > 0")
    page.keyboard.press(" ")
    wait_until(page, "media.paused")
    assert page.evaluate("scrollY") == 0


def test_left_and_right_play_neighbours_and_take_the_focus_along(page):
    row(page, 1).focus()
    page.keyboard.press("ArrowRight")
    wait_until(page, "chosen === 2 && !media.paused")
    assert focus(page) == 2
    page.keyboard.press("ArrowLeft")
    wait_until(page, "chosen === 1")
    page.keyboard.press("ArrowLeft")
    assert page.locator("#told").inner_text() == "That was the first phrase."
    assert (focus(page), chosen(page)) == (1, 1)


def test_arrow_keys_keep_their_meaning_among_radio_buttons(page):
    page.locator('input[name="after"][value="stop"]').focus()
    page.keyboard.press("ArrowRight")
    assert page.locator('input[name="after"][value="again"]').is_checked()
    assert is_paused(page)
    assert chosen(page) == 1


def test_arrow_keys_move_the_place_by_seconds(page):
    page.locator("#where").focus()
    page.keyboard.press("ArrowRight")
    wait_until(page, "Math.abs(media.currentTime - 5) < 0.05")
    page.keyboard.press("ArrowLeft")
    wait_until(page, "media.currentTime < 0.05")
    page.keyboard.press("End")
    wait_until(page, "Math.abs(media.currentTime - 9) < 0.05")
    assert page.locator("#where").get_attribute("aria-valuetext") == "0:09 of 0:09"
    assert is_paused(page)


def test_keys_with_ctrl_are_the_browser_s(page):
    row(page, 1).focus()
    page.keyboard.press("Control+ArrowRight")
    assert chosen(page) == 1


def test_what_has_the_focus_is_not_under_the_controls_of_a_phone(show, tmp_path):
    page = show(put(tmp_path, take_of()), size=(390, 700))
    row(page, 1).focus()
    for _ in range(7):
        page.keyboard.press("ArrowDown")
    box, bar = row(page, 8).bounding_box(), page.locator(".controls.main").bounding_box()
    assert box["y"] + box["height"] <= bar["y"]
