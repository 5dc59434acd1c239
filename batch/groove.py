"""How a phrase rubs against the groove: syncopation, and distance from the grid.

Groupings laid across the beat belong here too; they come with the grid's other sources.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from batch.model import Grid, Note, Phrase
from batch.rhythm import (
    ON_TATUM,
    SHORTEST_TATUM_S,
    SUBDIVISION,
    Feel,
    Subdivision,
    felt_positions,
    place,
    strengths,
    subdivisions,
)

PERFORMANCES = 16
"""How many performances are imagined; more change the shares by little (our choice)."""

TIMING_S = 0.012
"""How far their onsets differ: 6-12 ms is what trained players manage (from memory)."""

_SEED = 1984
"""The same performances are imagined for the same onsets, so a label never wavers."""


@dataclass(frozen=True, slots=True)
class Rub:
    """What a phrase does with the meter.

    ``syncopation`` is the share of its notes that are syncopated, ``off_grid`` the mean
    distance from the nearest tatum, in tatums: 0 is on the grid, 0.25 what chance gives.
    """

    note_count: int
    syncopated_notes: int
    syncopation: float
    off_grid: float


def rubs(notes: Sequence[Note], phrases: Sequence[Phrase], grid: Grid, feel: Feel) -> tuple[Rub, ...]:
    """Return what each phrase does with the meter of ``grid``."""
    onsets = np.array([note.onset_s for note in notes])
    if not len(onsets):
        return ()
    chances = syncopation_chances(onsets, grid, feel)
    position, length = felt_positions(onsets, grid, feel)
    ways = subdivisions(grid, feel)[1:]
    return tuple(_rub(chances[p.span], position[p.span], length[p.span], ways) for p in phrases)


def _rub(chances: np.ndarray, position: np.ndarray, length: np.ndarray, ways: Sequence[Subdivision]) -> Rub:
    # The phrase's last note is followed by the breath, not by a beat kept silent.
    count, notes = float(chances[:-1].sum()), len(chances)
    return Rub(notes, round(count), count / notes, off_grid(position, float(np.median(length)), ways))


def syncopation_chances(onsets_s: np.ndarray, grid: Grid, feel: Feel) -> np.ndarray:
    """Return how surely each note is syncopated, 0..1.

    Which tatum a note was meant for is uncertain where its timing is, so the answer is the
    share of syncopations among performances that differ from this one by human timing
    (bagging: Breiman, L. (1996). "Bagging predictors". Machine Learning 24, 123-140). A note
    heard a few milliseconds elsewhere then changes little.

    Parameters
    ----------
    onsets_s : ndarray, shape (n,), rising

    Returns
    -------
    ndarray, shape (n,)
    """
    errors = np.random.default_rng(_SEED).normal(0, TIMING_S, (PERFORMANCES, len(onsets_s)))
    performed = np.maximum.accumulate(onsets_s + errors, axis=1)
    # One after the other: from a performance's last note to the next one's first nothing passes.
    position = place(performed, grid, feel).ravel()
    return np.asarray((syncopations(position, grid) > 0).reshape(performed.shape).mean(axis=0))


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


def off_grid(position: np.ndarray, beat_s: float, ways: Sequence[Subdivision]) -> float:
    """Return how far a phrase's onsets lie from the grid, with the division that suits it best.

    Parameters
    ----------
    position : ndarray, shape (n,)
        Onsets in beats, lag taken out.
    beat_s : float
        Length of a beat in seconds; divisions too fine to be played are not tried.
    ways : sequence of Subdivision
        Coarsest first; the first is always tried.

    Returns
    -------
    float
        Mean distance to the nearest tatum, as a share of the space between the two tatums
        around it: 0 on the grid, 0.25 by chance, 0.5 always halfway.
    """
    playable = [way for way in ways if beat_s * np.diff(way.falls).min() >= SHORTEST_TATUM_S]
    return min(_distance(position % 1.0, way.falls) for way in playable or ways[:1])


def _distance(fraction: np.ndarray, falls: np.ndarray) -> float:
    after = np.clip(np.searchsorted(falls, fraction, side="right"), 1, len(falls) - 1)
    low, high = falls[after - 1], falls[after]
    return float(np.mean(np.minimum(fraction - low, high - fraction) / (high - low)))
