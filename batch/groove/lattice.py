"""A phrase laid on even cells of the beat: which cells sound, and with what."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from batch.model import Note
from batch.rhythm import HUMAN_S

NEAR_CELL_S = 0.045
"""A note further from every cell belongs to none; four times human timing (our choice)."""

NEAR_CELL = 0.4
"""The same as a share of a cell, which is the stricter where cells are short (our choice)."""

WORST_OFF = 4.5
"""No note weighs more against a lattice, in nats: a deviation of three HUMAN_S (our choice)."""

ACCENT_DB = 2.5
"""A note so much louder than those about it is accented: 95 against 80 as MIDI velocities (our choice)."""

ABOUT = 4
"""So many notes on either side are about one: a bar of eighths in all (our choice)."""


@dataclass(frozen=True, slots=True)
class Line:
    """What is compared of a phrase's notes: where they fall, what they do next, which are accented.

    All of shape (n,). ``position`` is in beats with the take's lag taken out; ``interval`` goes
    to the next note, in semitones, and is NaN for the last; ``accented`` is 1 or 0.
    """

    position: np.ndarray
    interval: np.ndarray
    accented: np.ndarray
    beat_s: float

    @classmethod
    def of(cls, notes: Sequence[Note], position: np.ndarray, beat_s: float) -> "Line":
        """Take a phrase apart."""
        pitch = np.array([note.pitch_midi for note in notes])
        loudness_db = np.array([note.loudness_db for note in notes])
        return cls(position, np.append(np.diff(pitch), np.nan), _accented(loudness_db), beat_s)


@dataclass(frozen=True, slots=True)
class Lattice:
    """A phrase on cells of 1/``parts`` beat, the first one being cell ``first`` since the grid's start.

    ``note`` says for each cell which note sounds in it, -1 for none; ``astray`` how many notes
    near it have no cell of their own; ``off_s`` for each note how far it lies from the nearest.
    """

    parts: int
    first: int
    note: np.ndarray
    astray: np.ndarray
    off_s: np.ndarray

    def fit(self, notes: slice) -> float:
        """Return how well the cells explain where notes fall, as a log likelihood up to a constant.

        Timing is normal about the cells, each as likely as the next.
        """
        cost = np.minimum((self.off_s[notes] / HUMAN_S) ** 2 / 2, WORST_OFF)
        return float(-cost.sum() - len(cost) * np.log(self.parts))

    def leaves_room_for(self, parts: int, notes: int) -> bool:
        """Return whether so many ``notes`` in a row could :meth:`fit` other cells better."""
        gain = np.minimum((self.off_s / HUMAN_S) ** 2 / 2, WORST_OFF) - np.log(parts / self.parts)
        total = np.concatenate([[0.0], np.cumsum(gain)])
        return bool((total[notes:] > total[:-notes]).any())

    def values(self, of_notes: np.ndarray) -> np.ndarray:
        """Return a value of the notes by cell, NaN where none sounds."""
        return np.where(self.note >= 0, of_notes[self.note], np.nan)


def lay(line: Line, parts: int, offbeat: float = 0.5) -> Lattice:
    """Lay a line on cells of 1/``parts`` beat.

    Parameters
    ----------
    line : Line
    parts : int
        Cells a beat.
    offbeat : float
        Where within the beat the off-beat eighth falls, for two parts: swing is taken out.
    """
    position = _straightened(line.position, offbeat) if parts == 2 else line.position  # noqa: PLR2004  eighths
    exact = position * parts
    cell = np.rint(exact).astype(int)
    near = np.abs(exact - cell) <= min(NEAR_CELL, NEAR_CELL_S * parts / line.beat_s)
    first = int(cell.min())
    cell -= first
    note = np.full(int(cell.max()) + 1, -1)
    # The earliest note of a cell has it: assigning backwards lets it write last.
    note[cell[near][::-1]] = np.flatnonzero(near)[::-1]
    off_s = np.abs(exact - np.rint(exact)) / parts * line.beat_s
    without = np.ones(len(cell), dtype=bool)
    without[note[note >= 0]] = False
    return Lattice(parts, first, note, np.bincount(cell[without], minlength=len(note)), off_s)


def _straightened(position: np.ndarray, offbeat: float) -> np.ndarray:
    beat, fraction = np.floor(position), position % 1.0
    early = fraction / offbeat / 2
    late = 0.5 + (fraction - offbeat) / (1 - offbeat) / 2
    return np.asarray(beat + np.where(fraction < offbeat, early, late))


def _accented(loudness_db: np.ndarray) -> np.ndarray:
    """Return which notes are accented: clearly louder than the notes about them, nearly as the loudest is."""
    padded = np.pad(loudness_db, ABOUT, constant_values=np.nan)
    about = np.lib.stride_tricks.sliding_window_view(padded, 2 * ABOUT + 1)
    usual, loudest = np.nanmedian(about, axis=1), np.nanmax(about, axis=1)
    return (loudness_db >= usual + np.maximum(ACCENT_DB, (loudest - usual) / 2)).astype(float)
