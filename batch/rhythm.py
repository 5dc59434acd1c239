"""Where each onset falls in the meter: its tatum, how strong that is, how far off it was played.

Every beat gets the subdivision that explains its onsets best: none, eighths (swung as the
take swings), triplets, sixteenths or sextuplets. Choosing per beat follows the FlexQ idea of
the corpus' own annotation (Pfleiderer and others, "Inside the Jazzomat", 2017), with a cost
in place of its rules.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from batch.model import Grid

HUMAN_S = 0.02
"""Standard deviation of human timing against a beat (6-12 ms when tapping, more in jazz; our choice)."""

SHORTEST_TATUM_S = 0.055
"""No subdivision is finer; runs seldom exceed 16 notes a second (from memory)."""

COST_PER_TATUM = 0.6
"""What each tatum of a subdivision costs, against squared deviations in units of HUMAN_S (our choice)."""

COST_OF_SHARING = 9.0
"""What two onsets on one tatum cost: a deviation of three HUMAN_S (our choice)."""

FURTHER_LAGS_S = np.arange(-0.04, 0.0401, 0.01)
"""How much further than its take a phrase may lie ahead or behind: up to 40 ms are feel (our choice)."""

LAGS_S = np.arange(-0.03, 0.0601, 0.005)
"""Constant leads and lags tried; soloists lag by up to about 60 ms (from memory)."""

SWING_RATIOS = np.arange(0.8, 3.61, 0.05)
"""Long to short eighth tried; beyond the ends, so that their mean is not drawn inwards there."""

STRAIGHT, DOTTED = 1.0, 3.0
"""The ends of what is called swing: even eighths, dotted eighths (common practice, no source)."""

FEEL_SPREAD_S = 0.025
"""Spread of onsets about where beats and off-beats are felt (our choice)."""

ON_BEAT_SHARE, OFF_BEAT_SHARE = 0.45, 0.35
"""Shares of onsets on the beat and on the off-beat in simple beats; the rest is anywhere (our choice)."""

USUAL_LAG_S, USUAL_SWING, SWING_SPREAD = 0.02, 1.5, 0.7
"""What is expected before a note is heard: lags of some 20 ms, ratios about 1.5 (our choice)."""

NOTES_FOR_SWING = 12
"""Fewer off-beat notes do not tell a take's swing (our choice)."""

NOTES_FOR_FEEL = 4
"""Fewer notes say nothing of lag, fewer off-beats nothing of how they are meant (our choice)."""

BAR, HALF_BAR, BEAT, DIVISION, SUBDIVISION = 0, -1, -2, -3, -4
"""Metrical weights (Longuet-Higgins & Lee 1984)."""

ON_TATUM = 0.01
"""Positions this close, in beats, are the same; the finest tatum is 1/6 (arithmetic)."""

WORST_COST = 100.0
"""No onset costs more, however far off: a deviation of ten HUMAN_S (our choice)."""

COMPOUND = 3
"""Grid.subdivision of compound meters."""

_OFFBEAT_REGION = (0.4, 0.8)
_EARLY_REGION = (0.12, 0.4)
_LATE = 0.92
"""Where in the beat off-beats are looked for, and what makes a beat too busy to tell (our choice)."""


@dataclass(frozen=True, slots=True)
class Feel:
    """How a take sits on its grid: its swing ratio, its constant lag.

    ``swing_ratio`` is None where too few notes tell; ``assumed_ratio`` then says what its
    off-beats are taken for.
    """

    swing_ratio: float | None
    lag_s: float
    assumed_ratio: float = 1.0

    @property
    def offbeat(self) -> float:
        """Where the off-beat eighth falls within the beat, 0.5 straight to 0.75 dotted."""
        ratio = self.swing_ratio or self.assumed_ratio
        return ratio / (1 + ratio)


def beat_positions(times_s: np.ndarray, grid: Grid) -> np.ndarray:
    """Return times as fractional beats since the grid's first beat, going on evenly at either end."""
    first, beats = _beats_around(times_s, grid)
    index = np.clip(np.searchsorted(beats, times_s, side="right") - 1, 0, len(beats) - 2)
    return first + index + (times_s - beats[index]) / (beats[index + 1] - beats[index])


def beat_lengths(times_s: np.ndarray, grid: Grid) -> np.ndarray:
    """Return the length in seconds of the beat that each time falls in."""
    _, beats = _beats_around(times_s, grid)
    index = np.clip(np.searchsorted(beats, times_s, side="right") - 1, 0, len(beats) - 2)
    return beats[index + 1] - beats[index]


def _beats_around(times_s: np.ndarray, grid: Grid) -> tuple[int, np.ndarray]:
    """Return the beats that the times lie between, and the number of the first.

    A take of thousands of phrases has as many questions: none may read the whole grid.
    """
    if not len(times_s):
        return 0, np.array(grid.beats_s[:2])
    most = len(grid.beats_s) - 2
    first, last = (
        min(max(bisect_right(grid.beats_s, time_s) - 1, 0), most)
        for time_s in (float(times_s.min()), float(times_s.max()))
    )
    return first, np.array(grid.beats_s[first : last + 2])


def estimate_feel(onsets_s: np.ndarray, grid: Grid) -> Feel:
    """Find the swing ratio and the constant lag that explain a take's onsets.

    Every pair of candidates gets a likelihood, each onset being on the beat, on the off-beat
    eighth, or anywhere; the answer is the mean over candidates weighted by it, so that a few
    notes heard a little elsewhere move it a little. Beats with more notes than that
    (triplets, sixteenths) count as anywhere, since their later notes are no off-beat eighths.
    """
    position, length = beat_positions(onsets_s, grid), beat_lengths(onsets_s, grid)
    likelihood = _feel_likelihood(position, length)
    lag_s = float(likelihood.sum(axis=1) @ LAGS_S)
    felt = position - lag_s / length
    simple = _in_simple_beats(felt)
    if simple.sum() < NOTES_FOR_FEEL:
        return Feel(None, 0.0)
    fraction = felt[simple] % 1.0
    off_beats = int(((fraction > _OFFBEAT_REGION[0]) & (fraction < _OFFBEAT_REGION[1])).sum())
    ratio = float(np.clip(likelihood.sum(axis=0) @ SWING_RATIOS, STRAIGHT, DOTTED))
    return Feel(
        ratio if off_beats >= NOTES_FOR_SWING else None, lag_s, ratio if off_beats >= NOTES_FOR_FEEL else 1.0
    )


def _feel_likelihood(position: np.ndarray, length: np.ndarray) -> np.ndarray:
    """Return how likely each pair of LAGS_S and SWING_RATIOS is, shape (lags, ratios), summing to 1."""
    log = np.stack(
        [_log_likelihoods(position - lag_s / length, length, SWING_RATIOS).sum(axis=0) for lag_s in LAGS_S]
    )
    log -= (LAGS_S[:, None] / USUAL_LAG_S) ** 2 / 2 + ((SWING_RATIOS - USUAL_SWING) / SWING_SPREAD) ** 2 / 2
    likelihood = np.exp(log - log.max())
    return np.asarray(likelihood / likelihood.sum())


def lags_of(
    onsets_s: np.ndarray, phrases: Sequence[slice], grid: Grid, feel: Feel
) -> tuple[np.ndarray, np.ndarray]:
    """Return how far each phrase lies behind the beat: about where its take does, unless it tells.

    Parameters
    ----------
    onsets_s : ndarray, shape (n,)
    phrases : sequence of slice, of length p
        The notes of each.
    grid, feel : the beats, and how the whole take sits on them

    Returns
    -------
    lags_s : ndarray, shape (l,)
        Lags that come in question, rising.
    chances : ndarray, shape (p, l)
        How likely each is for each phrase.
    """
    position, length = beat_positions(onsets_s, grid), beat_lengths(onsets_s, grid)
    ratio = np.array([feel.offbeat / (1 - feel.offbeat)])
    lags_s = feel.lag_s + FURTHER_LAGS_S
    each = [_log_likelihoods(position - lag_s / length, length, ratio)[:, 0] for lag_s in lags_s]
    log = np.array([[of_notes[phrase].sum() for of_notes in each] for phrase in phrases])
    log -= (FURTHER_LAGS_S / USUAL_LAG_S) ** 2 / 2
    likelihood = np.exp(log - log.max(axis=1, keepdims=True))
    return lags_s, np.asarray(likelihood / likelihood.sum(axis=1, keepdims=True))


def _log_likelihoods(felt: np.ndarray, length: np.ndarray, ratios: np.ndarray) -> np.ndarray:
    """Return how well each of ``ratios`` explains positions, over notes anywhere in the beat, (n, ratios)."""
    simple = _in_simple_beats(felt)
    fraction, width = felt[simple, None] % 1.0, FEEL_SPREAD_S / length[simple, None]
    on_beat = ON_BEAT_SHARE * _bell(np.minimum(fraction, 1 - fraction), width)
    off_beat = OFF_BEAT_SHARE * _bell(fraction - ratios / (1 + ratios), width)
    log = np.zeros((len(felt), len(ratios)))
    log[simple] = np.log(on_beat + off_beat + (1 - ON_BEAT_SHARE - OFF_BEAT_SHARE))
    return log


def _bell(distance: np.ndarray, width: np.ndarray) -> np.ndarray:
    return np.exp(-((distance / width) ** 2) / 2) / (width * np.sqrt(2 * np.pi))


def _in_simple_beats(position: np.ndarray) -> np.ndarray:
    """Return which onsets lie in beats with at most a beat and an off-beat, which alone tell of swing."""
    beat, fraction = np.floor(position).astype(int), position % 1.0
    early = beat[(fraction > _EARLY_REGION[0]) & (fraction < _EARLY_REGION[1])]
    later, count = np.unique(beat[(fraction > _OFFBEAT_REGION[0]) & (fraction < _LATE)], return_counts=True)
    return ~np.isin(beat, np.concatenate([early, later[count > 1]]))


@dataclass(frozen=True, slots=True)
class Subdivision:
    """One way to divide a beat: where its tatums fall in time, where they stand in the meter.

    Both run from 0 to 1, the next beat; they differ only where eighths swing.
    """

    falls: np.ndarray
    stands: np.ndarray

    @property
    def parts(self) -> int:
        """Tatums a beat."""
        return len(self.falls) - 1


def subdivisions(grid: Grid, feel: Feel) -> tuple[Subdivision, ...]:
    """Return the ways a player divides the beat in this meter and feel, coarsest first."""
    if grid.subdivision == COMPOUND:
        return tuple(_even(parts) for parts in (1, 3, 6))
    swung_eighths = Subdivision(np.array([0.0, feel.offbeat, 1.0]), np.array([0.0, 0.5, 1.0]))
    return (_even(1), swung_eighths, _even(3), _even(4), _even(6))


def place(onsets_s: np.ndarray, grid: Grid, feel: Feel) -> np.ndarray:
    """Put each onset on the tatum it was meant for.

    Parameters
    ----------
    onsets_s : ndarray, shape (..., n), seconds
        Leading axes are performances, each placed as if it were the only one.
    grid, feel : the beats, and how the take sits on them

    Returns
    -------
    ndarray, shape (..., n)
        Metrical positions in beats since the grid's first beat; a swung off-beat stands at .5.
    """
    position, length = felt_positions(onsets_s.ravel(), grid, feel)
    beat = np.floor(position).astype(int)
    beats = beat.max(initial=0) - beat.min(initial=0) + 1
    performance = np.arange(len(beat)) // max(onsets_s.shape[-1], 1)
    fraction, beat_index = position - beat, beat - beat.min(initial=0) + beats * performance
    stands, costs = zip(
        *(_explain(fraction, beat_index, length, way) for way in subdivisions(grid, feel)), strict=True
    )
    best = np.argmin(np.array(costs), axis=0)
    return (beat + np.array(stands)[best, np.arange(len(best))]).reshape(onsets_s.shape)


def felt_positions(onsets_s: np.ndarray, grid: Grid, feel: Feel) -> tuple[np.ndarray, np.ndarray]:
    """Return onsets in beats with the take's lag taken out, and the length of each one's beat in s."""
    length = beat_lengths(onsets_s, grid)
    return beat_positions(onsets_s, grid) - feel.lag_s / length, length


def _explain(
    fraction: np.ndarray, beat_index: np.ndarray, length: np.ndarray, way: Subdivision
) -> tuple[np.ndarray, np.ndarray]:
    """Return where each onset would stand under one subdivision, and what its whole beat would cost."""
    nearest = np.abs(fraction[:, None] - way.falls).argmin(axis=1)
    off_s = np.abs(fraction - way.falls[nearest]) * length
    tatum = beat_index * (way.parts + 1) + nearest
    shared = (np.bincount(tatum)[tatum] > 1) * COST_OF_SHARING / 2
    of_note = np.minimum((off_s / HUMAN_S) ** 2, WORST_COST) + shared
    of_beat = np.bincount(beat_index, of_note)[beat_index] + COST_PER_TATUM * way.parts
    too_fine = (way.parts > 1) & (length * np.diff(way.falls).min() < SHORTEST_TATUM_S)
    return way.stands[nearest], np.where(too_fine, np.inf, of_beat)


def strengths(position: np.ndarray, grid: Grid) -> np.ndarray:
    """Return how strong each metrical position is: 0 for the bar, then -1 a level.

    The weights of Longuet-Higgins & Lee (1984): in 4/4 0, -1, -2, -3, -4 for bar, half bar,
    beat, eighth, sixteenth. Where a bar has no half, its beats are -1 below the bar twice
    over, so that a beat is -2 in every meter. Triplets stand with the eighths, sextuplets
    with the sixteenths.
    """
    beat = np.floor(position + ON_TATUM).astype(int)
    fraction = position - beat
    number = _number_in_bar(beat, grid)
    halves, odd = divmod(grid.beats_per_bar, 2)
    half = halves + 1 if halves > 1 and not odd else 0
    of_beat = np.select([number == 1, number == half], [BAR, HALF_BAR], BEAT)
    first_level = [p for parts in ((3,) if grid.subdivision == COMPOUND else (2, 3)) for p in _inner(parts)]
    on_first = np.abs(fraction[:, None] - np.array(first_level)).min(axis=1) < ON_TATUM
    return np.where(fraction < ON_TATUM, of_beat, np.where(on_first, DIVISION, SUBDIVISION))


def _number_in_bar(beat: np.ndarray, grid: Grid) -> np.ndarray:
    """Return the beat's number in its bar, counted on beyond either end of the grid."""
    if not beat.size:
        return beat
    inside = np.clip(beat, 0, len(grid.beat_in_bar) - 1)
    first = int(inside.min())
    near = np.array(grid.beat_in_bar[first : int(inside.max()) + 1])
    number = near[inside - first] + beat - inside
    return np.where(beat == inside, number, (number - 1) % grid.beats_per_bar + 1)


def _inner(parts: int) -> list[float]:
    return [k / parts for k in range(1, parts)]


def _even(parts: int) -> Subdivision:
    tatums = np.arange(parts + 1) / parts
    return Subdivision(tatums, tatums)
