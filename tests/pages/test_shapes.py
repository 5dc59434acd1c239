"""Pages on paper, on narrow screens, and in the colours and movements that somebody needs."""

from functools import partial

import pytest
from building import take_info

from batch.entry import Entry, State
from batch.overview import Overview
from exporters.page import TakesPage
from pages.conftest import PHONE
from pages.making import listed_of, put, take_of
from pages.playing import pick, row

NARROWEST = (320, 640)
"""What WCAG 2.2, 1.4.10 asks of: a screen of 1,280 pixels at 400 %."""
SPACED = """() => {
  const style = document.createElement("style");
  style.textContent = "* { line-height: 1.5 !important; letter-spacing: 0.12em !important;"
    + " word-spacing: 0.16em !important; } p { margin-bottom: 2em !important; }";
  document.head.append(style);
}"""
"""As WCAG 2.2, 1.4.12 has it."""
LONG = "Averyverylongname" * 8


@pytest.fixture
def takes_path(tmp_path):
    path = tmp_path / "listen.html"
    infos = [take_info(f"{name}.wav", duration_s=9.0, title=name) for name in ("Air", LONG)]
    lost = Entry(tmp_path / f"{LONG}.wav", State.FAILED, reason=LONG)
    takes = tuple(listed_of(take_of(take=info, warnings=(LONG,))) for info in infos)
    path.write_bytes(TakesPage().render(Overview(LONG, takes, (lost,))))
    return path


def overhang(page):
    """Return by how much a page is wider than its window."""
    return page.evaluate("document.documentElement.scrollWidth - innerWidth")


@pytest.mark.parametrize("size", [NARROWEST, PHONE, (640, 450), (1000, 700), (1280, 900), (1920, 1080)])
def test_nothing_is_beside_the_window(show, tmp_path, takes_path, size):
    take = take_of(take=take_info("solo.wav", duration_s=9.0, rate_hz=8000, title=LONG), warnings=(LONG,))
    page = show(put(tmp_path, take), size=size)
    assert overhang(page) <= 0
    page.evaluate(SPACED)
    assert overhang(page) <= 0
    page = show(takes_path, size=size)
    assert overhang(page) <= 0
    if size != (1280, 900):  # spaced out, the table may be wider than this window: all of it is reached
        page.evaluate(SPACED)
        assert overhang(page) <= 0


def test_on_a_phone_the_evidence_stands_under_its_phrase(show, tmp_path):
    page = show(put(tmp_path, take_of()), size=PHONE)
    row(page, 3).click()
    says, own = page.locator("#says").bounding_box(), row(page, 3).bounding_box()
    assert own["y"] + own["height"] <= says["y"] <= row(page, 4).bounding_box()["y"]
    page.set_viewport_size({"width": 1280, "height": 900})
    assert page.locator("#says").bounding_box()["x"] > row(page, 3).bounding_box()["width"]
    page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    pick(page, "density", "dense")
    assert page.locator("#says").is_visible()


def test_paper_has_all_phrases_and_no_controls(show, tmp_path):
    page = show(put(tmp_path, take_of()))
    pick(page, "groove", "against-groove")
    page.emulate_media(media="print")
    assert page.locator("#phrases li:visible").count() == 8
    for control in ("nav", ".controls", "#filters", "#blocks", "#says", "kbd"):
        assert page.locator(control).first.is_hidden(), control
    assert page.locator(".on-paper svg text", has_text="variety").first.is_visible()  # once, in the picture
    assert page.locator(".variety").is_hidden()


def test_paper_has_all_takes_and_no_links_to_files(show, takes_path):
    page = show(takes_path)
    page.emulate_media(media="print")
    assert page.locator("#takes tbody tr:visible").count() == 2
    for control in ("#find", "#sort", "#takes a:has-text('cues')"):
        assert page.locator(control).first.is_hidden(), control
    assert page.locator("svg.phrases").first.is_visible()
    assert page.locator("thead button", has_text="density").is_visible()  # as the column's head


def picture_colours(page):
    """Return how many pixels of the picture have each colour that is not transparent."""
    return page.evaluate(
        """() => {
          const pen = document.getElementById("contour").getContext("2d"), found = {};
          const { data } = pen.getImageData(0, 0, pen.canvas.width, pen.canvas.height);
          for (let i = 0; i < data.length; i += 4) {
            const colour = data.slice(i, i + 3).join();
            if (data[i + 3] === 255) found[colour] = (found[colour] ?? 0) + 1;
          }
          return found;
        }"""
    )


def test_the_picture_takes_up_the_system_s_colours(show, tmp_path):
    path = put(tmp_path, take_of())
    show = partial(show, expects="willReadFrequently")  # the test reads the picture back, the page does not
    assert picture_colours(show(path))["32,38,43"] > 1000  # --ink in the style sheet
    page = show(path, color_scheme="dark")
    assert picture_colours(page)["232,230,224"] > 1000
    page.emulate_media(color_scheme="light", forced_colors="active")
    page.wait_for_timeout(200)
    # CanvasText of a light palette that forces colours.
    assert picture_colours(page)["0,0,0"] > 1000


def test_in_forced_colours_the_chosen_row_keeps_a_sign(show, tmp_path):
    page = show(put(tmp_path, take_of()), forced_colors="active")
    edges = page.locator("#phrases button").evaluate_all(
        "rows => rows.map((row) => getComputedStyle(row).borderLeftColor)"
    )
    assert edges[0] != edges[1]
    assert len(set(edges[1:])) == 1


def test_nothing_moves_for_those_who_want_it_still(show, tmp_path):
    page = show(put(tmp_path, take_of()), reduced_motion="reduce")
    assert (
        page.evaluate("getComputedStyle(document.querySelector('#phrases button')).transitionDuration")
        == "0s"
    )


def test_a_narrow_phone_s_controls_take_two_lines(show, tmp_path):
    page = show(put(tmp_path, take_of()), size=NARROWEST)
    tops = {page.locator(button).bounding_box()["y"] for button in ("#play", "#before", "#next")}
    assert len(tops) == 1
