"""Strokes to a train: those that follow one another evenly, with gaps, strays and changes of tempo.

A dynamic programme over pairs of strokes, as beats are chained by Dixon (2001, "Automatic extraction
of tempo and beat from expressive performances", JNMR 30(1)), but exact: it keeps the best chain
for every pair and every distance, where the source keeps a few agents.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.hearing.compiling import compiled

REACH = 24
"""Strokes to look back from one: a beat of sixteenths and as many strays (our choice)."""
SHORTEST_S, LONGEST_S = 0.1, 6.5
"""Between neighbours of a train: sixteenths at 150 a minute, and bars of 4/4 at 40."""
STRAY_S, STRAY_SHARE = 0.003, 0.02
"""How far a stroke may be from its place: what attacks are measured to, and how fast a tempo turns per beat
(twice as fast within 35 beats)."""
MISSING = 0.3
"""Cost of a place without a stroke, in strokes. All costs here: clicks of our own synthesis."""
SKIPPED = 0.7
"""Cost of a stroke left out, in strokes."""
CHANGE = 3.0
"""Cost of another tempo at once, in strokes: three strokes of it must follow."""
COARSER = 1.5
"""Cost of going on at a multiple of the distance, in strokes."""
EVEN_ENOUGH = 3.0
"""Strays, in those above, within which a multiple of the distance is one."""
MOST_MISSING = 64
"""Places that may be empty in a row: sixteen bars of silence in 4/4."""
ADAPTS = 0.75
"""How far one distance pulls the expected next one."""


@dataclass(frozen=True, slots=True)
class Train:
    """Numbers of the strokes in the train, and the place of each, from 0: missing places are counted."""

    strokes: NDArray[np.int64]
    places: NDArray[np.int64]

    def times_of_all(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return when every place is; empty ones are spread evenly between their neighbours."""
        return np.interp(np.arange(self.places[-1] + 1), self.places, times_s[self.strokes])


def best_train(times_s: NDArray[np.float64], weights: NDArray[np.float64]) -> Train | None:
    """Return the train that explains most of the strokes, or None of fewer than three.

    Parameters
    ----------
    times_s, weights : ndarray, shape (n,)
        When the strokes are, rising, and how much each is worth, 0 to 1.
    """
    if len(times_s) < 3:  # noqa: PLR2004  two strokes are no train
        return None
    score, back, steps = _chained(times_s, weights, REACH)
    last, span = np.unravel_index(int(np.argmax(score)), score.shape)
    if not np.isfinite(score[last, span]):
        return None
    at, back_by = int(last), int(span) + 1
    strokes, places = [at], [0]
    while back_by > 0:
        places.append(int(steps[at, back_by - 1]))
        at, back_by = at - back_by, int(back[at, back_by - 1])
        strokes.append(at)
    return Train(np.array(strokes[::-1]), np.concatenate([[0], np.cumsum(places[:0:-1])]).astype(np.int64))


@compiled
def _chained(times_s, weights, reach):  # type: ignore[no-untyped-def]
    """Return for every stroke and way back to the one before: score, that one's own way back, places."""
    count = len(times_s)
    score = np.full((count, reach), -np.inf)
    period = np.zeros((count, reach))
    back = np.zeros((count, reach), np.int64)
    steps = np.ones((count, reach), np.int64)
    heard = np.concatenate((np.zeros(1), np.cumsum(weights)))
    total = heard[count]
    for i in range(1, count):
        for k in range(1, min(reach, i) + 1):
            j = i - k
            apart = times_s[i] - times_s[j]
            skipped = SKIPPED * (heard[i] - heard[j + 1])
            if SHORTEST_S <= apart <= LONGEST_S:
                score[i, k - 1] = weights[i] + weights[j] - skipped - SKIPPED * heard[j]
                period[i, k - 1] = apart
            for before in range(1, min(reach, j) + 1):
                sofar = score[j, before - 1] + weights[i] - skipped
                if sofar <= score[i, k - 1]:
                    continue
                expected = period[j, before - 1]
                places = max(1, min(MOST_MISSING, int(apart / expected + 0.5)))
                off = abs(apart - places * expected) / (STRAY_S + STRAY_SHARE * expected * np.sqrt(places))
                even = sofar - 0.5 * off * off - MISSING * (places - 1)
                next_period = expected + ADAPTS * (apart / places - expected)
                if places > 1 and off < EVEN_ENOUGH and apart <= LONGEST_S:
                    coarser = sofar - 0.5 * off * off - COARSER
                    if coarser > even:
                        even, next_period = coarser, apart
                if SHORTEST_S <= apart <= LONGEST_S and sofar - CHANGE > even:
                    even, next_period, places = sofar - CHANGE, apart, 1
                if even > score[i, k - 1]:
                    score[i, k - 1], period[i, k - 1] = even, next_period
                    back[i, k - 1], steps[i, k - 1] = before, places
    for i in range(count):  # what comes after the last is left out as well
        score[i] -= SKIPPED * (total - heard[i + 1])
    return score, back, steps
