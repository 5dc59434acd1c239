"""Lines of our own: phrases such as an improviser plays, drawn at random with a seed."""

from collections.abc import Sequence

import numpy as np

from .takes import Line

MODES = ((0, 2, 3, 5, 7, 9, 10), (0, 2, 4, 5, 7, 9, 11), (0, 2, 4, 5, 7, 9, 10), (0, 3, 5, 6, 7, 10))
STEPS = (-4, -3, -2, -1, -1, -1, 0, 1, 1, 1, 2, 3, 4)  # of a scale: mostly to the neighbour
LENGTHS = (0.5, 0.5, 0.5, 0.5, 1 / 3, 0.25, 1.0, 1.5)  # beats
SPAN = 14  # semitones from the centre, to either side
HUMAN_S = 0.008  # s, standard deviation of a good player's timing (common practice, no source)
SHORTEST_S = 0.05
LEAD_IN_S, TAIL_S = 0.4, 0.6


def invented(rng: np.random.Generator, seconds: float, centre: int) -> Line:
    """Return a line within ``seconds``, around the MIDI pitch ``centre``; no two notes overlap."""
    beat_s = 60.0 / rng.uniform(90.0, 190.0)
    scale = [12 * octave + degree for octave in range(11) for degree in MODES[rng.integers(len(MODES))]]
    at_s, step = LEAD_IN_S, int(np.argmin(np.abs(np.array(scale) - centre)))
    notes: list[tuple[float, float, float]] = []
    while True:
        pattern = rng.choice(LENGTHS, 2)
        articulation = rng.uniform(0.6, 0.98)
        for _ in range(int(rng.integers(4, 15))):
            length_s = float(pattern[0] if rng.random() < 0.75 else pattern[1]) * beat_s
            if at_s + length_s > seconds - TAIL_S:
                return human(rng, notes)
            notes.append((at_s, at_s + articulation * length_s, float(scale[step])))
            at_s += length_s
            step = moved(rng, step, scale, centre)
        at_s += rng.uniform(0.4, 1.4)


def moved(rng: np.random.Generator, step: int, scale: Sequence[int], centre: int) -> int:
    """Return the next step of ``scale``, turned back where it would leave the instrument's range."""
    by = int(rng.choice(STEPS)) if rng.random() < 0.95 else int(rng.choice([-7, 7]))
    there = min(max(step + by, 0), len(scale) - 1)
    return there if abs(scale[there] - centre) <= SPAN else step - by


def human(rng: np.random.Generator, notes: Sequence[tuple[float, float, float]]) -> Line:
    """Return ``notes`` with the timing of a player, none overlapping the next."""
    line = np.array(notes)
    line[:, 0] += np.clip(rng.normal(0.0, HUMAN_S, len(line)), -2.0 * HUMAN_S, 2.0 * HUMAN_S)
    line[:, 1] = np.maximum(line[:, 1], line[:, 0] + SHORTEST_S)
    line[:-1, 1] = np.minimum(line[:-1, 1], line[1:, 0] - 0.001)
    return line


def steady(pitches: Sequence[float], every_s: float, sounding_s: float, start_s: float = LEAD_IN_S) -> Line:
    """Return notes ``every_s`` apart, each sounding for ``sounding_s``."""
    onsets = start_s + every_s * np.arange(len(pitches))
    return np.column_stack([onsets, onsets + sounding_s, pitches])
