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
    """Return ``samples`` in a room: noise that dies away within 0.2 to 1 s."""
    count = int(rng.uniform(0.2, 1.0) * RATE_HZ)
    room = rng.standard_normal(count) * np.exp(-6.9 * np.arange(count) / count)  # 60 dB
    return mixed(samples, fftconvolve(samples, room)[: len(samples)], -rng.uniform(4.0, 14.0))
