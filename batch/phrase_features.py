"""What surrounds each place where a phrase could start: rests, spacing and leaps, as numbers.

A phrase can start between any two neighbouring notes, so n notes have n - 1 places. Every
feature is made of differences of times or of pitches: none changes when a take is shifted in
time, transposed or played louder. Rests say most (Cambouropoulos 2001, "The local boundary
detection model", ICMC: a boundary lies where rest, spacing and interval change), but notes that
abut have none: so long spacings are described just as rests are.
"""

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Columns = dict[str, FloatArray]

NEUTRAL_BEAT_S = 0.335
"""Beat where no grid is known: the median of 228 annotated jazz solos, 179 a minute."""

# The numbers below were chosen on the same solos; leaving any one of them out moves F by 0.002 at most.

_SOFTENER_S = 0.02
"""Added before a logarithm, so that a rest of nothing stays finite; shorter rests are not heard."""

_SOFTENER_BETWEEN_S = 0.1
"""As ``_SOFTENER_S``, for the coarser times between breaths."""

_SAME_S = 1e-4
"""Times are compared to a tenth of a millisecond: a quantised line holds many that are the same, and which of
them is the longer must not depend on how its seconds were rounded."""

_BREATHS_S = (0.15, 0.3, 0.5)
"""Rests that may be a breath: 98, 90 and 69 phrases in 100 start after more than these."""

_LONG_SPACINGS = (1.75, 3.0)
"""Spacings, in medians of the take, that may stand for a breath where notes abut."""

_LONGEST_REST_S = 2.0
"""The rest that is thought before the first note and after the last."""

_LONG_REST_QUANTILES = (0.9, 0.95)
"""A phrase has 13 notes at the median, so one place in 10 to 20 is a boundary."""

_BREATH_SHARE_S = 0.2
"""A rest counted in a take's share of breaths."""

_RANK_REACHES = (25, 50)
"""Places on either side among which a place is ranked: about two and four phrases."""

_NEAR = 4
"""Places on either side whose longest spacing a spacing is measured against."""

_RESTS_TELL = 0.15
_RESTS_TELL_QUANTILE = 0.9
"""Rests tell where the longest tenth of them fill this share of their spacing; 0.22 in the most
legato of the solos, 0 in a score, 0.1 where a score is played 90 percent long throughout."""

_WIDEST_LEAP = 12.0
"""Semitones; past an octave, more says nothing more."""


def boundary_features(
    onsets_s: FloatArray, offsets_s: FloatArray, pitches: FloatArray, beat_s: float | None
) -> Columns:
    """Return named features, each with one value for each place between two notes.

    Parameters
    ----------
    onsets_s, offsets_s : ndarray, shape (n,), seconds
        Sorted by onset; n >= 2. A note that sounds past the next onset ends there.
    pitches : ndarray, shape (n,), semitones
    beat_s : float or None
        Seconds a beat, positive; None where no grid is known.

    Returns
    -------
    dict of str to ndarray, shape (n - 1,)
        The same names in the same order for any take.
    """
    rest, spacing = _rest_and_spacing(onsets_s, offsets_s)
    return {
        **_here(rest, spacing, NEUTRAL_BEAT_S if beat_s is None else beat_s),
        **_against_the_take(rest, spacing),
        **_against_what_is_near(rest, spacing),
        **_leaps(np.clip(np.diff(pitches), -_WIDEST_LEAP, _WIDEST_LEAP)),
        **_between_breaths(onsets_s, rest, spacing),
    }


def rests_tell(onsets_s: FloatArray, offsets_s: FloatArray) -> bool:
    """Return whether a take of two or more notes has rests to go by, or its notes abut."""
    rest, spacing = _rest_and_spacing(onsets_s, offsets_s)
    return bool(np.quantile(_silent_share(rest, spacing), _RESTS_TELL_QUANTILE) >= _RESTS_TELL)


def _rest_and_spacing(onsets_s: FloatArray, offsets_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    spacing = np.diff(onsets_s)
    return spacing - np.minimum(offsets_s[:-1] - onsets_s[:-1], spacing), spacing


def _silent_share(rest: FloatArray, spacing: FloatArray) -> FloatArray:
    return rest / np.maximum(spacing, _SOFTENER_S)


def _here(rest: FloatArray, spacing: FloatArray, beat_s: float) -> Columns:
    return {
        "rest": _log(rest),
        "rest_in_beats": _log(rest / beat_s),
        "spacing": _log(spacing),
        "spacing_in_beats": _log(spacing / beat_s),
        "beat": np.full_like(rest, np.log(beat_s)),
    }


def _against_the_take(rest: FloatArray, spacing: FloatArray) -> Columns:
    """Return rest and spacing against the whole take's, and what is common in the take."""
    from_longest = 1.0 - np.searchsorted(np.sort(rest), rest - _SAME_S) / len(rest)
    return {
        "spacing_to_take": _log(spacing) - _log(np.median(spacing)),
        **{f"rest_to_quantile_{q}": _log(rest) - _log(np.quantile(rest, q)) for q in _LONG_REST_QUANTILES},
        "rest_rank": np.log(from_longest + 0.002),
        "breath_share": np.full_like(rest, np.log(np.mean(rest > _BREATH_SHARE_S + _SAME_S) + 0.01)),
        "articulation": np.full_like(rest, 1.0 - np.median(_silent_share(rest, spacing))),
    }


def _against_what_is_near(rest: FloatArray, spacing: FloatArray) -> Columns:
    """Return the neighbours' rests and spacings, and how many near by are longer than this one."""
    near = _longest_near(spacing)
    columns = {"near_spacing": _log(near), "spacing_to_near": _log(spacing) - _log(near)}
    for name, values in (("rest", rest), ("spacing", spacing)):
        for reach in _RANK_REACHES:
            longer = _windows(values, reach) > values[:, np.newaxis] + _SAME_S
            columns[f"longer_{name}s_{reach}"] = np.log1p(longer.sum(axis=1))
        for place in (-2, -1, 1, 2):
            columns[f"{name}_{place:+d}"] = neighbour(_log(values), place)
    return columns


def _leaps(leap: FloatArray) -> Columns:
    """Return melodic intervals here, before and after, with their direction and without."""
    columns = {f"leap_{place:+d}": neighbour(leap, place) for place in (-1, 0, 1)}
    return columns | {f"wide_{name}": np.abs(values) for name, values in columns.items()}


def _between_breaths(onsets_s: FloatArray, rest: FloatArray, spacing: FloatArray) -> Columns:
    columns: Columns = {}
    for breath_s in _BREATHS_S:
        columns |= _since_and_until(onsets_s, rest, breath_s, f"rest_{breath_s}")
    for medians in _LONG_SPACINGS:
        long_s = medians * float(np.median(spacing))
        columns |= _since_and_until(onsets_s, spacing, long_s, f"spacing_{medians}")
    return columns


def _since_and_until(onsets_s: FloatArray, silence: FloatArray, breath_s: float, name: str) -> Columns:
    """Return time, notes and depth to the last and next place where ``silence`` exceeds ``breath_s``."""
    places = np.arange(len(silence))
    breaths = np.flatnonzero(silence > breath_s + _SAME_S)
    starts = np.concatenate([[0], breaths + 1, [len(silence)]])
    depths = _log(np.concatenate([[_LONGEST_REST_S], silence[breaths], [_LONGEST_REST_S]]))
    last = np.searchsorted(breaths, places, side="left")
    following = np.searchsorted(breaths, places, side="right") + 1
    since_s = onsets_s[1:] - onsets_s[starts[last]]
    until_s = onsets_s[starts[following]] - onsets_s[1:]
    return {
        f"since_{name}": np.log(since_s + _SOFTENER_BETWEEN_S),
        f"until_{name}": np.log(until_s + _SOFTENER_BETWEEN_S),
        f"notes_since_{name}": np.log(places + 2.0 - starts[last]),
        f"notes_until_{name}": np.log(starts[following] - places + 1.0),
        f"last_{name}": depths[last],
        f"next_{name}": depths[following],
    }


def _log(seconds: FloatArray | np.floating) -> FloatArray:
    return np.asarray(np.log(np.asarray(seconds) + _SOFTENER_S))


def neighbour(values: FloatArray, place: int) -> FloatArray:
    """Return for each value the one ``place`` after it (before, if negative); the median past the ends."""
    out = np.full_like(values, np.median(values))
    here = slice(max(0, -place), max(0, len(values) - max(0, place)))
    there = slice(max(0, place), max(0, len(values) - max(0, -place)))
    out[here] = values[there]
    return out


def _windows(values: FloatArray, reach: int) -> FloatArray:
    """Return each value with ``reach`` more on either side, 0 past the ends, shape (n, 2 * reach + 1)."""
    return sliding_window_view(np.pad(values, reach), 2 * reach + 1)


def _longest_near(values: FloatArray) -> FloatArray:
    """Return the longest value near each, itself left out."""
    windows = _windows(values, _NEAR)
    return np.asarray(np.maximum(windows[:, :_NEAR].max(axis=1), windows[:, _NEAR + 1 :].max(axis=1)))
