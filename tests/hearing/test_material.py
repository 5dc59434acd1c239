"""Material for fitting is what its truth says it is. Needs neither fluidsynth nor a corpus."""

import gzip
from itertools import pairwise

import numpy as np
import pytest
import soundfile as sf
from played import hz, melody

from batch.hearing.network import Network
from batch.hearing.training.company import strummed
from batch.hearing.training.effects import (
    clipped,
    coded,
    compressed,
    driven,
    through_a_telephone,
    tilted,
    trembling,
)
from batch.hearing.training.fit import takes_in
from batch.hearing.training.fitting import fitted
from batch.hearing.training.lines import TAKE_S, excerpt, solos_in, with_bursts, without_overlap
from batch.hearing.training.material import write
from batch.hearing.training.noise import RATE_HZ, nothing
from batch.hearing.training.performers import Touch, performance
from batch.hearing.training.speech import speech
from batch.hearing.training.synthesis import MANNERS, synthesised


def test_a_corpus_is_read_solo_by_solo_and_no_two_notes_overlap(tmp_path):
    rows = "solo,onset_s,duration_s,pitch\n1,0.0,0.5,60\n1,0.4,0.2,62\n2,1.0,0.3,64\n"
    (tmp_path / "notes.csv.gz").write_bytes(gzip.compress(rows.encode()))
    first, second = solos_in(tmp_path)
    assert first == pytest.approx(np.array([[0.0, 0.399, 60], [0.4, 0.6, 62]]))
    assert second == pytest.approx(np.array([[1.0, 1.3, 64]]))


def test_an_excerpt_fits_the_take_and_lies_near_its_centre():
    solo = without_overlap(np.array(melody(0, 400)))
    line = excerpt(np.random.default_rng(0), [solo], slower=1.3, centre=40)
    assert line[0, 0] > 0.0
    assert line[-1, 1] < TAKE_S
    assert abs(np.median(line[:, 2]) - 40) <= 6 + 3  # the nearest octave, and a third either way


@pytest.mark.parametrize("touch", [Touch(), Touch(bends=True), Touch(ghosts=0.5, dynamics=25.0)])
def test_a_performance_strikes_and_releases_every_note_once(touch):
    line = np.array(melody(1, 20))
    events = sorted(performance(np.random.default_rng(0), line, 26, touch)[0], key=lambda event: event[0])
    notes = [(at, m.type, m.note) for at, m in events if m.type.startswith("note")]
    assert [n for _, kind, n in notes if kind == "note_on"] == line[:, 2].astype(int).tolist()
    assert all(a[1] != b[1] for a, b in pairwise(notes))


def keys(events):
    """Return (s, is struck, key) of every key event, by time."""
    keyed = [(at, m.type == "note_on", m.note) for at, m in events if m.type.startswith("note")]
    return sorted(keyed, key=lambda key: key[0])


def test_ringing_notes_overlap_but_no_key_is_struck_while_held():
    events, sounding = performance(np.random.default_rng(0), np.array(melody(1, 40)), 26, Touch("ringing"))
    held = set()
    most = 0
    for _, is_struck, key in keys(events):
        assert (key in held) != is_struck
        held ^= {key}
        most = max(most, len(held))
    assert not held
    assert most > 1
    assert all(a[1] <= b[0] for a, b in pairwise(sounding))  # the line itself goes on to the next note


def test_a_slur_is_one_stroke_and_the_wheel_goes_to_its_pitches():
    line = np.array([[0.5, 1.0, 60.0], [1.0, 1.5, 62.0], [1.5, 2.0, 59.0]])
    for seed in range(50):
        events, sounding = performance(np.random.default_rng(seed), line, 26, Touch("slurred", tuning=0.25))
        struck = [key for _, is_struck, key in keys(events) if is_struck]
        if struck == [60]:
            break
    assert struck == [60]
    assert sounding[:, 2].tolist() == [60.25, 62.25, 59.25]
    wheel = sorted((at, m.pitch / 8191 * 12.0) for at, m in events if m.type == "pitchwheel")
    for middle, semitones in ((0.75, 0.25), (1.3, 2.25), (1.8, -0.75)):
        assert [bend for at, bend in wheel if at <= middle][-1] == pytest.approx(semitones, abs=0.01)


def test_bursts_are_as_quick_as_double_time():
    line = np.array([[0.5 * i, 0.5 * i + 0.45, 60.0 + i % 5] for i in range(1, 33)])
    quick = with_bursts(np.random.default_rng(3), line)
    gaps = np.diff(quick[:, 0])
    assert len(quick) > len(line)
    assert 0.044 < gaps.min() < 0.076  # s, BURST_S
    assert (quick[:, 1] <= np.append(quick[1:, 0], np.inf)).all()


def test_strums_count_once_at_their_top_voice():
    events, line = strummed(np.random.default_rng(1))
    struck = np.array([(at, key) for at, is_struck, key in keys(events) if is_struck])
    for onset, _, pitch in line:
        together = struck[np.abs(struck[:, 0] - onset - 0.0225) <= 0.0225 + 1e-6]
        assert len(together) >= 3
        assert together[:, 1].max() == pitch


EFFECTS = [driven, compressed, trembling, tilted, through_a_telephone, clipped, coded]


@pytest.mark.parametrize("effect", EFFECTS)
def test_an_effect_moves_nothing_in_time(effect):
    # Noise that is on and off: its envelope lies over the effect's own best without a shift.
    gate = np.repeat(np.random.default_rng(0).integers(0, 2, 40), 2_000)
    samples = gate * np.random.default_rng(1).standard_normal(len(gate))
    heard = effect(np.random.default_rng(2), samples)
    assert heard.shape == samples.shape
    before, after = (np.convolve(np.abs(x), np.ones(64), "same") for x in (samples, heard))
    lags = range(-1_000, 1_001, 50)
    likeness = [np.corrcoef(before[2_000:-2_000], np.roll(after, -lag)[2_000:-2_000])[0, 1] for lag in lags]
    assert abs(lags[int(np.argmax(likeness))]) <= 200  # 9 ms


@pytest.mark.parametrize("kind", ["blown", "plucked"])
def test_what_is_synthesised_has_the_pitches_of_its_truth(kind):
    # By autocorrelation: half a note's sound repeats after one period of the pitch it should have.
    samples, line = synthesised(np.random.default_rng(1), np.array(melody(2, 20)), MANNERS[kind], 8 * RATE_HZ)
    repeats = []
    for onset, offset, midi in line:
        note = samples[
            int((0.7 * onset + 0.3 * offset) * RATE_HZ) : int((0.3 * onset + 0.7 * offset) * RATE_HZ)
        ]
        period = round(RATE_HZ / hz(midi))
        repeats.append(np.corrcoef(note[:-period], note[period:])[0, 1])
    assert np.median(repeats) > 0.8


def test_speech_and_noise_fill_the_time_asked_for():
    for make in (speech, nothing):
        samples = make(np.random.default_rng(0), 2 * RATE_HZ)
        assert samples.shape == (2 * RATE_HZ,)
        assert np.isfinite(samples).all()
        assert samples.std() > 0.0


def test_what_is_written_is_what_fit_reads(tmp_path):
    line = np.array(melody(3, 8))
    write(tmp_path / "take0001", np.random.default_rng(0).standard_normal(RATE_HZ), line, peak=0.5)
    (take,) = takes_in([tmp_path])
    assert take.notes == pytest.approx(line, abs=1e-4)
    assert len(take.stretch) > 100  # of 128 samples: 172 in a second
    assert np.abs(sf.read(tmp_path / "take0001.flac")[0]).max() == pytest.approx(0.5, abs=1e-3)


def test_a_committee_learns_what_no_line_divides():
    # Exclusive or: a network without hidden layers is right half the time.
    rng = np.random.default_rng(0)
    evidence = rng.standard_normal((12_000, 3)).astype(np.float32) * 5.0 + 2.0
    answer = (evidence[:, 0] > 2.0) != (evidence[:, 1] > 2.0)
    layers = fitted(evidence, answer, (16, 8))
    again = fitted(evidence, answer, (16, 8))
    assert all(
        (a == b).all()
        for one, other in zip(layers, again, strict=True)
        for a, b in zip(one, other, strict=True)
    )
    odds = Network(tuple(layers)).log_odds(evidence)
    assert np.mean((odds > 0.0) == answer) > 0.95
