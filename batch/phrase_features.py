"""What surrounds each possible phrase boundary: rests, spacing and leaps, as numbers.

A boundary can fall between any two neighbouring notes, so n notes have n - 1 places. Every
feature is a difference or a ratio of times or pitches: none changes when a take is shifted in
time, transposed or played louder.
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

NEUTRAL_BEAT_S = 0.35
"""Beat where no grid is known: the median beat of the corpus, about 170 beats a minute."""

_SOFTENER_S = 0.02
"""Added before a logarithm, so that a rest of nothing stays finite; shorter rests are not heard."""

_LOCAL_IOIS = 15
"""Inter-onset intervals that make the local spacing: two bars of eighths, centred."""

_NEAR = 4
"""Rests on either side that a rest is measured against."""

_BREATH_S = 0.2
"""A rest long enough to be a breath, for the time since and until the nearest one."""

_SOFTENER_BREATH_S = 0.1
"""As ``_SOFTENER_S``, for the coarser time between breaths."""

_LONGEST_REST_S = 2.0
_WIDEST_INTERVAL = 12.0
"""Past two seconds or an octave (in semitones), more says nothing more."""

_NEIGHBOURS = (1, -1, 2, -2, 3, -3)

FEATURES = (
    "rest",
    "log_rest",
    "log_rest_beats",
    "log_ioi",
    "ioi_to_local",
    "ioi_to_take",
    "log_duration",
    "interval",
    "near_rest",
    "rest_to_near",
    "log_beat",
    "since_breath",
    "until_breath",
    *(f"{what}_{place:+d}" for place in _NEIGHBOURS for what in ("rest", "ioi")),
)
"""Names of the columns of :func:`boundary_features`, in order."""


def boundary_features(
    onsets_s: FloatArray, offsets_s: FloatArray, pitches: FloatArray, beat_s: float | None
) -> FloatArray:
    """Return one row for each place between two notes.

    Parameters
    ----------
    onsets_s, offsets_s : ndarray, shape (n,), seconds
        Sorted by onset; n >= 2.
    pitches : ndarray, shape (n,), semitones
    beat_s : float or None
        Seconds a beat, positive; None where no grid is known.

    Returns
    -------
    ndarray, shape (n - 1, len(FEATURES))
    """
    beat_s = NEUTRAL_BEAT_S if beat_s is None else beat_s
    ioi = np.diff(onsets_s)
    duration = np.minimum(offsets_s[:-1] - onsets_s[:-1], ioi)
    rest = ioi - duration
    near = _loudest_neighbour(rest)
    log_ioi, log_rest = _log(ioi), _log(rest)
    columns = [
        np.minimum(rest, _LONGEST_REST_S),
        log_rest,
        _log(rest / beat_s),
        log_ioi,
        log_ioi - _log(_local_median(ioi)),
        log_ioi - _log(np.median(ioi)),
        _log(duration),
        np.minimum(np.abs(np.diff(pitches)), _WIDEST_INTERVAL),
        _log(near),
        log_rest - _log(near),
        np.full_like(ioi, np.log(beat_s)),
        *_between_breaths(onsets_s, rest),
    ]
    for place in _NEIGHBOURS:
        columns += [_neighbour(log_rest, place), _neighbour(log_ioi, place)]
    return np.column_stack(columns)


def _log(seconds: FloatArray | np.floating) -> FloatArray:
    return np.log(np.asarray(seconds) + _SOFTENER_S)


def _neighbour(values: FloatArray, place: int) -> FloatArray:
    """Return for each value the one ``place`` before it (after, if negative); the median past the ends."""
    out = np.full_like(values, np.median(values))
    if 0 < place < len(values):
        out[place:] = values[:-place]
    elif 0 < -place < len(values):
        out[:place] = values[-place:]
    return out


def _windows(values: FloatArray, reach: int, fill: float) -> FloatArray:
    """Return each value with ``reach`` neighbours on either side, shape (n, 2 * reach + 1)."""
    return sliding_window_view(np.pad(values, reach, constant_values=fill), 2 * reach + 1)


def _local_median(values: FloatArray) -> FloatArray:
    return np.asarray(np.nanmedian(_windows(values, _LOCAL_IOIS // 2, np.nan), axis=1))


def _loudest_neighbour(rest: FloatArray) -> FloatArray:
    """Return the longest rest near each rest, itself left out."""
    windows = _windows(rest, _NEAR, 0.0)
    return np.maximum(windows[:, :_NEAR].max(axis=1), windows[:, _NEAR + 1 :].max(axis=1))


def _between_breaths(onsets_s: FloatArray, rest: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return log time since the last breath before each place and until the next one after it."""
    here = onsets_s[1:]
    breaths = np.flatnonzero(rest > _BREATH_S)
    starts = np.concatenate([onsets_s[:1], onsets_s[breaths + 1], onsets_s[-1:]])
    places = np.arange(len(rest))
    last = starts[np.searchsorted(breaths, places, side="left")]
    following = starts[np.searchsorted(breaths, places, side="right") + 1]
    return np.log(here - last + _SOFTENER_BREATH_S), np.log(following - here + _SOFTENER_BREATH_S)
