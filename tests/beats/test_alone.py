import math

import numpy as np
import pytest
from beats.listeners import beat_f, beats_of, free, practised
from hypothesis import given, settings
from hypothesis import strategies as st
from performing import play

from batch.beats.alone.track import NO_CLAIM, track_notes
from batch.model import Note

FOUR = (4, 4)
SURE = 0.8


# The beats are those the line was made to (tests/beats/listeners.py).
@pytest.mark.parametrize("tempo_bpm", [72, 96, 120, 152, 200])
@pytest.mark.parametrize("kind", ["eighths", "swung"])
def test_beats_of_a_line_that_states_them_are_found_when_the_tempo_is_told(kind, tempo_bpm):
    pulse = track_notes(practised(kind, tempo_bpm), duration_s=45.0, meter=FOUR, tempo_bpm=tempo_bpm)
    assert pulse is not None
    assert beat_f(pulse, beats_of(tempo_bpm, 45.0)) >= 0.9


@pytest.mark.parametrize("tempo_bpm", [96, 120, 152])
def test_a_tempo_that_was_rounded_or_drifts_by_some_per_cent_still_serves(tempo_bpm):
    for told in (round(tempo_bpm * 1.03), round(tempo_bpm * 0.97)):
        pulse = track_notes(practised("eighths", tempo_bpm), duration_s=45.0, meter=FOUR, tempo_bpm=told)
        assert pulse is not None
        assert beat_f(pulse, beats_of(tempo_bpm, 45.0)) >= 0.9


def test_where_it_is_sure_of_a_line_alone_it_is_nearly_always_right():
    sure = []
    for kind in ("quarters", "eighths", "swung", "sixteenths"):
        for tempo_bpm in (60, 84, 112, 140, 176, 220):
            pulse = track_notes(practised(kind, tempo_bpm), duration_s=45.0, meter=FOUR)
            assert pulse is not None
            if pulse.confidence >= SURE:
                sure.append(beat_f(pulse, beats_of(tempo_bpm, 45.0)))
    assert len(sure) >= 6
    assert np.mean(np.array(sure) >= 0.9) >= 0.9


@pytest.mark.parametrize("tempo_bpm", [None, 120.0, 90.0])
def test_playing_to_no_beat_comes_out_unsure(tempo_bpm):
    for seed in range(4):
        pulse = track_notes(free(seed), duration_s=60.0, meter=FOUR, tempo_bpm=tempo_bpm)
        assert pulse is not None
        assert pulse.confidence < SURE


def test_a_take_at_another_tempo_than_its_tag_tells_comes_out_unsure():
    pulse = track_notes(practised("eighths", 120.0), duration_s=45.0, meter=FOUR, tempo_bpm=97.0)
    assert pulse is not None
    assert pulse.confidence < SURE


def test_a_new_tempo_in_a_long_take_is_followed_or_half_of_it():
    first, rest_s = practised("eighths", 152.0, seconds=240.0), 6.0
    second = practised("eighths", 184.0, seconds=120.0, seed=2)
    start_s = first[-1].offset_s + rest_s
    notes = [*first, *(moved(note, start_s) for note in second)]
    pulse = track_notes(notes, duration_s=start_s + 121, meter=FOUR)
    assert pulse is not None
    late = np.array(pulse.beats_s)
    before_bpm = 60 / np.median(np.diff(late[late < 200]))
    assert min(abs(before_bpm / 152 - factor) for factor in (0.5, 1)) < 0.03
    after_bpm = 60 / np.median(np.diff(late[late > start_s + 20]))
    assert min(abs(after_bpm / 184 - factor) for factor in (0.5, 1)) < 0.03


def test_beats_reach_over_the_whole_take_and_rise():
    notes = [moved(note, 12.0) for note in practised("eighths", 120.0, seconds=30.0)]
    pulse = track_notes(notes, duration_s=60.0, meter=FOUR)
    assert pulse is not None
    assert pulse.beats_s[0] < 1.0
    assert pulse.beats_s[-1] > 59.0
    assert max(np.diff(pulse.beats_s)) < 1.5


@settings(max_examples=8, deadline=None)
@given(
    shift_s=st.floats(0.0, 30.0),
    semitones=st.integers(-12, 12),
    louder_db=st.floats(-20.0, 10.0),
    seed=st.integers(0, 5),
)
def test_moving_in_time_moves_the_beats_and_transposing_or_loudness_changes_nothing(
    shift_s, semitones, louder_db, seed
):
    notes = practised("eighths", 132.0, seconds=30.0, seed=seed)
    changed = [
        Note(
            note.onset_s + shift_s,
            note.offset_s + shift_s,
            note.pitch_midi + semitones,
            note.loudness_db + louder_db,
        )
        for note in notes
    ]
    one = track_notes(notes, duration_s=30.0, meter=FOUR)
    other = track_notes(list(reversed(changed)), duration_s=30.0 + shift_s, meter=FOUR)
    assert one is not None
    assert other is not None
    within = [beat - shift_s for beat in other.beats_s if notes[0].onset_s <= beat - shift_s <= 29.0]
    expected = [beat for beat in one.beats_s if notes[0].onset_s <= beat <= 29.0]
    assert len(within) == pytest.approx(len(expected), abs=1)
    assert max(min(abs(beat - near) for near in one.beats_s) for beat in within) < 0.01


@pytest.mark.parametrize(
    ("meter", "beats_per_bar"),
    [((4, 4), 4), ((3, 4), 3), ((5, 4), 5), ((7, 8), 7), ((6, 8), 2), ((12, 8), 4)],
)
def test_beats_are_numbered_by_the_meter(meter, beats_per_bar):
    pulse = track_notes(practised("eighths", 140.0), duration_s=45.0, meter=meter)
    assert pulse is not None
    assert pulse.beats_per_bar == beats_per_bar
    steps = {(b - a) % beats_per_bar for a, b in zip(pulse.beat_in_bar, pulse.beat_in_bar[1:], strict=False)}
    assert steps == {1}


def test_no_claim_is_made_where_the_beat_is_an_eighth():
    pulse = track_notes(practised("eighths", 200.0), duration_s=45.0, meter=(7, 8), tempo_bpm=200)
    assert pulse is not None
    assert pulse.confidence <= NO_CLAIM


def test_no_claim_is_made_of_a_few_seconds():
    pulse = track_notes(practised("eighths", 120.0, seconds=10.0), duration_s=10.0, meter=FOUR, tempo_bpm=120)
    assert pulse is not None
    assert pulse.confidence <= NO_CLAIM


def test_too_few_notes_have_no_beat():
    assert track_notes([], duration_s=30.0, meter=FOUR) is None
    assert track_notes(play([0, 1, 2], 120), duration_s=30.0, meter=FOUR, tempo_bpm=120) is None


def test_a_chord_counts_as_one_note():
    chord = [Note(1.0 + 0.005 * i, 2.0, 60.0 + i, -20.0) for i in range(12)]
    assert track_notes(chord, duration_s=30.0, meter=FOUR) is None


def test_notes_of_one_moment_and_of_no_spacing_are_survived():
    notes = [Note(0.04 * i, 0.04 * i + 0.01, 60.0, -20.0) for i in range(50)]
    pulse = track_notes(notes, duration_s=20.0, meter=FOUR)
    assert pulse is None or pulse.confidence < SURE


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_durations_and_tempi_must_be_positive(bad):
    notes = practised("eighths", 120.0)
    with pytest.raises(ValueError, match="duration_s must be positive seconds"):
        track_notes(notes, duration_s=bad, meter=FOUR)
    with pytest.raises(ValueError, match="tempo_bpm must be positive"):
        track_notes(notes, duration_s=45.0, meter=FOUR, tempo_bpm=bad)


def test_a_meter_of_nothing_is_refused():
    with pytest.raises(ValueError, match="two positive numbers"):
        track_notes(practised("eighths", 120.0), duration_s=45.0, meter=(0, 4))


def moved(note: Note, by_s: float) -> Note:
    return Note(note.onset_s + by_s, note.offset_s + by_s, note.pitch_midi, note.loudness_db)
