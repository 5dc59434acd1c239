"""Which pitch a note has: candidates, the evidence for each, and the melody they make.

A period that fits is not always the note's: ringing strings share a longer one, a saxophone
has a real subharmonic, distortion an upper octave. A small network fitted on rendered solos
(``fit``) weighs how the candidate's relatives fare, what rose at the onset and which partials
sound; a Viterbi search over the notes then holds it against leaps.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.hearing.features import FINE_BELOW, Floats, band_of_hz
from batch.hearing.network import network
from batch.hearing.params import HearingParams
from batch.hearing.spans import Ints, Spans
from batch.hearing.stretch import Stretch

Table = NDArray[np.floating]

PEAKS = 5  # best local maxima taken as candidates
RELATIVES = (12, 19, -12)  # semitones from the best, candidates even where no maximum shows
LEAST_SALIENCE = 0.2  # a peak under it is nobody's pitch
NONE = -1  # no candidate
UNLIKELY = -30.0  # log-odds of no candidate
BEFORE, ATTACK, AFTER = 12, 3, 14  # frames: what sounded before (70 ms), an attack (17 ms), what then sounds
KIN = (12, -12, 19, -19, 24, -24, 7, -7, -5, 5, 1, -1, 28, -28, 31)  # semitones: likely confusions
PARTIALS = (0.5, 2 / 3, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0)  # of the candidate: its own and its rivals'
FINER = (-12, 0, 7, 12, 16, 19, 22, 24, 28, 31)  # semitones: partials 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 5 and 6
TOLD_APART = (-12, 0, 7, 12, 19)  # of these also how far they stand out, and how far they rose
BESIDE = 3  # semitones to either side that a partial stands out of
NO_PARTIAL_DB = -60.0
RISEN = (0.5, 1.0, 1.5, 2.0, 3.0)  # the same where a rise at the onset is asked for


@dataclass(frozen=True, slots=True)
class Views:
    """Mean salience of each note over parts of it, each (n, pitches)."""

    body: Floats
    early: Floats
    late: Floats
    before: Floats


def views_of(spans: Spans, stretch: Stretch) -> Views:
    """Return how salient every pitch is in each note's body, halves, and just before it."""
    start, end, mean = spans.start, spans.end, stretch.salience_sum.mean
    body = mean(_body(spans), end)
    return Views(
        body=np.maximum(body, mean(start, end)).astype(np.float32),
        early=mean(
            start + np.minimum(2, spans.length - 1), np.minimum(start + 4 + spans.length // 2, end)
        ).astype(np.float32),
        late=mean(np.minimum((start + end) // 2, end - 1), end).astype(np.float32),
        before=mean(np.maximum(start - BEFORE, 0), np.maximum(start - ATTACK, 1)).astype(np.float32),
    )


def _body(spans: Spans) -> Ints:
    """Return where each note's attack is over."""
    return np.asarray(np.minimum(spans.start + np.maximum(ATTACK, spans.length // 4), spans.end - 1))


def candidates(body: Floats) -> Ints:
    """Return (n, PEAKS + relatives) semitone indices, NONE where there are fewer; ``body`` (n, pitches)."""
    pitches = body.shape[1]
    padded = np.pad(body, ((0, 0), (1, 1)), constant_values=-9.0)
    peaks = np.where((body >= padded[:, :-2]) & (body >= padded[:, 2:]), body, np.float32(-9.0))
    best = np.argsort(-peaks, axis=1)[:, :PEAKS]
    best[np.take_along_axis(peaks, best, axis=1) < LEAST_SALIENCE] = NONE
    best[:, 0] = body.argmax(axis=1)
    relatives = best[:, :1] + np.array(RELATIVES)
    relatives[(relatives < 0) | (relatives >= pitches)] = NONE
    relatives[(relatives[:, :, None] == best[:, None, :]).any(axis=2)] = NONE
    return np.concatenate([best, relatives], axis=1)


def pitch_evidence(
    spans: Spans, options: Ints, views: Views, stretch: Stretch, params: HearingParams
) -> Floats:
    """Return (n, options, columns) what speaks for and against each candidate."""
    pitch = np.maximum(options, 0)
    columns = [
        *_salience_columns(pitch, views),
        *_partial_columns(spans, pitch, stretch, params),
        *_place_columns(spans, pitch, views.body),
        *_finer_columns(spans, pitch, stretch),
    ]
    return np.stack(np.broadcast_arrays(*columns), axis=-1).astype(np.float32)


def _salience_columns(pitch: Ints, views: Views) -> list[Table]:
    """The candidate's own salience over time, and that of its kin."""
    own, before = _at(views.body, pitch), _at(views.before, pitch)
    return [
        own,
        own - views.body.max(axis=1, keepdims=True),
        _at(views.early, pitch),
        _at(views.late, pitch),
        before,
        own - before,
        *(_at(views.body, pitch + shift) for shift in KIN),
        *(
            _at(view, pitch + shift)
            for view in (views.early, views.late, views.before)
            for shift in (12, -12)
        ),
        _at(views.before, pitch - 19),
    ]


def _at(view: Floats, pitch: Ints) -> Table:
    """Return ``view`` at each candidate, 0 outside the range."""
    inside = (pitch >= 0) & (pitch < view.shape[1])
    values = np.take_along_axis(view, np.clip(pitch, 0, view.shape[1] - 1), axis=1)
    return np.where(inside, values, np.float32(0.0))


def _partial_columns(spans: Spans, pitch: Ints, stretch: Stretch, params: HearingParams) -> list[Table]:
    """Which partials sound, and which of them rose at the onset; 20 dB count 1."""
    mean = stretch.bands_sum.mean
    body = mean(_body(spans), spans.end)
    onset = mean(spans.start + np.minimum(1, spans.length - 1), np.minimum(spans.start + AFTER, spans.end))
    rise = onset - mean(np.maximum(spans.start - BEFORE, 0), np.maximum(spans.start - ATTACK, 1))
    below = body - body.max(axis=1, keepdims=True)
    hz = 440.0 * 2.0 ** ((pitch + params.lowest_midi - 69) / 12.0)
    return [
        *(np.clip(_band(below, hz * ratio, params) / 20.0, -3.0, 0.0) for ratio in PARTIALS),
        *(np.clip(_band(rise, hz * ratio, params) / 20.0, -1.0, 2.0) for ratio in RISEN),
    ]


def _finer_columns(spans: Spans, pitch: Ints, stretch: Stretch) -> list[Table]:
    """The same of a finer spectrum, which tells apart a low note's partials; errs unlike a period does."""
    body = stretch.partials_between(_body(spans), spans.end)
    onset = stretch.partials_between(spans.start + 2, np.minimum(spans.start + AFTER, spans.end))
    rise = onset - stretch.partials_between(spans.start - BEFORE, np.maximum(spans.start - 2, 1))
    below = np.maximum(body - body.max(axis=1, keepdims=True), NO_PARTIAL_DB)
    return [
        *(_partial(below, pitch, at) / 20.0 for at in FINER),
        *((_partial(below, pitch, at) - _beside(below, pitch + at)) / 20.0 for at in TOLD_APART),
        *(np.clip(_partial(rise, pitch, at, 0.0) / 20.0, -1.0, 2.0) for at in TOLD_APART),
    ]


def _beside(below: Table, pitch: Ints) -> Table:
    return np.maximum(_partial(below, pitch, BESIDE), _partial(below, pitch, -BESIDE))


def _partial(partials: Table, pitch: Ints, above: int, missing: float = NO_PARTIAL_DB) -> Table:
    """Return each note's finer spectrum (n, semitones) ``above`` each of ``pitch`` (n, options)."""
    column = pitch + above + FINE_BELOW
    inside = (column >= 0) & (column < partials.shape[1])
    values = np.take_along_axis(partials, np.clip(column, 0, partials.shape[1] - 1), axis=1)
    return np.where(inside, values, missing)


def _band(bands: Table, hz: Table, params: HearingParams) -> Table:
    """Return each note's band at ``hz`` (n, options); as good as silent above the highest."""
    values = np.take_along_axis(bands, band_of_hz(hz, bands.shape[1], params), axis=1)
    return np.where(hz < params.band_high_hz, values, -60.0)


def _place_columns(spans: Spans, pitch: Ints, body: Floats) -> list[Table]:
    """Length, register, and where the candidate lies from the most salient pitch."""
    best = body.argmax(axis=1)[:, None]
    return [
        np.minimum(np.log(spans.length / 20.0), 2.0)[:, None],
        pitch / 24.0,
        (pitch - np.median(best)) / 12.0,
        (pitch - best) / 12.0,
        pitch == best,
        np.abs(pitch - best) == 12,  # noqa: PLR2004  an octave
    ]


def choose_pitches(spans: Spans, stretch: Stretch, params: HearingParams) -> tuple[Ints, Floats]:
    """Return each note's semitone index (n,) and the probability (n,) that it is right."""
    views = views_of(spans, stretch)
    options = candidates(views.body)
    evidence = pitch_evidence(spans, options, views, stretch, params)
    odds = network("pitches").log_odds(evidence.reshape(-1, evidence.shape[-1])).reshape(options.shape)
    odds = np.where(options == NONE, np.float32(UNLIKELY), odds)
    chosen = best_melody(options, odds, params)
    rows = np.arange(len(spans))
    return options[rows, chosen], np.asarray(1.0 / (1.0 + np.exp(-odds[rows, chosen])), dtype=np.float32)


def best_melody(options: Ints, odds: Floats, params: HearingParams) -> Ints:
    """Return which option (n,) each note takes: the likeliest melody where leaps cost.

    A Viterbi search; ``options`` and ``odds`` are (n, k).
    """
    total = odds[0].astype(np.float64)
    back = np.zeros(options.shape, np.int64)
    for at in range(1, len(options)):
        leap = np.abs(options[at][None, :] - options[at - 1][:, None])
        routes = total[:, None] - params.leap_cost * np.maximum(0, leap - params.leap_free)
        back[at] = routes.argmax(axis=0)
        total = odds[at] + routes.max(axis=0)
    choice = np.empty(len(options), np.int64)
    choice[-1] = total.argmax()
    for at in range(len(options) - 1, 0, -1):
        choice[at - 1] = back[at, choice[at]]
    return choice
