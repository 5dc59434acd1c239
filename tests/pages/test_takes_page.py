"""A folder's page: its takes in any order, found by name, those that failed with why."""

from dataclasses import replace
from pathlib import Path

import pytest
from building import take_info

from batch.entry import Entry, Stamp, State
from batch.model import Variety
from batch.overview import Overview
from batch.rank import Place
from exporters.page import TakesPage
from pages.making import PARTS, PHRASES, listed_of, put, take_of

NO_SCORE = Variety(None, None, None, {}, "fewer than 4 phrases")
COUNT = 5
LAST = COUNT - 1
"""The take without a score, a tempo and a date."""


def take(i):
    """Return take ``i`` of five: each of its numbers rises or falls with ``i``, the last has few."""
    parts = dict(
        zip(PARTS, [10.0 + i, 90.0 - i, 5.0 * i, None if i == 1 else 7.0 * i, 30.0 - i, 50.0], strict=True)
    )
    variety = NO_SCORE if i == LAST else Variety(80.0 - 10 * i, 70.0 - 10 * i, 85.0 - 10 * i, parts)
    info = take_info(f"take-{12 - i}.wav", duration_s=9.0 + 60 * i, title=None if i == 2 else f"Air {12 - i}")
    analysis = take_of(PHRASES[: 8 - i], take=info, variety=variety, has_grid=i != LAST)
    listed = listed_of(analysis, i + 1, recorded_at=None if i == LAST else f"2026-03-{10 + i}T20:00:00")
    return replace(listed, entry=replace(listed.entry, tempo_bpm=None if i == LAST else 120.0 - i))


@pytest.fixture
def write(tmp_path):
    def written(*takes, unheard=(), more=0):
        path = tmp_path / "listen.html"
        path.write_bytes(TakesPage().render(Overview("An evening", tuple(takes), tuple(unheard), more)))
        return path

    return written


@pytest.fixture
def page(show, write):
    return show(write(*map(take, range(COUNT))))


def order(page):
    """Return the takes as they stand, by their number in ``take``."""
    names = page.locator("#takes tbody th").evaluate_all("heads => heads.map((head) => head.innerText)")
    return [12 - int("".join(c for c in name.split("\n")[0] if c.isdigit())) for name in names]


# How a column is sorted first, and the takes then, by hand from the numbers in ``take``.
COLUMNS = {
    "place": ("ascending", [0, 1, 2, 3, 4]),
    "take": ("ascending", [4, 3, 1, 0, 2]),  # Air 8, 9, 11, 12, take-10.wav: numbers by their size
    "variety": ("descending", [0, 1, 2, 3, 4]),
    "length": ("descending", [3, 2, 1, 0, 4]),
    "density": ("descending", [0, 1, 2, 3, 4]),
    "articulation": ("descending", [3, 2, 1, 0, 4]),
    "groove": ("descending", [3, 2, 0, 1, 4]),
    "register": ("descending", [0, 1, 2, 3, 4]),
    "interval_size": ("descending", [0, 1, 2, 3, 4]),
    "phrases": ("descending", [0, 1, 2, 3, 4]),
    "time": ("descending", [4, 3, 2, 1, 0]),
    "tempo": ("descending", [0, 1, 2, 3, 4]),
    "date": ("descending", [3, 2, 1, 0, 4]),
}
VALUED = ("place", "take", "phrases", "time")
UNVALUED = {key: [1, LAST] if key == "groove" else [LAST] for key in COLUMNS if key not in VALUED}


def test_it_begins_with_the_most_varied(page):
    assert order(page) == [0, 1, 2, 3, 4]
    assert page.locator("[aria-sort]").inner_text().startswith("variety")


@pytest.mark.parametrize("by_button", [True, False], ids=["by its head", "by the list of columns"])
def test_every_column_sorts_both_ways(page, by_button):
    for key, (way, expected) in COLUMNS.items():
        head = page.locator(f'thead button[data-key="{key}"]')
        page.locator("#reverse").uncheck()
        if not by_button:
            page.locator("#sort").select_option(key)
        elif head.locator("..").get_attribute("aria-sort") is None:
            head.click()
        assert order(page) == expected, key
        assert page.locator("[aria-sort]").count() == 1
        assert head.locator("..").get_attribute("aria-sort") == way
        assert page.locator("#sort").input_value() == key
        head.click() if by_button else page.locator("#reverse").check()
        unvalued = UNVALUED.get(key, [])
        valued = [i for i in expected if i not in unvalued]
        ties = key == "interval_size"  # equals stay by place either way
        assert order(page) == (valued if ties else valued[::-1]) + unvalued, key
        other = {"ascending": "descending", "descending": "ascending"}[way]
        assert head.locator("..").get_attribute("aria-sort") == other


def test_a_take_is_found_by_words_of_its_title_or_file(page):
    page.locator("#find").fill("AIR 1")
    assert page.locator("#takes tbody tr:visible").count() == 2
    assert page.locator("#count").inner_text() == "2 of 5 takes"
    page.locator("#find").fill("take-10")
    assert page.locator("#takes tbody tr:visible th").all_inner_texts()[0].startswith("take-10.wav")
    page.locator("#find").fill("nothing so called")
    assert page.locator("#count").inner_text() == "0 of 5 takes"
    page.locator("#find").fill("")
    assert page.locator("#takes tbody tr:visible").count() == 5


def test_a_row_says_what_is_known_of_a_take(page):
    cells = page.locator("#takes tbody tr").first.locator("td").all_inner_texts()
    assert [cell.split() for cell in cells] == [
        *(["1"], [], ["80", "70", "to", "85"]),
        *(["10"], ["90"], ["0"], ["0"], ["30"], ["50"]),
        *(["-"], ["8"], ["0:09"], ["120"], ["2026-03-10"]),
    ]
    picture = page.locator("#takes tbody tr").first.locator("svg.phrases")
    assert picture.get_attribute("aria-label").startswith("8 phrases: 4 short, 4 long")
    last = page.locator("#takes tbody tr").last
    assert "no score: fewer than 4 phrases" in last.inner_text()
    assert last.locator("td.score").inner_text().strip() == "-"


def test_a_take_leads_to_its_page_and_back(show, tmp_path):
    analysis = take_of(take=take_info("evening.wav", duration_s=9.0, rate_hz=8000))
    path = put(tmp_path, analysis).with_name("listen.html")
    path.write_bytes(TakesPage().render(Overview("An evening", (listed_of(analysis),), ())))
    page = show(path)
    page.get_by_role("link", name="evening.wav", exact=True).click()
    page.wait_for_selector("#phrases")
    page.get_by_role("link", name="All takes of this folder").click()
    page.wait_for_selector("#takes")


def test_links_lead_to_the_files_that_are_there(show, write):
    listed = replace(take(0), files=("take-12.cues.csv", "take-12.phrases.svg"))
    page = show(write(listed))
    assert [link.split(" of")[0] for link in page.locator("#takes tbody a").all_text_contents()] == [
        *("cues", "picture", "recording"),
    ]
    assert page.locator("#takes a", has_text="cues").get_attribute("href") == "take-12.cues.csv"


def test_what_could_not_be_heard_is_told_with_why(show, write):
    lost = Entry(Path("/t/broken.wav"), State.FAILED, reason="cannot be read: cut short")
    page = show(write(take(0), unheard=[lost], more=7))
    assert page.locator(".unheard").inner_text().split("\n") == ["broken.wav", "cannot be read: cut short"]
    assert "8 takes, most varied first; 1 could not be heard" in page.locator("header").inner_text()
    assert "7 more are not listed here" in page.locator("header").inner_text()


def test_a_folder_without_takes_says_so(show, write):
    page = show(write())
    assert page.locator("main").inner_text() == "No take has been heard yet."
    assert page.locator("#takes").count() == 0


def test_a_take_whose_analysis_is_gone_is_still_listed(show, write):
    page = show(write(replace(take(0), outline=None, files=())))
    assert page.locator("#takes tbody th").inner_text().split("\n")[0] == "Air 12"
    assert page.locator("#takes tbody svg.phrases").count() == 0


def test_takes_that_are_not_told_apart_share_their_places(show, write):
    page = show(write(replace(take(0), place=Place("x", 80.0, 1, 3)), take(1)))
    assert page.locator("#takes tbody td:first-child").all_inner_texts() == ["1-3", "2"]


def test_the_date_is_that_of_the_file_where_a_take_has_none():
    listed = take(LAST)
    noon_ns = 1_773_489_600 * 10**9  # 2026-03-14T12:00:00Z: the same day from UTC-12 to UTC+11
    html = TakesPage().render(
        Overview("x", (replace(listed, entry=replace(listed.entry, stamp=Stamp(1, noon_ns))),), ())
    )
    assert b">2026-03-14<" in html
    never = replace(listed.entry, stamp=Stamp(1, 10**30))  # no calendar goes so far
    assert b'data-label="recorded">-<' in TakesPage().render(
        Overview("x", (replace(listed, entry=never),), ())
    )


def test_five_hundred_takes_sort_while_one_waits(show, write):
    takes = [
        listed_of(take_of(take=take_info(f"t-{i:03}.wav", duration_s=9.0 + i), has_grid=False), i + 1)
        for i in range(500)
    ]
    page = show(write(*takes))
    took_ms = page.evaluate(
        """() => {
          const began = performance.now();
          document.querySelector('thead button[data-key="time"]').click();
          document.body.offsetHeight; // laid out, too
          return performance.now() - began;
        }"""
    )
    assert page.locator("#takes tbody tr").first.locator("th").inner_text().startswith("t-499.wav")
    assert took_ms < 5000  # a fraction of a second where nothing else runs
