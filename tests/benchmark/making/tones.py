"""Tones by plain additive synthesis, so that attack, pitch and overlap are known to the sample."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from batch.hearing.training.noise import RATE_HZ

from .takes import Line

Sound = NDArray[np.float64]

TOP_HZ = 9_000.0
AUDIBLE = 0.1  # of its level, -20 dB: where a slow attack is taken to have begun
END_S = 0.4


@dataclass(frozen=True, slots=True)
class Timbre:
    """Partials' weights, how fast they die (nepers a second: the first, more for each further), edges."""

    weights: tuple[float, ...]
    decay: tuple[float, float] = (0.0, 0.0)
    attack_s: float = 0.015
    release_s: float = 0.03
    drive: float = 0.0


STRING = Timbre(tuple(1.0 / k for k in range(1, 13)), decay=(2.0, 1.2), attack_s=0.002, release_s=0.04)
REED = Timbre((1.0, 0.8, 0.9, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15, 0.1))
HOLLOW = Timbre((1.0, 0.03, 0.6, 0.03, 0.4, 0.03, 0.25, 0.02, 0.15), attack_s=0.02)
FLUTE = Timbre((1.0, 0.35, 0.15, 0.05), attack_s=0.03)
DRIVEN = replace(STRING, drive=6.0)
VOICE = Timbre((0.5, 0.9, 1.0, 0.5, 0.25, 0.2, 0.3, 0.25, 0.1, 0.05), attack_s=0.04, release_s=0.05)
BELL = Timbre((1.0, 0.0, 0.0, 0.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.08), decay=(1.2, 0.9), attack_s=0.002)
TIMBRES = {"string": STRING, "reed": REED, "hollow": HOLLOW, "driven": DRIVEN}


def sounded(pitch: Sound, level: Sound, timbre: Timbre) -> Sound:
    """Return the tone of MIDI pitch and level given for every sample, both (n,); its phase is unbroken."""
    hz = 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)
    phase = 2.0 * np.pi * np.cumsum(hz) / RATE_HZ
    time_s = np.arange(len(pitch)) / RATE_HZ
    sound = np.zeros(len(pitch))
    for at, weight in enumerate(timbre.weights):
        dies = np.exp(-(timbre.decay[0] + timbre.decay[1] * at) * time_s)
        sound += weight * dies * ((at + 1) * hz < TOP_HZ) * np.sin((at + 1) * phase + at)
    return sound * level


def edges(count: int, timbre: Timbre) -> Sound:
    """Return a level (count,) that rises within the attack and falls within the release."""
    time_s = np.arange(count) / RATE_HZ
    left_s = (count - 1) / RATE_HZ - time_s
    return np.minimum(time_s / timbre.attack_s, 1.0) * np.clip(left_s / timbre.release_s, 0.0, 1.0)


def line_of(line: Line, timbre: Timbre, *, gains: Sound | None = None, ring_s: float = 0.0) -> Sound:
    """Return ``line`` (n, 3), each note a tone of its own that rings on for ``ring_s`` after its end."""
    sound = np.zeros(int((line[:, 1].max() + ring_s + END_S) * RATE_HZ))
    for at, (onset, offset, pitch) in enumerate(line):
        count = int((offset - onset + ring_s + timbre.release_s) * RATE_HZ)
        tone = sounded(np.full(count, pitch), edges(count, timbre), timbre)
        first = round(onset * RATE_HZ)
        sound[first : first + count] += tone * (1.0 if gains is None else gains[at])
    return np.tanh(timbre.drive * sound / np.abs(sound).max()) if timbre.drive else sound


def held(moves: Sound, line: Line, timbre: Timbre) -> Sound:
    """Return ``line`` with every note's pitch moved by ``moves`` (m,), semitones from its onset on."""
    sound = np.zeros(int((line[:, 1].max() + END_S) * RATE_HZ))
    for onset, offset, pitch in line:
        count = int((offset - onset) * RATE_HZ)
        curve = pitch + np.pad(moves, (0, max(0, count - len(moves))), mode="edge")[:count]
        first = round(onset * RATE_HZ)
        sound[first : first + count] += sounded(curve, edges(count, timbre), timbre)
    return np.tanh(timbre.drive * sound / np.abs(sound).max()) if timbre.drive else sound
