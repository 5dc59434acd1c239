"""Notes struck together: strums, grace notes and fast lines built here, the answer known."""

import math

import pytest
from sounding import write_midi_take

from batch.midi_take import read_performance, single_line
from batch.model import Note, TextureKind
from batch.strums import gathered, texture_of


def note(onset_s: float, pitch: int, length_s: float = 0.5) -> Note:
    return Note(onset_s, onset_s + length_s, float(pitch), -20.0)


def chord(at_s: float, *pitches: int, apart_s: float, length_s: float = 0.6) -> list[Note]:
    """Return pitches struck one after the other and held."""
    return [note(at_s + i * apart_s, pitch, length_s) for i, pitch in enumerate(pitches)]


G7 = (43, 47, 50, 55, 59, 65)


@pytest.mark.parametrize("apart_s", [0.0, 0.005, 0.02, 0.03])
@pytest.mark.parametrize("pitches", [G7, G7[::-1], (60, 64), (52, 59, 64)])
def test_a_strum_is_one_note_at_its_highest_pitch_from_its_first_string_on(apart_s, pitches):
    strums = gathered(chord(1.0, *pitches, apart_s=apart_s) + chord(2.0, *pitches, apart_s=apart_s))
    line = single_line(strums)
    assert [len(strum) for strum in strums] == [len(pitches)] * 2
    assert [(n.onset_s, n.pitch_midi) for n in line] == [(1.0, max(pitches)), (2.0, max(pitches))]


@pytest.mark.parametrize("apart_s", [0.05, 0.06, 0.07])
def test_a_fast_line_and_a_grace_note_stay_notes_even_where_they_overlap(apart_s):
    line = [note(1.0 + i * apart_s, 60 + i, apart_s + 0.02) for i in range(12)]
    assert [len(strum) for strum in gathered(line)] == [1] * 12
    grace = [note(1.0, 63, apart_s), note(1.0 + apart_s, 64)]
    assert len(gathered(grace)) == 2


def test_a_quick_run_whose_keys_are_let_go_is_no_strum():
    assert len(gathered([note(1.0 + 0.035 * i, 60 + i, 0.03) for i in range(8)])) == 8


def test_a_strum_ends_in_time_for_the_next_note_however_close():
    # Eight strings 30 ms apart: the seventh comes 180 ms after the first, beyond the longest strum.
    strums = gathered(chord(1.0, *range(40, 80, 5), apart_s=0.03))
    assert [len(strum) for strum in strums] == [6, 2]


# By counting: of four events two are chords; an octave only doubles the line.
@pytest.mark.parametrize(
    ("events", "share", "kind"),
    [
        ([(60,), (62,), (64,), (65,)], 0.0, TextureKind.LINE),
        ([(48, 60), (50, 62), (52, 64), (53, 65)], 0.0, TextureKind.LINE),
        ([(60,), (62,), (60, 64), (65,)], 0.25, TextureKind.LINE),
        ([(60, 64), (62,), (60, 64, 67), (65,)], 0.5, TextureKind.CHORDS),
        ([(60, 64), (62, 65), (52, 60, 64, 67), (65, 68)], 1.0, TextureKind.CHORDS),
    ],
)
def test_the_chordal_share_of_a_midi_take_is_counted(tmp_path, events, share, kind):
    notes = [(0.5 * at, 0.5 * at + 0.4, pitch) for at, pitches in enumerate(events) for pitch in pitches]
    texture = read_performance(write_midi_take(tmp_path / "take.mid", notes)).texture
    assert (texture.kind, texture.chordal_share, texture.events) == (kind, share, 4)
    assert texture.confidence == 1.0


def test_of_no_notes_there_is_no_texture():
    assert texture_of(()) is None
    assert not math.isnan(texture_of(gathered([note(0.0, 60)])).chordal_share)
