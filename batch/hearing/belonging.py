"""Which of the notes found belong to the line: not to a bleeding band, a breath or a consonant.

Looked at alone a bass note heard through the wall is a note. Against the line it is quiet, low,
dull, and sounds where the line rests. So a second network weighs each note against the
others, with the first one's verdict as part of its evidence.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.hearing.boundaries import MOST_MOVE, Columns, boundary_evidence, following, preceding
from batch.hearing.contour import SETTLED, TURN
from batch.hearing.features import Floats
from batch.hearing.network import network
from batch.hearing.spans import Spans
from batch.hearing.stretch import Stretch

LINE_SHARE = 0.6  # of the time sounding: the line is louder than this much of it ...
LINE_RANGE_DB = 6.0  # ... or at most this much quieter
REGIONS = 6  # parts of the spectrum compared, low to high
UNSURE = -6.0  # log-odds of a neighbour that does not exist
NEIGHBOURS = 2  # notes to either side whose verdicts count
FAR = 200  # frames, 1.2 s: stands for "nothing there"


@dataclass(frozen=True, slots=True)
class Line:
    """What the louder notes of a stretch have in common. ``shape_db`` (REGIONS,) is their spectrum."""

    notes: NDArray[np.bool_]
    level_db: float
    pitch: float
    strength: float
    salience: float
    shape_db: NDArray[np.float64]


def belongs_log_odds(spans: Spans, begin_odds: Floats, right: Floats, stretch: Stretch) -> Floats:
    """Return (n,) the log-odds that each note is one of the line's."""
    return network("belonging").log_odds(belonging_evidence(spans, begin_odds, right, stretch))


def belonging_evidence(spans: Spans, begin_odds: Floats, right: Floats, stretch: Stretch) -> Floats:
    """Return (n, columns): the evidence for a beginning again, and each note against the line.

    ``begin_odds`` and ``right`` (n,) are the first network's log-odds and the chosen pitch's
    probability.
    """
    line = _line(spans, begin_odds, stretch)
    columns = [
        *_verdicts(begin_odds, right),
        *_against(spans, line, stretch),
        *_distances(spans, line),
        *_steadiness(spans, stretch),
    ]
    return np.concatenate([boundary_evidence(spans, stretch), np.stack(columns, axis=1)], axis=1).astype(
        np.float32
    )


def _line(spans: Spans, begin_odds: Floats, stretch: Stretch) -> Line:
    """Return what the notes louder than most of the sounding time have in common."""
    level = stretch.mean_level_db(spans.start, spans.end)
    weight = spans.length / (1.0 + np.exp(-begin_odds))
    order = np.argsort(level)
    share = np.cumsum(weight[order]) / weight.sum()
    level_db = float(level[order][np.searchsorted(share, LINE_SHARE)])
    notes = level >= level_db - LINE_RANGE_DB
    salience = stretch.salience_sum.mean_at(spans.start, spans.end, spans.pitch)
    return Line(
        notes,
        level_db,
        float(np.median(spans.pitch[notes])),
        float(np.median(stretch.peak[spans.start[notes]])),
        float(np.median(salience[notes])),
        np.average(_shapes_db(spans, stretch)[notes], axis=0, weights=weight[notes]),
    )


def _shapes_db(spans: Spans, stretch: Stretch) -> NDArray[np.float64]:
    """Return (n, REGIONS) each note's spectrum against its own mean."""
    bands = stretch.bands_sum.mean(spans.start, spans.end)
    regions = np.stack([part.mean(axis=1) for part in np.array_split(bands, REGIONS, axis=1)], axis=1)
    return np.asarray(regions - regions.mean(axis=1, keepdims=True))


def _verdicts(begin_odds: Floats, right: Floats) -> Columns:
    """What was found before, of the note and its neighbours."""
    return [
        begin_odds / 4.0,
        right,
        *(preceding(begin_odds, UNSURE, by) / 4.0 for by in range(1, NEIGHBOURS + 1)),
        *(following(begin_odds, UNSURE, by) / 4.0 for by in range(1, NEIGHBOURS + 1)),
        preceding(right, 0.0),
        following(right, 0.0),
    ]


def _against(spans: Spans, line: Line, stretch: Stretch) -> Columns:
    """How level, pitch, attack, clarity and spectrum differ from the line's."""
    shape = (_shapes_db(spans, stretch) - line.shape_db) / 10.0
    return [
        (stretch.mean_level_db(spans.start, spans.end) - line.level_db) / 10.0,
        (stretch.loudest_ahead[spans.start] - line.level_db) / 10.0,
        (spans.pitch - line.pitch) / 12.0,
        np.minimum(stretch.peak[spans.start] / max(line.strength, 0.05), 3.0),
        stretch.salience_sum.mean_at(spans.start, spans.end, spans.pitch) - line.salience,
        np.sqrt((shape**2).mean(axis=1)),
        *shape.T,
    ]


def _distances(spans: Spans, line: Line) -> Columns:
    """How long ago the line's last louder note ended and how soon its next starts, as logarithms."""
    last_end = np.maximum.accumulate(np.where(line.notes, spans.end, -FAR))
    next_start = np.minimum.accumulate(np.where(line.notes, spans.start, spans.end[-1] + FAR)[::-1])[::-1]
    since = spans.start - preceding(last_end, -FAR)
    until = following(next_start, spans.end[-1] + FAR) - spans.end
    return [np.log1p(np.clip(distance, 0, FAR)) / 2.0 for distance in (since, until)]


def _steadiness(spans: Spans, stretch: Stretch) -> Columns:
    """How far the pitch usually wanders within a note, how long notes usually last: speech never stays."""
    spread = np.nan_to_num(stretch.pitch_between(spans.start + SETTLED, spans.end)[1], nan=0.0)
    drift = np.nan_to_num(_drift(spans, stretch), nan=0.0)
    return [
        np.full(len(spans), min(float(np.median(values)), MOST_MOVE))
        for values in (spread, np.abs(drift), np.log1p(spans.length / TURN))
    ]


def _drift(spans: Spans, stretch: Stretch) -> NDArray[np.float64]:
    """Return (n,) how much higher each note's second half is than its first, in semitones."""
    middle = (spans.start + spans.end) // 2
    return stretch.pitch_between(middle, spans.end)[0] - stretch.pitch_between(spans.start, middle)[0]
