"""What a phrase does with the meter: syncopation, groups across the beat, distance from the grid."""

from collections.abc import Iterator, Sequence
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


LITTLE_REST, LEAST_TOGETHER, MOST_OF_IT = 1.5, 2, 0.75
"""Phrases no more beats apart, so many of them, may be one pattern with its rests, which has so much of each
(our choice: a pattern's own rest is seldom longer)."""


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
    each = [
        _rub(notes[p.span], grid, replace(feel, lag_s=float(likely @ lags_s)), _spread(lags_s, likely))
        for p, likely in zip(phrases, chances, strict=True)
    ]
    for run in phrases_together(phrases, grid):
        for at, found in _across(notes, phrases[run], grid, feel):
            each[run.start + at] = _with(each[run.start + at], found)
    return tuple(each)


def _across(
    notes: Sequence[Note], phrases: Sequence[Phrase], grid: Grid, feel: Feel
) -> Iterator[tuple[int, Found]]:
    """Yield what groups go on over several phrases, for each of these: rests may be part of a pattern."""
    first = phrases[0].first_note
    together = notes[first : phrases[-1].last_note + 1]
    felt, length = felt_positions(np.array([note.onset_s for note in together]), grid, feel)
    line = Line.of(together, felt, float(np.median(length)))
    for grouping in groupings(line, grid, feel, strength_from=FAINTEST):
        found = named(grouping, grid)
        parts = [
            (
                at,
                max(found.first + first - p.first_note, 0),
                min(found.last + first, p.last_note) - p.first_note,
            )
            for at, p in enumerate(phrases)
        ]
        covered = [(at, a, b) for at, a, b in parts if b - a + 1 >= MOST_OF_IT * phrases[at].count]
        if len(covered) >= LEAST_TOGETHER:
            yield from ((at, replace(found, first=a, last=b)) for at, a, b in covered)


def _with(rub: Rub, found: Found) -> Rub:
    """Return what a phrase does with the meter with one more group, in place of weaker ones."""
    weaker = [one for one in rub.groupings if one.strength < found.strength]
    if len(weaker) < len(rub.groupings):
        return rub
    return replace(rub, groupings=(found,))


def phrases_together(phrases: Sequence[Phrase], grid: Grid) -> Iterator[slice]:
    """Yield runs of LEAST_TOGETHER or more phrases that follow each other within LITTLE_REST beats."""
    rest_s = LITTLE_REST * 60 / grid.tempo_bpm / grid.felt_beats
    start = 0
    for end in range(1, len(phrases) + 1):
        if end == len(phrases) or phrases[end].start_s - phrases[end - 1].end_s > rest_s:
            if end - start >= LEAST_TOGETHER:
                yield slice(start, end)
            start = end


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
