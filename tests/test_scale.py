"""A score with its range on a scale of 0 to 100."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.scale import DRAWN, HEAD, PLAIN, WIDTH, scale


# 21 columns, five of the hundred each: 20 is the fifth, 30 the seventh, 45 the tenth.
@pytest.mark.parametrize(
    ("value", "low", "high", "drawn"),
    [
        (30, 20, 45, "····├─●──┤···········"),
        (0, 0, 100, "●───────────────────┤"),
        (100, 99, 100, "····················●"),
        (50, None, None, "··········●··········"),
    ],
)
def test_the_range_lies_where_it_should(value, low, high, drawn):
    assert scale(value, low, high, DRAWN) == drawn


def test_in_ascii_it_looks_alike():
    assert scale(30, 20, 45, PLAIN) == "....[-o--]..........."


def test_without_a_score_there_is_nothing():
    assert scale(None, None, None, DRAWN) == ""


@given(st.floats(-10, 110), st.floats(0, 40), st.floats(0, 40))
def test_every_scale_is_as_wide_as_its_head_and_shows_one_value(value, below, above):
    drawn = scale(value, value - below, value + above, DRAWN)
    assert len(drawn) == WIDTH == len(HEAD)
    assert drawn.count("●") == 1
    assert set(drawn) <= set("·├─┤●")
