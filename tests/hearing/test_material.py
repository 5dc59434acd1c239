"""Material for fitting is what its truth says it is. Needs neither fluidsynth nor a corpus."""

import gzip
from itertools import pairwise

import numpy as np
import pytest
import soundfile as sf
from played import hz, melody

from batch.hearing.fit import takes_in
from batch.hearing.material import TAKE_S, excerpt, performance, solos_in, without_overlap, write
from batch.hearing.noise import RATE_HZ, nothing
from batch.hearing.speech import speech
from batch.hearing.synthesis import MANNERS, synthesised


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


@pytest.mark.parametrize("situation", ["clean", "expressive", "ghost"])
def test_a_performance_strikes_and_releases_every_note_once(situation):
    line = np.array(melody(1, 20))
    events = sorted(performance(np.random.default_rng(0), line, 26, situation), key=lambda event: event[0])
    notes = [(at, m.type, m.note) for at, m in events if m.type.startswith("note")]
    assert [n for _, kind, n in notes if kind == "note_on"] == line[:, 2].astype(int).tolist()
    assert all(a[1] != b[1] for a, b in pairwise(notes))


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
    ((frames, notes),) = takes_in([tmp_path])
    assert notes == pytest.approx(line, abs=1e-4)
    assert len(frames) > 100  # of 128 samples: 172 in a second
    assert np.abs(sf.read(tmp_path / "take0001.flac")[0]).max() == pytest.approx(0.5, abs=1e-3)
