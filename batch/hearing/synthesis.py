"""Lines sung, blown and plucked by plain additive synthesis, speech, and noise: material for ``fit``.

What sampled instruments do not do: glide into a note and out of it, wobble by a semitone, change
vowel in mid-note, put consonants before it, and be a third of a semitone out of tune.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter

from batch.hearing.noise import RATE_HZ, Samples, rms

Range = tuple[float, float]

PARTIALS, TOP_HZ = 40, 9_000.0
TIE_S = 0.06  # notes closer than this may be tied
HELD_S = 0.2  # shorter notes have no vibrato
AUDIBLE = 0.1  # of its full level, -20 dB: a slow attack is heard as begun
# Formants (Hz) of a, i, u, e, o: Peterson & Barney 1952, J. Acoust. Soc. Am. 24(2), men, rounded.
VOWELS = np.array(
    [[730, 1090, 2440], [270, 2290, 3010], [300, 870, 2240], [530, 1840, 2480], [570, 840, 2410]], dtype=float
)


@dataclass(frozen=True, slots=True)
class Manner:
    """How a line is sounded: ranges from which each take or note draws. Semitones, seconds, shares."""

    slower: Range
    centres: Sequence[int]
    tuning: float
    intonation: float
    glide_s: Range
    attack_s: Range
    vibrato: Range
    scoops: float
    legato: float
    consonants: float
    decay: Range  # nepers a second
    vowels: bool


SUNG = Manner(
    slower=(1.0, 2.6),
    centres=(50, 57, 62, 67, 72),
    tuning=0.3,
    intonation=0.12,
    glide_s=(0.02, 0.09),
    attack_s=(0.015, 0.09),
    vibrato=(0.1, 0.75),
    scoops=0.5,
    legato=0.5,
    consonants=0.5,
    decay=(0.0, 0.3),
    vowels=True,
)
BLOWN = Manner(
    slower=(1.0, 1.6),
    centres=(43, 48, 55, 62, 68, 76),
    tuning=0.15,
    intonation=0.04,
    glide_s=(0.002, 0.04),
    attack_s=(0.015, 0.12),
    vibrato=(0.0, 0.5),
    scoops=0.2,
    legato=0.45,
    consonants=0.0,
    decay=(0.0, 0.3),
    vowels=False,
)
PLUCKED = Manner(
    slower=(1.0, 1.6),
    centres=(40, 48, 55, 62, 68),
    tuning=0.15,
    intonation=0.03,
    glide_s=(0.002, 0.01),
    attack_s=(0.001, 0.008),
    vibrato=(0.0, 0.3),
    scoops=0.1,
    legato=0.15,
    consonants=0.0,
    decay=(1.0, 8.0),
    vowels=False,
)
MANNERS = {"sung": SUNG, "blown": BLOWN, "plucked": PLUCKED}


@dataclass(frozen=True, slots=True)
class Vibrato:
    """How a player's pitch turns about itself."""

    semitones: float
    turns_hz: float


@dataclass(slots=True)
class Curves:
    """What a take does sample by sample, each (n,): MIDI pitch, level, vowel, hiss, closed mouth."""

    pitch: Samples
    level: Samples
    vowel: NDArray[np.int64]
    hiss: Samples
    closed: Samples

    @classmethod
    def of(cls, count: int, pitch: float) -> "Curves":
        """Start with silence."""
        zeros = [np.zeros(count) for _ in range(3)]
        return cls(np.full(count, pitch), zeros[0], np.zeros(count, np.int64), zeros[1], zeros[2])


def synthesised(
    rng: np.random.Generator, line: Samples, manner: Manner, count: int
) -> tuple[Samples, Samples]:
    """Return ``count`` samples of ``line`` (n, 3) and its notes as they came out: in tune with themselves."""
    line = line.copy()
    line[:, 2] += rng.uniform(-manner.tuning, manner.tuning) + rng.normal(0.0, manner.intonation, len(line))
    curves = Curves.of(count, float(line[0, 2]))
    attack_s, decay = rng.uniform(*manner.attack_s), rng.uniform(*manner.decay)
    legato = manner.legato * rng.uniform(0.0, 2.0)
    vibrato = Vibrato(rng.uniform(*manner.vibrato), rng.uniform(4.5, 7.0))
    tied = False
    for at, (onset, offset, pitch) in enumerate(line):
        until = line[at + 1, 0] if at + 1 < len(line) else count / RATE_HZ
        ties = bool(until - offset < TIE_S and rng.random() < legato)
        start, stop = int(onset * RATE_HZ), min(int(until * RATE_HZ), count)
        curves.pitch[start:stop] = pitch + moving(rng, stop - start, offset - onset, vibrato, manner.scoops)
        curves.vowel[start:stop] = rng.integers(len(VOWELS))
        sounding = (stop if ties else min(int(offset * RATE_HZ), stop)) - start
        envelope, begun_s = shaped(rng, sounding, attack_s, decay, tied=tied, ties=ties)
        curves.level[start : start + sounding] = envelope * stressed(rng)
        line[at, 0] += begun_s
        if not tied and rng.random() < manner.consonants:
            consonant(rng, curves, start)
        tied = ties
    curves.pitch = gaussian_filter1d(curves.pitch, rng.uniform(*manner.glide_s) * RATE_HZ / 3.0)
    return sounded(rng, curves, vowels=manner.vowels), line


def stressed(rng: np.random.Generator) -> float:
    """Return a note's or syllable's level against the others, as a factor."""
    return float(10.0 ** (rng.normal(0.0, 4.0) / 20.0))


def moving(rng: np.random.Generator, count: int, length_s: float, vibrato: Vibrato, scoops: float) -> Samples:
    """Return (count,) how a note's pitch moves about its own: vibrato where it is held, a scoop, a fall."""
    t = np.arange(count) / RATE_HZ
    moves = np.zeros(count)
    if length_s > HELD_S:
        since = np.maximum(t - rng.uniform(0.05, 0.3), 0.0)
        turns = np.sin(2.0 * np.pi * vibrato.turns_hz * rng.uniform(0.9, 1.1) * since)
        moves += vibrato.semitones * rng.uniform(0.5, 1.3) * np.minimum(since / 0.15, 1.0) * turns
    if rng.random() < scoops:
        depth = rng.choice([1, 1, 1, -1]) * rng.uniform(0.5, 4.0)
        moves -= depth * np.exp(-3.0 * t / rng.uniform(0.04, 0.18))
    if rng.random() < scoops / 2.0:
        left = np.maximum(length_s - t, 0.0)
        moves -= rng.uniform(0.5, 5.0) * np.exp(-3.0 * left / rng.uniform(0.03, 0.12))
    return moves


def shaped(
    rng: np.random.Generator, count: int, attack_s: float, decay: float, *, tied: bool, ties: bool
) -> tuple[Samples, float]:
    """Return (count,) a note's level, 0 to 1, and after how many seconds it is heard as begun."""
    envelope = np.exp(-decay * np.arange(count) / RATE_HZ)
    begun_s = 0.0
    if tied:
        dip = min(int(0.03 * RATE_HZ), count)
        depth = 1.0 - 10.0 ** (-rng.uniform(0.0, 10.0) / 20.0)
        envelope[:dip] *= 1.0 - depth * np.cos(np.linspace(0.0, np.pi / 2.0, dip)) ** 2
    else:
        rise = max(min(int(attack_s * rng.uniform(0.5, 1.5) * RATE_HZ), count), 1)
        power = float(rng.choice([1, 2]))
        envelope[:rise] *= np.linspace(0.0, 1.0, rise) ** power
        begun_s = AUDIBLE ** (1.0 / power) * rise / RATE_HZ
    if not ties:
        fall = max(min(int(rng.uniform(0.02, 0.08) * RATE_HZ), count // 2), 1)
        envelope[-fall:] *= np.linspace(1.0, 0.0, fall)
    return envelope, begun_s


def consonant(rng: np.random.Generator, curves: Curves, at: int) -> None:
    """Put before sample ``at`` either hiss (s, f, t) or a closed voice, low and dull (m, n, l)."""
    before = slice(max(at - int(rng.uniform(0.03, 0.12) * RATE_HZ), 0), at)
    if rng.random() < 0.5:  # noqa: PLR2004  share
        curves.hiss[before] = rng.uniform(0.05, 0.5)
        curves.level[before] *= 0.1
    else:
        curves.level[before] = 10.0 ** (-rng.uniform(4.0, 16.0) / 20.0)
        curves.closed[before] = 1.0
        curves.pitch[before] = curves.pitch[min(at, len(curves.pitch) - 1)] - rng.uniform(0.0, 3.0)


def sounded(rng: np.random.Generator, curves: Curves, *, vowels: bool) -> Samples:
    """Return the sound of ``curves``: partials under moving formants, breath, and hiss."""
    wander = gaussian_filter1d(rng.standard_normal(len(curves.pitch)), 0.01 * RATE_HZ) * rng.uniform(0.0, 1.0)
    hz = 440.0 * 2.0 ** ((curves.pitch + wander - 69.0) / 12.0)
    table = (
        VOWELS * rng.uniform(0.85, 1.2)
        if vowels
        else np.tile(rng.uniform([300, 900, 2000], [900, 2000, 4000]), (5, 1))
    )
    formants = [gaussian_filter1d(table[curves.vowel, i], 0.012 * RATE_HZ) for i in range(table.shape[1])]
    widths, tilt = rng.uniform(60.0, 300.0, len(formants)), rng.uniform(-1.8, -0.3)
    hollow = 0.0 if vowels else rng.choice([0.0, 0.0, 0.5, 0.9])
    phase, voice = 2.0 * np.pi * np.cumsum(hz) / RATE_HZ, np.zeros(len(hz))
    for k in range(1, PARTIALS + 1):
        if k * hz.min() > TOP_HZ:
            break
        gain = 0.01 + sum(
            1.0 / (1.0 + ((k * hz - f) / w) ** 2) for f, w in zip(formants, widths, strict=True)
        )
        gain *= (np.maximum(k * hz, 50.0) / 200.0) ** tilt * (k * hz < TOP_HZ) * (1.0 - hollow * (k % 2 == 0))
        voice += gain * np.sin(k * phase + rng.uniform(0.0, 2.0 * np.pi))
    voice /= rms(voice)
    dull = lfilter([0.06], [1.0, -0.94], voice)
    closed = gaussian_filter1d(curves.closed, 0.006 * RATE_HZ)
    voice += closed * (dull / rms(dull) - voice)
    breath = lfilter([1.0, -0.8], [1.0], rng.standard_normal(len(hz)))
    level = gaussian_filter1d(curves.level, 0.002 * RATE_HZ)
    loudness = level * 10.0 ** (-rng.uniform(18.0, 45.0) / 20.0) + gaussian_filter1d(
        curves.hiss, 0.004 * RATE_HZ
    )
    return np.asarray(voice * level + breath / rms(breath) * loudness)
