"""What notes are over chords, as handbooks say (Levine 1995, Nettles & Graf 1997, from memory)."""

import pytest

from batch.harmony.roles import degree_and_role
from batch.harmony.symbols import read_chord
from batch.model import ChordRole

TONE, EXTENSION, OUTSIDE = ChordRole.CHORD_TONE, ChordRole.EXTENSION, ChordRole.OUTSIDE
PITCHES = {"C": 60, "Db": 61, "D": 62, "Eb": 63, "E": 64, "F": 65, "F#": 66, "G": 67, "Ab": 68, "A": 69,
           "Bb": 70, "B": 71}  # fmt: skip


@pytest.mark.parametrize(
    ("note", "symbol", "degree", "role"),
    [
        ("F#", "Cmaj7", "#11", EXTENSION),
        ("F", "Cmaj7", "11", OUTSIDE),  # the avoid note of a major chord
        ("B", "Cmaj7", "7", TONE),
        ("A", "Cmaj7", "13", EXTENSION),
        ("A", "C6", "6", TONE),
        ("B", "C6", "7", EXTENSION),
        ("Bb", "Cmaj7", "b7", OUTSIDE),
        ("Ab", "Cmaj7", "b13", OUTSIDE),
        ("Db", "C7", "b9", EXTENSION),
        ("Eb", "C7", "#9", EXTENSION),
        ("F", "C7", "11", OUTSIDE),
        ("B", "C7", "7", OUTSIDE),
        ("Db", "C9", "b9", OUTSIDE),  # a natural ninth is stated
        ("D", "C7b9", "9", OUTSIDE),
        ("A", "C7b9", "13", EXTENSION),  # half-whole diminished
        ("A", "C7b13", "13", OUTSIDE),
        ("D", "C7alt", "9", OUTSIDE),
        ("G", "C7alt", "5", OUTSIDE),
        ("Ab", "C7alt", "b13", EXTENSION),
        ("Ab", "C7#5", "#5", TONE),
        ("F", "C7sus4", "4", TONE),
        ("E", "C7sus4", "3", EXTENSION),  # the third on top of a sus chord
        ("F", "Cm7", "11", EXTENSION),
        ("Eb", "Cm7", "b3", TONE),
        ("E", "Cm7", "3", OUTSIDE),
        ("Db", "Cm7", "b9", OUTSIDE),
        ("Ab", "Cm7b5", "b13", EXTENSION),
        ("F#", "Cm7b5", "b5", TONE),
        ("G", "Cm7b5", "5", OUTSIDE),
        ("A", "Cdim7", "bb7", TONE),
        ("D", "Cdim7", "9", EXTENSION),  # a whole step above a chord tone
        ("E", "Cdim7", "3", OUTSIDE),
        ("D", "Am7/D", "11", TONE),  # the bass sounds
        ("F#", "Gbmaj7", "1", TONE),
    ],
)
def test_a_note_is_what_the_handbook_calls_it(note, symbol, degree, role):
    assert degree_and_role(PITCHES[note], read_chord(symbol)) == (degree, role)


@pytest.mark.parametrize("octave", [-48, -12, 24])
@pytest.mark.parametrize("cents", [-45, 0, 45])
def test_a_pitch_is_that_of_its_nearest_semitone_in_any_octave(octave, cents):
    assert degree_and_role(66 + octave + cents / 100, read_chord("Cmaj7")) == ("#11", EXTENSION)
