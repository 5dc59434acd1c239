"""Lines played to known beats, and beats scored as mir_eval scores them."""

from collections.abc import Sequence

import mir_eval
import numpy as np
from performing import play

from batch.beats.pulse import Pulse
from batch.model import Note

BARS: dict[str, tuple[tuple[float, ...], ...]] = {
    "eighths": (
        (0, 0.5, 1, 1.5, 2, 2.5, 3),
        (0, 0.5, 1, 2, 2.5, 3, 3.5),
        (0, 1, 1.5, 2, 2.5),
        (0, 0.5, 1, 2),
    ),
    "swung": (
        (0, 2 / 3, 1, 5 / 3, 2, 8 / 3, 3),
        (0, 2 / 3, 1, 2, 8 / 3, 3, 11 / 3),
        (0, 1, 5 / 3, 2),
        (0, 2 / 3, 1),
    ),
    "sixteenths": ((0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.25, 2.5, 2.75, 3), (0, 0.5, 1, 1.25, 1.5, 1.75, 2, 3)),
    "quarters": ((0, 1, 2, 3), (0, 1, 2, 2.5, 3), (0, 1, 2), (0, 2)),
}
"""Figures of one bar of 4/4 that state the beat: most phrases begin on it and long notes stand on it."""


def figures(kind: str, bars: int, beats_per_bar: int = 4) -> list[float]:
    """Return onsets in beats: the figures of ``kind`` in turn."""
    cycle = BARS[kind]
    return [
        bar * beats_per_bar + at
        for bar in range(bars)
        for at in cycle[bar % len(cycle)]
        if at < beats_per_bar
    ]


def practised(kind: str, tempo_bpm: float, *, seconds: float = 45.0, seed: int = 1) -> tuple[Note, ...]:
    """Return a line of about ``seconds`` with human timing (9 ms), its first beat at 0 s."""
    bars = int(seconds * tempo_bpm / 240)
    pitches = np.random.default_rng(seed).integers(55, 80, 31).tolist()
    return play(figures(kind, bars), tempo_bpm, pitches=pitches, length_beats=0.4, human_s=0.009, seed=seed)


def free(seed: int, seconds: float = 60.0) -> tuple[Note, ...]:
    """Return notes to no beat: spacings drawn from an exponential distribution, three notes a second."""
    rng = np.random.default_rng(seed)
    onsets = np.cumsum(rng.exponential(1 / 3, int(3 * seconds)))
    return tuple(
        Note(float(t), float(t) + 0.1, float(pitch), -20.0)
        for t, pitch in zip(onsets[onsets < seconds], rng.integers(50, 80, len(onsets)), strict=False)
    )


def beat_f(pulse: Pulse, true_s: Sequence[float]) -> float:
    """Return mir_eval's beat F: 70 ms, the first 5 s left out."""
    trim = mir_eval.beat.trim_beats
    return float(mir_eval.beat.f_measure(trim(np.array(true_s)), trim(np.array(pulse.beats_s))))


def beats_of(tempo_bpm: float, seconds: float) -> list[float]:
    """Return steady beats from 0 s on."""
    return [60 / tempo_bpm * i for i in range(int(seconds * tempo_bpm / 60) + 1)]
