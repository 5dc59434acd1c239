"""Names and tags that would be more than text: they show themselves and do nothing."""

import re
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote

import pytest
from building import take_info

from batch.entry import Entry, State
from batch.model import Device, Variety
from batch.overview import Overview
from exporters.page import TakePage, TakesPage
from pages.making import listed_of, put, take_of
from pages.playing import row, wait_until

TEXT = "".join(
    (
        "</script><script>window.hit=1</script>",
        '<img src=x onerror="window.hit=1">',
        "\"' onmouseover='window.hit=1' x=\"",
        "</style><style>*{display:none}</style>",
        "{{7*7}}{% raw %}${7*7}",
        "&lt;b&gt;&amp;",
        "<!--<script>",
    )
)
UNSEEN = "line\u2028separator override\u202e isolate\u2067 new\nline nu\0ll lone\ud800 joined\u200d"
FILE_NAMES = (
    "take #1.wav",
    "50% off?.wav",
    "%2e%2e%2f.wav",
    "javascript:alert(1).wav",
    "a:b.wav",
    "Übung für Ärger.wav",
    'it\'s "quoted" & <b>.wav',
    "a\nb.wav",
    "back\\slash.wav",
    "  spaces  .wav",
)


def hostile_take(text, name="solo.wav"):
    take = take_of(take=take_info(name, duration_s=9.0, rate_hz=8000, title=text), warnings=(text,))
    device = Device(text, 1.5, 1.8)
    second = take.phrases[1]
    second = replace(second, evidence=replace(second.evidence, devices=(device,)))
    return replace(take, phrases=(take.phrases[0], second, *take.phrases[2:]))


def test_text_shows_itself_on_a_take_s_page(show, tmp_path):
    text, page = TEXT, show(put(tmp_path, hostile_take(TEXT)))
    assert page.locator("h1").inner_text() == text
    assert page.locator(".warnings li").inner_text() == text
    assert f"against the groove: {text}" in row(page, 2).inner_text()
    row(page, 2).click()
    assert f"{text} from 0:01.5 to 0:01.8" in page.locator("#says-list").inner_text()
    assert page.title() == f"{text}: 8 phrases"
    assert page.evaluate("[window.hit, document.querySelectorAll('img').length]") == [None, 0]


def test_what_no_eye_sees_shows_as_a_question_mark(show, tmp_path):
    page = show(put(tmp_path, hostile_take(UNSEEN)))
    shown = re.sub("[^a-z ]", "?", UNSEEN)
    assert page.locator("h1").inner_text() == shown
    assert page.locator(".warnings li").inner_text() == shown
    assert shown in row(page, 2).inner_text()


def test_text_shows_itself_on_a_folder_s_page(show, tmp_path):
    unscored = Variety(None, None, None, {}, TEXT)
    takes = (
        listed_of(hostile_take(TEXT)),
        listed_of(replace(take_of(take=take_info(TEXT.replace("/", "_"))), variety=unscored)),
    )
    lost = Entry(Path("/t") / TEXT.replace("/", "_"), State.FAILED, reason=TEXT)
    path = tmp_path / "listen.html"
    path.write_bytes(TakesPage().render(Overview(TEXT, takes, (lost,))))
    page = show(path)
    assert page.locator("h1").inner_text() == TEXT
    assert page.locator("th a").first.inner_text() == TEXT
    assert page.locator(".unheard dd").inner_text() == TEXT
    page.locator("#find").fill("onerror")
    assert page.locator("#takes tbody tr:visible").count() == 2
    assert page.evaluate("[window.hit, document.querySelectorAll('img').length]") == [None, 0]


@pytest.mark.parametrize("name", FILE_NAMES)
def test_a_link_reaches_the_recording_whatever_its_name(show, tmp_path, name):
    folder = tmp_path / "50% #1? of:it"
    folder.mkdir()
    path = put(folder, take_of(take=take_info(name, duration_s=9.0, rate_hz=8000)))
    page = show(path)
    wait_until(page, "media.duration === 9")
    assert page.locator("#missing").is_hidden()


def test_a_folder_s_page_leads_to_pages_whatever_their_names(show, tmp_path):
    analyses = [take_of(take=take_info(name, duration_s=9.0, rate_hz=8000)) for name in FILE_NAMES]
    for analysis in analyses:
        put(tmp_path, analysis)
    path = tmp_path / "out" / "listen.html"
    path.write_bytes(TakesPage().render(Overview("all", tuple(listed_of(each) for each in analyses), ())))
    page = show(path)
    for link, way in (("th > a", "out"), ("span a:has-text('recording')", "takes")):
        addresses = page.locator(link).evaluate_all("links => links.map((link) => link.href)")
        here = {each.as_uri() for each in (tmp_path / way).iterdir() if each.name != "listen.html"}
        assert set(map(unquote, addresses)) == set(map(unquote, here))  # escapes may be more than needed


def test_a_script_that_got_into_the_page_does_not_run(show, tmp_path):
    path = put(tmp_path, take_of())
    injected = b"<script>window.hit = 1</script><img src='x' onerror='window.hit = 2'></body>"
    path.write_bytes(path.read_bytes().replace(b"</body>", injected))
    page = show(path, expects="Content Security Policy")
    assert page.locator("img").count() == 1
    assert page.evaluate("window.hit") is None


def test_a_page_may_fetch_nothing(show, tmp_path):
    page = show(put(tmp_path, take_of()), expects="Content Security Policy")
    refused = page.evaluate("fetch('https://example.invalid/').then(() => 'sent', () => 'refused')")
    assert refused == "refused"


def test_the_same_analysis_gives_the_same_bytes():
    assert TakePage().render(take_of()) == TakePage().render(take_of())
