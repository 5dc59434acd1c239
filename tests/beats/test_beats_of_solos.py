"""Whether the confidence keeps its word on annotated solos, where the corpus is at hand.

The shipped numbers were fitted to these very solos, so this guards against what breaks them; how
it does on solos left out is measured when they are fitted.
"""

from pathlib import Path

import numpy as np
import pytest
from beats.listeners import beat_f

from batch.beats.alone.fit_material import Solo, excerpt, read_solos
from batch.beats.alone.track import track_notes
from batch.model import Note

CORPUS = Path(__file__).resolve().parents[3] / "shared" / "corpus"
EVERY = 2
SECONDS = 50.0


@pytest.fixture(scope="module")
def solos() -> list[Solo]:
    if not CORPUS.is_dir():
        pytest.skip(f"no annotated solos at {CORPUS}")
    return [s for s in read_solos(CORPUS)[::EVERY] if np.ptp(s.line.beats_s) > SECONDS + 5]


@pytest.mark.parametrize("told", [False, True])
def test_beats_it_is_sure_of_are_right_in_annotated_solos(solos, told):
    scores = []
    for solo in solos:
        start_s = float(solo.line.beats_s[0])
        line = excerpt(solo.line, start_s, start_s + SECONDS)
        notes = [
            Note(float(t), float(t + d), float(p), -20.0)
            for t, d, p in zip(line.onset_s, line.length_s, line.pitch_midi, strict=True)
        ]
        tempo_bpm = round(60 / float(np.median(np.diff(line.beats_s)))) if told else None
        pulse = track_notes(notes, duration_s=SECONDS, meter=(4, 4), tempo_bpm=tempo_bpm)
        assert pulse is not None
        scores.append((pulse.confidence, beat_f(pulse, line.beats_s.tolist())))
    sure = [f for confidence, f in scores if confidence >= 0.8]
    assert len(sure) >= 5
    assert np.mean(sure) >= 0.9
    assert np.mean([f >= 0.9 for f in sure]) >= 0.8, (
        sure
    )  # nine in ten are meant; a small sample has its luck
