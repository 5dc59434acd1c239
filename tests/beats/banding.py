"""Backings made for tests: drums, bass and chords by plain synthesis, every beat known.

Neither the sounds nor the patterns are those that the network was fitted on.
"""

from dataclasses import dataclass

import numpy as np

from .clicking import Clicked, Samples, Sound, as_sound, put

RATE_HZ = 22_050
ROOTS = (45, 50, 43, 48)  # A D G C: MIDI pitches of the bass


def kick() -> Sound:
    """Return a sine that falls from 150 to 50 Hz."""
    t = np.arange(int(0.18 * RATE_HZ)) / RATE_HZ
    return np.sin(2 * np.pi * (50 * t + 2.5 * (1 - np.exp(-t / 0.025)))) * np.exp(-t / 0.05)


def snare() -> Sound:
    """Return noise with a tone of 190 Hz."""
    t = np.arange(int(0.16 * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(1).standard_normal(len(t))
    return 0.5 * (noise + np.sin(2 * np.pi * 190 * t)) * np.exp(-t / 0.035)


def cymbal(ring_s: float) -> Sound:
    """Return bright noise that dies within ``ring_s``: a hi-hat, or a ride."""
    count = int(ring_s * RATE_HZ)
    noise = np.diff(np.random.default_rng(2).standard_normal(count + 1))
    return 0.25 * noise * np.exp(-5 * np.arange(count) / count)


def tone(pitch: float, length_s: float, *, bright: float = 0.6) -> Sound:
    """Return a plucked tone, its overtones weaker by ``bright`` each."""
    t = np.arange(int(length_s * RATE_HZ)) / RATE_HZ
    hz = 440 * 2 ** ((pitch - 69) / 12)
    sound = sum(bright**k * np.sin(2 * np.pi * k * hz * t) * np.exp(-2.5 * k * t) for k in range(1, 8))
    edges = np.minimum(1.0, np.minimum(t / 0.004, (t[-1] - t) / 0.02))
    return 0.3 * np.asarray(sound) * edges


@dataclass(frozen=True, slots=True)
class Groove:
    """Where in the bar (beats from 0) each plays."""

    beats: int
    kick: tuple[float, ...]
    snare: tuple[float, ...]
    cymbal: tuple[float, ...]
    bass: tuple[float, ...]
    chords: tuple[float, ...]
    ring_s: float = 0.06


GROOVES = {
    "rock": Groove(
        4, (0, 2), (1, 3), (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5), (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5), (0, 2)
    ),
    "swing": Groove(4, (), (), (0, 1, 1.66, 2, 3, 3.66), (0, 1, 2, 3), (0, 1.66), 0.25),
    "bossa": Groove(4, (0, 1.5, 2, 3.5), (), (0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5), (0, 1.5, 2, 3.5), (0, 1, 2.5)),
    "shuffle": Groove(4, (0, 2), (1, 3), (0, 0.66, 1, 1.66, 2, 2.66, 3, 3.66), (0, 1, 2, 3), (0, 2)),
    "waltz": Groove(3, (0,), (), (0, 1, 2), (0,), (1, 2), 0.2),
    "6/8": Groove(2, (0,), (1,), (0, 0.333, 0.667, 1, 1.333, 1.667), (0, 1), (0,)),
    "ballad": Groove(4, (0, 2), (1, 3), (0, 0.66, 1, 1.66, 2, 2.66, 3, 3.66), (0, 2), (0,)),
}


def backing(name: str, tempo_bpm: float, seconds: float, *, without: str = "", seed: int = 0) -> Clicked:
    """Return a groove played by hand: 8 ms to either side, some strokes harder, one chord a bar."""
    rng = np.random.default_rng(seed)
    groove = GROOVES[name]
    count = int(seconds * tempo_bpm / 60)
    spans = 60 / tempo_bpm * (1 + rng.normal(0, 0.004, count))
    beats_s = 0.3 + np.cumsum(spans) - spans[0]
    sound = np.zeros(int((beats_s[-1] + 0.7) * RATE_HZ))

    def play(what: Sound, bar: int, beat: float) -> None:
        place = np.interp(bar * groove.beats + beat, np.arange(count), beats_s)
        put(sound, what * rng.uniform(0.7, 1.1), max(0.0, place + rng.normal(0, 0.008)), RATE_HZ)

    for bar in range(count // groove.beats):
        root = ROOTS[bar % len(ROOTS)]
        if "drums" not in without:
            for strokes, drum in (
                (groove.kick, kick()),
                (groove.snare, snare()),
                (groove.cymbal, cymbal(groove.ring_s)),
            ):
                for beat in strokes:
                    play(drum, bar, beat)
        if "bass" not in without:
            for at, beat in enumerate(groove.bass):
                play(tone(root - 12 + (0, 7, 12, 4)[at % 4], 0.8 * 60 / tempo_bpm), bar, beat)
        if "chords" not in without:
            for beat in groove.chords:
                for step in (12, 16, 19):
                    play(0.6 * tone(root + step, 1.2 * 60 / tempo_bpm, bright=0.4), bar, beat)
    numbers = np.arange(count) % groove.beats + 1
    return Clicked(as_sound(sound), RATE_HZ, beats_s, numbers)


def pad(seconds: float) -> Samples:
    """Return one chord that swells and never moves."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    chord = sum(np.sin(2 * np.pi * hz * t + hz) for hz in (110.0, 164.8, 220.0, 277.2, 329.6))
    return as_sound(chord * np.minimum(1.0, t / 2.0) * np.minimum(1.0, (t[-1] - t) / 2.0))
