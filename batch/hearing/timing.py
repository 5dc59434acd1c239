"""When each note starts to sound and is let go, how high and how loud it is."""

import numpy as np

from batch.hearing.contour import refined
from batch.hearing.features import STEPS, Floats
from batch.hearing.moments import attack_frames, release_frames
from batch.hearing.params import HearingParams
from batch.hearing.spans import Spans
from batch.hearing.stretch import Stretch
from batch.model import Note

FURTHEST = 0.4  # semitones out of tune: of a pitch between two semitones the one chosen is reported


def timed(
    spans: Spans,
    confidence: Floats,
    stretch: Stretch,
    *,
    gain_db: float,
    starts_at_s: float,
    params: HearingParams,
) -> list[Note]:
    """Return the notes of ``spans``, onsets rising and no two overlapping."""
    frame_s = params.hop / params.rate_hz
    onset_s = attack_frames(spans, stretch) * frame_s
    offset_s = release_frames(spans, stretch) * frame_s
    until_s = np.append(onset_s[1:], len(stretch) * frame_s + params.shortest_s)
    offset_s = np.minimum(np.maximum(offset_s, onset_s + params.shortest_s), until_s)
    level = stretch.mean_level_db(spans.start, spans.end) + stretch.playing_db + gain_db
    return [
        Note(starts_at_s + on, starts_at_s + off, midi, db, sure)
        for on, off, midi, db, sure in zip(
            onset_s.tolist(),
            offset_s.tolist(),
            _midi(spans, stretch, params),
            level.tolist(),
            confidence.tolist(),
            strict=True,
        )
        if off > on
    ]


def _midi(spans: Spans, stretch: Stretch, params: HearingParams) -> list[float]:
    """Return each note's pitch: between the lags that fit it best on average, near the semitone chosen."""
    if not len(spans):
        return []
    salience = stretch.frames.salience
    middle = np.clip(spans.pitch, 1, salience.shape[1] - 2)
    around = np.stack(
        [
            salience[a:b, k - 1 : k + 2].mean(axis=0)
            for a, b, k in zip(spans.start.tolist(), spans.end.tolist(), middle.tolist(), strict=True)
        ]
    )
    rows, near = np.arange(len(spans)), spans.pitch - middle + 1
    out_of_tune = refined(around, rows, near, STEPS // 2) - near
    pitch = params.lowest_midi + spans.pitch + np.clip(out_of_tune, -FURTHEST, FURTHEST)
    return [float(midi) for midi in pitch]
