"""Our syncopation beside two published measures, as the library euclidean-rhythm has them."""

from itertools import pairwise

import numpy as np
import pytest
from euclidean_rhythm import euclidean, offbeatness, syncopation
from hypothesis import given
from hypothesis import strategies as st
from performing import grid_at

from batch.groove.syncopation import syncopations
from batch.rhythm import DIVISION, SUBDIVISION, strengths

SIXTEENTHS = 16
patterns = st.lists(st.booleans(), min_size=SIXTEENTHS, max_size=SIXTEENTHS).filter(any)


def struck(pattern) -> np.ndarray:
    return np.flatnonzero(pattern)


def strengths_of_syncopation(pattern) -> np.ndarray:
    """Return ours for each onset of one bar of sixteenths, the bar repeated as the others take it."""
    onsets = struck(pattern)
    repeated = np.concatenate([onsets, onsets + SIXTEENTHS, onsets + 2 * SIXTEENTHS]) / 4
    return syncopations(repeated, grid_at(120))[: len(onsets)]


def gaps(pattern) -> list[int]:
    onsets = struck(pattern)
    return [b - a for a, b in pairwise([*onsets, onsets[0] + SIXTEENTHS])]


# Keith, M. (1991), "From Polychords to Polya": an onset whose next pulse is stronger and silent,
# by the difference of weights 1, 2, 4, 8, 16. Ours are their logarithms to base 2, counted down from
# the bar (Longuet-Higgins & Lee 1984), so an off-beat sixteenth (weight 1) that is syncopated by
# s levels is worth 2**s - 1 of Keith's.
@given(patterns)
def test_where_no_more_than_one_pulse_is_silent_both_measures_are_one(pattern):
    if max(gaps(pattern)) <= 2:
        ours = strengths_of_syncopation(pattern)
        assert syncopation([int(on) for on in pattern]) == sum(2**s - 1 for s in ours.tolist())


@pytest.mark.parametrize("onsets", range(8, 17))
@pytest.mark.parametrize("turned", range(16))
def test_even_rhythms_of_eight_and_more_onsets_agree_with_keith(onsets, turned):
    pattern = euclidean(pulses=onsets, steps=SIXTEENTHS)
    pattern = [*pattern[turned:], *pattern[:turned]]
    ours = strengths_of_syncopation(pattern)
    assert syncopation(pattern) == sum(2**s - 1 for s in ours.tolist())


@given(patterns)
def test_what_keith_calls_syncopated_is_so_for_us(pattern):
    # Keith looks at the next pulse, we look as far as the next onset: we find at least as many.
    onsets, ours = struck(pattern), strengths_of_syncopation(pattern)
    alone = [
        0 if pattern[(onset + 1) % SIXTEENTHS] else syncopation([int(p == onset) for p in range(SIXTEENTHS)])
        for onset in onsets
    ]
    assert all(strength > 0 for keith, strength in zip(alone, ours, strict=True) if keith > 0)


def test_where_the_measures_part():
    # Onsets on beat 2 and beat 4: beats 3 and 1 stay silent behind them. Keith sees the pulse after
    # each, a weaker one, and counts nothing; Longuet-Higgins & Lee count half bar and bar.
    pattern = [0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0]
    assert syncopation(pattern) == 0
    assert strengths_of_syncopation(pattern).tolist() == [1, 2]


# Toussaint, G. T. (2005), "Mathematical features for recognizing preference in sub-Saharan African
# traditional rhythm timelines": pulses that no regular division of the cycle hits.
@given(patterns)
def test_off_beat_sixteenths_are_the_pulses_off_every_division(pattern):
    weights = strengths(struck(pattern) / 4, grid_at(120))
    assert offbeatness([int(on) for on in pattern]) == np.count_nonzero(weights == SUBDIVISION)


@given(st.lists(st.booleans(), min_size=8, max_size=8).filter(any))
def test_off_beat_eighths_are_the_pulses_off_every_division(pattern):
    weights = strengths(struck(pattern) / 2, grid_at(120))
    assert offbeatness([int(on) for on in pattern]) == np.count_nonzero(weights == DIVISION)


def test_off_beatness_parts_from_the_meter_in_twelve_eight():
    # In twelve pulses it counts 1, 5, 7, 11: a cycle that may be felt in two, three, four or six.
    # Our meter says four beats of three, and off the beat are all eight others.
    every = [1] * 12
    weights = strengths(np.arange(12) / 3, grid_at(120, meter=(12, 8)))
    assert offbeatness(every) == 4
    assert np.count_nonzero(weights == DIVISION) == 8
