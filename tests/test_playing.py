"""What is left out before phrases are made, from scenes and notes made by hand."""

from dataclasses import replace

import numpy as np
import pytest

from batch.absence import told
from batch.hearing.scene import Scene
from batch.model import Note
from batch.playing import LeftOut, Sort, only_played

ROW_S = 0.1


def scene(seconds=30.0, talking=(), sounding=((0.0, 30.0),), struck=(), ring_s=0.03):
    """A scene of rows that sound where ``sounding`` says, talking where ``talking`` says."""
    start_s = np.arange(0.0, seconds, ROW_S)

    def within(spans):
        return np.any([(start_s >= a) & (start_s < b) for a, b in spans] or [start_s < 0], axis=0)

    times_s = np.array([time_s for time_s, _ in struck])
    return Scene(
        start_s=start_s,
        audible=within(sounding).astype(float),
        periodic=np.full(len(start_s), 0.3),
        talking=np.where(within(talking), 5.0, -5.0),
        struck_s=times_s,
        ring_s=np.full(len(times_s), ring_s),
        struck_db=np.array([db for _, db in struck], dtype=float),
    )


def line(start_s, count=12, pitches=(60, 62, 64, 65)):
    return [
        Note(start_s + 0.2 * i, start_s + 0.2 * i + 0.18, pitches[i % len(pitches)], -20.0)
        for i in range(count)
    ]


def even(start_s, count, apart_s=0.5, level_db=-20.0):
    return [(start_s + i * apart_s, level_db) for i in range(count)]


def test_notes_in_talking_are_left_out_and_the_rest_stays():
    talk = [Note(2.0 + i, 2.2 + i, 50.5, -25.0, 0.6) for i in range(4)]
    played = only_played(
        [*talk, *line(10.0)], scene(talking=[(1.0, 8.0)], sounding=[(1.0, 8.0), (10.0, 13.0)]), 30.0
    )
    assert played.notes == tuple(line(10.0))
    assert played.left_out == (LeftOut(Sort.SPEECH, pytest.approx(1.0), pytest.approx(8.0)),)


def test_unsure_notes_beside_talking_are_more_of_it_and_sure_ones_are_not():
    def notes(confidence):
        return [Note(9.0 + 0.2 * i, 9.1 + 0.2 * i, 48.0, -25.0, confidence) for i in range(6)]

    heard = scene(talking=[(1.0, 8.0)], sounding=[(1.0, 8.0), (9.0, 10.2)])
    assert only_played(notes(0.4), heard, 30.0).notes == ()
    assert only_played(notes(0.98), heard, 30.0).notes == tuple(notes(0.98))


def test_a_lone_note_or_two_beside_talking_is_a_word_and_elsewhere_is_playing():
    lone = [Note(8.6, 8.8, 48.0, -25.0, 1.0)]
    heard = scene(talking=[(1.0, 8.0)], sounding=[(1.0, 8.0), (8.6, 8.8), (20.0, 23.0)])
    assert only_played([*lone, *line(20.0)], heard, 30.0).notes == tuple(line(20.0))
    late = [Note(15.0, 15.2, 48.0, -25.0, 1.0)]
    assert only_played([*late, *line(20.0)], heard, 30.0).notes == (*late, *line(20.0))


def test_sure_notes_are_a_line_however_it_sounds():
    # A singer with consonants: talking by the sound, but the notes fill the time and are sure.
    sung = [Note(1.0 + i, 1.95 + i, 60.0 + i % 3, -20.0, 0.99) for i in range(8)]
    heard = scene(talking=[(1.0, 9.0)], sounding=[(1.0, 9.0)])
    faint = replace(heard, talking=np.where(heard.talking > 0, 3.0, heard.talking))
    assert only_played(sung, faint, 30.0).notes == tuple(sung)


def test_a_talking_row_or_two_within_playing_lose_nothing():
    notes = line(1.0, count=60)
    played = only_played(notes, scene(talking=[(5.0, 5.5), (9.0, 9.3)], sounding=[(1.0, 13.0)]), 30.0)
    assert played == replace(played, notes=tuple(notes), left_out=())


def test_what_sounds_between_two_pauses_is_of_one_sort():
    # The talking shows late in a sentence of two seconds; all of it is talking.
    words = [Note(2.1, 2.3, 50.0, -25.0), Note(3.5, 3.7, 51.0, -25.0)]
    heard = scene(talking=[(2.8, 4.0)], sounding=[(2.0, 4.0), (6.0, 9.0)])
    assert only_played([*words, *line(6.0)], heard, 30.0).notes == tuple(line(6.0))


@pytest.mark.parametrize("count", [4, 8])
def test_even_ticks_before_playing_are_a_count_in(count):
    beats = even(1.0, count)
    start_s = 1.0 + 0.5 * count
    heard = [Note(at, at + 0.05, 83.0, -20.0) for at, _ in beats]
    played = only_played([*heard, *line(start_s)], scene(struck=beats), 30.0)
    assert played.notes == tuple(line(start_s))
    assert [(part.sort, part.start_s) for part in played.left_out] == [(Sort.COUNT_IN, 1.0)]


def test_a_metronome_alone_is_a_click():
    beats = even(1.0, 24)
    played = only_played([Note(at, at + 0.05, 83.0, -20.0) for at, _ in beats], scene(struck=beats), 30.0)
    assert played.notes == ()
    assert told(played, scene(struck=beats)) == ("no phrases: only a count-in or click",)


@pytest.mark.parametrize(
    ("ring_s", "pitches", "times_s"),
    [
        pytest.param(0.16, (67, 67, 67, 67), np.arange(8) * 0.5, id="staccato that rings longer"),
        pytest.param(0.05, (60, 64, 67, 72), np.arange(8) * 0.5, id="pitches of a melody"),
        pytest.param(0.05, (67, 67), [0, 0.5, 0.75, 1.5, 2.0, 2.2, 3.0, 3.25], id="a rhythm"),
        pytest.param(0.05, (67, 67), [0.0, 0.5], id="two strokes"),
    ],
)
def test_short_notes_that_were_played_stay(ring_s, pitches, times_s):
    notes = [Note(1 + t, 1.06 + t, pitches[i % len(pitches)], -20.0) for i, t in enumerate(times_s)]
    struck = [(note.onset_s, -20.0) for note in notes]
    assert only_played(notes, scene(struck=struck, ring_s=ring_s), 30.0).notes == tuple(notes)


def test_a_click_in_the_rests_of_a_line_is_no_news():
    # The hearing took none of its ticks for a note.
    notes = [*line(1.0), *line(10.0)]
    assert only_played(notes, scene(struck=even(4.0, 8)), 30.0).left_out == ()


def test_a_tone_from_edge_to_edge_was_not_played():
    assert only_played([Note(0.01, 29.99, 86.4, -17.0)], scene(), 30.0).notes == ()
    held = Note(1.0, 29.0, 60.0, -17.0)
    assert only_played([held], scene(), 30.0).notes == (held,)


@pytest.mark.parametrize(
    ("heard", "why"),
    [
        (scene(sounding=()), "the take is silent; check what the recorder was listening to"),
        (scene(sounding=[(3.0, 3.2)]), "the take is silent but for a moment"),
        (scene(), "only noise"),
        (replace(scene(), periodic=np.full(300, 0.95)), "only hum or a steady tone"),
        (scene(talking=[(1.0, 20.0)], sounding=[(1.0, 20.0)]), "only speech"),
        (
            scene(talking=[(1.0, 5.0)], sounding=[(1.0, 5.0), (7.0, 9.0)], struck=even(7.0, 4)),
            "only speech and a count-in or click",
        ),
    ],
)
def test_a_take_without_notes_says_why(heard, why):
    assert told(only_played([], heard, 30.0), heard) == (f"no phrases: {why}",)


def test_what_was_left_out_is_told_with_its_place():
    heard = scene(
        1000.0,
        talking=[(0.0, 6.0), (8.5, 14.2), (65.0, 72.0)],
        sounding=[(0.0, 6.0), (8.5, 14.2), (65.0, 72.0)],
        struck=even(80.0, 4),
    )
    played = only_played(line(82.0), heard, 1000.0)
    assert told(played, heard) == ("left out: speech 0:00-0:14, speech 1:05-1:12, a count-in at 1:20",)


def test_a_take_of_playing_alone_says_nothing():
    assert told(only_played(line(1.0), scene(), 30.0), scene()) == ()
