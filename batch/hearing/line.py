"""One stretch of sound to the notes of its line: the stages in order."""

import numpy as np

from batch.hearing.boundaries import begin_log_odds
from batch.hearing.decode import decode
from batch.hearing.features import Floats, frames_of
from batch.hearing.onsets import loudness_of, onset_rewards, onset_strength, silence_evidence
from batch.hearing.params import HearingParams
from batch.hearing.pitches import choose_pitches
from batch.hearing.spans import Spans, merged, spans_of
from batch.hearing.stretch import Stretch, prepared
from batch.hearing.timing import timed
from batch.model import Note

QUIETEST_PEAK = 1e-6  # -120 dB: under the last bit of 16, nothing is played
SEMITONES = 12


def notes_in(samples: Floats, starts_at_s: float, params: HearingParams) -> list[Note]:
    """Return the notes in ``samples`` (n,) at ``params.rate_hz``, timed from the take's start."""
    peak = float(np.abs(samples).max(initial=0.0))
    if peak < QUIETEST_PEAK:
        return []
    spans, stretch = candidate_spans(samples / np.float32(peak), params)
    spans, begin = struck(spans, stretch, params)
    if not len(spans):
        return []
    pitch, right = choose_pitches(spans, stretch, params)
    spans = Spans(spans.start, spans.end, pitch)
    return timed(spans, begin * right, stretch, 20.0 * np.log10(peak), starts_at_s, params)


def candidate_spans(samples: Floats, params: HearingParams) -> tuple[Spans, Stretch]:
    """Return every span that might be a note, and the stretch they lie in."""
    frames = frames_of(samples, params)
    loudness = loudness_of(frames.level_db)
    strength = onset_strength(frames, loudness, params)
    lift = params.octave_lift / SEMITONES * np.arange(frames.salience.shape[1], dtype=np.float32)
    salience = frames.salience.max(axis=2) + lift
    state, starts = decode(
        np.float32(params.pitch_weight) * (salience - np.float32(params.pitch_floor)),
        np.float32(params.onset_reward) * onset_rewards(strength.overall, params),
        np.float32(params.gap_weight) * silence_evidence(frames.level_db, loudness, params),
        params.new_note_cost,
        params.again_cost,
    )
    spans = spans_of(state, starts, params.shortest_frames)
    return spans, prepared(frames, salience, strength, loudness)


def struck(spans: Spans, stretch: Stretch, params: HearingParams) -> tuple[Spans, Floats]:
    """Return the spans that begin a note, each with what runs on from it, and how sure that is (n,)."""
    if not len(spans):
        return spans, np.empty(0, np.float32)
    odds = begin_log_odds(spans, stretch)
    begins = odds > params.begin_log_odds
    return merged(spans, begins, params.run_on_frames), 1.0 / (1.0 + np.exp(-odds[begins]))
