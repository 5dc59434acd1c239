"""What is heard of lines whose notes are known, scored by mir_eval."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from played import RATE, as_played, blown, driven, hear, hollow, hz, line, melody, note_f, plucked, struck
from scipy.signal import lfilter

from batch.hearing.params import DEFAULTS
from batch.hearing.training.speech import speech

TONES = [plucked, blown, hollow, driven]


@pytest.mark.parametrize("tone", TONES)
def test_a_line_is_heard_note_for_note(tone):
    played = melody(1)
    heard = as_played(hear(line(played, tone)))
    assert note_f(played, heard) >= 0.97
    assert note_f(played, heard, offset_ratio=0.2) >= 0.9


@pytest.mark.parametrize("tone", [plucked, blown])
def test_onsets_carry_no_constant_lag(tone):
    played = melody(2)
    heard = np.array([onset for onset, _, _ in as_played(hear(line(played, tone)))])
    lags = [heard[np.abs(heard - onset).argmin()] - onset for onset, _, _ in played]
    assert abs(np.median(lags)) < 0.012


@pytest.mark.parametrize("tone", [plucked, blown])
def test_notes_65_ms_apart_are_told_apart(tone):
    played = [
        (0.4 + 0.065 * i, 0.4 + 0.065 * i + 0.06, 60.0 + m)
        for i, m in enumerate([0, 2, 4, 5, 7, 9, 11, 12] * 4)
    ]
    assert note_f(played, as_played(hear(line(played, tone)))) >= 0.9


@pytest.mark.parametrize("tone", [plucked, blown])
def test_a_burst_of_notes_50_ms_apart_is_told_apart(tone):
    played = [
        (0.4 + 0.05 * i, 0.4 + 0.05 * i + 0.046, 60.0 + m)
        for i, m in enumerate([0, 2, 4, 5, 7, 9, 11, 12] * 4)
    ]
    assert note_f(played, as_played(hear(line(played, tone)))) >= 0.9


@pytest.mark.parametrize("tone", [plucked, blown])
def test_repeated_notes_are_counted(tone):
    played = [(0.4 + 0.15 * i, 0.4 + 0.15 * i + 0.12, 67.0) for i in range(16)]
    assert note_f(played, as_played(hear(line(played, tone)))) >= 0.96


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("held_s", [1.5, 2.5])
def test_a_held_string_is_heard_while_it_stands_out_of_the_noise(held_s, seed):
    # Its level starts 40 dB over the noise; by the tone's own law, 0.7 exp(-6 t) + 0.3 exp(-1.8 t), it has
    # fallen by 15 dB (to 0.178) after 0.43 s.
    rng = np.random.default_rng(seed)
    lengths_s = [held_s if i % 6 == 5 else 0.2 for i in range(24)]
    onsets_s = 0.4 + np.cumsum([0.0, *lengths_s[:-1]])
    played = [
        (a, a + 0.95 * b, float(rng.integers(52, 76))) for a, b in zip(onsets_s, lengths_s, strict=True)
    ]
    samples = line(played, struck)
    heard = hear(samples + rng.normal(0, 10 ** (-52 / 20), len(samples)))
    held = [note for note in heard if np.abs(onsets_s[5::6] - note.onset_s).min() < 0.05]
    assert len(held) == 4
    assert all(0.43 < note.offset_s - note.onset_s < held_s for note in held)


@pytest.mark.parametrize("tone", TONES)
def test_octave_leaps_keep_their_octaves(tone):
    played = [(0.4 + 0.3 * i, 0.4 + 0.3 * i + 0.28, 52.0 + 12 * (i % 3)) for i in range(12)]
    assert note_f(played, as_played(hear(line(played, tone)))) >= 0.95


@pytest.mark.parametrize("tone", TONES)
def test_a_bass_line_is_heard(tone):
    played = [(on, off, midi - 19.0) for on, off, midi in melody(11, shortest_s=0.15)]
    assert min(midi for _, _, midi in played) == 31  # G1, of which not two periods fit the shorter window
    assert note_f(played, as_played(hear(line(played, tone)))) >= 0.8


@pytest.mark.parametrize("cents", [-40, 20, 45])
def test_a_line_out_of_tune_is_heard_as_far_out_of_tune(cents):
    played = [(on, off, midi + cents / 100.0) for on, off, midi in melody(12, 30)]
    heard = as_played(hear(line(played, blown)))
    assert note_f(played, heard) >= 0.95
    out = [(midi - round(played[0][2] - cents / 100.0) + 0.5) % 1.0 - 0.5 for _, _, midi in heard]
    assert np.median(out) == pytest.approx(cents / 100.0, abs=0.1)


def test_a_chromatic_run_without_new_attacks_is_heard_by_pitch():
    steps = np.repeat(np.arange(60, 68), int(0.15 * RATE)).astype(float)
    phase = 2 * np.pi * np.cumsum(hz(steps)) / RATE
    run = sum(np.sin(k * phase) / k for k in range(1, 8)) * 0.1
    samples = np.concatenate([np.zeros(RATE // 2), run, np.zeros(RATE // 2)])
    played = [(0.5 + 0.15 * i, 0.65 + 0.15 * i, 60.0 + i) for i in range(8)]
    assert note_f(played, as_played(hear(samples))) >= 0.93


@pytest.mark.parametrize("over_s", [0.08, 0.12])
@pytest.mark.parametrize("decay", [0.0, 0.5])
def test_a_note_bent_up_by_a_semitone_is_one_note(over_s, decay):
    t = np.arange(int((over_s + 1.0) * RATE)) / RATE
    phase = 2 * np.pi * np.cumsum(hz(63.0 + np.clip(t / over_s, 0.0, 1.0))) / RATE
    tone = sum(np.sin(k * phase) / k * np.exp(-decay * k * t) for k in range(1, 10))
    tone *= np.minimum(t / 0.005, 1.0) * np.minimum((t[-1] - t) / 0.05, 1.0)
    silence = np.zeros(RATE // 2)
    (note,) = hear(np.concatenate([silence, 0.2 * tone, silence]))
    assert note.pitch_midi == pytest.approx(64.0, abs=0.3)  # where it was held
    assert note.onset_s == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("spread_s", [0.0, 0.02, 0.04])
def test_a_strum_is_one_note_when_it_is_struck(spread_s):
    strokes = 0.4 + 0.5 * np.arange(10)
    chords = [[root, root + 7, root + 12, root + 16, root + 19] for root in (45, 50, 47, 52, 46) * 2]
    played = [
        (at + spread_s * place / 5, at + 0.45, float(midi))
        for at, chord in zip(strokes, chords, strict=True)
        for place, midi in enumerate(chord)
    ]
    heard = [note.onset_s for note in hear(line(played, plucked))]
    assert len(heard) <= 11
    assert sum(np.abs(np.array(heard) - at).min() < 0.05 for at in strokes) >= 9


@pytest.mark.parametrize("cents", [0, 30, 60])
def test_a_held_note_with_vibrato_is_one_note(cents):
    t = np.arange(int(1.5 * RATE)) / RATE
    depth = cents / 100.0 * np.minimum(t / 0.3, 1.0)
    phase = 2 * np.pi * np.cumsum(hz(64.0 + depth * np.sin(2 * np.pi * 5.5 * t))) / RATE
    tone = (
        sum(np.sin(k * phase) / k for k in range(1, 10))
        * np.minimum(t / 0.03, 1.0)
        * np.minimum((1.5 - t) / 0.05, 1.0)
    )
    silence = np.zeros(RATE // 2)
    heard = hear(np.concatenate([silence, 0.2 * tone, silence]))
    assert len(heard) == 1
    assert heard[0].pitch_midi == pytest.approx(64.0, abs=0.5)
    assert heard[0].onset_s == pytest.approx(0.5, abs=0.05)
    assert heard[0].offset_s == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("tone", [plucked, blown])
@pytest.mark.parametrize("under_db", [18, 22])
def test_ghost_notes_under_the_line_are_heard(tone, under_db):
    played = melody(3, 40, rest_share=0.0)
    loud = line([note for i, note in enumerate(played) if i % 5], tone)
    ghosts = line([note for i, note in enumerate(played) if i % 5 == 0], tone)
    both = np.zeros(max(len(loud), len(ghosts)))
    both[: len(loud)] += loud
    both[: len(ghosts)] += ghosts * 10 ** (-under_db / 20)
    assert note_f(played, as_played(hear(both))) >= 0.93


@pytest.mark.parametrize("ring_s", [0.3, 1.0])
def test_notes_that_ring_into_the_next_are_told_apart(ring_s):
    played = melody(1)
    ringing = [(on, off + ring_s, midi) for on, off, midi in played]
    assert note_f(played, as_played(hear(line(ringing, plucked)))) >= 0.95


@pytest.mark.parametrize("attack_s", [0.06, 0.1])
def test_slow_attacks_that_overlap_are_heard(attack_s):
    # A bowed line: each note fades in under the last one's end, with a little vibrato.
    rng = np.random.default_rng(4)
    played, at, midi, samples = [], 0.4, 60, np.zeros(16 * RATE)
    for _ in range(20):
        length = rng.uniform(0.4, 0.7)
        t = np.arange(int((length + 0.1) * RATE)) / RATE
        wobble = 0.2 * np.sin(2 * np.pi * 5.5 * t) * np.minimum(t / 0.3, 1.0)
        phase = 2 * np.pi * np.cumsum(hz(midi + wobble)) / RATE
        tone = sum(np.sin(k * phase) / k for k in range(1, 10))
        tone *= np.minimum(t / attack_s, 1.0) * np.clip((length + 0.1 - t) / 0.1, 0.0, 1.0)
        samples[round(at * RATE) :][: len(tone)] += 0.1 * tone
        played.append((at, at + length, float(midi)))
        at, midi = at + length, int(np.clip(midi + rng.choice([-4, -3, -2, -1, 1, 2, 3, 4]), 50, 74))
    assert note_f(played, as_played(hear(samples))) >= 0.9


def pink(rng, count):
    """Filter of Paul Kellet's kind: white noise to within 0.5 dB of 1/f."""
    return lfilter(
        [0.0499, -0.0960, 0.0506, -0.0044], [1, -2.4950, 2.0173, -0.5222], rng.standard_normal(count)
    )


def test_noise_30_db_under_the_line_changes_little():
    played = melody(4)
    samples = line(played, plucked)
    noise = pink(np.random.default_rng(0), len(samples))
    noise *= np.sqrt(np.mean(samples**2)) / np.sqrt(np.mean(noise**2)) * 10 ** (-30 / 20)
    assert note_f(played, as_played(hear(samples + noise))) >= 0.95


def swelling(midi, duration_s, rate=RATE):
    """A reed's lopsided wave, which is longer under zero than over it, with an attack of 140 ms."""
    t = np.arange(int(duration_s * rate)) / rate
    rising = np.minimum(t / 0.14, 1.0) * np.clip((duration_s - t) / 0.03, 0.0, 1.0)
    f = float(hz(midi))
    weights = [1, 0.8, 0.9, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15, 0.1]
    return sum(w * np.sin(2 * np.pi * k * f * t + k) for k, w in enumerate(weights, start=1)) * rising


HELD = [
    (0.4 + 0.6 * i, 0.9 + 0.6 * i, float(p)) for i, p in enumerate((69, 55, 62, 70, 53, 72, 60, 65, 57, 76))
]


def test_lopsided_tones_that_fill_a_take_are_heard():
    begins_s = 0.1 * 0.14  # where the attack reaches -20 dB
    played = [(onset + begins_s, offset, pitch) for onset, offset, pitch in HELD]
    assert note_f(played, as_played(hear(line(HELD, swelling)))) == 1.0


def test_an_offset_voltage_changes_nothing():
    samples = line(HELD, swelling)
    assert note_f(as_played(hear(samples)), as_played(hear(samples + 0.3)), offset_ratio=0.2) == 1.0


T = np.arange(8 * RATE) / RATE
NOTHING = {
    "empty": np.zeros(0),
    "one sample": np.ones(1) * 0.5,
    "a few samples": np.ones(50) * 0.1,
    "silence": np.zeros(8 * RATE),
    "dither": np.random.default_rng(1).integers(-1, 2, 8 * RATE) / 32_768,
    "white noise": 0.1 * np.random.default_rng(2).standard_normal(8 * RATE),
    "pink noise": 0.1 * pink(np.random.default_rng(3), 8 * RATE),
    "quiet noise": 1e-5 * np.random.default_rng(4).standard_normal(8 * RATE),
    "50 Hz hum": 0.05 * sum(np.sin(2 * np.pi * 50 * k * T) / k for k in range(1, 9)),
    "60 Hz hum in noise": 0.05 * np.sin(2 * np.pi * 60 * T) + 0.01 * pink(np.random.default_rng(5), 8 * RATE),
    "50 Hz hum in noise": 0.02 * sum(np.sin(2 * np.pi * 50 * k * T) / k for k in range(1, 9))
    + 0.05 * pink(np.random.default_rng(6), 8 * RATE),
    "offset voltage": np.full(8 * RATE, 0.3),
    "metronome ticks": 0.5 * (np.arange(8 * RATE) % (RATE // 2) == 0),
}


@pytest.mark.parametrize("sound", NOTHING)
def test_no_note_is_invented(sound):
    assert hear(NOTHING[sound]) == ()


def test_hardly_a_note_is_heard_of_speech():
    talks = [speech(np.random.default_rng(seed), 20 * RATE) for seed in range(4)]
    assert np.mean([len(hear(talk)) for talk in talks]) <= 10  # of some eighty syllables


def test_one_note_alone_is_heard():
    heard = hear(line([(1.0, 2.0, 57.0)], blown, tail_s=1.0))
    assert note_f([(1.0, 2.0, 57.0)], as_played(heard), offset_ratio=0.2) == 1.0


def test_loudness_is_the_level_of_the_note():
    t = np.arange(2 * RATE) / RATE
    tone = 0.5 * np.sin(2 * np.pi * 440 * t) * ((t > 0.5) & (t < 1.5))
    (note,) = hear(tone)
    assert note.loudness_db == pytest.approx(20 * np.log10(0.5 / np.sqrt(2)), abs=0.5)  # RMS of a sine


def test_notes_are_in_order_do_not_overlap_and_know_how_sure_they_are():
    heard = hear(line(melody(5), driven))
    assert all(a.onset_s < b.onset_s and a.offset_s <= b.onset_s for a, b in pairwise(heard))
    assert all(0.0 <= note.confidence <= 1.0 for note in heard)


def test_confidence_falls_in_noise():
    samples = line(melody(6), plucked)
    noise = 0.05 * np.random.default_rng(6).standard_normal(len(samples))
    clear, masked = ([note.confidence for note in hear(x)] for x in (samples, samples + noise))
    assert np.mean(masked) < np.mean(clear)


@pytest.mark.parametrize("gain", [1e-3, 0.1, 1.9])
def test_a_louder_or_softer_take_has_the_same_notes(gain):
    samples = line(melody(7, 30), plucked)
    reference, scaled = hear(samples), hear(gain * samples)
    assert [n.pitch_midi for n in scaled] == pytest.approx([n.pitch_midi for n in reference], abs=0.001)
    assert [n.onset_s for n in scaled] == pytest.approx([n.onset_s for n in reference])
    shift = [b.loudness_db - a.loudness_db for a, b in zip(reference, scaled, strict=True)]
    assert shift == pytest.approx([20 * np.log10(gain)] * len(shift), abs=0.1)


@pytest.mark.parametrize("silence_s", [0.25, 7.3])
def test_silence_before_the_take_only_moves_it(silence_s):
    samples = line(melody(8, 30), blown)
    moved = [(a + silence_s, b + silence_s, p) for a, b, p in as_played(hear(samples))]
    heard = as_played(hear(np.concatenate([np.zeros(int(silence_s * RATE), np.float32), samples])))
    assert note_f(moved, heard, offset_ratio=0.2) >= 0.98


@pytest.mark.parametrize("rate", [16_000, 44_100, 48_000, 96_000, 192_000])
def test_the_sample_rate_does_not_matter(rate):
    played = melody(9, 30)
    assert note_f(played, as_played(hear(line(played, plucked, rate=rate), rate))) >= 0.95


@pytest.mark.parametrize("block", [997, 1_000_000])
def test_the_size_of_blocks_does_not_matter(block):
    samples = line(melody(10, 20), plucked, rate=44_100)
    assert hear(samples, 44_100, block) == hear(samples, 44_100)


def test_a_long_take_equals_itself_cut_elsewhere():
    samples = np.concatenate([line(melody(seed), plucked) for seed in range(20, 24)])
    whole = as_played(hear(samples))
    pieces = as_played(hear(samples, params=replace(DEFAULTS, chunk_s=13.0, overlap_s=4.0)))
    assert len(whole) > 200
    assert note_f(whole, pieces, offset_ratio=0.2) >= 0.985
