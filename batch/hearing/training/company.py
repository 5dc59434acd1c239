"""What sounds beside a line: a band, a click, chords of the player's own. Material for ``fit``."""

from collections.abc import Iterator

import mido
import numpy as np

from batch.hearing.training.lines import TAKE_S, Line
from batch.hearing.training.performers import Event

PERCUSSION = 9  # the General MIDI drum channel
COUNTS_IN = (33, 34, 37, 42, 44, 51, 56, 75, 76, 77)  # drum sounds that mark a beat
QUALITIES: tuple[tuple[int, ...], ...] = (
    (0, 4, 7, 11),
    (0, 3, 7, 10),
    (0, 4, 7, 10),
    (0, 3, 6, 10),
    (0, 4, 7),
    (0, 3, 7),
    (0, 5, 7),
)
# Steps of two bars in eighths: what a drummer strikes (General MIDI drum sounds).
GROOVES = (
    {51: (0, 2, 3, 4, 6, 7, 8, 10, 11, 12, 14, 15), 44: (2, 6, 10, 14)},
    {42: tuple(range(16)), 36: (0, 5, 8, 11), 38: (4, 12)},
    {42: tuple(range(16)), 36: (0, 3, 6, 8, 11, 14), 37: (0, 3, 6, 10, 12)},
    {46: (2, 6, 10, 14), 36: (0, 4, 8, 12), 38: (4, 12)},
)
LOWEST_STRING = 40  # MIDI pitch of a guitar's


def struck(at_s: float, for_s: float, note: int, *, channel: int, velocity: int = 75) -> Iterator[Event]:
    """Yield one note."""
    yield float(at_s), mido.Message("note_on", note=note, velocity=velocity, channel=channel)
    yield float(at_s + for_s), mido.Message("note_off", note=note, channel=channel)


def band(rng: np.random.Generator) -> Iterator[Event]:
    """Yield a band, each player there most of the time: a bass, chords, drums."""
    there = rng.random(3) < np.array([0.85, 0.75, 0.75])
    there[rng.integers(3)] = True
    beat_s = 60.0 / rng.uniform(80.0, 240.0)
    yield 0.0, mido.Message("program_change", program=int(rng.choice([32, 32, 33, 35])), channel=1)
    yield 0.0, mido.Message("program_change", program=int(rng.choice([0, 0, 1, 4, 16, 25, 26])), channel=2)
    if there[0]:
        yield from bass_and_chords(rng, beat_s, bass=True)
    if there[1]:
        yield from bass_and_chords(rng, beat_s, bass=False)
    if there[2]:
        yield from drums(rng, beat_s)


def bass_and_chords(rng: np.random.Generator, beat_s: float, *, bass: bool) -> Iterator[Event]:
    """Yield either a walking bass or comping chords, a chord every two bars."""
    often, velocity = rng.uniform(0.15, 0.6), int(rng.integers(55, 95))
    root, quality = 40, QUALITIES[0]
    for beat, at in enumerate(np.arange(0.1, TAKE_S - 1.0, beat_s)):
        if beat % 8 == 0:
            root, quality = int(rng.integers(34, 46)), QUALITIES[rng.integers(len(QUALITIES))]
        if bass:
            yield from struck(at, 0.9 * beat_s, root + int(rng.choice(quality)), channel=1, velocity=velocity)
        elif rng.random() < often:
            late, length = rng.choice([0.0, 0.5]) * beat_s, rng.choice([0.2, 0.8, 1.6]) * beat_s
            for third in quality:
                yield from struck(at + late, length, root + 16 + third, channel=2, velocity=velocity)


def drums(rng: np.random.Generator, beat_s: float) -> Iterator[Event]:
    """Yield one of some plain drum patterns."""
    groove = GROOVES[rng.integers(len(GROOVES))]
    for bar in np.arange(0.1, TAKE_S - 1.0, 8.0 * beat_s):
        for sound, steps in groove.items():
            for step in steps:
                at = bar + step * beat_s / 2.0
                if at < TAKE_S - 1.0 and rng.random() < 0.9:  # noqa: PLR2004  share
                    velocity = int(rng.integers(50, 100))
                    yield from struck(at, 0.1, sound, channel=PERCUSSION, velocity=velocity)


def ticks(rng: np.random.Generator) -> Iterator[Event]:
    """Yield a click."""
    sound = int(rng.choice(COUNTS_IN))
    for at in np.arange(0.1, TAKE_S - 1.0, 60.0 / rng.uniform(60.0, 280.0)):
        yield from struck(at, 0.1, sound, channel=PERCUSSION)


def own_chords(rng: np.random.Generator, line: Line) -> Iterator[Event]:
    """Yield softer notes the player of ``line`` strikes under some of its notes: thirds, sixths, chords."""
    share, single = rng.uniform(0.1, 0.4), rng.random() < 0.4  # noqa: PLR2004  share
    for onset, offset, pitch in line:
        if rng.random() < share:
            below = rng.choice([[3], [4], [9], [12]] if single else [[5, 9], [4, 9], [5, 8], [3, 9]])
            for interval in below:
                if pitch - interval >= LOWEST_STRING:
                    yield from struck(
                        onset,
                        offset - onset,
                        int(pitch - interval),
                        channel=0,
                        velocity=int(rng.integers(50, 80)),
                    )


def strummed(rng: np.random.Generator) -> tuple[list[Event], Line]:
    """Return chords struck together or strummed, and their line: each one's top voice, at the stroke."""
    beat_s, spread_s = 60.0 / rng.uniform(60.0, 200.0), rng.choice([0.0, rng.uniform(0.005, 0.045)])
    events: list[Event] = []
    line: list[tuple[float, float, float]] = []
    at, chord = rng.uniform(0.2, 1.0), np.array([48, 52, 55, 60])
    voices = int(rng.integers(3, 7))
    while at < TAKE_S - 2.0:
        if rng.random() < 0.4:  # noqa: PLR2004  share
            tones = np.array(QUALITIES[rng.integers(len(QUALITIES))]) + rng.integers(40, 52)
            chord = np.sort(np.concatenate([tones, tones + 12, tones + 24]))[rng.integers(0, 3) :][:voices]
        step = float(rng.choice([0.5, 0.5, 1.0, 1.0, 1.5, 2.0])) * beat_s
        length = step * rng.uniform(0.3, 1.0)
        order = chord if rng.random() < 0.7 else chord[::-1]  # noqa: PLR2004  share
        velocity = int(rng.integers(60, 110))
        for place, note in enumerate(order):
            late = spread_s * place / len(chord)
            events += struck(
                at + late, max(length - late - 0.005, 0.03), int(note), channel=0, velocity=velocity
            )
        line.append((at, at + length, float(chord[-1])))
        at += step
    return events, np.array(line)
