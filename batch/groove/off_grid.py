"""How far a phrase lies from the grid, after swing and steady lag are taken out."""

from collections.abc import Sequence

import numpy as np

from batch.rhythm import SHORTEST_TATUM_S, Subdivision


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
