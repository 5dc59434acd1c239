"""Lines to be played: excerpts of annotated solos, and what practice adds to them. Material for ``fit``."""

import csv
import gzip
from collections import defaultdict
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Line = NDArray[np.float64]  # (n, 3): onset_s, offset_s, MIDI pitch
TAKE_S = 18.0
SHORTEST_S = 0.03
LOWEST, HIGHEST = 28, 100  # MIDI pitches looked for
FEWEST = 8  # notes: an excerpt with fewer is tried again
BURST_S = (0.045, 0.075)  # s between onsets of a burst: double time


def solos_in(corpus: Path) -> list[Line]:
    """Return every solo's notes, by onset, none overlapping the next."""
    solos: dict[str, list[tuple[float, float, float]]] = defaultdict(list)
    with gzip.open(corpus / "notes.csv.gz", "rt", encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            onset = float(row["onset_s"])
            solos[row["solo"]].append((onset, onset + float(row["duration_s"]), float(row["pitch"])))
    return [without_overlap(np.array(sorted(notes))) for notes in solos.values()]


def without_overlap(line: Line) -> Line:
    """Return ``line`` with each note ending before the next begins; too short ones are left out."""
    line = line.copy()
    line[:-1, 1] = np.minimum(line[:-1, 1], line[1:, 0] - 0.001)
    return line[line[:, 1] - line[:, 0] >= SHORTEST_S]


def excerpt(rng: np.random.Generator, solos: list[Line], *, slower: float, centre: float) -> Line:
    """Return TAKE_S of a solo, ``slower`` times as slow, in the octave nearest ``centre`` (MIDI pitch)."""
    while True:
        line = solos[rng.integers(len(solos))] * np.array([slower, slower, 1.0])
        start = line[0, 0] + rng.uniform(0.0, max(0.0, float(np.ptp(line[:, 0])) - TAKE_S)) - 0.5
        line = line - np.array([start, start, 0.0])
        line = line[(line[:, 0] >= 0.2) & (line[:, 1] < TAKE_S - 0.5)]  # noqa: PLR2004  s of silence kept
        if len(line) >= FEWEST:
            octaves = np.round((centre - np.median(line[:, 2])) / 12.0)
            return in_range(line + np.array([0.0, 0.0, 12.0 * octaves + rng.integers(-3, 4)]))


def in_range(line: Line) -> Line:
    """Return ``line`` with what lies outside the pitches looked for moved by octaves."""
    line = line.copy()
    line[:, 2] += 12.0 * np.ceil(np.maximum(LOWEST - line[:, 2], 0.0) / 12.0)
    line[:, 2] -= 12.0 * np.ceil(np.maximum(line[:, 2] - HIGHEST, 0.0) / 12.0)
    return line


def practised(rng: np.random.Generator, line: Line, *, quick: bool = True) -> Line:
    """Return ``line`` with, at times, repeated notes and octave leaps; if ``quick`` bursts, or cut short."""
    if quick and rng.random() < 0.12:  # noqa: PLR2004  share
        line = with_bursts(rng, line)
    if rng.random() < 0.12:  # noqa: PLR2004  share
        line = repeating(rng, line)
    if rng.random() < 0.1:  # noqa: PLR2004  share
        line = line + np.outer(rng.random(len(line)) < 0.25, [0.0, 0.0, 1.0]) * rng.choice([-12.0, 12.0])  # noqa: PLR2004
    if quick and rng.random() < 0.1:  # noqa: PLR2004  share
        line = staccato(rng, line)
    return in_range(line)


def with_bursts(rng: np.random.Generator, line: Line) -> Line:
    """Return ``line`` with some of its notes broken up into quick runs of 4 to 12 notes."""
    parts: list[Line] = []
    apart = rng.uniform(*BURST_S)
    busy_until = 0.0
    for at, note in enumerate(line):
        if note[0] < busy_until:
            continue
        room = (line[at + 6, 0] if at + 6 < len(line) else TAKE_S - 0.5) - note[0]
        count = min(int(room / apart), int(rng.integers(4, 13)))
        if count < 4 or rng.random() > 0.12:  # noqa: PLR2004  notes; share
            parts.append(note[None])
            continue
        onset = note[0] + apart * np.arange(count)
        steps = rng.choice(
            [[0, 2, 4, 5, 7, 9, 11, 12], [0, 1, 2, 3, 4, 5, 6, 7], [0, 3, 7, 10, 14, 10, 7, 3], [0, 2] * 4]
        )
        pitch = note[2] + np.resize(steps, count) * rng.choice([-1, 1])
        parts.append(np.stack([onset, onset + apart * rng.uniform(0.75, 0.98), pitch], axis=1))
        busy_until = onset[-1] + apart
    return without_overlap(np.concatenate(parts))


def repeating(rng: np.random.Generator, line: Line) -> Line:
    """Return ``line`` with about half its notes at the pitch of the one before."""
    line = line.copy()
    for at in range(1, len(line)):
        if rng.random() < 0.5:  # noqa: PLR2004  share
            line[at, 2] = line[at - 1, 2]
    return line


def staccato(rng: np.random.Generator, line: Line) -> Line:
    """Return ``line`` with every note cut to 40 to 120 ms at most."""
    longest = rng.uniform(0.04, 0.1) * rng.uniform(0.8, 1.25, len(line))
    return np.column_stack([line[:, 0], np.minimum(line[:, 1], line[:, 0] + longest), line[:, 2]])
