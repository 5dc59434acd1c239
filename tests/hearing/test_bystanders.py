"""What sounds only while the line rests is left out, and quiet playing is not."""

from batch.hearing.bystanders import without_bystanders
from batch.model import Note

LINE = [Note(i * 0.25, i * 0.25 + 0.2, 64, -20.0, 1.0) for i in range(8)]
LATER = [Note(4 + i * 0.25, 4 + i * 0.25 + 0.2, 67, -21.0, 1.0) for i in range(8)]


def test_a_quiet_unsure_note_in_a_rest_is_left_out():
    bass = Note(2.6, 3.0, 40, -38.0, 0.6)
    assert without_bystanders([*LINE, bass, *LATER]) == (*LINE, *LATER)


def test_a_quiet_phrase_that_is_sure_stays():
    quiet = [Note(2.5 + i * 0.2, 2.6 + i * 0.2, 62, -40.0, 0.99) for i in range(5)]
    assert without_bystanders([*LINE, *quiet, *LATER]) == (*LINE, *quiet, *LATER)


def test_a_ghost_note_within_the_line_stays():
    ghost = Note(2.0, 2.1, 64, -40.0, 0.6)  # 50 ms after the line's last note
    assert without_bystanders([*LINE, ghost, *LATER]) == (*LINE, ghost, *LATER)


def test_what_sounds_before_the_line_begins_is_left_out():
    hum = Note(0.0, 0.5, 35, -45.0, 0.2)
    line = [Note(n.onset_s + 1, n.offset_s + 1, n.pitch_midi, n.loudness_db, 1.0) for n in LINE]
    assert without_bystanders([hum, *line]) == tuple(line)


def test_no_notes_stay_no_notes():
    assert without_bystanders([]) == ()
