"""Lines that state the meter and devices that rub against it, as teachers name them.

What is in the groove and what is against it is common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from batch.model import Note

TEMPOS = (60, 76, 96, 120, 144, 176, 208, 236, 260)
FASTEST_IOI_S = 0.055
"""Lines faster than this are not played."""

USUAL_VELOCITY, ACCENT = 80, 112


@dataclass(frozen=True, slots=True)
class Line:
    """Onsets in beats, what each note's pitch is made from, accents, and the meter."""

    onsets: tuple[float, ...]
    against: bool
    meter: tuple[int, int] = (4, 4)
    group: int | None = None
    """Notes of the contour that is repeated; None where the pitches are free."""
    accent_every: int | None = None
    lag_s: float = 0.0
    swing: float = 1.0
    words: tuple[str, ...] = ()
    """What the device may be called."""


def steady(step: float, beats: float, start: float = 0.0) -> tuple[float, ...]:
    """Return onsets ``step`` beats apart."""
    count = round((beats - start) / step)
    return tuple(start + step * i for i in range(count))


def grouped(step: float, pattern: Sequence[bool], repeats: int) -> tuple[float, ...]:
    """Return onsets of a pattern of notes and rests, repeated."""
    cells = list(pattern) * repeats
    return tuple(i * step for i, struck in enumerate(cells) if struck)


IN_GROOVE = {
    "quarters": Line(steady(1, 8), False),
    "halves": Line(steady(2, 16), False),
    "straight eighths": Line(steady(0.5, 8), False),
    "lightly swung eighths": Line(steady(0.5, 8), False, swing=1.4),
    "swung eighths": Line(steady(0.5, 8), False, swing=2.0),
    "hard swung eighths": Line(steady(0.5, 8), False, swing=2.6),
    "triplet eighths": Line(steady(1 / 3, 8), False),
    "sixteenths": Line(steady(0.25, 8), False),
    "eighths laid back": Line(steady(0.5, 8), False, lag_s=0.04),
    "swung eighths laid back": Line(steady(0.5, 8), False, swing=1.7, lag_s=0.03),
    "a lone anticipation": Line((0, 1, 2, 3, 3.5, 5, 6, 7, 8), False),
    "quarters and eighths": Line((0, 1, 1.5, 2, 3, 3.5, 4, 4.5, 5, 6, 7), False),
    "eighths in groups of four": Line(steady(0.5, 12), False, group=4),
    "triplets in groups of three": Line(steady(1 / 3, 8), False, group=3),
    "sixteenths in groups of four": Line(steady(0.25, 8), False, group=4),
    "eighths with accents on the beat": Line(steady(0.5, 8), False, accent_every=2),
    "dotted eighth and sixteenth": Line(grouped(0.25, [1, 0, 0, 1], 8), False),
    "eighth and two sixteenths": Line(grouped(0.25, [1, 0, 1, 1], 8), False),
    "long eighth lines": Line(steady(0.5, 24), False),
    "long sixteenth lines": Line(steady(0.25, 16), False),
    "long triplet lines": Line(steady(1 / 3, 16), False),
    "waltz quarters": Line(steady(1, 12), False, meter=(3, 4)),
    "waltz eighths": Line(steady(0.5, 12), False, meter=(3, 4)),
    "waltz eighths in groups of six": Line(steady(0.5, 12), False, meter=(3, 4), group=6),
    "eighths in seven eight": Line(steady(1, 28), False, meter=(7, 8)),
    "quarters and eighths in five eight": Line(grouped(1, [1, 0, 1, 1, 1], 5), False, meter=(5, 8)),
    "eighths in six eight": Line(steady(1 / 3, 8), False, meter=(6, 8)),
    "quarter and eighth in twelve eight": Line(grouped(1 / 3, [1, 0, 1], 8), False, meter=(12, 8)),
}

AGAINST_GROOVE = {
    "off-beat eighths": Line(steady(1, 8.5, 0.5), True, words=("off-beats",)),
    "swung off-beat eighths": Line(steady(1, 8.5, 0.5), True, swing=2.0, words=("off-beats",)),
    "dotted quarters": Line(steady(1.5, 13.5), True, words=("dotted quarters",)),
    "dotted eighths": Line(steady(0.75, 9), True, words=("dotted eighths",)),
    "threes over eighths": Line(steady(0.5, 9), True, group=3, words=("threes over eighths",)),
    "threes over swung eighths": Line(
        steady(0.5, 9), True, group=3, swing=1.8, words=("threes over eighths",)
    ),
    "fives over eighths": Line(steady(0.5, 10), True, group=5, words=("fives over eighths",)),
    "threes over sixteenths": Line(steady(0.25, 6), True, group=3, words=("threes over sixteenths",)),
    "fives over sixteenths": Line(steady(0.25, 7.5), True, group=5, words=("fives over sixteenths",)),
    "sevens over eighths": Line(steady(0.5, 14), True, group=7, words=("sevens over eighths",)),
    "accents in threes": Line(steady(0.5, 12), True, accent_every=3, words=("threes over eighths",)),
    "accents in fives": Line(steady(0.5, 15), True, accent_every=5, words=("fives over eighths",)),
    "two eighths and a rest": Line(grouped(0.5, [1, 1, 0], 6), True, words=("threes over eighths",)),
    "two sixteenths and a rest": Line(grouped(0.25, [1, 1, 0], 8), True, words=("threes over sixteenths",)),
    "four eighths and a rest": Line(grouped(0.5, [1, 1, 1, 1, 0], 4), True, words=("fives over eighths",)),
    "quarter triplets": Line(steady(2 / 3, 8), True, words=("quarter triplets",)),
    "five over four": Line(steady(0.8, 8), True, words=("five over four",)),
    "seven over four": Line(steady(4 / 7, 8), True, words=("seven over four",)),
    "half triplets": Line(steady(4 / 3, 16), True, words=("half triplets",)),
    "fours over triplets": Line(
        steady(1 / 3, 8), True, group=4, words=("fours over triplets", "twos over triplets")
    ),
    "two over three": Line(steady(1.5, 15), True, meter=(3, 4), words=("two over three",)),
    "four over three": Line(steady(0.75, 12), True, meter=(3, 4), words=("four over three",)),
    "five over three": Line(steady(0.6, 9), True, meter=(3, 4), words=("five over three",)),
    "quarters over six eight": Line(
        steady(2 / 3, 8), True, meter=(6, 8), words=("quarters across the beat",)
    ),
    "hemiola of eighths": Line(steady(0.5, 12), True, meter=(3, 4), group=4, words=("hemiola",)),
    "hemiola of halves": Line(steady(2, 16), True, meter=(3, 4), words=("hemiola",)),
    "duplets in six eight": Line(steady(0.5, 8), True, meter=(6, 8), words=("two over three",)),
}


def swinging(swing: float, beats: int, rng: np.random.Generator) -> Line:
    """Return a line of beats with and without off-beats, a triplet here and there."""
    kinds = ((0, 0.5), (0,), (0.5,), (0, 1 / 3, 2 / 3), ())
    chosen = rng.choice(len(kinds), beats, p=(0.6, 0.12, 0.08, 0.1, 0.1))
    onsets = tuple(beat + part for beat, kind in enumerate(chosen) for part in kinds[kind])
    return Line(onsets, against=False, swing=swing)


def playable(line: Line, tempo_bpm: float) -> bool:
    """Return whether a player could keep up."""
    return float(np.diff(line.onsets).min()) * 60 / tempo_bpm >= FASTEST_IOI_S


def perform(
    line: Line,
    tempo_bpm: float,
    rng: np.random.Generator,
    *,
    human_s: float = 0.009,
    start_beats: float = 0.0,
    articulation: float = 0.85,
) -> tuple[Note, ...]:
    """Play a line with new pitches, human timing and touch."""
    beat_s = 60 / tempo_bpm
    beats = np.array(line.onsets)
    whole, part = np.floor(beats + 1e-9), beats - np.floor(beats + 1e-9)
    swung = np.isclose(part, 0.5) & (line.swing > 1)
    beats = np.where(swung, whole + line.swing / (1 + line.swing), beats) + start_beats
    onsets = np.sort(beats * beat_s + line.lag_s + rng.normal(0, human_s, len(beats)))
    gaps = np.append(np.diff(onsets), np.median(np.diff(onsets)))
    lengths = np.maximum(gaps * (articulation + rng.uniform(-0.1, 0.1, len(gaps))), 0.03)
    pitches = melody(len(onsets), line.group, rng)
    velocities = USUAL_VELOCITY + rng.normal(0, 4, len(onsets))
    if line.accent_every:
        velocities[:: line.accent_every] = ACCENT + rng.normal(0, 3, len(velocities[:: line.accent_every]))
    # 40 log10(velocity / 127) dB: General MIDI 2, note-on velocity.
    loudness = 40 * np.log10(np.clip(velocities, 1, 127) / 127)
    return tuple(
        Note(float(a), float(a + n), float(p), float(d))
        for a, n, p, d in zip(onsets, lengths, pitches, loudness, strict=True)
    )


def melody(count: int, group: int | None, rng: np.random.Generator) -> np.ndarray:
    """Return pitches: one contour of ``group`` notes carried through the scale, or a free line."""
    scale = np.array([0, 2, 4, 5, 7, 9, 11])
    if group is None:
        steps = rng.choice([-4, -3, -2, -1, -1, -1, 1, 1, 1, 2, 3, 4], count)
        degree = np.cumsum(steps)
    else:
        contour = _contour(group, rng)
        moves = np.cumsum(rng.choice([-2, -1, 0, 1, 2], count // group + 1))
        degree = np.array([contour[i % group] + moves[i // group] for i in range(count)])
    degree = _folded(degree - degree[0], 9)
    return 62 + scale[degree % 7] + 12 * (degree // 7)


def _contour(group: int, rng: np.random.Generator) -> np.ndarray:
    """Return degrees that move, and whose way back to the start differs from its steps."""
    while True:
        contour = np.concatenate([[0], np.cumsum(rng.choice([-3, -2, -1, 1, 2, 3], group - 1))])
        steps = np.diff(np.append(contour, contour[0]))
        if np.abs(contour).max() <= 6 and len(set(steps)) > 1 and steps[-1] != 0:
            return contour


def _folded(degree: np.ndarray, reach: int) -> np.ndarray:
    """Turn a line back where it would leave the instrument."""
    period = 4 * reach
    return reach - np.abs((degree - reach) % period - 2 * reach) if np.abs(degree).max() > reach else degree
