"""Beats that were heard become a grid: what lies beyond them, and how bars are numbered."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.beats.pulse import Pulse
from batch.grid import grid_from_pulse


def pulse(beats_s, numbers=None, beats_per_bar=4) -> Pulse:
    given_numbers = numbers or [1 + i % beats_per_bar for i in range(len(beats_s))]
    return Pulse(tuple(beats_s), tuple(given_numbers), beats_per_bar, 0.9)


def test_beats_go_on_evenly_to_a_beat_beyond_either_end():
    # Arithmetic: half a second a beat, heard from 1.2 s to 3.2 s in a take of 5 s.
    grid = grid_from_pulse(
        pulse([1.2, 1.7, 2.2, 2.7, 3.2], [2, 3, 4, 1, 2]), (4, 4), duration_s=5.0, source="take alone"
    )
    assert grid.beats_s == pytest.approx([-0.3, 0.2, 0.7, 1.2, 1.7, 2.2, 2.7, 3.2, 3.7, 4.2, 4.7, 5.2])
    assert grid.beat_in_bar == (3, 4, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2)
    # The bar of the first downbeat is bar 1, and what leads to it lies in bar 0.
    assert grid.first_bar == 0
    assert grid.tempo_bpm == pytest.approx(120)
    assert grid.tempo_map is None


def test_the_pace_beyond_the_end_is_not_that_of_one_hurried_beat():
    beats = [*(i / 2 for i in range(12)), 5.9]
    grid = grid_from_pulse(pulse(beats), (4, 4), duration_s=9.0, source="companion")
    assert grid.beats_s[13] - grid.beats_s[12] == pytest.approx(0.5)


@given(
    start_s=st.floats(-3, 3),
    beat_s=st.floats(0.25, 1.5),
    beats=st.integers(2, 40),
    bar=st.integers(2, 7),
    duration_s=st.floats(0.5, 60),
)
def test_a_grid_covers_its_take_in_whole_bars(start_s, beat_s, beats, bar, duration_s):
    heard = pulse([start_s + i * beat_s for i in range(beats)], beats_per_bar=bar)
    grid = grid_from_pulse(heard, (bar, 4), duration_s=duration_s, source="companion")
    assert grid.beats_s[0] <= 0 or start_s <= 0
    assert grid.beats_s[-1] >= duration_s
    assert all((b - a) % bar == 1 % bar for a, b in pairwise(grid.beat_in_bar))


@pytest.mark.parametrize(
    ("beats", "numbers", "confidence", "wrong"),
    [
        ((0.0,), (1,), 0.9, "at least two beats"),
        ((0.0, 0.5), (1,), 0.9, "one entry a beat"),
        ((0.5, 0.5), (1, 2), 0.9, "must rise"),
        ((0.0, 0.5), (1, 2), 1.1, "confidence must be 0 to 1"),
    ],
)
def test_what_is_no_pulse_is_refused(beats, numbers, confidence, wrong):
    with pytest.raises(ValueError, match=wrong):
        Pulse(beats, numbers, 4, confidence)
