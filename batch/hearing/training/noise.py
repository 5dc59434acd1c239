"""Noise, hum, and what a room adds: sound without a note, material for ``fit``."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve, lfilter

Samples = NDArray[np.float64]

RATE_HZ = 22_050  # what the ear works at


def nothing(rng: np.random.Generator, count: int) -> Samples:
    """Return noise of some colour, hum, or both; some of it comes and goes."""
    white = rng.standard_normal(count)
    pole, turn = rng.uniform(0.9, 0.98), rng.uniform(0.05, 2.0)
    colours = [
        pink(rng, count),
        lfilter([1.0], [1.0, -0.999], white),  # brown
        lfilter([1.0], [1.0, -2.0 * pole * np.cos(turn), pole**2], white),  # wind in a pipe
    ]
    noise = colours[rng.integers(len(colours))]
    share = rng.choice([0.0, 1.0, *10.0 ** (rng.uniform(-30.0, 30.0, 2) / 20.0)])
    sound = noise / rms(noise) + share * hum(rng, count)
    if rng.random() < 0.4:  # noqa: PLR2004  share
        sound *= 1.0 + 0.9 * np.sin(2.0 * np.pi * rng.uniform(0.1, 4.0) * np.arange(count) / RATE_HZ)
    return np.asarray(sound)


def hum(rng: np.random.Generator, count: int) -> Samples:
    """Return mains hum of 50 or 60 Hz (or its double) with some overtones, of unit level."""
    t = np.arange(count) / RATE_HZ
    mains_hz = float(rng.choice([50, 60, 100, 120]))
    sound = sum(
        rng.uniform(0.2, 1.0) * np.sin(2.0 * np.pi * k * mains_hz * t + k) / k
        for k in range(1, rng.integers(2, 12))
    )
    return np.asarray(sound / rms(np.asarray(sound)))


def pink(rng: np.random.Generator, count: int) -> Samples:
    """Return pink noise: white noise through a filter within 0.5 dB of 1/f (Paul Kellet)."""
    numerator = [0.049922035, -0.095993537, 0.050612699, -0.004408786]
    denominator = [1.0, -2.494956002, 2.017265875, -0.522189400]
    return np.asarray(lfilter(numerator, denominator, rng.standard_normal(count)))


def rms(samples: Samples) -> float:
    """Return the root mean square, never 0."""
    return float(np.sqrt(np.mean(samples**2)) + 1e-12)


def mixed(samples: Samples, other: Samples, level_db: float) -> Samples:
    """Return ``samples`` with ``other`` at ``level_db`` against what sounds of them."""
    sounding = samples[np.abs(samples) > 1e-3 * np.abs(samples).max()]
    return samples + other * rms(sounding) / rms(other) * 10.0 ** (level_db / 20.0)


def reverberant(rng: np.random.Generator, samples: Samples) -> Samples:
    """Return ``samples`` in a room: noise that dies away within 0.2 to 2 s, brighter or duller."""
    time_s = float(np.exp(rng.uniform(np.log(0.2), np.log(2.0))))
    count = int(time_s * RATE_HZ)
    room = rng.standard_normal(count) * np.exp(-6.9 * np.arange(count) / count)  # 60 dB
    dull = rng.uniform(0.0, 0.9)
    room = lfilter([1.0 - dull], [1.0, -dull], room)
    room = np.concatenate([np.zeros(int(rng.uniform(0.0, 0.02) * RATE_HZ)), room])
    wet_db = -rng.uniform(4.0, 14.0) - 3.0 * max(0.0, time_s - 1.0)
    return mixed(samples, fftconvolve(samples, room)[: len(samples)], wet_db)


def handling(rng: np.random.Generator, count: int) -> Samples:
    """Return keys, breaths and squeaking strings now and then, of unit level."""
    sound = np.zeros(count)
    often_s = rng.uniform(0.15, 2.0)
    at_s = rng.exponential(often_s)
    kind = rng.integers(3)
    while (start := int(at_s * RATE_HZ)) < count - RATE_HZ:
        length = int(rng.uniform([0.004, 0.08, 0.05][kind], [0.04, 0.5, 0.2][kind]) * RATE_HZ)
        t = np.linspace(0.0, 1.0, length)
        noise = rng.standard_normal(length)
        pole, turn = rng.uniform(0.8, 0.97), rng.uniform(0.1, 1.2)
        burst = lfilter([1.0], [1.0, -2.0 * pole * np.cos(turn), pole**2], noise)
        if kind == 2:  # noqa: PLR2004  a squeak glides
            hz = rng.uniform(800.0, 2_500.0) * 2.0 ** (rng.uniform(-1.0, 1.0) * t)
            burst = np.sin(2.0 * np.pi * np.cumsum(hz) / RATE_HZ) + noise
        shape = np.exp(-5.0 * t) if kind == 0 else np.sin(np.pi * t)
        sound[start : start + length] += burst / rms(burst) * shape * 10.0 ** (rng.normal(0.0, 4.0) / 20.0)
        at_s += 0.03 + rng.exponential(often_s)
    return sound / rms(sound)
