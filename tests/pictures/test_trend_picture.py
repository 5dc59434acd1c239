"""The picture of a trend: whole words, nothing over anything else, true to its numbers, on one page."""

from dataclasses import replace
from datetime import timedelta
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from picturing import SVG, boxes, corners, overlaps
from trending import START, USUAL, drawn, sighting

from batch.settings import TrendSettings
from batch.trend.dates import DatedBy
from batch.trend.periods import Per
from batch.trend.rows import By, Sighting, Trend, trend_of
from exporters.pictures.svg import HEIGHT
from exporters.pictures.trend_picture import MOST_STRANDS, render_svg

CHANCE = np.random.default_rng(5)
PHRASES = [drawn(CHANCE, 9) for _ in range(10)]
HOSTILE = '</text><script>alert(1)</script>&\x1b[31m\u202e"夜'


def takes_on(*days: float, **more: object) -> list[Sighting]:
    return [
        sighting(i, PHRASES[i % 10], at=START + timedelta(days=day), score=10.0 * (i % 11), **more)
        for i, day in enumerate(days)
    ]


def trend(takes: list[Sighting], per: Per = Per.WEEK, by: By | None = None) -> Trend:
    return trend_of(takes, per, by, settings=TrendSettings())


def root_of(found: Trend, title: str = "Copper Kettle") -> ElementTree.Element:
    return ElementTree.fromstring(render_svg(found, title))


def said(root: ElementTree.Element) -> list[str]:
    return [text.text for text in root.iter(f"{SVG}text")]


def paths(root: ElementTree.Element, kind: str) -> list[ElementTree.Element]:
    return [path for path in root.iter(f"{SVG}path") if path.get("class") == kind]


def assert_readable(root: ElementTree.Element) -> None:
    width, height = (float(number) for number in root.get("viewBox").split()[2:])
    for box in boxes(root):
        assert box.left >= 0, box
        assert box.right <= width + 0.1, box
        assert box.bottom <= height, box
    assert list(overlaps(boxes(root))) == []


@pytest.mark.parametrize("weeks", [1, 2, 5, 60, 520])
@pytest.mark.parametrize("per", Per)
def test_every_span_from_a_week_to_ten_years_can_be_read(weeks, per):
    days = sorted(CHANCE.choice(7 * weeks, min(7 * weeks, 4 * weeks), replace=False))
    root = root_of(trend(takes_on(*map(float, days)), per))
    assert_readable(root)
    assert float(root.get("viewBox").split()[3]) == HEIGHT


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.integers(0, 3000), min_size=4, max_size=40),
    st.sampled_from(Per),
    st.sampled_from([None, *By]),
    st.lists(st.sampled_from(["Slow Lantern", "Off Kilter", "x" * 300, "夜" * 90, None]), min_size=1),
)
def test_whatever_the_takes_no_word_lies_over_another(days, per, by, tunes):
    takes = [
        sighting(i, PHRASES[i % 10], at=START + timedelta(days=day), tune=tunes[i % len(tunes)])
        for i, day in enumerate(days)
    ]
    assert_readable(root_of(trend(takes, per, by)))


def test_a_gap_breaks_the_line():
    (course, *_) = paths(root_of(trend(takes_on(0, 7, 28, 35, 42))), "course")
    # Weeks 1, 2, then nothing, then 5, 6, 7: two pieces, of two and of three points.
    assert [len(piece) for piece in corners(course.get("d"))] == [2, 3]


def test_means_stand_at_their_height_and_ranges_around_them():
    takes = [
        sighting(i, PHRASES[0], at=START + timedelta(days=7 * (i // 2)), score=score)
        for i, score in enumerate([20.0, 40.0, 60.0, 80.0])
    ]
    found = trend(takes)
    root = root_of(found)
    lines = {float(d.split()[1].split("H")[0]) for p in paths(root, "hair") for d in [p.get("d")]}
    top, middle = sorted(lines)[:2]
    (course, *_) = paths(root, "course")
    ((first, second),) = corners(course.get("d"))
    base = 2 * middle - top  # 100, 50 and 0 are evenly apart
    assert (base - first[1]) / (base - top) == pytest.approx(0.30, abs=0.005)
    assert (base - second[1]) / (base - top) == pytest.approx(0.70, abs=0.005)
    for reach, stretch in zip(paths(root, "reach"), found.strands[0].stretches, strict=True):
        ys = [y for _, y in corners(reach.get("d"))[0]]
        heights = sorted((base - y) / (base - top) * 100 for y in set(ys))
        assert heights == pytest.approx([stretch.variety.low, stretch.variety.high], abs=0.5)


def test_every_take_with_a_score_is_drawn():
    takes = [*takes_on(0, 1, 2, 8, 9), sighting(7, PHRASES[0], at=START, score=None)]
    (rings,) = paths(root_of(trend(takes)), "ring")
    assert rings.get("d").count("M") == 5


def test_what_to_practise_next_stands_under_it_in_words():
    takes = [
        sighting(i, drawn(CHANCE, 12, USUAL | {"low": 0.0}), at=START + timedelta(days=i)) for i in range(12)
    ]
    root = root_of(trend(takes))
    words = " ".join(said(root))
    assert "Nothing low in the last 10 takes (120 phrases)." in words
    assert "Listen first: take " in words
    assert "not a grade" in words
    assert "Nothing low" in root.find(f"{SVG}desc").text
    assert_readable(root)


def test_too_few_takes_are_said():
    root = root_of(trend(takes_on(0, 1, 2)))
    assert "3 takes are too few for a trend; 4 or more are needed." in said(root)


def test_tunes_are_drawn_one_under_another_and_the_rest_are_counted():
    takes = [
        sighting(i, PHRASES[i % 10], at=START + timedelta(days=i), tune=f"Tune {i % 14}") for i in range(56)
    ]
    root = root_of(trend(takes, by=By.TUNE))
    names = [text for text in said(root) if text.startswith("Tune ")]
    assert len(names) == MOST_STRANDS
    assert "2 more tunes." in said(root)
    assert_readable(root)


def test_hostile_names_only_show_themselves():
    takes = takes_on(0, 1, 2, 3, tune=HOSTILE, title=HOSTILE)
    content = render_svg(trend(takes, by=By.TUNE), HOSTILE)
    root = ElementTree.fromstring(content)
    assert not list(root.iter(f"{SVG}script"))
    assert b"\x1b" not in content
    assert any("</text><script>" in text for text in said(root))


@pytest.mark.parametrize("by", [None, *By])
def test_nothing_is_told_by_colour_alone(by):
    root = root_of(trend(takes_on(0, 7, 14, 21), by=by))
    words = " ".join(said(root))
    assert words.count("of 100 phrases, so many are") == 1
    for sign in ("Ring or dot: a take", "Line across: their mean", "Grey: how far"):
        assert words.count(sign) == 1


def test_the_signs_are_explained_once_above_several_tunes():
    takes = [
        sighting(i, PHRASES[i % 10], at=START + timedelta(days=i), tune=f"Tune {i % 3}") for i in range(15)
    ]
    root = root_of(trend(takes, by=By.TUNE))
    words = " ".join(said(root))
    assert words.count("Ring or dot: a take") == words.count("of 100 phrases, so many are") == 1
    assert_readable(root)


@pytest.mark.parametrize("by", [None, By.TUNE])
@pytest.mark.parametrize(("late", "full"), [(False, False), (True, False), (True, True)])
def test_what_is_not_measured_is_said_beside_nothing_else(by, late, full):
    takes = [replace(take, connectedness=None) for take in takes_on(0, 7, 14, 21)]
    if late:
        takes[0] = replace(takes[0], connectedness=30.0)
        takes[3] = replace(takes[3], connectedness=100.0 if full else None)
    root = root_of(trend(takes, by=by))
    assert_readable(root)
    assert "taking up or answering" in said(root)
    assert ("not measured" in said(root)) == (not late)


@pytest.mark.parametrize("by", [None, By.TUNE])
def test_where_no_take_has_a_score_the_panel_says_so(by):
    takes = [replace(take, score=None, low=None, high=None) for take in takes_on(0, 7, 14, 21)]
    root = root_of(trend(takes, by=by))
    told = "no take has a score; 4 phrases or more are needed, by default"
    assert told in said(root)
    assert_readable(root)
    assert told not in said(root_of(trend(takes_on(0, 7, 14, 21), by=by)))


def test_where_dates_are_from_and_takes_without_a_name_are_said():
    takes = [*takes_on(0, 7, 14, 21), sighting(9, PHRASES[0], at=START, player=None)]
    takes[0] = replace(takes[0], dated_by=DatedBy.FILE)
    takes[1:3] = [replace(take, dated_by=DatedBy.NAME) for take in takes[1:3]]
    root = root_of(trend(takes, by=By.PLAYER))
    assert "1 take without a player: tags and names tell none." in said(root)
    dated = (
        "Takes are dated: 2 by the recordings themselves, 2 by their file's or folder's name, "
        "1 by when its file was last changed."
    )
    assert dated in said(root)
    assert_readable(root)
