"""Which of the decoded spans begin a note: the evidence, and a fitted verdict.

The dynamic program is let loose on purpose: it cuts at every attack's noise, wobble of a
vibrato, ring of another string and stroke of a bleeding band that could be a note. What tells
them apart is context (how strong an onset, how deep a dip, how long on either side, how loud
against the line), weighed by a small network fitted on rendered solos (``fit``).
"""

import numpy as np
from numpy.typing import NDArray

from batch.hearing.contour import SETTLED, TURN
from batch.hearing.features import FINE_BELOW, Floats
from batch.hearing.network import network
from batch.hearing.spans import Spans
from batch.hearing.stretch import Stretch

Columns = list[NDArray[np.floating]]

FAR = 200  # frames, 1.2 s: stands for "nothing there" on either side
NOBODY = -40  # semitone index of a neighbour that does not exist
BODY = 20.0  # frames, 116 ms: lengths are counted as logarithms of this
TAIL = 10  # frames, 58 ms: the end of a span
HEAD = 12  # frames, 70 ms: the beginning of one
NEAR = 4  # frames, 23 ms: just before, just after
STRONGEST = 2.5  # onset strengths beyond it say no more
MOST_MOVE = 3.0  # semitones: the pitch moving further says no more
HARMONIC_INTERVALS = (5, 7, 19, 24, 28, 31, 36)  # semitones at which a wrong period is found


def begin_log_odds(spans: Spans, stretch: Stretch) -> Floats:
    """Return (n,) the log-odds that each span begins a note."""
    return network("boundaries").log_odds(boundary_evidence(spans, stretch))


def boundary_evidence(spans: Spans, stretch: Stretch) -> Floats:
    """Return (n, columns) what speaks for and against each span's start being a note's."""
    columns = [
        *_attack(spans, stretch),
        *_intervals(spans),
        *_lengths(spans),
        *_saliences(spans, stretch),
        *_levels(spans, stretch),
        *_neighbours(spans, stretch),
        *_contours(spans, stretch),
        *_against_the_take(spans, stretch),
        *_further(spans, stretch),
        *_partials(spans, stretch),
    ]
    return np.stack(columns, axis=1).astype(np.float32)


def preceding(values: NDArray[np.generic], first: float, by: int = 1) -> NDArray[np.floating]:
    """Return each one's value ``by`` places before, ``first`` where there is none."""
    return np.concatenate([np.full(by, first), values])[: len(values)]


def following(values: NDArray[np.generic], last: float, by: int = 1) -> NDArray[np.floating]:
    """Return each one's value ``by`` places after, ``last`` where there is none."""
    return np.concatenate([values, np.full(by, last)])[by:]


def _gap_before(spans: Spans) -> NDArray[np.floating]:
    return spans.start - preceding(spans.end, spans.start[0] - FAR)


def _attack(spans: Spans, stretch: Stretch) -> Columns:
    """How much starts here, and how far the level falls before it and rises after."""
    at = spans.start
    back = np.maximum(at - 2, 0)
    peak = stretch.peak[at]
    before, after = stretch.loudest_behind[back], stretch.loudest_ahead[at]
    dip = np.minimum(before, after) - stretch.quietest_near[at]
    return [
        np.minimum(peak, STRONGEST),
        *np.minimum(stretch.peak_regions[at], STRONGEST).T,
        np.minimum(peak - stretch.mean_strength[at], 2.0),
        np.clip(dip / 10.0, 0.0, 3.0),
        np.clip((after - before) / 10.0, -2.0, 4.0),
        np.clip((after - stretch.quietest_near[at]) / 10.0, 0.0, 4.0),
    ]


def _intervals(spans: Spans) -> Columns:
    """How this span lies to the one before: silence between, interval."""
    gap = _gap_before(spans)
    previous = preceding(spans.pitch, NOBODY)
    up = spans.pitch - previous
    size = np.abs(up)
    kinds = [size == 0, size == 1, size == 2, up == 12, up == -12, np.isin(size, HARMONIC_INTERVALS)]  # noqa: PLR2004  semitones
    return [
        np.log1p(np.clip(gap, 0, 100)) / 2.0,
        gap < NEAR - 1,
        *kinds,
        np.clip(size, 0, 24) / 12.0 * (previous >= 0),
    ]


def _lengths(spans: Spans) -> Columns:
    """How long this span and its neighbours are, and how far apart they start, as logarithms."""
    ahead = following(spans.start, spans.end[-1] + FAR) - spans.start
    behind = spans.start - preceding(spans.start, spans.start[0] - FAR)
    lengths = [spans.length, preceding(spans.length, FAR), following(spans.length, FAR), behind, ahead]
    return [np.log(np.maximum(length, 1) / BODY) for length in lengths]


def _saliences(spans: Spans, stretch: Stretch) -> Columns:
    """How periodic span and neighbours are, and whether either pitch sounds in the other's time."""
    sums, salience = stretch.salience_sum, stretch.salience
    at, pitch = spans.start, spans.pitch
    previous = np.maximum(preceding(pitch, 0), 0).astype(np.int64)
    own = sums.mean_at(at, spans.end, pitch)
    previous_end = preceding(spans.end, 1).astype(np.int64)
    tail = np.maximum(previous_end - TAIL, preceding(at, 0).astype(np.int64))
    last = len(stretch) - 1
    early, late = np.maximum(at - NEAR, 0), np.minimum(at + NEAR, last)
    return [
        own,
        preceding(own, 0.0),
        following(own, 0.0),
        sums.mean_at(at, np.minimum(at + HEAD, spans.end), pitch),
        sums.mean_at(at, at + HEAD, previous),
        sums.mean_at(tail, previous_end, pitch),
        salience[early, pitch],
        salience[late, pitch],
        salience[at, pitch],
        salience[late, previous],
        salience[at, previous],
    ]


def _levels(spans: Spans, stretch: Stretch) -> Columns:
    """How loud span and neighbours are, in tens of dB against the playing level."""
    level = stretch.mean_level_db(spans.start, spans.end) / 10.0
    return [
        level,
        np.clip(level - preceding(level, -6.0), -3.0, 3.0),
        np.clip(level - following(level, -6.0), -3.0, 3.0),
        stretch.loudest_ahead[spans.start] / 10.0,
    ]


def _neighbours(spans: Spans, stretch: Stretch) -> Columns:
    """Whether pitches come back (vibrato, trill), and how the neighbours themselves begin."""
    pitch, last = spans.pitch, len(stretch) - 1
    peak = np.minimum(stretch.peak[spans.start], STRONGEST)
    next_pitch = following(pitch, NOBODY)
    step = np.abs(next_pitch - pitch)
    next_start = np.minimum(following(spans.start, last), last).astype(np.int64)
    return [
        pitch == preceding(pitch, NOBODY, by=2),
        next_pitch == preceding(pitch, NOBODY),
        pitch == following(pitch, NOBODY, by=2),
        np.minimum(stretch.peak[next_start], STRONGEST),
        preceding(peak, 0.0),
        step == 0,
        step == 12,  # noqa: PLR2004  an octave
        step == 1,
        np.log1p(np.clip(following(spans.start, spans.end[-1] + FAR) - spans.end, 0, 100)) / 2.0,
        pitch / 30.0,
    ]


def _further(spans: Spans, stretch: Stretch) -> Columns:
    """How the neighbours begin and sound, two to either side."""
    at, pitch = spans.start, spans.pitch
    back = np.maximum(at - 2, 0)
    peak = np.minimum(stretch.peak[at], STRONGEST)
    before, after = stretch.loudest_behind[back], stretch.loudest_ahead[at]
    dip = np.clip((np.minimum(before, after) - stretch.quietest_near[at]) / 10.0, 0.0, 3.0)
    rise = np.clip((after - before) / 10.0, -2.0, 4.0)
    length = np.log(np.maximum(spans.length, 1) / BODY)
    longest, sums = np.log(FAR / BODY), stretch.salience_sum
    before_start = preceding(at, 0).astype(np.int64)
    previous = np.maximum(preceding(pitch, 0), 0).astype(np.int64)
    upcoming = np.maximum(following(pitch, 0), 0).astype(np.int64)
    return [
        *(neighbour(values, 0.0) for values in (dip, rise) for neighbour in (preceding, following)),
        *(neighbour(peak, 0.0, by=2) for neighbour in (preceding, following)),
        *(neighbour(length, longest, by=2) for neighbour in (preceding, following)),
        *(
            np.clip(pitch - neighbour(pitch, NOBODY, by=by), -12, 12) / 12.0
            for neighbour in (preceding, following)
            for by in (1, 2)
        ),
        sums.mean_at(before_start, at, pitch),
        sums.mean_at(at, spans.end, previous),
        sums.mean_at(at, spans.end, upcoming),
    ]


def _partials(spans: Spans, stretch: Stretch) -> Columns:
    """How far the pitch's first partials rise here: a string struck again under its own ring."""
    at, rows = spans.start, np.arange(len(spans))
    rise = stretch.partials_between(at + 2, at + 2 * TAIL) - stretch.partials_between(at - 2 * TAIL, at - 2)
    columns = [spans.pitch + above + FINE_BELOW for above in (0, 12, 19)]
    last = rise.shape[1] - 1
    return [np.clip(rise[rows, np.minimum(column, last)] / 10.0, -2.0, 3.0) for column in columns]


def _contours(spans: Spans, stretch: Stretch) -> Columns:
    """How the pitch moves: between span and neighbours, over one turn of a vibrato, within the span."""
    at, end, between = spans.start, spans.end, stretch.pitch_between
    settled = np.minimum(at + SETTLED, end - 1)
    middle = np.maximum((settled + end) // 2, settled)
    own, spread = between(settled, end)
    ahead, behind = between(at, at + TURN)[0], between(at - TURN, at)[0]
    head, tail = between(at, at + NEAR)[0], between(at - NEAR, at)[0]
    halves = between(middle, end)[0] - between(settled, middle)[0]
    moves = [
        own - preceding(own, np.nan),
        own - preceding(own, np.nan, by=2),
        own - following(own, np.nan),
        ahead - behind,
        between(at + 1, at + HEAD)[0] - between(at - HEAD, at - 1)[0],
        head - own,
        tail - preceding(own, np.nan),
        head - tail,
        halves,
    ]
    moves = [np.clip(np.nan_to_num(move, nan=0.0), -MOST_MOVE, MOST_MOVE) for move in moves]
    spreads = [spread, preceding(spread, 0.0), following(spread, 0.0)]
    return [
        *moves,
        *(np.abs(move) for move in moves),
        *(np.clip(np.nan_to_num(values, nan=0.0), 0.0, MOST_MOVE) for values in spreads),
        stretch.contour_sum.mean(at - TURN, at)[:, 0],
        stretch.contour_sum.mean(at, at + TURN)[:, 0],
    ]


def _against_the_take(spans: Spans, stretch: Stretch) -> Columns:
    """How this span compares with the others: bleed and breath are weaker than the line."""
    at = spans.start
    peak, high = stretch.peak[at], stretch.peak_regions[at, -1]
    loudest = stretch.loudest_ahead[at]
    level = stretch.mean_level_db(at, spans.end)
    own = stretch.salience_sum.mean_at(at, spans.end, spans.pitch)
    return [
        np.minimum(peak / max(float(np.percentile(peak, 70)), 0.1), 3.0),
        (loudest - np.percentile(loudest, 70)) / 10.0,
        (level - np.percentile(level, 70)) / 10.0,
        own - np.percentile(own, 60),
        np.minimum(high / max(float(np.percentile(high, 70)), 0.05), 3.0),
        (spans.pitch - np.median(spans.pitch)) / 12.0,
    ]
