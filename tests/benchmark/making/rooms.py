"""What recording does to a sound: rooms, clicks, noises of playing, coding."""

import tempfile
from pathlib import Path

import numpy as np
import soxr
from scipy.signal import fftconvolve

from batch.hearing.training.noise import RATE_HZ, mixed, rms

from .takes import Line, Samples
from .tones import Sound

DIRECT_DB = 3.0  # of the direct sound over all that the room adds: a phone two steps away
DECAY = 6.9  # nepers: 60 dB


def in_room(rng: np.random.Generator, sound: Sound, rt60_s: float) -> Sound:
    """Return ``sound`` in a room that takes ``rt60_s`` to die by 60 dB."""
    count = int(rt60_s * RATE_HZ)
    tail = rng.standard_normal(count) * np.exp(-DECAY * np.arange(count) / count)
    tail[: int(0.003 * RATE_HZ)] = 0.0  # the walls are a metre off at least
    return mixed(sound, fftconvolve(sound, tail)[: len(sound)], -DIRECT_DB)


def click(count: int, tempo_bpm: float) -> Sound:
    """Return a click of 1 kHz, 30 ms long, a beat apart."""
    since = np.arange(count) % int(60.0 / tempo_bpm * RATE_HZ) / RATE_HZ
    return np.sin(2.0 * np.pi * 1000.0 * since) * np.exp(-since / 0.006) * (since < 0.03)


def knocks(rng: np.random.Generator, count: int, line: Line, share: float) -> Sound:
    """Return short broadband noises as keys and strings make, before the onsets and between them."""
    sound = np.zeros(count)
    places = np.concatenate([line[:, 0] - 0.03, line[:, 1] + rng.uniform(0.0, 0.3, len(line))])
    for at_s in places[rng.random(len(places)) < share]:
        first, length = int(at_s * RATE_HZ), int(rng.uniform(0.005, 0.03) * RATE_HZ)
        burst = rng.standard_normal(length) * np.exp(-4.0 * np.arange(length) / length)
        room = max(0, min(length, count - first))
        sound[first : first + room] += burst[:room]
    return sound


def breath(rng: np.random.Generator, sound: Sound) -> Sound:
    """Return noise that follows the level of ``sound``."""
    level = np.sqrt(fftconvolve(sound**2, np.full(441, 1.0 / 441), mode="same").clip(0.0))
    return np.diff(rng.standard_normal(len(sound) + 1)) * level


def coded(samples: Samples, ending: str, coding: str, bits_a_second: int) -> Samples:
    """Return ``samples`` as they come back from a lossy file, read as takemill reads a take."""
    from batch.sound import open_sound
    from tests.recording import write_media

    rate = 48_000
    raised = np.asarray(soxr.resample(samples, RATE_HZ, rate), dtype=np.float32)
    with tempfile.TemporaryDirectory() as folder:
        path = write_media(Path(folder, f"take{ending}"), [raised], coding, rate, bits_a_second=bits_a_second)
        sound = open_sound(path)
        heard = np.concatenate(list(sound.blocks()))
    mono = heard.reshape(len(heard), -1).mean(axis=1)
    return np.asarray(soxr.resample(mono, sound.rate_hz, RATE_HZ), dtype=np.float32)


def at_level(sound: Sound, level_db: float) -> Sound:
    """Return ``sound`` at ``level_db`` RMS below full scale."""
    return sound / rms(sound) * 10.0 ** (level_db / 20.0)
