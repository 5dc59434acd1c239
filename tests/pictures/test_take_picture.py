"""The picture of a take: a shape for each phrase where it belongs, and words that can be read."""

from xml.etree import ElementTree

import pytest
from building import analysis_of, grid_of, take_info
from hypothesis import given, settings
from picturing import SVG, blocks, boxes, many_phrases, overlaps, phrase

from batch.model import Groove, Variety
from exporters.pictures import TakePicture
from exporters.pictures.svg import LEFT, RIGHT, width_of
from exporters.pictures.take_picture import MOST_WARNING_LINES, picture_of

AGAINST = Groove.AGAINST_GROOVE


def drawn(phrases=(), **known):
    return ElementTree.fromstring(TakePicture().render(analysis_of(tuple(phrases), **known)))


def said(root):
    return [text.text for text in root.iter(f"{SVG}text")]


def four_beats(bars, beat_s=0.5):
    beats = range(bars * 4)
    return grid_of([i * beat_s for i in beats], [i % 4 + 1 for i in beats])


def assert_readable(root):
    width, height = (float(number) for number in root.get("viewBox").split()[2:])
    for box in boxes(root):
        assert box.left >= 0, box
        assert box.right <= width, box
        assert 0 <= box.top < box.bottom <= height, box
    assert list(overlaps(boxes(root))) == []
    for _, pieces in blocks(root):
        for x, y in (corner for piece in pieces for corner in piece):
            assert LEFT <= x <= RIGHT
            assert 0 < y < height


def test_blocks_lie_in_time():
    # 10 s a row over 770 points: 77 a second from 36 on; half a point is left at a block's end.
    root = drawn([phrase(1, 2), phrase(4, 8)], take=take_info(duration_s=10.0))
    spans = [(min(p)[0], max(p)[0]) for _, (p,) in blocks(root)]
    assert spans == [(113.0, pytest.approx(189.5)), (344.0, pytest.approx(651.5))]


def test_height_is_density_and_fill_and_lean_are_the_labels():
    # Notes a second as there is no grid: 17.4 is full height, 8.7 half of it.
    root = drawn(
        [
            phrase(1, 2, density=17.4),
            phrase(3, 4, density=8.7, groove=AGAINST, dense=False),
            phrase(5, 6, density=17.4, groove=Groove.UNMEASURED),
        ],
        take=take_info(duration_s=10.0),
    )
    (full_kind, (full,)), (half_kind, (half,)), (dashed_kind, (dashed,)) = blocks(root)
    assert (full_kind, half_kind, dashed_kind) == ("in dense", "against sparse", "none dense")
    height = full[0][1] - full[1][1]
    assert half[0][1] - half[1][1] == pytest.approx(height / 2, abs=0.1)
    assert full[0][0] == full[1][0]
    assert half[1][0] - half[0][0] == pytest.approx(height / 6, abs=0.1)
    assert dashed[0][0] == dashed[1][0]


def test_words_say_what_the_signs_say():
    root = drawn([phrase(1, 2), phrase(4, 6, groove=AGAINST, dense=False, device="off-beats")])
    words = said(root)
    for expected in ("1", "short dense", "in groove", "2", "short sparse", "against: off-beats"):
        assert expected in words
    assert any("Leaning: against it" in line for line in words)


def test_the_head_tells_what_the_take_is():
    variety = Variety(61.0, 55.0, 66.0, {"length": 48.0, "interval_size": 60.0})
    root = drawn(
        [phrase(1, 2)],
        take=take_info("blue.wav", duration_s=75, title="Blue Kettle"),
        grid=four_beats(40),
        variety=variety,
        warnings=("The left channel is silent.",),
    )
    assert said(root)[:4] == [
        "Blue Kettle",
        "blue.wav, 1:15, 120 beats a minute from test",
        "variety 61 (55 to 66): length 48, interval size 60",
        "The left channel is silent.",
    ]


def test_bars_are_numbered_where_the_grid_is_trusted():
    grid = grid_of([i * 0.5 for i in range(40)], [i % 4 + 1 for i in range(40)], first_bar=7)
    words = said(drawn([phrase(1, 2)], take=take_info(duration_s=10.0), grid=grid))
    assert [word for word in words if word in ("bar 7", "8", "9", "10", "11")] == [
        "bar 7",
        "8",
        "9",
        "10",
        "11",
    ]
    assert "0:02" in words
    assert not any(word.startswith("bar") for word in said(drawn([phrase(1, 2)])))


def test_a_take_without_phrases_says_why():
    words = said(drawn(warnings=("Nothing but talking was heard.",)))
    assert "No phrases." in words
    assert "Nothing but talking was heard." in words


def test_a_silence_that_is_not_drawn_is_said():
    apart = [phrase(1, 2), phrase(600, 601)]
    words = said(drawn(apart, take=take_info(duration_s=1200.0)))
    assert [word for word in words if word.startswith("no phrases from")] == [
        "no phrases from 0:10 to 10:00",
        "no phrases from 10:10 to 20:00",
    ]


def test_a_phrase_that_goes_on_in_the_next_row_is_one_shape_in_pieces():
    root = drawn([phrase(2, 3), phrase(5, 3000)], take=take_info(duration_s=3600.0))
    (_, first), (_, second) = blocks(root)
    assert len(first) == 1
    assert len(second) > 1


def test_hostile_words_are_inert():
    evil = "</text><script>alert(1)</script>&amp;\u202e\x00\x1b[31m"
    content = TakePicture().render(
        analysis_of((phrase(1, 2),), take=take_info(evil, title=evil, duration_s=5.0), warnings=(evil,))
    )
    root = ElementTree.fromstring(content)
    assert {element.tag for element in root.iter()} <= {
        SVG + tag for tag in ("svg", "title", "desc", "style", "rect", "path", "text")
    }
    assert said(root)[0] == "</text><script>alert(1)</script>&amp;???[31m"
    assert "\u202e" not in content.decode()


def test_long_words_are_cut_and_many_warnings_counted():
    take = take_info("x" * 300, title="W" * 300)
    root = drawn([phrase(1, 2)], take=take, warnings=tuple(f"Warning {i}. " + "m " * 80 for i in range(20)))
    assert_readable(root)
    assert said(root)[0].endswith("…")
    assert sum(word.startswith(("Warning", "m ")) for word in said(root)) == MOST_WARNING_LINES
    assert "More warnings stand in the analysis." in said(root)


def test_it_stands_alone_and_in_a_page():
    analysis = analysis_of((phrase(1, 2),), take=take_info("blue.wav", duration_s=9.0))
    alone = TakePicture().render(analysis).decode()
    assert alone.startswith('<?xml version="1.0" encoding="UTF-8"?>\n<!-- takemill -->\n<svg ')
    assert alone.endswith(picture_of(analysis))
    root = ElementTree.fromstring(picture_of(analysis))
    assert root.get("role") == "img"
    assert root.find(f"{SVG}title").text == "blue.wav"
    assert root.find(f"{SVG}desc").text.startswith("1 phrase: 1 short; 1 dense; 1 in the groove.")
    # Only the names of XML and SVG themselves are addresses.
    assert alone.count("http") == 1
    for reference in ("href", "url(", "@import", "<script", "foreignObject"):
        assert reference not in alone


def test_each_block_tells_its_phrase():
    root = drawn([phrase(61, 62.5, groove=AGAINST)], take=take_info(duration_s=70.0))
    titles = [title.text for path in root.iter(f"{SVG}path") for title in path.iter(f"{SVG}title")]
    assert titles == ["1: 1:01.0 to 1:02.5, short dense against-groove"]


@settings(max_examples=60, deadline=None)
@given(many_phrases())
def test_any_phrases_are_all_drawn_on_the_page_and_words_stand_apart(phrases):
    end_s = phrases[-1].end_s
    root = drawn(phrases, take=take_info(duration_s=end_s), grid=four_beats(20))
    assert len(blocks(root)) == len(phrases)
    assert_readable(root)


def test_two_thousand_phrases_in_three_hours_can_be_looked_through():
    phrases = [phrase(i * 5.4, i * 5.4 + 3 + i % 3, groove=list(Groove)[i % 3]) for i in range(2000)]
    content = TakePicture().render(
        analysis_of(tuple(phrases), take=take_info(duration_s=10_800.0), grid=four_beats(5400))
    )
    root = ElementTree.fromstring(content)
    assert len(content) < 1_500_000
    assert len(blocks(root)) == 2000
    assert_readable(root)
    assert {str(number) for number in range(1, 2001)} <= set(said(root))


def test_the_same_analysis_gives_the_same_bytes():
    first, second = (TakePicture().render(analysis_of((phrase(1, 2),))) for _ in range(2))
    assert first == second


# Advance widths of DejaVu Sans, one of the widest system fonts, in thousandths of an em (its hmtx table):
# m 974, i 278, l 278, s 521, h 634, o 612, r 411, t 392, space 318, d 635, e 615, n 634, 0 to 9 636.
@pytest.mark.parametrize(("text", "thousandths"), [("mill", 1808), ("short dense", 5891), ("1234", 2544)])
def test_words_are_taken_for_at_least_as_wide_as_they_are(text, thousandths):
    assert thousandths / 100 <= width_of(text, 10) <= 1.5 * thousandths / 100
