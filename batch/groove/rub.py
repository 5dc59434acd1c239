"""What a phrase does with the meter: syncopation, groups across the beat, distance from the grid."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from batch.groove.devices import Found, name_of_run, named
from batch.groove.groupings import groupings
from batch.groove.lattice import Line
from batch.groove.off_grid import off_grid
from batch.groove.syncopation import longest_run, syncopation_chances
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
    onsets = np.array([note.onset_s for note in notes])
    if not phrases:
        return ()
    # Laying back evenly is feel, for a phrase as for a take.
    for p, lag_s in zip(phrases, lags_of(onsets, [p.span for p in phrases], grid, feel), strict=True):
        onsets[p.span] -= lag_s - feel.lag_s
    onsets = np.maximum.accumulate(onsets)
    chances = syncopation_chances(onsets, grid, feel)
    felt, length = felt_positions(onsets, grid, feel)
    stands = place(onsets, grid, feel)
    return tuple(
        _rub(
            Line.of(notes[p.span], felt[p.span], float(np.median(length[p.span]))),
            chances[p.span],
            stands[p.span],
            grid,
            feel,
        )
        for p in phrases
    )


def _rub(line: Line, chances: np.ndarray, stands: np.ndarray, grid: Grid, feel: Feel) -> Rub:
    # The phrase's last note is followed by the breath, not by a beat kept silent.
    chances = np.append(chances[:-1], 0.0)
    count, notes = float(chances.sum()), len(chances)
    return Rub(
        notes,
        round(count),
        count / notes,
        off_grid(line.position, line.beat_s, subdivisions(grid, feel)[1:]),
        _run(chances, stands, grid),
        tuple(named(found, grid) for found in groupings(line, grid, feel, strength_from=FAINTEST)),
    )


def _run(chances: np.ndarray, stands: np.ndarray, grid: Grid) -> Found | None:
    run = longest_run(chances)
    if run is None:
        return None
    inside = slice(run.first, run.last + 1)
    return Found(name_of_run(stands[inside], chances[inside], grid), run.first, run.last, run.notes)
