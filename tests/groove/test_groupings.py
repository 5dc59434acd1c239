"""The pieces that groups across the beat are found with."""

from itertools import pairwise

import numpy as np
import pytest
from devices import AGAINST_GROOVE, IN_GROOVE, perform
from hypothesis import given, settings
from hypothesis import strategies as st
from performing import grid_at

from batch.groove.devices import named
from batch.groove.groupings import Grouping, Period, groupings, periods
from batch.groove.lattice import Line, lay
from batch.model import Note
from batch.rhythm import Feel, felt_positions

BEAT_S = 0.5
STEADY = Feel(None, 0.0)


def line_at(beats, loudness_db=None) -> Line:
    loud = loudness_db if loudness_db is not None else [-12.0] * len(beats)
    notes = [
        Note(BEAT_S * b, BEAT_S * b + 0.1, 60.0 + i % 3, float(db))
        for i, (b, db) in enumerate(zip(beats, loud, strict=True))
    ]
    return Line.of(notes, np.array(beats, dtype=float), BEAT_S)


def test_notes_take_the_cells_they_are_nearest_to():
    # Sixteenths: cells of 0.25 beats from the first note's, 1.0; 1.52 is 10 ms off its cell at 1.5.
    lattice = lay(line_at([1.0, 1.25, 1.52, 2.25]), 4)
    assert lattice.first == 4
    assert lattice.note.tolist() == [0, 1, 2, -1, -1, 3]
    assert lattice.off_s == pytest.approx([0, 0, 0.01, 0], abs=1e-9)


def test_a_note_between_cells_is_astray_and_the_first_of_two_has_the_cell():
    # 0.11 beats are 55 ms from their cell, further than NEAR_CELL_S; 1.0 and 1.05 share one.
    lattice = lay(line_at([0.0, 0.61, 1.0, 1.05]), 2)
    assert lattice.note.tolist() == [0, -1, 2]
    assert lattice.astray.tolist() == [0, 1, 1]


def test_swung_eighths_lie_on_even_cells():
    # A ratio of 2: off-beats at two thirds.
    lattice = lay(line_at([0, 2 / 3, 1, 5 / 3, 2]), 2, offbeat=2 / 3)
    assert lattice.note.tolist() == [0, 1, 2, 3, 4]
    assert lattice.off_s == pytest.approx(np.zeros(5), abs=1e-9)


def test_accents_stand_out_of_the_notes_about_them():
    # Every third note 6 dB up, on a crescendo of 12 dB: levels alone do not tell them.
    rising = np.linspace(-24, -12, 18)
    loud = rising + 6 * (np.arange(18) % 3 == 0)
    assert np.flatnonzero(line_at(np.arange(18) / 2, loud).accented).tolist() == [0, 3, 6, 9, 12, 15]


def test_even_loudness_has_no_accents():
    loud = -12 + np.random.default_rng(3).normal(0, 0.5, 40)
    assert not line_at(np.arange(40) / 2, loud).accented.any()


# By hand: periods that neither fill nor divide the beat, half bar or bar.
@pytest.mark.parametrize(
    ("meter", "parts", "cells"),
    [((4, 4), 2, (3, 5, 7)), ((4, 4), 3, (2, 4, 5, 7)), ((3, 4), 2, (3, 4, 5, 7)), ((6, 8), 3, (2, 4, 5, 7))],
)
def test_periods_that_cross_a_meter(meter, parts, cells):
    found = {period.cells for period in periods(grid_at(120, meter=meter)) if period.parts == parts}
    assert found == set(cells)


# Names as players use them: common practice, no source.
@pytest.mark.parametrize(
    ("meter", "parts", "cells", "notes_a_period", "name"),
    [
        ((4, 4), 2, 3, 1.0, "dotted quarters"),
        ((4, 4), 2, 3, 3.0, "threes over eighths"),
        ((4, 4), 4, 5, 5.0, "fives over sixteenths"),
        ((4, 4), 3, 2, 1.0, "quarter triplets"),
        ((4, 4), 3, 4, 4.0, "fours over triplets"),
        ((4, 4), 5, 4, 1.0, "five over four"),
        ((3, 4), 2, 3, 1.0, "two over three"),
        ((3, 4), 2, 4, 4.0, "hemiola"),
        ((3, 4), 1, 2, 1.0, "hemiola"),
        ((2, 2), 2, 3, 3.0, "threes over quarters"),
        ((7, 8), 2, 3, 3.0, "threes over sixteenths"),
        ((6, 8), 3, 4, 4.0, "fours over eighths"),
        ((6, 8), 6, 3, 1.0, "two over three"),
    ],
)
def test_groups_are_named_by_the_notes_of_their_meter(meter, parts, cells, notes_a_period, name):
    grouping = Grouping(Period(parts, cells, ()), (0, 12), 0, 11, 9.0, notes_a_period)
    assert named(grouping, grid_at(120, meter=meter)).name == name


@settings(max_examples=40, deadline=None)
@given(name=st.sampled_from([*IN_GROOVE, *AGAINST_GROOVE]), seed=st.integers(0, 99))
def test_groups_found_lie_in_the_phrase_and_do_not_overlap(name, seed):
    played = (IN_GROOVE | AGAINST_GROOVE)[name]
    notes = perform(played, 132, np.random.default_rng(seed), start_beats=4)
    grid = grid_at(132, beats=80, meter=played.meter)
    position, _ = felt_positions(np.array([note.onset_s for note in notes]), grid, STEADY)
    found = groupings(Line.of(notes, position, 60 / 132), grid, STEADY, strength_from=3.0)
    assert all(0 <= one.first < one.last < len(notes) and one.strength >= 3.0 for one in found)
    assert all(a.last < b.first for a, b in pairwise(found))


@pytest.mark.parametrize("count", range(1, 4))
def test_too_few_notes_hold_no_group(count):
    grid = grid_at(120)
    assert groupings(line_at(np.arange(count) * 1.5), grid, STEADY, strength_from=0.0) == ()
