"""Performances made for tests: notes on a known grid, with human timing if asked."""

from collections.abc import Sequence

import numpy as np

from batch.grid import grid_from_tempo
from batch.groove import Rub, rubs
from batch.model import Grid, Note, Phrase
from batch.rhythm import Feel, estimate_feel


def grid_at(tempo_bpm: float, beats: int = 64, meter: tuple[int, int] = (4, 4)) -> Grid:
    """Return a steady grid whose first beat is a downbeat at 0 s."""
    return grid_from_tempo(
        tempo_bpm, meter, duration_s=beats * 60 / tempo_bpm, first_downbeat_s=0.0, source="test"
    )


def play(
    onsets_beats: Sequence[float],
    tempo_bpm: float,
    *,
    pitches: Sequence[int] = (60, 62, 64, 65, 67, 65, 64, 62),
    length_beats: float = 0.2,
    lag_s: float = 0.0,
    human_s: float = 0.0,
    seed: int = 1,
) -> tuple[Note, ...]:
    """Return notes at these beats, late by ``lag_s``, with normal timing errors of ``human_s``."""
    beat_s = 60 / tempo_bpm
    errors = np.random.default_rng(seed).normal(0, human_s, len(onsets_beats)) if human_s else 0
    onsets = np.sort(np.array(onsets_beats) * beat_s + lag_s + errors)
    onsets -= min(0.0, float(onsets.min()))
    return tuple(
        Note(float(onset), float(onset) + length_beats * beat_s, float(pitches[i % len(pitches)]), -12.0)
        for i, onset in enumerate(onsets)
    )


def one_phrase(notes: Sequence[Note]) -> Phrase:
    """Return all notes as one phrase."""
    return Phrase(notes[0].onset_s, notes[-1].offset_s, 0, len(notes) - 1)


def rub_of(notes: Sequence[Note], grid: Grid) -> tuple[Rub, Feel]:
    """Return what all the notes, taken as one phrase, do with the meter, and the feel assumed."""
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    (rub,) = rubs(notes, [one_phrase(notes)], grid, feel)
    return rub, feel
