"""One stretch of sound to the notes of its line: the stages in order."""

from dataclasses import dataclass
from functools import partial, reduce

import numpy as np

from batch.hearing.attacks import SLOW_STRUM_GAP_S
from batch.hearing.belonging import belongs_log_odds
from batch.hearing.boundaries import begin_log_odds
from batch.hearing.contour import contour_of
from batch.hearing.coupling import coupled
from batch.hearing.decode import decode
from batch.hearing.features import Floats, Frames, frames_of
from batch.hearing.onsets import loudness_of, onset_rewards, onset_strength, silence_evidence
from batch.hearing.params import HearingParams
from batch.hearing.pitches import choose_pitches
from batch.hearing.scene import Scene, scene_of, unheard
from batch.hearing.spans import Spans, merged, spans_of
from batch.hearing.stretch import Stretch, prepared
from batch.hearing.strums import gathered, is_chordal
from batch.hearing.texture import ENOUGH, Struck, struck_in
from batch.hearing.timing import timed
from batch.model import Note

QUIETEST_PEAK = 1e-6  # -120 dB: under the last bit of 16, nothing is played
SEMITONES = 12


@dataclass(frozen=True, slots=True)
class HeardHere:
    """The notes of a stretch, what sounds at all, and what was struck at its attacks; None in silence."""

    notes: list[Note]
    scene: Scene
    struck: Struck | None


def heard_in(samples: Floats, starts_at_s: float, params: HearingParams) -> HeardHere:
    """Return what is heard in ``samples`` (n,) at ``params.rate_hz``, timed from the take's start."""
    samples = coupled(samples, params.rate_hz)
    peak = float(np.abs(samples).max(initial=0.0))
    if peak < QUIETEST_PEAK:
        return HeardHere([], unheard(len(samples) / params.rate_hz, starts_at_s, params), None)
    samples = samples / np.float32(peak)
    spans, stretch = candidate_spans(frames_of(samples, params), params)
    spans, confidence = line_spans(spans, stretch, params)
    gain_db = 20.0 * float(np.log10(peak))
    notes = timed(spans, confidence, stretch, gain_db=gain_db, starts_at_s=starts_at_s, params=params)
    look = partial(struck_in, samples, stretch, params, gain_db=gain_db, starts_at_s=starts_at_s)
    struck = look(most=ENOUGH)
    if is_chordal(struck):
        notes = gathered(notes, look(gap_s=SLOW_STRUM_GAP_S, struck_only=True))
    scene = scene_of(stretch, gain_db=gain_db, starts_at_s=starts_at_s, params=params)
    return HeardHere(notes, scene, struck)


def line_spans(spans: Spans, stretch: Stretch, params: HearingParams) -> tuple[Spans, Floats]:
    """Return the notes of the line among candidate ``spans``, and how sure each is, 0 to 1."""
    found = found_notes(spans, stretch, params)
    if not len(found.spans):
        return found.spans, found.right
    odds = belongs_log_odds(found.spans, found.begin_odds, found.right, stretch)
    belongs = odds > params.belongs_log_odds
    line = merged(found.spans, belongs, params.run_on_frames)
    if not len(line):
        return line, odds[belongs]
    pitch, right = choose_pitches(line, stretch, params)
    sure = np.asarray(right / (1.0 + np.exp(-odds[belongs])), dtype=np.float32)
    kept = sure >= params.least_sure
    return line.at(pitch).only(kept), sure[kept]


def candidate_spans(frames: Frames, params: HearingParams) -> tuple[Spans, Stretch]:
    """Return every span that might be a note, and the stretch they lie in."""
    loudness = loudness_of(frames.level_db)
    strength = onset_strength(frames, loudness, params)
    lift = params.octave_lift / SEMITONES * np.arange(frames.salience.shape[1], dtype=np.float32)
    salience = reduce(np.maximum, np.moveaxis(frames.salience, 2, 0)) + lift  # max(axis=2) is slow
    state, starts = decode(
        np.float32(params.pitch_weight) * (salience - np.float32(params.pitch_floor)),
        np.float32(params.onset_reward) * onset_rewards(strength.overall, params),
        np.float32(params.gap_weight) * silence_evidence(frames.level_db, loudness, params),
        params.new_note_cost,
        params.again_cost,
    )
    spans = spans_of(state, starts, params.shortest_frames)
    return spans, prepared(frames, salience, contour_of(frames.salience, state), strength, loudness)


@dataclass(frozen=True, slots=True)
class Found:
    """Notes after the first look, with log-odds (n,) of beginning and the pitch's probability (n,)."""

    spans: Spans
    begin_odds: Floats
    right: Floats


def struck(spans: Spans, stretch: Stretch, params: HearingParams) -> tuple[Spans, Floats]:
    """Return the spans that may begin a note, each with what runs on from it, and the log-odds (n,)."""
    if not len(spans):
        return spans, np.empty(0, np.float32)
    odds = begin_log_odds(spans, stretch)
    begins = odds > params.begin_log_odds
    return merged(spans, begins, params.run_on_frames), odds[begins]


def found_notes(spans: Spans, stretch: Stretch, params: HearingParams) -> Found:
    """Return what a first look makes of the candidate spans."""
    spans, odds = struck(spans, stretch, params)
    if not len(spans):
        return Found(spans, odds, odds)
    pitch, right = choose_pitches(spans, stretch, params)
    return Found(spans.at(pitch), odds, right)
