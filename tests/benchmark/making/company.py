"""What the benchmark's sampled players do beside the written line: a band behind it, bends and vibrato."""

from collections.abc import Iterator

import mido
import numpy as np

BAND_S = 24.0  # s a band plays
BEND_RANGE = 2.0  # semitones of a full pitch wheel
PERCUSSION = 9  # the General MIDI drum channel


def bends(rng: np.random.Generator, onset: float, offset: float) -> Iterator[tuple[float, mido.Message]]:
    """Yield a note's vibrato (long notes, most) or scoop (others, some), and the wheel at rest before it."""
    t = np.arange(0.0, offset - onset, 0.006)
    semitones = np.zeros(len(t))
    if t[-1] > 0.25 and rng.random() < 0.7:
        since = np.maximum(t - rng.uniform(0.05, 0.2), 0.0)
        turns = np.sin(2.0 * np.pi * rng.uniform(4.5, 7.0) * since)
        semitones += rng.uniform(0.15, 0.65) * np.minimum(since / 0.15, 1.0) * turns
    if rng.random() < 0.25:
        semitones -= rng.uniform(0.5, 1.8) * np.clip(1.0 - t / rng.uniform(0.03, 0.09), 0.0, 1.0)
    for at, bend in zip(onset + t, semitones, strict=True):
        yield float(at), mido.Message("pitchwheel", pitch=round(bend / BEND_RANGE * 8191))


def band(rng: np.random.Generator) -> Iterator[tuple[float, mido.Message]]:
    """Yield a walking bass, off-beat chords and a ride cymbal."""
    yield 0.0, mido.Message("program_change", program=int(rng.choice([32, 33, 35])), channel=1)
    yield 0.0, mido.Message("program_change", program=int(rng.choice([0, 1, 4, 26])), channel=2)
    beat_s = 60.0 / rng.uniform(110.0, 220.0)
    root = 40
    for beat, at in enumerate(np.arange(0.1, BAND_S, beat_s)):
        root = int(rng.integers(34, 46)) if beat % 8 == 0 else root
        yield from struck(at, 0.9 * beat_s, root + int(rng.choice([0, 4, 7, 10, 12])), channel=1)
        yield from struck(at, 0.1, 51, channel=PERCUSSION)
        if beat % 4 == 1:
            for third in (16, 22, 26):
                yield from struck(at, 0.8 * beat_s, root + third, channel=2)


def struck(at_s: float, for_s: float, note: int, *, channel: int) -> Iterator[tuple[float, mido.Message]]:
    """Yield one note of the accompaniment."""
    yield float(at_s), mido.Message("note_on", note=note, velocity=75, channel=channel)
    yield float(at_s + for_s), mido.Message("note_off", note=note, channel=channel)
