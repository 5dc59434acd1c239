"""Lines of notes made for tests of the phrase splitter."""

from collections.abc import Sequence

import numpy as np

from batch.model import Note

TICK_S = 1 / 1024
"""Times made of these are exact in binary, so that shifting a take loses nothing."""


def note(onset_s: float, duration_s: float, pitch: float = 60.0) -> Note:
    return Note(onset_s, onset_s + duration_s, pitch, -20.0)


def runs(lengths: Sequence[int], *, rest_s: float = 1.5, start_s: float = 0.0) -> list[Note]:
    """Return runs of eighths, 0.25 s apart and nearly joined, with a rest after each run."""
    notes: list[Note] = []
    onset_s = start_s
    for length in lengths:
        notes += [note(onset_s + 0.25 * i, 0.234375, 60.0 + 2 * (i % 5)) for i in range(length)]
        onset_s += 0.25 * length + rest_s
    return notes


def improvised(seed: int, phrases: int = 20) -> tuple[list[Note], set[int]]:
    """Return a seeded line with rests of half a second to two between phrases, and the phrase starts."""
    rng = np.random.default_rng(seed)
    notes: list[Note] = []
    starts: set[int] = set()
    tick = 0
    for _ in range(phrases):
        starts.add(len(notes))
        pitch = 60
        for _ in range(rng.integers(4, 20)):
            spacing = int(rng.choice([128, 256, 256, 256, 512]))
            pitch += int(rng.integers(-4, 5))
            notes.append(note(tick * TICK_S, (spacing - 16) * TICK_S, pitch))
            tick += spacing
        tick += int(rng.integers(512, 2048))
    return notes, starts
