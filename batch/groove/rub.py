"""What a phrase does with the meter: syncopation, groups across the beat, distance from the grid."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from batch.groove.devices import Found, name_of_run, named
from batch.groove.groupings import groupings
from batch.groove.lattice import Line
from batch.groove.off_grid import off_grid
from batch.groove.syncopation import PERFORMANCES, longest_run, syncopation_chances
from batch.model import Grid, Note, Phrase
from batch.rhythm import Feel, felt_positions, lags_of, place, subdivisions

FAINTEST = 2.5
"""Groupings weaker than this, in nats, are not told at all; half of what makes one (our choice)."""


@dataclass(frozen=True, slots=True)
class Rub:
    """What a phrase does with the meter.

    ``syncopation`` is the share of its notes that are syncopated, ``off_grid`` the mean
    distance from the nearest tatum, in tatums: 0 is on the grid, 0.25 what chance gives.
    ``run`` is where syncopated notes come one upon the other, ``groupings`` are groups and
    tuplets that cross the beat, in order.
    """

    note_count: int
    syncopated_notes: int
    syncopation: float
    off_grid: float
    run: Found | None = None
    groupings: tuple[Found, ...] = ()


def rubs(notes: Sequence[Note], phrases: Sequence[Phrase], grid: Grid, feel: Feel) -> tuple[Rub, ...]:
    """Return what each phrase does with the meter of ``grid``."""
    if not phrases:
        return ()
    onsets = np.array([note.onset_s for note in notes])
    # Laying back evenly is feel, for a phrase as for a take.
    lags_s, chances = lags_of(onsets, [p.span for p in phrases], grid, feel)
    return tuple(
        _rub(notes[p.span], grid, replace(feel, lag_s=float(likely @ lags_s)), _spread(lags_s, likely))
        for p, likely in zip(phrases, chances, strict=True)
    )


def _spread(values: np.ndarray, likely: np.ndarray) -> np.ndarray:
    """Return PERFORMANCES values that lie as a distribution has them: its quantiles, evenly."""
    evenly = (np.arange(PERFORMANCES) + 0.5) / PERFORMANCES
    return np.interp(evenly, np.cumsum(likely) - likely / 2, values)


def _rub(notes: Sequence[Note], grid: Grid, feel: Feel, lags_s: np.ndarray) -> Rub:
    onsets = np.array([note.onset_s for note in notes])
    chances = syncopation_chances(onsets, grid, feel, lags_s)
    # The phrase's last note is followed by the breath, not by a beat kept silent.
    chances[-1] = 0.0
    felt, length = felt_positions(onsets, grid, feel)
    # Eighths that are counted are no division of a beat that is felt.
    ways = subdivisions(grid, feel)[1 if grid.felt_beats == 1 else 0 :]
    line = Line.of(notes, felt, float(np.median(length)))
    return Rub(
        note_count=len(notes),
        syncopated_notes=round(float(chances.sum())),
        syncopation=float(chances.mean()),
        off_grid=off_grid(felt, line.beat_s, ways),
        run=_run(chances, place(onsets, grid, feel), grid),
        groupings=tuple(named(found, grid) for found in groupings(line, grid, feel, strength_from=FAINTEST)),
    )


def _run(chances: np.ndarray, stands: np.ndarray, grid: Grid) -> Found | None:
    run = longest_run(chances)
    if run is None:
        return None
    inside = slice(run.first, run.last + 1)
    return Found(name_of_run(stands[inside], chances[inside], grid), run.first, run.last, run.notes)
