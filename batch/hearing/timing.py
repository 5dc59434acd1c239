"""When each note starts to sound and is let go, how high and how loud it is."""

import numpy as np
from scipy.ndimage import maximum_filter1d

from batch.hearing.features import STEPS, Floats
from batch.hearing.params import HearingParams
from batch.hearing.spans import Spans
from batch.hearing.stretch import Stretch
from batch.model import Note

HOLD_FRAMES = 6  # 35 ms after the onset in which a fall of level is the attack's, not a release
RECENT_FRAMES = 17  # 99 ms, over which "the loudest lately" is taken
SLOPE_FRAMES = 4  # 23 ms, over which a release's slope is read
FOOT_FRAMES = 7  # 41 ms, the longest attack walked back over
APART_FRAMES = 4  # 23 ms, onsets closer than this cannot be told apart


def timed(
    spans: Spans, confidence: Floats, stretch: Stretch, gain_db: float, starts_at_s: float, params: HearingParams
) -> list[Note]:
    """Return the notes of ``spans``, onsets rising and no two overlapping."""
    frame_s = params.hop / params.rate_hz
    onset_s = np.maximum(_onset_frames(spans, stretch, params) * frame_s + params.onset_bias_s, 0.0)
    offset_s = _release_frames(spans, stretch.level_db, params) * frame_s
    until_s = np.append(onset_s[1:], len(stretch) * frame_s + params.shortest_s)
    offset_s = np.minimum(np.maximum(offset_s, onset_s + params.shortest_s), until_s)
    level = stretch.mean_level_db(spans.start, spans.end) + stretch.playing_db + gain_db
    return [
        Note(starts_at_s + on, starts_at_s + off, midi, db, sure)
        for on, off, midi, db, sure in zip(
            onset_s.tolist(), offset_s.tolist(), _midi(spans, stretch, params), level.tolist(), confidence.tolist(), strict=True
        )
        if off > on
    ]


def _onset_frames(spans: Spans, stretch: Stretch, params: HearingParams) -> np.ndarray:
    """Return where each attack begins: walked back from its peak to its foot."""
    strength = stretch.strength.overall
    feet = []
    earliest = 0
    for start in spans.start.tolist():
        enough = params.onset_foot * strength[max(start - 1, 0) : start + 2].max()
        foot = start
        while foot > max(earliest, start - FOOT_FRAMES) and strength[foot - 1] > enough:
            foot -= 1
        feet.append(foot)
        earliest = start + APART_FRAMES
    return np.array(feet)


def _release_frames(spans: Spans, level_db: Floats, params: HearingParams) -> np.ndarray:
    """Return where each note is let go: the knee before its first steep drop, or its end."""
    lately = maximum_filter1d(level_db, RECENT_FRAMES, origin=RECENT_FRAMES // 2)
    dropped = np.flatnonzero(lately - level_db > params.drop_db)
    first = np.searchsorted(dropped, spans.start + HOLD_FRAMES)
    found = np.append(dropped, len(level_db))[first]
    ends = np.minimum(found, spans.end)
    return np.array([_knee(a, b, level_db, params) for a, b in zip(spans.start.tolist(), ends.tolist(), strict=True)])


def _knee(start: int, end: int, level_db: Floats, params: HearingParams) -> int:
    """Walk back from ``end`` while the level falls more steeply than a ringing note's."""
    steep_db = params.release_slope_db_s * SLOPE_FRAMES * params.hop / params.rate_hz
    last = len(level_db) - 1
    while end > start + 2 * SLOPE_FRAMES and level_db[end - SLOPE_FRAMES] - level_db[min(end, last)] > steep_db:
        end -= 1
    return end


def _midi(spans: Spans, stretch: Stretch, params: HearingParams) -> list[float]:
    """Return each note's pitch to a third of a semitone: the lag that fits it best on average."""
    salience = stretch.frames.salience
    steps = [
        int(salience[a:b, k].mean(axis=0).argmax())
        for a, b, k in zip(spans.start.tolist(), spans.end.tolist(), spans.pitch.tolist(), strict=True)
    ]
    return [params.lowest_midi + k + (step - STEPS // 2) / STEPS for k, step in zip(spans.pitch.tolist(), steps, strict=True)]
