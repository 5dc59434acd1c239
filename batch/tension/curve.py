"""The tension of a take over time: its notes', smoothed."""

from collections.abc import Sequence

import numpy as np

from batch.model import Note

STEP_S = 1.0
"""A value a second, which a window of some seconds has no more to say between (our choice)."""
MOST_POINTS = 2_000
"""From half an hour on a take has fewer values a second (our choice: more than a screen is wide)."""
_REACH = 3.0
"""Standard deviations of the window beyond which a note is not heard any more (a normal one: 0.3 %)."""


def curve_of(
    notes: Sequence[Note], tension: np.ndarray, start_s: float, end_s: float, *, smoothed_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return times from ``start_s`` to ``end_s`` and the tension at each.

    Where a note sounds within the window, this is the mean over the notes there, weighted by a normal
    window around the time and by how long each lasts; across longer silences it goes on in a straight line.

    Parameters
    ----------
    notes : sequence of Note
        Sorted by onset.
    tension : ndarray, shape (notes,)
        That of each note, 0 to 1.
    start_s, end_s : float
        Where the curve starts and ends.
    smoothed_s : float
        Standard deviation of the window.
    """
    count = min(MOST_POINTS, max(2, int((end_s - start_s) / STEP_S) + 1))
    times = np.linspace(start_s, end_s, count)
    middles = np.array([(note.onset_s + note.offset_s) / 2 for note in notes])
    lasting_s = np.array([note.offset_s - note.onset_s for note in notes])
    order = np.argsort(middles, kind="stable")
    middles, lasting_s, tension = middles[order], lasting_s[order], tension[order]
    near = np.searchsorted(middles, [times - _REACH * smoothed_s, times + _REACH * smoothed_s])
    values = np.array(
        [
            _at(time_s, middles[a:b], lasting_s[a:b], tension[a:b], smoothed_s)
            for time_s, a, b in zip(times, *near, strict=True)
        ]
    )
    known = ~np.isnan(values)
    if not known.any():  # a take whose one note is longer than the window
        return times, np.full(count, float(np.average(tension, weights=lasting_s)))
    return times, np.interp(times, times[known], values[known])


def _at(
    time_s: float, middles: np.ndarray, lasting_s: np.ndarray, tension: np.ndarray, smoothed_s: float
) -> float:
    if not len(middles):
        return float("nan")
    weights = lasting_s * np.exp(-(((middles - time_s) / smoothed_s) ** 2) / 2)
    return float(np.average(tension, weights=weights))
