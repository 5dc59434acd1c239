"""Groups that cross the meter: a line that repeats every 3, 5 or 7 cells, or runs in tuplets.

The grouping dissonance of Krebs, H. (1999). "Fantasy Pieces: Metrical Dissonance in the Music
of Robert Schumann". A group is heard where a line repeats itself after so many cells - in
its onsets, its contour, its accents - better than by chance, and better than it does after
the meter's own periods.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import groupby

import numpy as np

from batch.groove.lattice import Lattice, Line, lay
from batch.groove.likeness import Chance, Likeness
from batch.model import Grid
from batch.rhythm import COMPOUND, SHORTEST_TATUM_S, Feel

IN_THREE = 3
"""Beats of a bar that a hemiola crosses."""

REPEATS = 3
"""A pattern is one when it is there three times (Krebs asks for enough to be heard; our choice)."""

LEAST_PERIODS = REPEATS - 0.5
"""The last time a pattern may be cut short (our choice)."""

SHORTEST_PERIOD_S = 0.12
"""Faster groups melt into one (London, J. (2012). "Hearing in Time": about 100 ms)."""

TUPLETS = (5, 7)
"""Parts of a beat that only their onsets tell: nobody groups fifths or sevenths of one by contour."""

RARITY: dict[int | tuple[int, int], float] = {
    (3, 4): 1.0,
    (3, 5): 3.0,
    (3, 7): 3.0,
    (4, 7): 2.0,
    (6, 5): 2.0,
    (6, 7): 3.0,
    5: 3.0,
    7: 5.0,
}
"""Nats that groups of so many (parts, cells) and tuplets of so many parts must make up for: few
players use them, and lines that do not keep the beat resemble them (our choice)."""

CLEARER = 2.0
"""Nats by which other cells must explain a line better than the beat's first division (our choice)."""

TIMING_S, WITHIN = 0.012, 3.0
"""Human timing (6-12 ms, from memory), and how many standard errors a tuplet's tempo may be off."""

UNEVEN_S = 0.025
"""Onsets of a tuplet lie about their own tempo with no larger standard deviation (our choice)."""


@dataclass(frozen=True, slots=True)
class Period:
    """So many ``cells`` of 1/``parts`` beat; ``metrical`` are the meter's own periods in such cells."""

    parts: int
    cells: int
    metrical: tuple[int, ...]

    @property
    def is_tuplet(self) -> bool:
        """Whether only its onsets tell."""
        return self.parts in TUPLETS

    @property
    def rarity(self) -> float:
        """What evidence for it must make up for, in nats."""
        return RARITY.get((self.parts, self.cells), RARITY.get(self.parts, 0.0))


@dataclass(frozen=True, slots=True)
class Grouping:
    """Notes ``first`` to ``last`` (inclusive) of a phrase repeat after ``period``, between ``cells``.

    ``strength`` is in nats: how much likelier the line is as a repetition after so many cells
    than by chance, or as one after a beat, half a bar, a bar. ``notes_a_period`` is 1 where
    the notes themselves are that far apart.
    """

    period: Period
    cells: tuple[int, int]
    first: int
    last: int
    strength: float
    notes_a_period: float

    @property
    def span(self) -> slice:
        """The notes, in the phrase's."""
        return slice(self.first, self.last + 1)


def periods(grid: Grid) -> tuple[Period, ...]:
    """Return the periods that cross this meter, in cells that players count."""
    bar = grid.beats_per_bar
    if grid.subdivision == COMPOUND:
        counted: dict[int, tuple[int, ...]] = {3: (2, 4, 5, 7), 6: (3, 5, 7)}
        finest = {6: 2}
    else:
        counted = {2: (3, 5, 7), 4: (3, 5, 7), 3: (2, 4, 5, 7), **_tuplets(bar)}
        finest = {4: 2}
        if bar == IN_THREE:  # the hemiola: two beats at a time
            counted |= {1: (2,), 2: (3, 4, 5, 7)}
    beats = (1, bar) if bar % 2 else (1, bar // 2, bar)
    own = {parts: {finest[parts]} if parts in finest else set() for parts in counted}
    return tuple(
        Period(parts, cells, tuple(sorted(own[parts] | {parts * beat for beat in beats})))
        for parts, counts in counted.items()
        for cells in counts
    )


def _tuplets(beats_per_bar: int) -> dict[int, tuple[int, ...]]:
    """Return the fives and sevens over a bar, and the fives over half of one, as cells of the beat."""
    if beats_per_bar % 2:
        return {5: (beats_per_bar,), 7: (beats_per_bar,)} if beats_per_bar == 3 else {}  # noqa: PLR2004
    return {5: tuple({2, beats_per_bar}), 7: (beats_per_bar,)} if beats_per_bar <= 4 else {}  # noqa: PLR2004


def groupings(line: Line, grid: Grid, feel: Feel, *, strength_from: float) -> tuple[Grouping, ...]:
    """Return the groups in a phrase that cross the meter, none overlapping another, in order.

    Parameters
    ----------
    line : Line
    grid, feel
        The meter, and how the take sits on it.
    strength_from : float
        Nats; weaker ones are left out.
    """
    found = [g for g in _candidates(line, grid, feel, strength_from) if g.strength >= strength_from]
    kept: list[Grouping] = []
    for one in sorted(found, key=lambda g: -g.strength):
        if all(one.first > other.last or one.last < other.first for other in kept):
            kept.append(one)
    return tuple(sorted(kept, key=lambda g: g.first))


def _candidates(line: Line, grid: Grid, feel: Feel, strength_from: float) -> Iterator[Grouping]:
    if len(line.position) <= REPEATS:
        return
    plainest = lay(line, grid.subdivision, feel.offbeat)
    chance = Chance.of(line)
    for parts, group in groupby(periods(grid), key=lambda period: period.parts):
        if parts != plainest.parts and not plainest.leaves_room_for(parts, REPEATS + 1):
            continue
        lattice = plainest if parts == plainest.parts else lay(line, parts)
        tells = parts not in TUPLETS and line.beat_s / parts >= SHORTEST_TATUM_S
        on_cells = OnCells(line, lattice, chance if tells else None)
        for period in group:
            if period.cells * line.beat_s / parts >= SHORTEST_PERIOD_S:
                found = on_cells.grouping(period, strength_from)
                if found and (
                    lattice is plainest or lattice.fit(found.span) > plainest.fit(found.span) + CLEARER
                ):
                    yield found


@dataclass(frozen=True, slots=True)
class OnCells:
    """A line on the cells of one lattice; ``chance`` is None where only its onsets tell."""

    line: Line
    lattice: Lattice
    chance: Chance | None

    def grouping(self, period: Period, strength_from: float) -> Grouping | None:
        """Return where the line repeats best after the period, if it does often enough."""
        if len(self.lattice.note) < LEAST_PERIODS * period.cells:
            return None
        likeness = self._after(period.cells)
        found = [self._judged(likeness, period, start, end) for start, end in likeness.best_stretches()]
        best = max(filter(None, found), key=lambda grouping: grouping.strength, default=None)
        if best is None or best.strength < strength_from:
            return best
        return replace(best, strength=best.strength - self._of_the_meter(best))

    def _judged(self, likeness: Likeness, period: Period, start: int, end: int) -> Grouping | None:
        """Return the group between two cells, the meter's own left out of account."""
        sounding = self.lattice.note[start : end + period.cells]
        notes = sounding[sounding >= 0]
        if len(sounding) < LEAST_PERIODS * period.cells or len(notes) <= REPEATS:
            return None
        if period.is_tuplet and not _keeps_tempo(self.line, notes, period):
            return None
        strength = likeness.strength(start, end) - period.rarity
        notes_a_period = len(notes) * period.cells / len(sounding)
        return Grouping(period, (start, end), int(notes[0]), int(notes[-1]), strength, notes_a_period)

    def _of_the_meter(self, found: Grouping) -> float:
        """Return how well the line repeats there after the meter's own periods.

        A beat or a bar that is itself a number of periods contains them, and does not speak
        against them unless the line repeats after that alone.
        """
        against = 0.0
        for cells in found.period.metrical:
            if cells < len(self.lattice.note):
                own = self._after(cells).strength(*found.cells)
                contains = cells % found.period.cells == 0
                against = max(
                    against, own if not contains else found.strength if own > found.strength else 0.0
                )
        return against

    def _after(self, cells: int) -> Likeness:
        return Likeness.of(self.line, self.lattice, cells, self.chance)


def _keeps_tempo(line: Line, notes: np.ndarray, period: Period) -> bool:
    """Return whether notes one a period run at the tuplet's tempo, by a straight line through them."""
    position = line.position[notes]
    steps = np.diff(position)
    number = np.append(0, np.cumsum(np.maximum(1, np.rint(steps / np.median(steps)))))
    slope, start = np.polyfit(number, position, 1)
    off = position - slope * number - start
    error = TIMING_S / line.beat_s / np.sqrt(((number - number.mean()) ** 2).sum())
    near = abs(slope - period.cells / period.parts) < WITHIN * error
    return bool(near and off.std() * line.beat_s < UNEVEN_S)
