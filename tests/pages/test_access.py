"""Pages as axe-core judges them: WCAG 2.0 to 2.2, A and AA, and its best practices."""

import json

import pytest
from building import take_info

from batch.entry import Entry, State
from batch.model import Variety
from batch.overview import Overview
from exporters.page import TakesPage
from pages.conftest import PHONE
from pages.making import PHRASES, listed_of, put, take_of, variety_of

axe_module = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe (the extra test)")

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
LOOKS = {"light": {}, "dark": {"color_scheme": "dark"}, "phone": {"size": PHONE}}
UNMEASURED = [f"{kind.rsplit(' ', 1)[0]} none" for kind in PHRASES]
NO_SCORE = Variety(None, None, None, {}, "fewer than 4 phrases")
SPOKEN = ("Talking was left out from 0:02 to 0:04.",)


def found(page):
    options = {"runOnly": {"type": "tag", "values": RULES}}
    violations = axe_module.Axe().run(page, options=options).response["violations"]
    return [
        json.dumps([each["id"], each["impact"], [node["target"] for node in each["nodes"]]])
        for each in violations
    ]


@pytest.mark.parametrize("look", LOOKS)
def test_nothing_is_found_on_a_take_s_page(show, tmp_path, look):
    page = show(put(tmp_path, take_of(warnings=SPOKEN)), **LOOKS[look])
    assert found(page) == []


@pytest.mark.parametrize(
    ("take", "recorded"),
    [
        (take_of(), False),
        (take_of(()), True),
        (take_of(UNMEASURED, has_grid=False, variety=NO_SCORE), True),
        (take_of(take=take_info("take.mid", duration_s=9.0, rate_hz=None)), True),
    ],
    ids=["recording lost", "no phrases", "no grid", "midi"],
)
def test_nothing_is_found_where_something_lacks(show, tmp_path, take, recorded):
    page = show(put(tmp_path, take, recorded=recorded), expects=None if recorded else "ERR_FILE_NOT_FOUND")
    if not recorded:
        page.wait_for_selector("#missing", state="visible")
    assert found(page) == []


def test_nothing_is_found_while_a_filter_holds_and_the_view_is_close(show, tmp_path):
    page = show(put(tmp_path, take_of()))
    page.locator('input[value="against-groove"]').check()
    page.locator("#closer").click()
    page.locator("#closer").click()
    assert found(page) == []


@pytest.mark.parametrize("look", LOOKS)
def test_nothing_is_found_on_a_folder_s_page(show, tmp_path, look):
    takes = [
        listed_of(take_of(take=take_info(f"take-{i}.wav", duration_s=9.0, title="Evening"), variety=variety))
        for i, variety in enumerate([variety_of(70), variety_of(60), NO_SCORE])
    ]
    lost = Entry(tmp_path / "broken.wav", State.FAILED, reason="cannot be read")
    path = tmp_path / "listen.html"
    path.write_bytes(TakesPage().render(Overview("An evening", tuple(takes), (lost,), 5)))
    assert found(show(path, **LOOKS[look])) == []
