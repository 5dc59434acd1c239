"""Feature values, each worked out by hand from five notes."""

from math import log

import numpy as np
import pytest

from batch.phrase_features import NEUTRAL_BEAT_S, boundary_features, neighbour, rests_tell

# Onsets 0, 0.25, 0.5, 2, 2.25: spacings 0.25, 0.25, 1.5, 0.25 (median 0.25).
# The third note lasts 0.5 s, the second sounds into it: rests 0.05, 0, 1, 0.15.
ONSETS_S = np.array([0.0, 0.25, 0.5, 2.0, 2.25])
OFFSETS_S = np.array([0.2, 0.6, 1.0, 2.1, 2.5])
PITCHES = np.array([60.0, 62.0, 61.0, 80.0, 80.0])
S = 0.02  # what is added to seconds before a logarithm


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("rest", [log(0.05 + S), log(S), log(1 + S), log(0.15 + S)]),
        ("rest_in_beats", [log(0.1 + S), log(S), log(2 + S), log(0.3 + S)]),
        ("spacing", [log(0.25 + S), log(0.25 + S), log(1.5 + S), log(0.25 + S)]),
        ("spacing_in_beats", [log(0.5 + S), log(0.5 + S), log(3 + S), log(0.5 + S)]),
        ("beat", [log(0.5)] * 4),
        ("spacing_to_take", [0, 0, log(1.52 / 0.27), 0]),
        # Shares of rests at least as long: 3, 4, 1 and 2 of 4.
        ("rest_rank", [log(0.752), log(1.002), log(0.252), log(0.502)]),
        ("breath_share", [log(0.26)] * 4),
        # Sounding shares 0.8, 1, 1/3, 0.4; median 0.6.
        ("articulation", [0.6] * 4),
        ("longer_rests_25", [log(3), log(4), log(1), log(2)]),
        ("longer_spacings_25", [log(2), log(2), log(1), log(2)]),
        ("near_spacing", [log(1.52), log(1.52), log(0.27), log(1.52)]),
        ("spacing_to_near", [log(0.27 / 1.52), log(0.27 / 1.52), log(1.52 / 0.27), log(0.27 / 1.52)]),
        ("leap_+0", [2, -1, 12, 0]),
        ("wide_leap_+0", [2, 1, 12, 0]),
        # The median leap, past the end, is 1.
        ("leap_+1", [-1, 12, 0, 1]),
        ("wide_leap_-1", [1, 2, 1, 12]),
        # One rest over 0.3 s, before the fourth note at 2 s; before it the take's first note counts.
        ("since_rest_0.3", [log(0.35), log(0.6), log(2.1), log(0.35)]),
        ("until_rest_0.3", [log(1.85), log(1.6), log(0.35), log(0.1)]),
        ("notes_since_rest_0.3", [log(2), log(3), log(4), log(2)]),
        ("notes_until_rest_0.3", [log(4), log(3), log(3), log(2)]),
        ("last_rest_0.3", [log(2.02), log(2.02), log(2.02), log(1.02)]),
        ("next_rest_0.3", [log(1.02), log(1.02), log(2.02), log(2.02)]),
        # One spacing over 3 medians (0.75 s): the same place.
        ("notes_since_spacing_3.0", [log(2), log(3), log(4), log(2)]),
        ("next_spacing_3.0", [log(1.52), log(1.52), log(2.02), log(2.02)]),
    ],
)
def test_a_feature_is_what_its_name_says(name, expected):
    columns = boundary_features(ONSETS_S, OFFSETS_S, PITCHES, 0.5)
    assert columns[name] == pytest.approx(expected, abs=1e-12)


def test_rest_to_quantile_interpolates():
    # Sorted rests 0, 0.05, 0.15, 1; the 0.9 quantile lies 0.7 of the way from 0.15 to 1: 0.745.
    columns = boundary_features(ONSETS_S, OFFSETS_S, PITCHES, 0.5)
    assert columns["rest_to_quantile_0.9"][2] == pytest.approx(log(1.02 / 0.765))


def test_without_a_grid_the_neutral_beat_stands_in():
    without = boundary_features(ONSETS_S, OFFSETS_S, PITCHES, None)
    neutral = boundary_features(ONSETS_S, OFFSETS_S, PITCHES, NEUTRAL_BEAT_S)
    assert all(np.array_equal(without[name], neutral[name]) for name in neutral)


@pytest.mark.parametrize("count", [2, 3, 200])
def test_every_feature_is_finite_even_for_a_chord(count):
    columns = boundary_features(np.zeros(count), np.ones(count), np.full(count, 60.0), None)
    assert all(values.shape == (count - 1,) and np.isfinite(values).all() for values in columns.values())


@pytest.mark.parametrize(
    ("place", "expected"),
    [(0, [1, 2, 6]), (1, [2, 6, 2]), (-1, [2, 1, 2]), (2, [6, 2, 2]), (-3, [2, 2, 2]), (9, [2, 2, 2])],
)
def test_past_the_ends_a_neighbour_is_the_median(place, expected):
    assert neighbour(np.array([1.0, 2.0, 6.0]), place).tolist() == expected


@pytest.mark.parametrize(("sounding", "expected"), [(0.8, True), (0.9, False), (1.0, False), (1.5, False)])
def test_rests_tell_unless_notes_abut(sounding, expected):
    onsets_s = np.arange(40) / 4
    assert rests_tell(onsets_s, onsets_s + sounding / 4) is expected


def test_rests_tell_where_one_place_in_eight_is_a_breath():
    onsets_s = np.cumsum(np.where(np.arange(41) % 8 == 0, 1.0, 0.25))
    assert rests_tell(onsets_s, onsets_s + 0.25)
