"""Notes to phrases: what any splitter must hold, and what players would expect of this one."""

import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lines import TICK_S, improvised, note, runs
from pydantic import ValidationError

from batch.model import Note, Phrase
from batch.phrase_features import boundary_features
from batch.phrases import PhraseModel, Regression, load_model, split_phrases


def first_notes(notes: list[Note], beat_s: float | None = 0.5) -> list[int]:
    return [phrase.first_note for phrase in split_phrases(notes, beat_s=beat_s)]


@st.composite
def lines(draw: st.DrawFn) -> list[Note]:
    """Any notes in order of onset: chords, overlaps, long rests, on an exact time base."""
    spacings = draw(st.lists(st.integers(0, 4096), max_size=60))
    onsets = np.cumsum(spacings).tolist()
    return [
        note(tick * TICK_S, draw(st.integers(1, 3000)) * TICK_S, draw(st.integers(30, 90))) for tick in onsets
    ]


beats = st.none() | st.integers(200, 1200).map(lambda tick: tick * TICK_S)


def test_no_notes_make_no_phrase():
    assert split_phrases([], beat_s=None) == ()


def test_one_note_makes_one_phrase():
    assert split_phrases([note(3.0, 0.5)], beat_s=0.5) == (Phrase(3.0, 3.5, 0, 0),)


@pytest.mark.parametrize("beat_s", [None, 0.35, 0.5, 1.0])
def test_a_rest_of_six_eighths_parts_two_runs(beat_s):
    assert first_notes(runs([8, 11, 6, 14]), beat_s) == [0, 8, 19, 25]


def test_a_line_without_rests_is_one_phrase():
    assert len(split_phrases(runs([40]), beat_s=0.5)) == 1


def test_a_long_note_ends_a_phrase_where_notes_abut():
    # By ear: two lines of seven quarters and a dotted half, as in a hymn; no silence anywhere.
    line = [0.5] * 7 + [2.0]
    onsets = np.cumsum([0.0, *(line * 4)])
    notes = [note(a, b - a) for a, b in pairwise(onsets)]
    assert first_notes(notes) == [0, 8, 16, 24]


def test_a_phrase_ends_with_its_latest_offset():
    notes = [note(0.0, 3.0), note(0.25, 0.2), note(0.5, 0.2)]
    assert split_phrases(notes, beat_s=0.5) == (Phrase(0.0, 3.0, 0, 2),)


def test_unsorted_notes_are_refused():
    with pytest.raises(ValueError, match="sorted by onset"):
        split_phrases([note(1.0, 0.1), note(0.5, 0.1)], beat_s=None)


@pytest.mark.parametrize("beat_s", [0.0, -1.0, float("nan"), float("inf")])
def test_a_beat_without_length_is_refused(beat_s):
    with pytest.raises(ValueError, match="beat_s must be positive"):
        split_phrases(runs([2]), beat_s=beat_s)


@given(lines(), beats)
def test_phrases_cover_every_note_once_and_in_order(notes, beat_s):
    phrases = split_phrases(notes, beat_s=beat_s)
    assert [i for phrase in phrases for i in range(phrase.first_note, phrase.last_note + 1)] == list(
        range(len(notes))
    )
    for phrase in phrases:
        inside = notes[phrase.span]
        assert phrase.start_s == inside[0].onset_s
        assert phrase.end_s == max(each.offset_s for each in inside)


@given(lines(), beats, st.integers(0, 2**20), st.integers(-24, 24), st.floats(-60, 0))
def test_shifting_transposing_and_playing_louder_change_nothing(notes, beat_s, shift, semitones, loudness_db):
    moved = [
        Note(
            each.onset_s + shift * TICK_S,
            each.offset_s + shift * TICK_S,
            each.pitch_midi + semitones,
            loudness_db,
            0.5,
        )
        for each in notes
    ]
    spans = [phrase.span for phrase in split_phrases(notes, beat_s=beat_s)]
    assert [phrase.span for phrase in split_phrases(moved, beat_s=beat_s)] == spans


@pytest.mark.parametrize("seed", range(8))
def test_a_take_played_twice_splits_the_same_twice(seed):
    notes, _ = improvised(seed)
    again_s = notes[-1].offset_s + 2.0
    twice = notes + [replace(n, onset_s=n.onset_s + again_s, offset_s=n.offset_s + again_s) for n in notes]
    found, n = first_notes(twice), len(notes)
    once, second = {i for i in found if i < n}, {i - n for i in found if i >= n}
    assert len(once ^ second) <= 1  # the seam gives the ends another neighbour
    assert len(once ^ set(first_notes(notes))) <= 1


def test_a_hundred_thousand_notes_take_a_second_or_so():
    notes = [note(0.2 * i + (i % 13 == 0) * 0.1, 0.1) for i in range(100_000)]
    load_model()
    begun = time.process_time()
    split_phrases(notes, beat_s=0.4)
    assert time.process_time() - begun < 4.0  # about 0.4 s when measured; room for a busy machine


def test_the_shipped_model_says_where_it_comes_from():
    provenance = load_model().provenance
    assert {"fitted_by", "fitted_on", "corpus", "solos", "method"} <= provenance.keys()
    assert float(provenance["f_by_rests_on_solos_left_out"]) > 0.90
    assert float(provenance["f_by_spacing_on_solos_left_out"]) > 0.80


def test_the_shipped_model_weighs_only_features_there_are():
    there_are = boundary_features(np.array([0.0, 1.0]), np.array([0.5, 1.5]), np.zeros(2), None).keys()
    assert load_model().by_rests.weights.keys() == there_are
    assert load_model().by_spacing.weights.keys() < there_are
    assert not any("rest" in name or "beat" in name for name in load_model().by_spacing.weights)


BY_HAND = Regression(intercept=-1.0, weights={"rest": 2.0, "leap": -0.5}, threshold=0.8)


def test_a_regression_answers_as_worked_by_hand():
    # -1 + 2 * 2 - 0.5 * 3 = 1.5 and -1 + 0 + 1 = 0: 1 / (1 + e^-1.5) = 0.817574, 1 / 2.
    columns = {"leap": np.array([3.0, -2.0]), "rest": np.array([2.0, 0.0]), "unused": np.array([9.0, 9.0])}
    assert BY_HAND.probabilities(columns) == pytest.approx([0.817574, 0.5], abs=1e-6)
    assert BY_HAND.starts(columns).tolist() == [True, False]


def test_a_regression_is_certain_rather_than_overflowing():
    columns = {"leap": np.array([0.0, 0.0]), "rest": np.array([1e6, -1e6])}
    assert BY_HAND.probabilities(columns).tolist() == [1.0, 0.0]


def test_another_model_can_be_given():
    never = Regression(intercept=-99.0, weights={"beat": 0.0}, threshold=0.5)
    model = PhraseModel(provenance={}, by_rests=never, by_spacing=never)
    assert len(split_phrases(runs([8, 8]), beat_s=0.5, model=model)) == 1


@pytest.mark.parametrize(
    ("broken", "message"),
    [
        ({"threshold": 1.0}, "less than 1"),
        ({"weights": {}}, "at least 1"),
        ({"intercept": float("nan")}, "finite"),
        ({"bias": 1.0}, "not permitted"),
    ],
)
def test_a_broken_model_is_refused(broken, message):
    with pytest.raises(ValidationError, match=message):
        Regression.model_validate(BY_HAND.model_dump() | broken)


@given(st.integers(0, 12), st.floats(70, 200), st.integers(0, 30))
def test_a_quantised_take_is_split_alike_wherever_it_starts(bars, tempo_bpm, seed):
    # Many rests and spacings are the same there, but for how their seconds are rounded.
    chance = np.random.default_rng(seed)
    steps = np.cumsum(chance.choice([1, 1, 2, 2, 3, 4, 8, 12], 80))
    sixteenth_s = 15 / tempo_bpm

    def take(start):
        return [
            Note((start + a) * sixteenth_s, (start + a + 1) * sixteenth_s, 60 + scale[a % 7], -12.0)
            for a in steps.tolist()
        ]

    scale = [0, 2, 4, 5, 7, 9, 11]
    first, later = (split_phrases(take(start), beat_s=4 * sixteenth_s) for start in (0, 16 * bars))
    assert [phrase.first_note for phrase in first] == [phrase.first_note for phrase in later]
