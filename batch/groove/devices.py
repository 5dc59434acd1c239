"""What players call what they do against the meter."""

from dataclasses import dataclass

import numpy as np

from batch.groove.groupings import Grouping
from batch.model import Grid
from batch.rhythm import COMPOUND, ON_TATUM

NUMBERS = {2: "two", 3: "three", 4: "four", 5: "five", 7: "seven"}
GROUPS = {2: "twos", 3: "threes", 4: "fours", 5: "fives", 7: "sevens"}
NOTES = {1: "whole note", 2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second"}

ONE_A_PERIOD = 1.3
"""With fewer notes a period it is the notes that are a period apart, not groups of them (our choice)."""

MOST = 0.7
"""Share of a run that must be alike to give it its name (our choice)."""


@dataclass(frozen=True, slots=True)
class Found:
    """A device between notes ``first`` and ``last`` (inclusive) of a phrase.

    ``strength`` is in nats for groups and tuplets, in syncopated notes for runs of them.
    """

    name: str
    first: int
    last: int
    strength: float


def named(grouping: Grouping, grid: Grid) -> Found:
    """Give a grouping the name that players would."""
    return Found(_name(grouping, grid), grouping.first, grouping.last, grouping.strength)


def _name(grouping: Grouping, grid: Grid) -> str:
    parts, cells = grouping.period.parts, grouping.period.cells
    if cells == 2 * parts:
        return "hemiola"
    if grouping.notes_a_period < ONE_A_PERIOD:
        in_compound = grid.subdivision == COMPOUND
        name = _of_compound_notes(parts, cells, grid) if in_compound else _of_notes(parts, cells, grid)
        if name:
            return name
    return f"{GROUPS[cells]} over {_unit(parts, grid)}"


def _unit(parts: int, grid: Grid) -> str:
    if parts in {grid.subdivision, 2 * grid.subdivision}:
        return f"{NOTES[grid.division_note * parts // grid.subdivision]}s"
    return "triplets"


def _of_notes(parts: int, cells: int, grid: Grid) -> str | None:
    """Name notes that are so many cells apart, where the beat falls in two."""
    if parts in {5, 7}:
        return f"{NUMBERS[parts]} over {NUMBERS[cells]}"
    if grid.beats_per_bar == 3 and cells == 3:  # noqa: PLR2004  three beats in as many notes as cells
        return f"{NUMBERS[parts]} over three"
    names = {
        (2, 3): f"dotted {NOTES[grid.division_note // 2]}s",
        (4, 3): f"dotted {NOTES[grid.division_note]}s",
        (3, 2): f"{NOTES[grid.division_note // 2]} triplets",
        (3, 4): f"{NOTES[max(1, grid.division_note // 4)]} triplets",
    }
    return names.get((parts, cells))


def _of_compound_notes(parts: int, cells: int, grid: Grid) -> str | None:
    """Name notes that are so many cells apart, where the beat falls in three."""
    names = {(6, 3): "two over three", (3, 2): f"{NOTES[grid.division_note // 2]}s across the beat"}
    return names.get((parts, cells))


def name_of_run(position: np.ndarray, chances: np.ndarray, grid: Grid) -> str:
    """Name a run of syncopated notes by where in the beat they stand.

    Parameters
    ----------
    position : ndarray, shape (n,)
        Metrical positions in beats.
    chances : ndarray, shape (n,)
        How surely each note is syncopated; not all 0.
    """
    if grid.subdivision != COMPOUND:
        for place, name in ((1 / 2, "off-beats"), (1 / 4, f"off-beat {NOTES[2 * grid.division_note]}s")):
            there = np.abs((position + place / 2) % place - place / 2) < ON_TATUM
            stronger = np.abs((position + place) % (2 * place) - place) < ON_TATUM
            if chances[there & ~stronger].sum() >= MOST * chances.sum():
                return name
    return "syncopation"
