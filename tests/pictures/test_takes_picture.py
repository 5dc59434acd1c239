"""The picture of a folder's takes: who comes first, on one scale, and what could not be heard."""

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from building import analysis_of, take_info
from hypothesis import given, settings
from hypothesis import strategies as st
from picturing import KINDS, SVG, boxes, corners, many_phrases, overlaps, phrase

from batch.entry import Entry, Scored, State, summarise
from batch.model import Groove, Variety
from batch.outline import outline_of
from batch.overview import Listed, Overview
from batch.rank import rank
from exporters.pictures import TakesPicture
from exporters.pictures.scores import LENGTH, SCORES
from exporters.pictures.takes_picture import BLOCKS, BLOCKS_END, MOST_TAKES, MOST_UNHEARD

LINE = (phrase(1, 2), phrase(3, 5, groove=Groove.AGAINST_GROOVE, dense=False))


def heard(name, score=None, phrases=LINE, *, title=None, duration_s=10.0, spread=4.0):
    """Return a take as the catalogue and its analysis know it."""
    variety = Variety(None, None, None, {}, "fewer than 4 phrases")
    if score is not None:
        variety = Variety(score, max(score - spread, 0), min(score + spread, 100), {})
    analysis = analysis_of(phrases, take=take_info(name, title=title, duration_s=duration_s), variety=variety)
    return summarise(Entry(Path(name).absolute(), State.DONE, name=name), analysis), outline_of(analysis)


def overview_of(*takes, unheard=(), more=0, title="Friday"):
    by_file = {str(entry.path): (entry, outline) for entry, outline in takes}
    places = rank([Scored(file, e.score, e.low, e.high) for file, (e, _) in by_file.items()])
    listed = [Listed(by_file[p.file][0], p, by_file[p.file][1], (), p.file) for p in places]
    return Overview(title, tuple(listed), tuple(unheard), more)


def failed(name, reason):
    return Entry(Path(name).absolute(), State.FAILED, reason=reason)


def drawn(overview):
    return ElementTree.fromstring(TakesPicture().render(overview))


def said(root):
    return [text.text for text in root.iter(f"{SVG}text")]


def paths(root, *kinds):
    return [path for path in root.iter(f"{SVG}path") if path.get("class") in kinds]


def assert_readable(root):
    width, height = (float(number) for number in root.get("viewBox").split()[2:])
    for box in boxes(root):
        assert box.left >= 0, box
        assert box.right <= width, box
        assert 0 <= box.top < box.bottom <= height, box
    assert list(overlaps(boxes(root))) == []


def test_the_most_varied_take_comes_first_with_its_numbers():
    root = drawn(overview_of(heard("dull.wav", 9.0), heard("bright.wav", 80.0, title="Bright")))
    words = said(root)
    assert words.index("Bright") < words.index("dull.wav")
    assert words[:2] == ["Friday", "2 takes, most varied first. All on one scale of time."]
    assert {"80", "76 to 84", "9", "5 to 13", "0:10, 2 phrases"} <= set(words)


def test_lengths_compare_as_all_takes_have_one_scale():
    longer, shorter = heard("a.wav", 80.0, duration_s=40.0), heard("b.wav", 10.0, duration_s=10.0)
    root = drawn(overview_of(longer, shorter))
    lines = [corners(path.get("d"))[0] for path in paths(root, "base")]
    lengths = [line[-1][0] - line[0][0] for line in lines if line[0][0] == BLOCKS]
    whole = BLOCKS_END - BLOCKS
    assert whole in lengths
    assert whole / 4 in [pytest.approx(length, abs=0.1) for length in lengths]


def test_a_score_is_drawn_on_a_scale_to_a_hundred():
    root = drawn(overview_of(heard("a.wav", 50.0, spread=10.0)))
    ((bar,),), ((mark,),) = ([corners(p.get("d")) for p in paths(root, kind)] for kind in ("range", "mark"))
    assert [x for x, _ in bar] == [SCORES + LENGTH * 0.4, SCORES + LENGTH * 0.6]
    assert {x for x, _ in mark} == {SCORES + LENGTH / 2}


def test_takes_that_are_not_told_apart_are_joined_and_it_is_said():
    note = "A bracket joins takes that are not told apart: their ranges overlap."
    close = drawn(overview_of(heard("a.wav", 50.0), heard("b.wav", 48.0), heard("c.wav", 5.0)))
    assert note in said(close)
    assert said(close).count("1-2") == 2
    apart = drawn(overview_of(heard("a.wav", 50.0), heard("c.wav", 5.0)))
    assert note not in said(apart)
    assert len(paths(close, "base")) == len(paths(apart, "base")) + 2  # a take's line and the bracket


def test_a_take_without_a_score_comes_last_and_says_why():
    words = said(drawn(overview_of(heard("few.wav"), heard("a.wav", 50.0))))
    assert words.index("a.wav") < words.index("few.wav")
    assert "no score: fewer than 4 phrases" in words


def test_failed_takes_are_named_with_their_reason():
    broken = failed("broken.wav", "is no sound file; export it again")
    words = said(drawn(overview_of(heard("a.wav", 50.0), unheard=[broken])))
    assert "could not be heard: broken.wav: is no sound file; export it again" in words
    assert "1 take, most varied first; 1 take could not be heard. All on one scale of time." in words


def test_what_is_too_much_is_counted():
    takes = [heard(f"{i}.wav", float(i)) for i in range(MOST_TAKES + 5)]
    root = drawn(
        overview_of(*takes, more=7, unheard=[failed(f"bad{i}.wav", "why") for i in range(MOST_UNHEARD + 3)])
    )
    words = said(root)
    assert (
        f"{MOST_TAKES + 12} takes, most varied first; {MOST_UNHEARD + 3} takes could not be heard" in words[1]
    )
    assert "and 12 takes more, less varied or without a score" in words
    assert "and 3 takes more that could not be heard" in words
    assert_readable(root)


def test_a_folder_without_takes_says_so():
    assert said(drawn(overview_of())) == ["Friday", "No takes heard yet."]


def test_a_take_whose_analysis_is_gone_keeps_its_row():
    whole = overview_of(heard("a.wav", 50.0))
    gone = replace(whole, takes=(replace(whole.takes[0], outline=None),))
    assert "its analysis is gone; run takemill again" in said(drawn(gone))


def test_takes_of_one_title_are_told_by_their_files():
    words = said(drawn(overview_of(heard("a.wav", 50.0, title="Blues"), heard("b.wav", 9.0, title="Blues"))))
    assert {"Blues (a.wav)", "Blues (b.wav)"} <= set(words)


def test_hostile_words_are_inert():
    evil = "</text><script>alert(1)</script>&amp;\u202e\x1b[31m"
    overview = overview_of(heard("a.wav", 50.0, title=evil), unheard=[failed("b.wav", evil)], title=evil)
    root = drawn(overview)
    assert {element.tag.removeprefix(SVG) for element in root.iter()} == {
        "svg", "title", "desc", "style", "rect", "path", "text"
    }  # fmt: skip
    assert said(root)[0] == "</text><script>alert(1)</script>&amp;??[31m"


def test_a_long_title_is_cut():
    root = drawn(overview_of(heard("a.wav", 50.0, title="W" * 200), title="M" * 300))
    assert sum(word.endswith("…") for word in said(root)) == 2
    assert_readable(root)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.one_of(st.none(), st.floats(0, 100)), many_phrases(20)), min_size=1, max_size=9))
def test_any_takes_have_all_their_phrases_and_words_stand_apart(takes):
    made = [
        heard(f"{i}.wav", score, phrases, duration_s=phrases[-1].end_s)
        for i, (score, phrases) in enumerate(takes)
    ]
    root = drawn(overview_of(*made))
    assert_readable(root)
    # Four blocks more, or five, are those of the legend.
    pieces = [piece for path in paths(root, *KINDS) for piece in corners(path.get("d"))]
    unmeasured = any(p.labels.groove is Groove.UNMEASURED for _, phrases in takes for p in phrases)
    assert len(pieces) == sum(len(phrases) for _, phrases in takes) + (5 if unmeasured else 4)


def test_the_same_takes_give_the_same_bytes():
    first, second = (TakesPicture().render(overview_of(heard("a.wav", 50.0))) for _ in range(2))
    assert first == second
