"""Which notes are held, in lines worked by hand."""

import numpy as np
import pytest

from batch.model import HeldNote, Note, Phrase
from batch.settings import HeldSettings
from batch.tension.held import held_notes


def line(*notes: tuple[float, float], loud: dict[int, float] | None = None) -> tuple[Note, ...]:
    """Return notes of these lengths (s) and pitches, one after another, at -30 dB but for some."""
    start, made = 0.0, []
    for i, (lasting_s, pitch) in enumerate(notes):
        made.append(Note(start, start + 0.95 * lasting_s, pitch, (loud or {}).get(i, -30.0)))
        start += lasting_s
    return tuple(made)


def held_in(notes: tuple[Note, ...]) -> list[HeldNote]:
    whole = Phrase(0.0, notes[-1].offset_s, 0, len(notes) - 1)
    return list(held_notes(notes, [whole], None, HeldSettings()))


def told(notes: tuple[Note, ...]) -> list[tuple[int, int, tuple[str, ...]]]:
    return [(held.note, held.last_note, held.why) for held in held_in(notes)]


EIGHTHS = [(0.25, 60 + i % 5) for i in range(8)]


def test_a_note_far_longer_than_the_others_is_held():
    (held,) = held_in(line(*EIGHTHS, (2.0, 66), *EIGHTHS))
    assert (held.note, held.last_note, held.why, held.phrase) == (8, 8, ("long",), 0)
    assert held.duration_s == pytest.approx(1.9)


def test_the_last_note_of_a_phrase_a_little_longer_is_not():
    assert held_in(line(*EIGHTHS, (0.5, 66))) == []


def test_in_a_ballad_of_long_notes_not_every_one_is_held():
    rng = np.random.default_rng(4)
    ballad = [(float(np.exp(rng.normal(0.3, 0.6))), 60 + 2 * (i % 6)) for i in range(120)]
    assert len(held_in(line(*ballad))) <= 3


def test_the_same_notes_all_alike_hold_nothing():
    assert held_in(line(*[(4.0, 60 + i % 7) for i in range(20)])) == []


def test_in_a_fast_take_half_a_second_is_the_least():
    # Four times the others, yet no longer than a syllable.
    assert held_in(line(*[(0.08, 60 + i % 5) for i in range(20)], (0.4, 70))) == []


def test_a_pitch_struck_again_and_again_is_held_as_one():
    notes = line(*EIGHTHS, (0.25, 67.2), (0.25, 66.9), (0.25, 67.1), (0.25, 67.0), *EIGHTHS)
    (held,) = held_in(notes)
    assert (held.note, held.last_note, held.why) == (8, 11, ("repeated",))
    assert held.duration_s == pytest.approx(notes[11].offset_s - notes[8].onset_s)


def test_three_times_is_not_again_and_again():
    assert held_in(line(*EIGHTHS, (0.25, 67), (0.25, 67), (0.25, 67), *EIGHTHS)) == []


def test_a_repeated_pitch_does_not_cross_phrases():
    notes = line(*[(0.25, 67)] * 4)
    halves = [Phrase(0.0, notes[1].offset_s, 0, 1), Phrase(notes[2].onset_s, notes[3].offset_s, 2, 3)]
    assert held_notes(notes, halves, None, HeldSettings()) == ()


def test_a_note_that_stays_and_is_leant_on_is_held():
    assert told(line(*EIGHTHS, (0.6, 66), *EIGHTHS, loud={8: -22.0})) == [(8, 8, ("emphasised",))]
    assert held_in(line(*EIGHTHS, (0.6, 66), *EIGHTHS, loud={8: -27.0})) == []


def test_an_accent_that_does_not_stay_is_none():
    assert held_in(line(*EIGHTHS, (0.25, 66), *EIGHTHS, loud={8: -15.0})) == []


def test_reasons_add_up():
    assert told(line(*EIGHTHS, (2.0, 66), *EIGHTHS, loud={8: -20.0})) == [(8, 8, ("long", "emphasised"))]


@pytest.mark.parametrize("factor", [0.7, 1.6])
def test_what_is_held_does_not_depend_on_the_tempo(factor):
    notes = [*EIGHTHS, (2.0, 66), *EIGHTHS]
    assert told(line(*[(factor * s, pitch) for s, pitch in notes])) == told(line(*notes))


def test_one_note_is_held_against_nothing():
    assert held_in(line((5.0, 60))) == []
