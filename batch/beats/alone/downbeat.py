"""Which beat of the bar is which: best effort, from what players do on each."""

from dataclasses import dataclass

import numpy as np

from batch.beats.alone.view import Events, Floats

ON_BEAT = 0.2
"""A note within this share of a beat stands on it (our choice)."""

REST_BEATS = 0.75
"""A silence this long parts phrases: DESIGN's one fixed silence, 0.3 s, at the corpus' median tempo
(our choice)."""

LONG_BEATS = 0.9
"""A note with this long until the next is a long one (our choice)."""

BEATS_IN_FOUR = 4


@dataclass(frozen=True, slots=True)
class Downbeat:
    """A softmax regression: how likely a beat is the bar's first to fourth, in 4/4.

    ``weights`` (columns, 4), ``intercept`` (4,).
    """

    weights: Floats
    intercept: Floats

    def numbers(self, events: Events, beats_s: Floats, beats_per_bar: int) -> tuple[int, ...]:
        """Return each beat's number in its bar, from 1.

        What is learned in 4/4 serves other meters for their first beat only.
        """
        odds = doings(events, beats_s) @ self.weights + self.intercept
        said = odds - np.log(np.exp(odds).sum(axis=1, keepdims=True))
        if beats_per_bar != BEATS_IN_FOUR:
            said = said[:, :1] - said[:, :1].mean()
        index = np.arange(len(beats_s))
        totals = [
            sum(float(said[(index + shift) % beats_per_bar == k, k].sum()) for k in range(said.shape[1]))
            for shift in range(beats_per_bar)
        ]
        shift = int(np.argmax(totals))
        return tuple(int(number) for number in (index + shift) % beats_per_bar + 1)


def doings(events: Events, beats_s: Floats) -> Floats:
    """Return what is played around each beat: shape (beats, columns)."""
    beat_s = float(np.median(np.diff(beats_s)))
    spacing = np.append(np.diff(events.onset_s), 2 * beat_s) / beat_s
    ends = events.onset_s + events.length_s
    silence = np.append(2.0, (events.onset_s[1:] - ends[:-1]) / beat_s)
    at = np.interp(events.onset_s, beats_s, np.arange(len(beats_s)))
    nearest = np.floor(at + 0.5).astype(int)
    on = np.abs(at - nearest) < ON_BEAT
    begins = silence >= REST_BEATS
    stops = np.append(begins[1:], True)
    long = spacing >= LONG_BEATS
    columns = [
        _tally(nearest, on, len(beats_s)),
        _tally(nearest, on & long, len(beats_s)),
        _tally(nearest, begins & on, len(beats_s)),
        _tally(nearest, begins & ~on, len(beats_s)),
        _tally(nearest, stops & on, len(beats_s)),
        _tally(nearest, stops & ~on, len(beats_s)),
        _tally(nearest, on & (events.bend > 0), len(beats_s)),
        _tally(nearest, on & (events.bend < 0), len(beats_s)),
    ]
    here = np.column_stack(columns)
    before = np.vstack([np.zeros_like(here[:1]), here[:-1]])
    after = np.vstack([here[1:], np.zeros_like(here[:1])])
    return np.hstack([before, here, after])


def _tally(beat: np.ndarray, which: np.ndarray, beats: int) -> Floats:
    """Return 1 for each of ``beats`` where any event ``which`` (n,) is true has that ``beat`` (n,)."""
    return np.minimum(np.bincount(beat[which], minlength=beats), 1).astype(float)
