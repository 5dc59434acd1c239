"""Chords and lines played by plain synthesis: what starts together, one note a strum, line or not."""

import numpy as np
import pytest
from played import RATE, blown, driven, hollow, hz, line, melody, note_f, plucked
from scipy.signal import fftconvolve

from batch.hearing import Heard, hear
from batch.hearing.strums import gathered
from batch.hearing.texture import Struck, chordal_share
from batch.hearing.together import HIGHEST, LOWEST
from batch.hearing.training.noise import pink
from batch.model import Note, TextureKind
from batch.texture import texture_warnings

VOICINGS = [(48, 55, 64, 72), (50, 57, 65, 69), (43, 59, 65, 74), (52, 59, 67, 76), (45, 60, 64, 67)]
CLOSE = [(48, 52, 55, 60), (45, 52, 57, 60), (41, 48, 53, 57), (43, 50, 55, 59)]
STEP_S = 0.5


def heard(samples: np.ndarray) -> Heard:
    samples = np.asarray(samples, np.float32)
    return hear(lambda: [samples], RATE)


def chords(apart_s: float, count: int = 24, seed: int = 0, tone=plucked) -> tuple[np.ndarray, list]:
    """Return chords with strings ``apart_s`` apart, the lowest first, and their top notes."""
    rng = np.random.default_rng(seed)
    played, tops = [], []
    for at in range(count):
        shift = int(rng.integers(-3, 4))
        onset = 0.5 + STEP_S * at
        pitches = [pitch + shift for pitch in VOICINGS[at % len(VOICINGS)]]
        played.append([(onset + i * apart_s, onset + 0.42, float(p)) for i, p in enumerate(pitches)])
        tops.append((onset, onset + 0.42, float(pitches[-1])))
    strings = [line([chord[i] for chord in played], tone) for i in range(4)]
    return sum(strings), tops


def double_stops(interval: int, count: int = 24) -> np.ndarray:
    upper = [(0.5 + STEP_S * i, 0.5 + STEP_S * i + 0.42, 64.0 + (5 * i) % 12) for i in range(count)]
    return line(upper, plucked) + line([(a, b, p - interval) for a, b, p in upper], plucked)


@pytest.mark.parametrize("apart_s", [0.0, 0.008, 0.02, 0.03])
def test_a_strum_is_one_note_from_its_first_string_on(apart_s):
    samples, tops = chords(apart_s)
    found = heard(samples)
    onsets = np.array([note.onset_s for note in found.notes])
    within = [np.sum((onsets > on - 0.06) & (onsets < on + STEP_S - 0.06)) for on, _, _ in tops]
    assert np.mean(np.array(within) == 1) >= 0.9
    assert np.median([np.abs(onsets - on).min() for on, _, _ in tops]) < 0.02


def test_partials_that_beat_while_a_chord_dies_away_make_no_strums():
    # Close voicings of strings nobody damps: their pure partials beat all the way down.
    t = np.arange(int(0.85 * RATE)) / RATE
    samples = np.zeros(int(19.5 * RATE))
    for at in range(20):
        for i, pitch in enumerate(CLOSE[at % len(CLOSE)]):
            f = float(hz(pitch))
            string = sum(np.exp(-t * (2 + k)) * np.sin(2 * np.pi * k * f * t) / k for k in range(1, 9))
            first = int((0.5 + 0.9 * at + 0.012 * i) * RATE)
            samples[first : first + len(t)] += 0.1 * string
    onsets = np.array([note.onset_s for note in heard(samples).notes])
    within = [np.sum((onsets > 0.44 + 0.9 * at) & (onsets < 1.34 + 0.9 * at)) for at in range(20)]
    assert np.mean(np.array(within) == 1) >= 0.9


def test_a_chord_is_heard_at_its_top():
    samples, tops = chords(0.01)
    assert note_f(tops, [(n.onset_s, n.offset_s, n.pitch_midi) for n in heard(samples).notes]) >= 0.7


@pytest.mark.parametrize("tone", [plucked, blown])
def test_chords_are_heard_to_be_chords(tone):
    texture = heard(chords(0.01, tone=tone)[0]).texture
    assert texture.kind is TextureKind.CHORDS
    assert texture.chordal_share >= 0.7


@pytest.mark.parametrize("interval", [3, 4, 5, 8, 9])
def test_double_stops_are_heard_to_be_more_than_a_line(interval):
    assert heard(double_stops(interval)).texture.chordal_share >= 0.5


def test_octaves_are_a_line():
    assert heard(double_stops(12)).texture.chordal_share <= 0.2


def ringing(seed: int) -> np.ndarray:
    """Return a line on strings that are never damped: eight notes sound at any time."""
    return line([(on, on + 2.0, midi) for on, _, midi in melody(seed, 50, shortest_s=0.2)], plucked)


def growled(seed: int) -> np.ndarray:
    samples = line(melody(seed, 50, shortest_s=0.2), blown)
    return samples * (1 + 0.5 * np.sin(2 * np.pi * 70 * np.arange(len(samples)) / RATE))


def in_a_hall(seed: int) -> np.ndarray:
    samples, rng = line(melody(seed, 50, shortest_s=0.2), plucked), np.random.default_rng(seed)
    hall = rng.standard_normal(RATE) * np.exp(-6.9 * np.arange(RATE) / RATE)
    wet = fftconvolve(samples, hall)[: len(samples)]
    return samples + wet * 0.5 * samples.std() / wet.std()


def over_chords_18_db_down(seed: int) -> np.ndarray:
    samples, band = line(melody(seed, 50, shortest_s=0.2), blown), chords(0.01, 40, seed)[0]
    count = min(len(samples), len(band))
    lead, band = samples[:count], band[:count]
    return lead + band * 10 ** (-18 / 20) * np.sqrt(np.mean(lead**2) / np.mean(band**2))


LINES = {
    "plucked": lambda seed: line(melody(seed), plucked),
    "blown": lambda seed: line(melody(seed), blown),
    "hollow": lambda seed: line(melody(seed), hollow),
    "driven": lambda seed: line(melody(seed), driven),
    "ringing": ringing,
    "growled": growled,
    "hall": in_a_hall,
    "bleed": over_chords_18_db_down,
}


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("kind", LINES)
def test_a_single_line_is_a_line_whatever_rings_with_it(kind, seed):
    found = heard(LINES[kind](seed))
    assert found.texture.kind is TextureKind.LINE
    assert texture_warnings(found.texture, found.notes) == ()
    # Of the bleeding chords those are counted that fall into the line's rests.
    assert found.texture.chordal_share <= (0.25 if kind == "bleed" else 0.15)


def a_band(seed: int) -> np.ndarray:
    """Return a line over a bass, chords off the beat, and a cymbal, all about as loud."""
    rng = np.random.default_rng(seed)
    lead = line(melody(seed, 80, shortest_s=0.15), blown)
    beats = np.arange(0.3, len(lead) / RATE - 1.0, 0.4)
    bass = line([(b, b + 0.36, 36.0 + rng.integers(0, 14)) for b in beats], plucked)
    parts = [lead, bass]
    for voice in (52, 58, 63):
        parts.append(line([(b + 0.2, b + 0.5, voice + (3.0 * i) % 5) for i, b in enumerate(beats)], plucked))
    cymbal = np.zeros(len(lead))
    for beat in beats:
        first = int(beat * RATE)
        hiss = np.diff(rng.standard_normal(RATE // 3)) * np.exp(-np.arange(RATE // 3 - 1) / (0.1 * RATE))
        cymbal[first : first + len(hiss)] += hiss[: len(cymbal) - first]
    parts.append(cymbal)
    count = min(map(len, parts))
    return sum(part[:count] / part[:count].std() for part in parts)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_band_is_no_line_and_its_notes_are_less_sure(seed):
    found, alone = heard(a_band(seed)), heard(line(melody(seed, 80, shortest_s=0.15), blown))
    assert found.texture.kind is TextureKind.BAND
    assert np.mean([n.confidence for n in found.notes]) < np.mean([n.confidence for n in alone.notes])


@pytest.mark.parametrize("samples", [np.zeros(RATE), 0.1 * pink(np.random.default_rng(1), 5 * RATE)])
def test_of_nothing_struck_nothing_is_said(samples):
    assert heard(samples).texture is None


def test_few_attacks_make_no_sure_verdict():
    few, many = (heard(line(melody(5, count), plucked)).texture for count in (8, 60))
    assert few.confidence < many.confidence


def struck_at(first_s: float, *pitches: int, likely: float = 0.9) -> Struck:
    """Return one attack of these MIDI pitches that lasts 0.4 s, at -20 dB."""
    probability = np.zeros((1, HIGHEST - LOWEST), np.float32)
    probability[0, np.array(pitches) - LOWEST] = likely
    times = [np.array([first_s + later]) for later in (0.0, 0.03, 0.6, 0.4)]
    return Struck(*times, np.array([-20.0]), probability, np.array([0]), 1.0)


def test_all_that_begins_with_a_strum_is_one_note_at_its_highest_pitch():
    # The decoder took the lowest string, the top a little sharp, then the middle one; a melody note follows.
    found = [
        Note(0.99, 1.04, 48.0, -22.0, 0.5),
        Note(1.04, 1.3, 64.2, -20.0, 0.6),
        Note(1.3, 1.4, 55.1, -24.0, 0.4),
        Note(1.45, 1.55, 62.0, -25.0, 0.9),
    ]
    chord, after = gathered(found, struck_at(1.0, 48, 55, 64))
    assert (chord.onset_s, chord.offset_s, chord.pitch_midi) == (0.99, 1.4, 64.2)
    assert (chord.loudness_db, chord.confidence) == (-20.0, pytest.approx(0.9))
    assert after == found[3]


def test_a_chord_that_the_decoder_missed_is_a_note_and_cuts_the_one_that_sounds_over_it():
    before, chord = gathered([Note(0.2, 1.9, 52.0, -30.0, 0.8)], struck_at(1.0, 48, 52, 60))
    assert before == Note(0.2, 1.0, 52.0, -30.0, 0.8)
    assert chord == Note(1.0, 1.4, 60.0, -20.0, pytest.approx(0.9))


def test_octaves_count_once_and_chords_by_their_share():
    assert struck_at(1.0, 40, 52, 64).classes.tolist() == [1]
    assert struck_at(1.0, 40, 47, 52, 56).classes.tolist() == [3]
    assert chordal_share(struck_at(1.0, 40, 52)) == 0.0
