"""What every page is made of: its policy, its data, its links. No browser is needed."""

import base64
import hashlib
import html
import json
import re
from urllib.parse import unquote, urljoin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.overview import Overview
from exporters.links import address
from exporters.page import TakePage, TakesPage
from exporters.page.frame import data
from pages.making import listed_of, take_of

PAGES = {
    "take": TakePage().render(take_of()).decode(),
    "takes": TakesPage().render(Overview("x", (listed_of(take_of()),), ())).decode(),
}
AT = "file:///music/out/listen.html"


# RFC 3986, 4.2: a colon in a relative path's first segment would make it a scheme. Drives: RFC 8089, E.2.
@pytest.mark.parametrize(
    ("way", "expected"),
    [
        ("take.wav", "take.wav"),
        ("../takes/take 1.wav", "../takes/take%201.wav"),
        ("../50% #1?.wav", "../50%25%20%231%3F.wav"),
        ("javascript:alert(1).wav", "javascript%3Aalert%281%29.wav"),
        ("a:b.wav", "a%3Ab.wav"),
        ("%2e%2e%2f", "%252e%252e%252f"),
        ("Übung.wav", "%C3%9Cbung.wav"),
        ("/music/take.wav", "file:///music/take.wav"),
        ("/music/a:b.wav", "file:///music/a%3Ab.wav"),
        ("D:/takes/take #1.wav", "file:///D:/takes/take%20%231.wav"),
        ("//studio/takes/a b.wav", "file://studio/takes/a%20b.wav"),
        ("back\\slash.wav", "back%5Cslash.wav"),
        ('"><script>.wav', "%22%3E%3Cscript%3E.wav"),
        ("not utf-8 \udcff.wav", "not%20utf-8%20%FF.wav"),
    ],
)
def test_a_way_becomes_the_address_of_its_file(way, expected):
    assert address(way) == expected


@given(st.text(st.characters(exclude_characters="/\0", exclude_categories=["Cs"]), min_size=1))
def test_any_name_in_the_page_s_folder_stays_there(name):
    if name in (".", ".."):
        return
    assert unquote(urljoin(AT, address(name))) == f"file:///music/out/{name}"


@pytest.mark.parametrize("page", PAGES)
def test_the_policy_lets_the_page_s_own_scripts_run_and_no_others(page):
    text = PAGES[page]
    policy = html.unescape(re.search(r'Content-Security-Policy" content="([^"]*)"', text).group(1))
    allowed = re.search("script-src ([^;]*)", policy).group(1).split()
    scripts = re.findall("<script>(.*?)</script>", text, re.DOTALL)
    hashes = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts]
    assert allowed == [f"'sha256-{each}'" for each in hashes]  # Content Security Policy Level 3, 2.3.1
    assert policy.startswith("default-src 'none';")


@pytest.mark.parametrize("page", PAGES)
def test_the_policy_stands_before_whatever_it_governs(page):
    text = PAGES[page]
    assert text.index("Content-Security-Policy") < min(
        text.index(tag) for tag in ("<style", "<script", "<link")
    )


@pytest.mark.parametrize("page", PAGES)
def test_a_page_asks_for_nothing_from_elsewhere(page):
    links = re.findall(r'(?:src|href)="([^"]*)"', PAGES[page])
    assert links
    assert [link for link in links if ":" in link] == ["data:,"]


JSON = st.recursive(
    st.none() | st.integers() | st.text(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)
)


@given(JSON)
def test_data_comes_back_and_never_ends_its_element(value):
    text = str(data(value))
    assert json.loads(text) == value
    assert not set("<>&\u2028\u2029") & set(text)


def test_numbers_that_json_has_not_are_refused():
    with pytest.raises(ValueError, match="JSON"):
        data(float("nan"))
