"""Somebody talking, by additive synthesis or a program: what must not be heard as a line.

Material for ``fit``.
"""

import subprocess
import tempfile
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

from batch.hearing.training.noise import RATE_HZ, Samples
from batch.hearing.training.synthesis import Curves, consonant, smooth, sounded, stressed

CONSONANTS = ["b", "d", "f", "g", "h", "k", "l", "m", "n", "p", "r", "s", "t", "v", "w", "y", "sh", "ch", ""]
VOWEL_LETTERS = ["a", "e", "i", "o", "u", "ee", "oo", "ai", "ou"]
SPEAKERS = ["en", "en-us", "de", "fr", "es", "it", "nl", "sv", "pl", "pt"]


def speech(rng: np.random.Generator, count: int) -> Samples:
    """Return somebody talking: syllables whose pitch never stays, hiss between them, pauses."""
    low = rng.uniform(42.0, 60.0)
    curves = Curves.of(count, low)
    at, pace = rng.uniform(0.1, 1.0), rng.uniform(3.0, 6.5)
    while at < count / RATE_HZ:
        for left in range(int(rng.integers(3, 14)), 0, -1):
            length_s = rng.uniform(0.6, 1.5) / pace
            syllable(rng, curves, at, length_s, low + 0.4 * left + rng.exponential(2.0))
            at += length_s
        at += rng.uniform(0.2, 1.5)
    curves.pitch = smooth(curves.pitch, 0.02 * RATE_HZ)
    return sounded(rng, curves, vowels=True, breath_db=-rng.uniform(18.0, 45.0))


def syllable(rng: np.random.Generator, curves: Curves, at_s: float, length_s: float, pitch: float) -> None:
    """Speak one syllable into ``curves``: up or down by some semitones, two vowels, a consonant before it."""
    span = slice(
        int(at_s * RATE_HZ), min(int((at_s + length_s * rng.uniform(0.5, 1.0)) * RATE_HZ), len(curves.pitch))
    )
    t = np.linspace(0.0, 1.0, max(span.stop - span.start, 0))
    if not len(t):
        return
    curves.pitch[span] = pitch + rng.normal(-1.0, 2.5) * t + rng.uniform(0.0, 2.0) * np.sin(np.pi * t)
    curves.level[span] = np.sin(np.pi * t) ** 0.5 * stressed(rng)
    curves.vowel[span] = np.where(t < rng.uniform(0.3, 0.9), rng.integers(5), rng.integers(5))
    if rng.random() < 0.7:  # noqa: PLR2004  share
        consonant(rng, curves, span.start)


def read_aloud(rng: np.random.Generator, count: int) -> Samples:
    """Return made-up words said by espeak-ng, which must be installed, in one of its voices."""
    words = ["".join(_syllables(rng)) for _ in range(count // RATE_HZ * 3)]
    text = " ".join(word + str(rng.choice(["", "", "", ",", ".", "?"])) for word in words)
    speaker = f"{rng.choice(SPEAKERS)}+{rng.choice(['m', 'f'])}{rng.integers(1, 5)}"
    voice = ["-v", speaker, "-s", str(rng.integers(110, 210)), "-p", str(rng.integers(20, 80))]
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder, "speech.wav")
        subprocess.run(["espeak-ng", *voice, "-w", str(wav), text], check=True, capture_output=True)
        samples, rate = sf.read(wav)
    said = np.asarray(soxr.resample(samples, rate, RATE_HZ))[:count]
    return np.pad(said, (0, count - len(said)))


def _syllables(rng: np.random.Generator) -> list[str]:
    return [str(rng.choice(CONSONANTS)) + str(rng.choice(VOWEL_LETTERS)) for _ in range(rng.integers(1, 4))]
