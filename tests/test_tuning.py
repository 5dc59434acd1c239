"""What is tuning up and what is playing, as notes; made by arithmetic from what players do."""

import pytest

from batch.model import Note
from batch.tuning import tunings_in

OPEN_STRINGS = (40, 45, 50, 55, 59, 64)  # a guitar's standard tuning, MIDI


def plucks(pitches, apart_s=1.0, start_s=0.5, sounding=0.95):
    return [
        Note(start_s + i * apart_s, start_s + (i + sounding) * apart_s, pitch, -20.0)
        for i, pitch in enumerate(pitches)
    ]


def line(start_s=0.5, step_s=0.2):
    return plucks([60, 62, 64, 65, 67, 65, 64, 62] * 3, step_s, start_s)


def turned(open_pitch):
    """A peg turned up in steps that get smaller, past the mark and back."""
    return [open_pitch + off for off in (-0.9, -0.6, -0.35, -0.1, 0.05, 0.0)]


@pytest.mark.parametrize("string", OPEN_STRINGS)
def test_one_string_whose_peg_turns_is_tuning(string):
    notes = plucks(turned(string))
    assert tunings_in(notes) == [(notes[0].onset_s, notes[-1].offset_s)]


def test_tuning_before_playing_ends_where_playing_begins():
    tuning = [note for i, s in enumerate(OPEN_STRINGS) for note in plucks(turned(s), start_s=0.5 + 6.5 * i)]
    after = line(start_s=tuning[-1].offset_s + 1.0)
    assert tunings_in([*tuning, *after]) == [(tuning[0].onset_s, tuning[-1].offset_s)]


def test_a_string_in_tune_between_others_that_are_not_belongs_to_the_tuning():
    tuning = [
        *plucks(turned(40)),
        *plucks([45.0, 45.0, 45.0], start_s=7.0),
        *plucks(turned(50), start_s=11.0),
    ]
    assert tunings_in(tuning) == [(tuning[0].onset_s, tuning[-1].offset_s)]


def test_a_saxophone_s_long_a_before_a_solo_is_tuning():
    reference = [Note(0.5, 3.5, 69.0, -20.0), Note(5.0, 8.0, 69.02, -20.0)]
    assert tunings_in([*reference, *line(start_s=9.0)]) == [(0.5, 8.0)]


@pytest.mark.parametrize(
    "played",
    [
        pytest.param(line(), id="a line"),
        pytest.param(plucks([60 + i for i in range(13)], 0.7), id="a slow chromatic scale"),
        pytest.param(plucks([60, 62, 64, 65, 67, 69, 71, 72], 4.0), id="long tones up a scale"),
        pytest.param(plucks([58, 58, 58, 60, 60, 60, 62, 62, 62], 6.0), id="long tones, each three times"),
        pytest.param(plucks([57.0] * 16, 0.5, sounding=0.4), id="quarter notes of one pitch"),
        pytest.param(plucks([60.0] * 12, 1.0), id="one pitch, slow and even"),
        pytest.param(plucks([40, 40, 43, 40, 45, 40, 50, 45] * 4, 0.25), id="a riff on open strings"),
        pytest.param(plucks([57.2, 57.1, 57.3, 57.1, 57.0, 57.2, 57.3, 59.1, 59.3], 0.7), id="a sung chant"),
        pytest.param([Note(1.0, 6.0, 69.0, -20.0)], id="one long note"),
        pytest.param(
            [Note(0.5, 3.5, 69.0, -20.0), *line(start_s=4.5)], id="a solo that begins with a long A"
        ),
        pytest.param(
            plucks([69, 69, 71, 72, 71, 69, 67, 69], 2.5), id="a ballad that begins with two long notes"
        ),
        pytest.param([], id="nothing"),
    ],
)
def test_playing_is_no_tuning(played):
    assert tunings_in(played) == []


def test_a_groove_on_one_pitch_is_no_tuning():
    beats = [bar * 2 + at for bar in range(8) for at in (0, 0.25, 0.75, 1, 1.5, 1.75)]
    assert tunings_in([Note(at, at + 0.15, 57.0, -20.0) for at in beats]) == []


def test_one_string_plucked_now_and_then_is_tuning():
    at = [0.3, 1.9, 2.9, 4.3, 5.8]
    assert tunings_in([Note(on, on + 0.9, 45.1, -18.0) for on in at]) == [(0.3, 6.7)]
