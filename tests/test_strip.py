"""A take drawn in text: nothing wider than asked, every phrase to be seen, ASCII where it must be."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from picturing import many_phrases, phrase

from batch.model import Groove
from batch.strip import DRAWN, MOST_STRIPS, PLAIN, Strip, legends, strips_of

AGAINST = Groove.AGAINST_GROOVE


def strips(*phrases, duration_s=20.0, width=40, marks=DRAWN, in_beats=False) -> list[Strip]:
    return strips_of(phrases, duration_s, width, marks, in_beats=in_beats)


def lines(strip: Strip) -> tuple[str, str, str, str]:
    return strip.blocks, strip.grooves, strip.numbers, strip.ruler


# 40 columns for 20 s are half a second each. Full height is 17.4 notes a second; 8.7 is four eighths of it.
def test_a_take_on_one_line_by_hand():
    (strip,) = strips(
        phrase(1, 3, density=17.4),
        phrase(5, 6, density=8.7, groove=AGAINST),
        phrase(10, 12.5, density=1, groove=Groove.UNMEASURED),
    )
    assert strip.blocks.rstrip() == "  ████    ▄▄        ▁▁▁▁▁"
    assert strip.grooves.rstrip() == "  ────    ╱╱        ·····"
    assert strip.numbers == "  1       2         3"
    assert strip.ruler == "0:00      0:05      0:10      0:15"


def test_in_ascii_it_says_the_same():
    (strip,) = strips(phrase(1, 3, density=17.4), phrase(5, 6, density=0, groove=AGAINST), marks=PLAIN)
    assert strip.blocks.rstrip() == "  @@@@    .."
    assert strip.grooves.rstrip() == "  ----    //"
    assert all(line.isascii() for line in lines(strip))


def test_phrases_that_touch_are_told_apart_where_there_is_room():
    (strip,) = strips(phrase(1, 3, density=17.4), phrase(3, 5, density=17.4))
    assert strip.blocks.rstrip() == "  ███ ████"


def test_a_long_take_is_wrapped_and_a_very_long_one_is_coarser():
    one_minute = strips(phrase(1, 2), duration_s=60.0)  # 120 columns of half a second
    assert [len(strip.blocks) for strip in one_minute] == [40, 40, 40]
    three_hours = strips(phrase(1, 2), phrase(10_000, 10_001), duration_s=10_800.0)
    assert len(three_hours) == MOST_STRIPS
    assert three_hours[0].numbers == "1"
    assert three_hours[3].numbers.endswith("2")


def test_a_phrase_over_the_end_of_a_line_goes_on_without_a_second_number():
    first, second, *_ = strips(phrase(15, 25, density=17.4), duration_s=40.0)
    assert first.blocks.endswith("█" * 10)
    assert second.blocks.startswith("█" * 10)
    assert (first.numbers.strip(), second.numbers) == ("1", "")


def test_the_legend_names_the_grooves_that_are_there():
    told = list(legends(DRAWN, {Groove.IN_GROOVE, AGAINST}, in_beats=True))
    assert told[0] == "height: notes a beat; groove: ─ in it, ╱ against it"
    assert [len(legend) for legend in told] == sorted(map(len, told), reverse=True)
    assert "unmeasured" not in told[0]


@given(many_phrases(), st.integers(10, 120), st.sampled_from([DRAWN, PLAIN]))
def test_nothing_is_wider_than_asked_and_every_phrase_begins_somewhere(phrases, width, marks):
    duration_s = phrases[-1].end_s
    drawn = strips_of(phrases, duration_s, width, marks, in_beats=True)
    assert 1 <= len(drawn) <= MOST_STRIPS
    for strip in drawn:
        assert all(len(line) <= width for line in lines(strip))
        assert len(strip.blocks) == len(strip.grooves) == len(strip.shown)
    blocks = "".join(strip.blocks for strip in drawn)
    for each in phrases:
        # Its start lies in this column or, by rounding, in the one beside it.
        column = min(int(each.start_s / max(duration_s, 1.0) * len(blocks)), len(blocks) - 1)
        assert blocks[max(column - 1, 0) : column + 2].strip(), each.start_s


@given(many_phrases(), st.integers(10, 120))
def test_numbers_stand_where_their_phrases_begin(phrases, width):
    for strip in strips_of(phrases, phrases[-1].end_s, width, DRAWN, in_beats=True):
        for found in re.finditer(r"\d+", strip.numbers):
            assert strip.shown[found.start()] == int(found.group()) - 1
            assert found.start() == 0 or strip.shown[found.start() - 1] != int(found.group()) - 1


@pytest.mark.parametrize("duration_s", [0.0, 0.2, 1e6])
def test_any_length_can_be_drawn(duration_s):
    (first, *_) = strips(phrase(0.0, 0.1), duration_s=duration_s)
    assert first.blocks.startswith("▁")
    assert first.numbers.startswith("1")
