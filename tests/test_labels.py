"""Labels and the numbers they come from, by hand."""

import dataclasses

import pytest
from performing import grid_at, one_phrase, play

from batch.groove import Rub
from batch.labels import articulation, label_phrases, leap_share
from batch.model import Articulation, Density, Groove, IntervalSize, Length, Note, Register
from batch.settings import GrooveSettings, LabelSettings

STEADY = Rub(note_count=8, syncopated_notes=0, syncopation=0.0, off_grid=0.05)


def labelled(notes, grid=None, rub=None, **limits):
    ((words, evidence),) = label_phrases(
        notes,
        [one_phrase(notes)],
        grid,
        None if rub is None else [rub],
        labels=LabelSettings(**limits),
        groove=GrooveSettings(),
    )
    return words, evidence


def test_length_counts_in_beats_where_there_is_a_grid():
    # At 240 a quarter lasts 0.25 s: 8 beats are 2 s, long in beats and short in seconds.
    notes = play(range(8), 240, length_beats=0.9)
    assert labelled(notes, grid_at(240), STEADY)[0].length is Length.LONG
    assert labelled(notes)[0].length is Length.SHORT


def test_a_long_phrase_can_be_sparse_and_a_short_one_dense():
    grid = grid_at(120)
    long_sparse, _ = labelled(play(range(0, 16, 2), 120, length_beats=1.9), grid, STEADY)
    short_dense, _ = labelled(play([0, 0.25, 0.5, 0.75, 1.0], 120), grid, STEADY)
    assert (long_sparse.length, long_sparse.density) == (Length.LONG, Density.SPARSE)
    assert (short_dense.length, short_dense.density) == (Length.SHORT, Density.DENSE)


def test_evidence_is_measured_in_beats_and_seconds():
    # Eight eighths at 120: the last sounds from beat 3.5 for 0.25 beats, so 3.75 beats, 1.875 s.
    _, evidence = labelled(play([i / 2 for i in range(8)], 120, length_beats=0.25), grid_at(120), STEADY)
    assert evidence.duration_beats == pytest.approx(3.75)
    assert evidence.duration_s == pytest.approx(1.875)
    assert evidence.notes_per_beat == pytest.approx(8 / 3.75)
    assert evidence.notes_per_s == pytest.approx(8 / 1.875)
    assert evidence.articulation == pytest.approx(0.5)


def test_a_lone_note_is_sparse_however_short():
    words, evidence = labelled(play([0], 120, length_beats=0.1), grid_at(120), STEADY)
    assert words.density is Density.SPARSE
    assert evidence.articulation is evidence.leap_share is None


def test_staccato_is_half_the_inter_onset_interval():
    # "Staccato is about half the written value": common practice, no source.
    assert articulation(play(range(4), 60, length_beats=0.5)) == pytest.approx(0.5)


def test_leaps_are_intervals_over_two_semitones():
    # 60-62 step, 62-67 leap, 67-66 step, 66-63 leap.
    assert leap_share(play(range(5), 60, pitches=(60, 62, 67, 66, 63))) == pytest.approx(0.5)


def test_register_is_counted_from_the_take_s_median_pitch():
    low, high = play(range(4), 60, pitches=(50,)), play(range(8, 12), 60, pitches=(70,))
    notes = low + high
    pair = [one_phrase(low), dataclasses.replace(one_phrase(high), first_note=4, last_note=7)]
    measured = label_phrases(notes, pair, None, None, labels=LabelSettings(), groove=GrooveSettings())
    assert [evidence.register for _, evidence in measured] == [-10, 10]


@pytest.mark.parametrize(
    ("length_beats", "expected"),
    # Half the written value is staccato, notes that touch are legato: common practice, no source.
    [(0.5, Articulation.STACCATO), (0.25, Articulation.STACCATO), (0.98, Articulation.LEGATO)],
)
def test_notes_let_go_early_are_staccato(length_beats, expected):
    assert labelled(play(range(6), 120, length_beats=length_beats))[0].articulation is expected


def test_a_line_goes_by_steps_or_by_leaps():
    scale, chord = (60, 62, 64, 65, 67, 69), (60, 64, 67, 72, 76, 79)
    assert labelled(play(range(6), 120, pitches=scale))[0].interval_size is IntervalSize.STEPS
    assert labelled(play(range(6), 120, pitches=chord))[0].interval_size is IntervalSize.LEAPS


def test_a_lone_note_has_no_articulation_and_no_interval_to_name():
    words, _ = labelled(play([0], 120))
    assert words.articulation is Articulation.UNMEASURED
    assert words.interval_size is IntervalSize.UNMEASURED


def registers_of(*pitches_of_phrases):
    """Return the register of phrases of four notes each, one after another."""
    parts = [play(range(8 * i, 8 * i + 4), 120, pitches=p) for i, p in enumerate(pitches_of_phrases)]
    phrases = [
        dataclasses.replace(one_phrase(part), first_note=4 * i, last_note=4 * i + 3)
        for i, part in enumerate(parts)
    ]
    notes = [note for part in parts for note in part]
    found = label_phrases(notes, phrases, None, None, labels=LabelSettings(), groove=GrooveSettings())
    return [words.register for words, _ in found]


def test_register_is_named_by_thirds_of_the_range_that_the_take_uses():
    low, middle, high = (48, 50), (59, 61), (70, 72)
    assert registers_of(low, middle, high) == [Register.LOW, Register.MIDDLE, Register.HIGH]
    # The same three an octave up: it is the player's own range that counts.
    raised = [tuple(pitch + 12 for pitch in each) for each in (low, middle, high)]
    assert registers_of(*raised) == [Register.LOW, Register.MIDDLE, Register.HIGH]


def test_a_narrow_range_has_neither_low_nor_high():
    assert set(registers_of((60, 61), (62, 63), (60, 63))) == {Register.MIDDLE}


@pytest.mark.parametrize(
    ("rub", "expected"),
    [
        (Rub(8, 0, 0.0, 0.05), Groove.IN_GROOVE),
        (Rub(8, 4, 0.5, 0.05), Groove.AGAINST_GROOVE),
        (Rub(2, 1, 0.5, 0.05), Groove.IN_GROOVE),
        (Rub(12, 0, 0.0, 0.28), Groove.AGAINST_GROOVE),
        (Rub(3, 0, 0.0, 0.28), Groove.IN_GROOVE),
        (None, Groove.UNMEASURED),
    ],
    ids=["steady", "syncopated", "a lone anticipation", "off the grid", "too few to say", "no grid"],
)
def test_the_groove_follows_its_evidence(rub, expected):
    words, _ = labelled(play(range(8), 120), grid_at(120), rub)
    assert words.groove is expected


def test_labels_close_to_their_line_are_called_borderline():
    notes = play(range(8), 120, length_beats=0.9)  # 7.9 beats, 1.01 notes a beat
    _, far = labelled(notes, grid_at(120), STEADY, long_from_beats=4, dense_from_per_beat=3)
    _, near = labelled(notes, grid_at(120), STEADY, long_from_beats=8, dense_from_per_beat=3)
    assert (far.borderline, near.borderline) == ((), ("length",))


def test_a_note_that_ends_before_it_starts_is_refused():
    with pytest.raises(ValueError, match="must end after it starts"):
        Note(1.0, 1.0, 60, -10)
