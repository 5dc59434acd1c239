"""Fit what tells talking from a line: ``python -m batch.hearing.training.fit_scene FOLDER...``.

Folders hold takes that ``material`` made: those with notes are the playing. Talking is made here:
``speech``, and a plain speech synthesiser (espeak-ng, a Debian package), in rooms and noise. Needs
scikit-learn and a few minutes. The weights that ship come from takes 0 to 399 of ``material``, less
those without notes, and 60 stretches of talking.
"""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import soundfile
import soxr

from batch.hearing.features import frames_of
from batch.hearing.line import candidate_spans
from batch.hearing.params import DEFAULTS
from batch.hearing.scene import around, row_sums
from batch.hearing.stretch import Stretch
from batch.hearing.training.fit import takes_in, write
from batch.hearing.training.logistic import logistic
from batch.hearing.training.noise import RATE_HZ, Samples, mixed, pink, reverberant, rms
from batch.hearing.training.speech import speech

TALKS = 60  # stretches of talking; of every three, one is by ``speech``
TALK_S = 20.0
VOICES = ["en-us", "en-gb+m3", "en-us+f2", "en+m7", "en-gb+f5", "en-us+klatt", "en+croak", "en-gb+Andy"]
VOICES += ["de", "fr", "es+f3", "it"]
SAID = (
    "Okay, let's try that one again from the top, a little slower this time.",
    "One, two, three, four.",
    "Are we rolling? Did you get the second chorus? I think I missed the turnaround.",
    "No, wait, hold on, my string is out of tune again, give me a second.",
    "Ha ha ha! Oh no! That was terrible!",
    "What time is it? We have to be out of here by ten, otherwise they charge us for another hour.",
)
INVERSE_PENALTY = 0.3  # scikit-learn's C
PER_TAKE = 60  # rows of each take that are used: neighbours tell the same


def said(rng: np.random.Generator, seconds: float) -> Samples:
    """Return somebody saying sentences with pauses between them."""
    voice, speed, pitch = str(rng.choice(VOICES)), int(rng.integers(120, 210)), int(rng.integers(25, 85))
    sound = np.zeros(int(rng.uniform(0.2, 1.0) * RATE_HZ))
    while len(sound) < seconds * RATE_HZ:
        with tempfile.NamedTemporaryFile(suffix=".wav") as wav:
            asked = ["-v", voice, "-s", str(speed), "-p", str(pitch), "-w", wav.name, str(rng.choice(SAID))]
            subprocess.run(["espeak-ng", *asked], check=True, capture_output=True)
            samples, rate_hz = soundfile.read(wav.name)
        pause = np.zeros(int(rng.uniform(0.2, 1.2) * RATE_HZ))
        sound = np.concatenate([sound, soxr.resample(samples, rate_hz, RATE_HZ), pause])
    return sound


def talks() -> Iterator[Stretch]:
    """Yield TALKS stretches of talking, the same ones every time."""
    for at in range(TALKS):
        rng = np.random.default_rng(at)
        sound = said(rng, TALK_S) if at % 3 else speech(rng, int(TALK_S * RATE_HZ))
        sound = reverberant(rng, sound) if rng.random() < 0.4 else sound  # noqa: PLR2004  share
        sound = mixed(sound / rms(sound), pink(rng, len(sound)), -rng.uniform(15.0, 50.0))
        frames = frames_of((sound / np.abs(sound).max()).astype(np.float32), DEFAULTS)
        yield candidate_spans(frames, DEFAULTS)[1]


def examples(stretch: Stretch, rng: np.random.Generator) -> np.ndarray:
    """Return (up to PER_TAKE, 2 * columns) the evidence of some rows in which something sounds."""
    sums, counts = row_sums(stretch)
    heard = np.flatnonzero(counts[:, 0] > 0)
    return around(sums, counts)[rng.permutation(heard)[:PER_TAKE]]


def main(folders: list[str]) -> None:
    """Fit and write the regression."""
    rng = np.random.default_rng(0)
    played = [examples(take.stretch, rng) for take in takes_in(map(Path, folders)) if len(take.notes)]
    talked = [examples(stretch, rng) for stretch in talks()]
    values = np.concatenate(played + talked)
    answers = np.repeat([0, 1], [sum(map(len, played)), sum(map(len, talked))])
    write("scene", logistic(values, answers, inverse_penalty=INVERSE_PENALTY))


if __name__ == "__main__":
    main(sys.argv[1:])
