"""How much likelier a line repeats itself after so many cells than not, in nats.

Each cell is compared with the one a period later: does a note start in both, does the line
go on from there in the same direction or by the same interval, is it accented too? Each answer is
a log likelihood ratio of a player who repeats a pattern against one who does not, and what
the latter would give by chance is taken from the line itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import log

import numpy as np

from batch.groove.lattice import Lattice, Line

SAME_ONSETS = SAME_CONTOUR = 0.95
"""How surely a player who repeats a pattern repeats its onsets and its contour (our choice)."""

BY_CHANCE = (0.5, 0.9)
"""Two cells agree on whether they sound at least half the time, and never surely (arithmetic; our choice)."""

SAME_WAY_BY_CHANCE, SAME_SIZE_BY_CHANCE = 0.4, 0.2
"""Two directions of three, two intervals of twelve within one, agree so often at least (arithmetic)."""

SAME_SIZE = 1.5
"""Semitones; intervals no further apart are alike: carried through a scale they change by one."""

KINDS = 5
"""Ways to keep a contour: in directions or in sizes, at all places or all but the join, or sizes
with the join's direction; all alike to be expected (our choice)."""

BEYOND_CHANCE = 1.5
"""Nats a contour must make up for: the stretch that suits it best is looked for in all of the line
(our choice: free lines then hold as many groups as other tests at their level find)."""

SAME_ACCENTS, ACCENTS_BY_CHANCE = 0.9, (0.5, 0.93)
"""How surely an accent is repeated, less than an onset is, and how often two notes agree by chance: where
none is accented a little more often than where a pattern is kept, so that such places add nothing."""

ASTRAY = 1.5
"""What a note that no cell has weighs against a lattice, in nats (our choice)."""

FURTHEST = 14
"""Chance is taken from notes up to so many apart: two of the longest periods (our choice)."""


@dataclass(frozen=True, slots=True)
class Chance:
    """How often a line's intervals are alike, by how many notes lie between: of distance 1 first.

    ``way`` and ``size`` count pairs that are alike, ``pairs`` all.
    """

    way: np.ndarray
    size: np.ndarray
    pairs: np.ndarray

    @classmethod
    def of(cls, line: Line) -> "Chance":
        """Count them."""
        known = line.interval[:-1]
        lags = range(1, min(FURTHEST, len(known)))
        way = [np.count_nonzero(_same_way(known[:-lag], known[lag:])) for lag in lags]
        size = [np.count_nonzero(_same_size(known[:-lag], known[lag:])) for lag in lags]
        return cls(np.array(way), np.array(size), len(known) - np.array(lags, dtype=int))

    def among_others(self, alike: np.ndarray, cells: int, floor: float) -> float:
        """Return the share of pairs alike that are not whole periods apart, at least ``floor``."""
        lag = np.arange(1, len(alike) + 1)
        others = (lag % cells > 0) & (lag < 2 * cells)
        pairs = self.pairs[others].sum()
        return min(BY_CHANCE[1], max(floor, float(alike[others].sum() / pairs))) if pairs else floor


@dataclass(frozen=True, slots=True)
class Likeness:
    """A line after so many cells, judged cell by cell; all of shape (cells of the lattice - period,).

    ``onsets`` has what sounds and what lies astray, ``way`` and ``size`` the contour by its
    directions and by its intervals, ``accents`` which notes are accented.
    """

    cells: int
    sounds: np.ndarray
    accented: np.ndarray
    onsets: np.ndarray
    astray: np.ndarray
    way: np.ndarray
    size: np.ndarray
    accents: np.ndarray

    @classmethod
    def of(cls, line: Line, lattice: Lattice, cells: int, chance: Chance | None) -> "Likeness":
        """Compare a line with itself ``cells`` later; without ``chance`` only its onsets."""
        sounds, astray = lattice.note >= 0, -ASTRAY * lattice.astray[cells:]
        onsets = _judged(
            sounds[:-cells] == sounds[cells:],
            SAME_ONSETS,
            _chance_there(sounds.astype(float), cells, (BY_CHANCE[0], SAME_ONSETS)),
        )
        if chance is None:
            nothing = np.zeros(len(onsets))
            return cls(cells, sounds, np.zeros(len(sounds)), onsets, astray, nothing, nothing, nothing)
        interval = lattice.values(line.interval)
        a, b = interval[:-cells], interval[cells:]
        both = np.isfinite(a + b)
        by_chance = chance.among_others(chance.way, cells, SAME_WAY_BY_CHANCE)
        way = np.where(both, _judged(_same_way(a, b), SAME_CONTOUR, by_chance), 0.0)
        by_chance = chance.among_others(chance.size, cells, SAME_SIZE_BY_CHANCE)
        size = np.where(both, _judged(_same_size(a, b), SAME_CONTOUR, by_chance), 0.0)
        accented = lattice.values(line.accented)
        return cls(cells, sounds, accented, onsets, astray, way, size, _accents(accented, cells))

    def best_stretches(self) -> Iterator[tuple[int, int]]:
        """Yield where the line is most like itself a period later, without its contour and with it.

        From one cell to before another: the stretch of the largest sum (Bentley, J. (1984).
        "Programming pearls: algorithm design techniques". Communications of the ACM 27(9)),
        for the contour over the ways to keep one.
        """
        judged = self.onsets + self.astray + self.accents
        yield _best_stretch(judged[None])
        if self.way.any():
            yield _best_stretch(judged + self._ways_to_keep_a_contour())

    def _ways_to_keep_a_contour(self) -> np.ndarray:
        """Return the contour as each of KINDS judges it, shape (ways, ...)."""
        join = np.arange(len(self.way)) % self.cells == np.arange(self.cells)[:, None]
        way, size = np.where(join, 0.0, self.way), np.where(join, 0.0, self.size)
        joined = np.where(join, self.way, self.size)
        return np.vstack([self.way, self.size, way, size, joined])

    def strength(self, start: int, end: int) -> float:
        """Return how like itself the line is there, in nats; what contour and accents deny does not count."""
        stretch = slice(start, end)
        whole = slice(start, end + self.cells)
        onsets = _as_repeated(self.sounds[whole].astype(float), self.cells, SAME_ONSETS)
        accents = _as_repeated(self.accented[whole], self.cells, SAME_ACCENTS)
        contour = _whole_contour(self.way[stretch], self.size[stretch], self.cells) - BEYOND_CHANCE
        return float(onsets + self.astray[stretch].sum() + max(0.0, contour) + max(0.0, accents))


def _best_stretch(judged: np.ndarray) -> tuple[int, int]:
    """Return the best stretch of the best row."""
    total = np.concatenate([np.zeros((len(judged), 1)), np.cumsum(judged, axis=1)], axis=1)
    gain = total - np.minimum.accumulate(total, axis=1)
    row = int(np.argmax(gain.max(axis=1)))
    end = int(np.argmax(gain[row]))
    return int(np.argmin(total[row, : end + 1])), end


def _chance_there(values: np.ndarray, cells: int, limits: tuple[float, float]) -> np.ndarray:
    """Return how often two cells agree by chance where as many are 1 as about there; NaN says nothing.

    About a cell are a period before it and two after, shape (cells of the lattice - ``cells``,).
    """
    known = np.isfinite(values)
    counts = np.concatenate([[0], np.cumsum(known)])
    sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    here = np.arange(len(values) - cells)
    start, end = np.maximum(here - cells, 0), np.minimum(here + 2 * cells, len(values))
    share = (sums[end] - sums[start]) / np.maximum(counts[end] - counts[start], 1)
    return np.asarray(np.clip(share**2 + (1 - share) ** 2, *limits))


def _as_repeated(values: np.ndarray, cells: int, same: float) -> float:
    """Judge whether cells repeat what sounds, or what is accented, a period later.

    By chance they agree as often as those do that are not whole periods apart, and at least half
    the time. NaN says nothing.
    """
    known = np.isfinite(values)
    agree = pairs = 0
    for lag in (lag for lag in range(1, min(2 * cells, len(values))) if lag % cells):
        both = known[:-lag] & known[lag:]
        agree += int(np.count_nonzero(both & (values[:-lag] == values[lag:])))
        pairs += int(np.count_nonzero(both))
    chance = min(same, max(BY_CHANCE[0], agree / pairs)) if pairs else BY_CHANCE[0]
    both = known[:-cells] & known[cells:]
    return float(_judged(values[:-cells] == values[cells:], same, chance)[both].sum())


def _same_way(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray(np.sign(np.rint(a)) == np.sign(np.rint(b)))


def _same_size(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray(np.abs(a - b) <= SAME_SIZE)


def _whole_contour(same_way: np.ndarray, same_size: np.ndarray, cells: int) -> float:
    """Judge a contour as a whole, averaged over the ways to keep one.

    In a pattern carried through the scale the way from one group to the next varies, and
    says nothing.
    """
    place = np.arange(len(same_way)) % cells
    way, size = np.bincount(place, same_way), np.bincount(place, same_size)
    all_places = np.array([way.sum(), size.sum()]) - np.log(KINDS)
    but_the_join = np.concatenate([way.sum() - way, size.sum() - size, size.sum() - size + way])
    return float(np.logaddexp.reduce(np.concatenate([all_places, but_the_join - np.log(KINDS * cells)])))


def _accents(accents: np.ndarray, cells: int) -> np.ndarray:
    """Judge accents: by chance two notes agree as often as accents are many or few there."""
    both = np.isfinite(accents[:-cells] + accents[cells:])
    if not np.nansum(accents):
        return np.zeros(len(both))
    chance = _chance_there(accents, cells, ACCENTS_BY_CHANCE)
    return np.where(both, _judged(accents[:-cells] == accents[cells:], SAME_ACCENTS, chance), 0.0)


def _judged(same: np.ndarray, if_repeated: float, by_chance: float | np.ndarray) -> np.ndarray:
    """Return log likelihood ratios of agreeing and of differing."""
    if isinstance(by_chance, float):
        return np.where(same, log(if_repeated / by_chance), log((1 - if_repeated) / (1 - by_chance)))
    return np.where(same, np.log(if_repeated / by_chance), np.log((1 - if_repeated) / (1 - by_chance)))
