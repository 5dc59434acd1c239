"""Syncopation: notes that keep a stronger position silent."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from batch.model import Grid
from batch.rhythm import ON_TATUM, SUBDIVISION, Feel, place, strengths

PERFORMANCES = 64
"""How many performances are imagined; more change the shares by little (our choice)."""

TIMING_S = 0.012
"""How far their onsets differ: 6-12 ms is what trained players manage (from memory)."""

USUAL_SHARE = 0.4
"""A run goes on as long as more of its notes than this are syncopated: the share that puts a whole
phrase against the groove."""

_EVENLY_S = TIMING_S * np.array([NormalDist().inv_cdf((k + 0.5) / PERFORMANCES) for k in range(PERFORMANCES)])
"""Quantiles of human timing."""

_SEED = 1984
"""The same performances are imagined for the same onsets, so a label never wavers."""


def syncopation_chances(onsets_s: np.ndarray, grid: Grid, feel: Feel, lags_s: np.ndarray) -> np.ndarray:
    """Return how surely each note of a phrase is syncopated, 0..1.

    Which tatum a note was meant for is uncertain where its timing is, so the answer is the
    share of syncopations among performances that differ from this one by human timing
    (bagging: Breiman, L. (1996). "Bagging predictors". Machine Learning 24, 123-140). A note
    heard a few milliseconds elsewhere then changes little.

    Parameters
    ----------
    onsets_s : ndarray, shape (n,), rising
    grid, feel
        The beats, and how the phrase sits on them.
    lags_s : ndarray, shape (PERFORMANCES,)
        How far behind the beat it may be, spread as evenly as it is likely.

    Returns
    -------
    ndarray, shape (n,)
    """
    further_s = (lags_s - feel.lag_s)[:, None]
    performed = np.maximum.accumulate(onsets_s + _timing_errors(len(onsets_s)) - further_s, axis=1)
    # One after the other: from a performance's last note to the next one's first nothing passes.
    position = place(performed, grid, feel).ravel()
    return np.asarray((syncopations(position, grid) > 0).reshape(performed.shape).mean(axis=0))


def _timing_errors(notes: int) -> np.ndarray:
    """Return normal errors in s, (PERFORMANCES, notes): each note's spread evenly, in an order of its own.

    So a few performances say as much as many drawn at random (stratified sampling: McKay, M. D.,
    Beckman, R. J. & Conover, W. J. (1979). Technometrics 21, 239-245).
    """
    return np.random.default_rng(_SEED).permuted(np.tile(_EVENLY_S, (notes, 1)), axis=1).T


def syncopations(position: np.ndarray, grid: Grid) -> np.ndarray:
    """Return how strongly each note is syncopated, 0 where it is not.

    A note is syncopated when a position stronger than its own passes in silence before the
    next onset; the strength is the difference of the two weights (Longuet-Higgins, H. C. &
    Lee, C. S. (1984). "The rhythmic interpretation of monophonic music". Music Perception
    1(4), 424-441).

    Parameters
    ----------
    position : ndarray, shape (n,)
        Metrical positions in beats, not falling, as ``rhythm.place`` returns them.

    Returns
    -------
    ndarray, shape (n,), int
        The last note is never syncopated: nothing follows it.
    """
    if len(position) == 0:
        return np.zeros(0, dtype=int)
    own, passed = strengths(position, grid)[:-1], _strongest_between(position[:-1], position[1:], grid)
    return np.append(np.maximum(0, passed - own), 0)


def _strongest_between(start: np.ndarray, end: np.ndarray, grid: Grid) -> np.ndarray:
    """Return the weight of the strongest beat or division strictly between two positions."""
    strongest = np.full(len(start), SUBDIVISION)
    first_beat = np.floor(start + ON_TATUM)
    later_beats = [first_beat + ahead for ahead in range(1, grid.beats_per_bar + 1)]
    divisions = [first_beat + k / grid.subdivision for k in range(1, grid.subdivision)]
    for candidate in (*divisions, *later_beats):
        between = (candidate > start + ON_TATUM) & (candidate < end - ON_TATUM)
        strongest = np.where(between, np.maximum(strongest, strengths(candidate, grid)), strongest)
    return strongest


@dataclass(frozen=True, slots=True)
class Run:
    """Syncopated notes one upon the other, from note ``first`` to ``last`` (inclusive).

    ``notes`` is how many make it, each one that is not syncopated taking off its share.
    """

    first: int
    last: int
    notes: float


def longest_run(chances: np.ndarray) -> Run | None:
    """Return where in a phrase the most syncopated notes come together; None where there are none.

    The stretch whose sum of chances, less USUAL_SHARE each, is largest (Bentley, J. (1984).
    "Programming pearls: algorithm design techniques". Communications of the ACM 27(9)).

    Parameters
    ----------
    chances : ndarray, shape (n,)
        How surely each note of the phrase is syncopated.
    """
    total = np.concatenate([[0.0], np.cumsum(chances - USUAL_SHARE)])
    end = int(np.argmax(total - np.minimum.accumulate(total)))
    start = int(np.argmin(total[: end + 1]))
    if end == start:
        return None
    return Run(start, end - 1, float(total[end] - total[start]) / (1 - USUAL_SHARE))
