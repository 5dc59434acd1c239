"""Sounds in which there is no line: whatever is heard of them is invented."""

import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

from batch.hearing.training.noise import RATE_HZ, hum, pink
from batch.hearing.training.speech import speech

from ..making.rooms import at_level, click
from ..making.takes import NO_NOTES, Made, Samples
from ..making.tones import STRING, Sound, edges, sounded

SECONDS = 20.0
COUNT = int(SECONDS * RATE_HZ)
OPEN_STRINGS = (40, 45, 50, 55, 59, 64)
SPOKEN = (
    "So this is the second take of the slow one, a little faster than before, and please do not rush"
    " the bridge. I will count four, then the bass starts alone for eight bars. If the door opens"
    " again we simply go on playing. Is everybody in tune? Good. Then let us try it once more."
)
ACCENTS = ("en-gb", "en-us+f3", "en-gb+m7")

Rng = np.random.Generator


def silence(rng: Rng) -> Sound:
    """Return nothing but the last bit of a converter."""
    return rng.integers(-1, 2, COUNT) / 32_768


def room_noise(rng: Rng) -> Sound:
    """Return a quiet room."""
    return at_level(pink(rng, COUNT), -55.0)


def mains_hum(rng: Rng) -> Sound:
    """Return an amplifier that nobody plays."""
    return at_level(hum(rng, COUNT), -35.0) + at_level(pink(rng, COUNT), -60.0)


def talk_synthesised(rng: Rng) -> Sound:
    """Return talk as the fit's material has it."""
    return at_level(speech(rng, COUNT), -25.0)


def talk(accent: str, rng: Rng) -> Sound:
    """Return a text spoken by espeak-ng."""
    with tempfile.TemporaryDirectory() as folder:
        wav = Path(folder, "talk.wav")
        subprocess.run(["espeak-ng", "-v", accent, "-w", str(wav), SPOKEN], check=True, capture_output=True)
        samples, rate = sf.read(wav)
    resampled = np.asarray(soxr.resample(samples, rate, RATE_HZ))
    return at_level(resampled, -25.0) + at_level(pink(rng, len(resampled)), -60.0)


def count_in(rng: Rng) -> Sound:
    """Return a click and a room."""
    return 0.3 * click(COUNT, rng.uniform(80.0, 180.0)) + at_level(pink(rng, COUNT), -60.0)


def tuning_up(rng: Rng) -> Sound:
    """Return open strings struck again and again, each turned up to its pitch meanwhile."""
    sound, at_s = at_level(pink(rng, COUNT), -60.0), 0.5
    for string in OPEN_STRINGS:
        for flat in (-0.6, -0.25, 0.0):
            count = int(1.6 * RATE_HZ)
            turned = np.linspace(flat, min(flat + 0.3, 0.0), count)
            first = int(at_s * RATE_HZ)
            tone = 0.1 * sounded(string + turned, edges(count, STRING), STRING)[: max(0, COUNT - first)]
            sound[first : first + len(tone)] += tone
            at_s += 1.0
    return sound


def without_notes(make: Callable[[Rng], Sound], seed: int) -> Made:
    """Return what ``make`` makes, and no notes."""
    samples: Samples = make(np.random.default_rng(seed)).astype(np.float32)
    return samples, NO_NOTES


SILENT: dict[str, Callable[[Rng], Sound]] = {
    "silence": silence,
    "room noise": room_noise,
    "amplifier hum": mains_hum,
    "speech, synthesised": talk_synthesised,
    "count-in clicks": count_in,
    "tuning up": tuning_up,
}


def can_talk() -> bool:
    """Return whether espeak-ng is there."""
    return shutil.which("espeak-ng") is not None
