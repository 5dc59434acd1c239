"""Lines sung, blown, bowed and plucked by plain additive synthesis: material for ``fit``.

What sampled instruments do not do: glide into a note and out of it, wobble by a semitone, drift,
change vowel in mid-note, put consonants before it, growl, and be a third of a semitone out of tune.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.signal import lfilter

from batch.hearing.training.noise import RATE_HZ, Samples, rms

Range = tuple[float, float]

PARTIALS, TOP_HZ = 40, 9_000.0
CONTROL = 32  # samples, 1.5 ms: how often gains of partials are worked out
THERE = 0.84  # of a glide's deviation: 80 % of the way, where the new note is heard as begun
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
    drift: Range  # of the pitch within notes
    growls: float  # share of takes with a real subharmonic
    breath_db: Range


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
    drift=(0.0, 0.25),
    growls=0.05,
    breath_db=(-45.0, -15.0),
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
    drift=(0.0, 0.08),
    growls=0.2,
    breath_db=(-45.0, -12.0),
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
    drift=(0.0, 0.03),
    growls=0.0,
    breath_db=(-60.0, -30.0),
)
BOWED = Manner(
    slower=(1.0, 2.2),
    centres=(45, 52, 60, 67, 74),
    tuning=0.2,
    intonation=0.06,
    glide_s=(0.004, 0.06),
    attack_s=(0.04, 0.22),
    vibrato=(0.0, 0.45),
    scoops=0.15,
    legato=0.8,
    consonants=0.0,
    decay=(0.0, 0.3),
    vowels=False,
    drift=(0.0, 0.06),
    growls=0.0,
    breath_db=(-45.0, -20.0),
)
MANNERS = {"sung": SUNG, "blown": BLOWN, "bowed": BOWED, "plucked": PLUCKED}


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


def smooth(values: Samples, deviation: float) -> Samples:
    """Return ``values`` smoothed by a Gaussian of ``deviation`` samples, worked out on every few of them."""
    every = max(1, int(deviation / 8.0))
    coarse = gaussian_filter1d(values[::every], deviation / every)
    return coarse if every == 1 else _fine(coarse, every, len(values))


def _fine(coarse: Samples, every: int, count: int) -> Samples:
    return np.interp(np.arange(count), np.arange(len(coarse)) * every, coarse)


def wander(rng: np.random.Generator, count: int, over_s: float) -> Samples:
    """Return (count,) unit noise that changes within ``over_s``."""
    every = max(1, int(over_s * RATE_HZ / 8.0))
    coarse = gaussian_filter1d(rng.standard_normal(count // every + 2), 8.0)
    return _fine(coarse / rms(coarse), every, count)


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
    glide_s = rng.uniform(*manner.glide_s) / 3.0
    scoops = manner.scoops * rng.uniform(0.0, 2.0)
    tied = False
    for at, (onset, offset, pitch) in enumerate(line):
        until = line[at + 1, 0] if at + 1 < len(line) else count / RATE_HZ
        ties = bool(until - offset < TIE_S and rng.random() < legato)
        start, stop = int(onset * RATE_HZ), min(int(until * RATE_HZ), count)
        curves.pitch[start:stop] = pitch + moving(rng, stop - start, offset - onset, vibrato, scoops)
        curves.vowel[start:stop] = rng.integers(len(VOWELS))
        sounding = (stop if ties else min(int(offset * RATE_HZ), stop)) - start
        envelope, begun_s = shaped(rng, sounding, attack_s, decay, tied=tied, ties=ties)
        curves.level[start : start + sounding] = envelope * stressed(rng)
        line[at, 0] += THERE * glide_s if tied else begun_s
        if ties:
            line[at, 1] = until
        if not tied and rng.random() < manner.consonants:
            consonant(rng, curves, start)
        tied = ties
    curves.pitch = smooth(curves.pitch, glide_s * RATE_HZ)
    drift = rng.uniform(*manner.drift) * wander(rng, count, 0.15)
    curves.pitch += drift
    line[:, 2] += [drift[int(on * RATE_HZ) : int(off * RATE_HZ) + 1].mean() for on, off, _ in line]
    curves.level *= 10.0 ** (rng.uniform(0.0, 2.0) * wander(rng, count, 0.1) / 20.0)
    growl = rng.uniform(0.1, 0.6) if rng.random() < manner.growls else 0.0
    breath_db = rng.uniform(*manner.breath_db)
    return sounded(rng, curves, vowels=manner.vowels, growl=growl, breath_db=breath_db), line


def stressed(rng: np.random.Generator) -> float:
    """Return a note's or syllable's level against the others, as a factor."""
    return float(10.0 ** (rng.normal(0.0, 4.0) / 20.0))


def moving(rng: np.random.Generator, count: int, length_s: float, vibrato: Vibrato, scoops: float) -> Samples:
    """Return (count,) how a note's pitch moves about its own: vibrato where it is held, a scoop, a fall."""
    t = np.arange(count) / RATE_HZ
    moves = np.zeros(count)
    if length_s > HELD_S:
        since = np.maximum(t - rng.uniform(0.05, 0.4), 0.0)
        turns = np.sin(2.0 * np.pi * vibrato.turns_hz * rng.uniform(0.9, 1.1) * since)
        grown = np.minimum(since / rng.uniform(0.1, 0.5), 1.0)
        moves += vibrato.semitones * rng.uniform(0.3, 1.3) * grown * turns
    if rng.random() < scoops:
        depth = rng.choice([1, 1, 1, -1]) * rng.uniform(0.5, 4.0)
        depth *= min(1.0, length_s / HELD_S)
        moves -= depth * np.exp(-3.0 * t / min(rng.uniform(0.04, 0.18), length_s))
    if rng.random() < scoops / 2.0:
        left = np.maximum(length_s - t, 0.0)
        depth = rng.uniform(0.5, 5.0) * min(1.0, length_s / HELD_S)
        moves -= depth * np.exp(-3.0 * left / min(rng.uniform(0.03, 0.12), length_s))
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


def sounded(
    rng: np.random.Generator, curves: Curves, *, vowels: bool, growl: float = 0.0, breath_db: float = -30.0
) -> Samples:
    """Return the sound of ``curves``: partials under moving formants, breath, and hiss.

    ``growl`` is how deep every second period is weaker, 0 to 1; ``breath_db`` counts from the voice.
    """
    count = len(curves.pitch)
    pitch = curves.pitch + rng.uniform(0.0, 0.04) * wander(rng, count, 0.01)
    hz = 440.0 * 2.0 ** ((pitch - 69.0) / 12.0)
    turns = 2.0 * np.pi * np.cumsum(hz) / RATE_HZ
    voice = _partials(rng, hz, turns, curves, vowels=vowels)
    voice *= 1.0 + growl * np.sin(turns / 2.0)
    voice /= rms(voice)
    dull = lfilter([0.06], [1.0, -0.94], voice)
    closed = smooth(curves.closed, 0.006 * RATE_HZ)
    voice += closed * (dull / rms(dull) - voice)
    breath = lfilter([1.0, -0.8], [1.0], rng.standard_normal(count))
    level = smooth(curves.level, 0.002 * RATE_HZ)
    loudness = level * 10.0 ** (breath_db / 20.0) + smooth(curves.hiss, 0.004 * RATE_HZ)
    return np.asarray(voice * level + breath / rms(breath) * loudness)


def _partials(
    rng: np.random.Generator, hz: Samples, turns: Samples, curves: Curves, *, vowels: bool
) -> Samples:
    """Return the sum of partials whose gains follow formants, a tilt, and for hollow tones the odd ones."""
    table = (
        VOWELS * rng.uniform(0.85, 1.2)
        if vowels
        else np.tile(rng.uniform([300, 900, 2000], [900, 2000, 4000]), (5, 1))
    )
    rare = slice(None, None, CONTROL)
    vowel = curves.vowel[rare]
    formants = [gaussian_filter1d(table[vowel, i], 0.012 * RATE_HZ / CONTROL) for i in range(table.shape[1])]
    widths, tilt = rng.uniform(60.0, 300.0, len(formants)), rng.uniform(-1.8, -0.3)
    hollow = 0.0 if vowels else rng.choice([0.0, 0.0, 0.5, 0.9])
    once = np.exp(1j * turns).astype(np.complex64)
    turning, voice = once.copy(), np.zeros(len(hz))
    for k in range(1, PARTIALS + 1):
        partial_hz = k * hz[rare]
        if partial_hz.min() > TOP_HZ:
            break
        gain = 0.01 + sum(
            1.0 / (1.0 + ((partial_hz - f) / w) ** 2) for f, w in zip(formants, widths, strict=True)
        )
        gain *= (np.maximum(partial_hz, 50.0) / 200.0) ** tilt * (partial_hz < TOP_HZ)
        gain *= 1.0 - hollow * (k % 2 == 0)
        at_start = np.complex64(np.exp(1j * rng.uniform(0.0, 2.0 * np.pi)))
        voice += _fine(gain, CONTROL, len(hz)) * (turning * at_start).imag
        turning *= once
    return voice
