"""What amplifiers, rooms, telephones and tape do to a line: material for ``fit``.

Plain textbook forms (Zölzer 2011, "DAFX: Digital Audio Effects"); how often and how far each is
turned up is common practice, no source.
"""

import io
from collections.abc import Callable

import av
import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, correlate, lfilter, sosfilt

from batch.hearing.training.noise import RATE_HZ, Samples, hum, mixed, pink, reverberant

Effect = Callable[[np.random.Generator, Samples], Samples]
CODECS = (("mp3", "libmp3lame"), ("adts", "aac"))  # container, encoder
CODEC_FRAME = 1152  # samples handed to an encoder at once
LATEST_CODEC = 4096  # samples a codec may delay by


def at_peak(samples: Samples, peak: float = 1.0) -> Samples:
    """Return ``samples`` peaking at ``peak``; silence stays silent."""
    return np.asarray(samples * (peak / max(float(np.abs(samples).max(initial=0.0)), 1e-9)))


def driven(rng: np.random.Generator, samples: Samples) -> Samples:
    """An amplifier driven 6 to 40 dB into a soft clip, and what its loudspeaker lets through."""
    pushed = np.tanh(at_peak(samples) * 10.0 ** (rng.uniform(6.0, 40.0) / 20.0) + rng.uniform(0.0, 0.2))
    sos = butter(
        2, [rng.uniform(60.0, 120.0), rng.uniform(2_500.0, 6_500.0)], "band", fs=RATE_HZ, output="sos"
    )
    return np.asarray(sosfilt(sos, pushed))


def compressed(rng: np.random.Generator, samples: Samples) -> Samples:
    """A compressor: 2 to 10 to 1 over 10 to 35 dB under the peak."""
    pole = np.exp(-1.0 / (rng.uniform(0.01, 0.08) * RATE_HZ))
    level = lfilter([1.0 - pole], [1.0, -pole], np.abs(at_peak(samples)))
    over = np.maximum(level / 10.0 ** (-rng.uniform(10.0, 35.0) / 20.0), 1.0)
    return np.asarray(samples * over ** (1.0 / rng.uniform(2.0, 10.0) - 1.0))


def chorused(rng: np.random.Generator, samples: Samples) -> Samples:
    """The line and itself some milliseconds later, to and fro."""
    t = np.arange(len(samples), dtype=float)
    late_s = rng.uniform(0.008, 0.025) + rng.uniform(0.0005, 0.003) * np.sin(
        2.0 * np.pi * rng.uniform(0.2, 2.0) * t / RATE_HZ
    )
    return np.asarray(samples + rng.uniform(0.3, 1.0) * np.interp(t - late_s * RATE_HZ, t, samples))


def trembling(rng: np.random.Generator, samples: Samples) -> Samples:
    """A tremolo."""
    turns = np.sin(2.0 * np.pi * rng.uniform(2.5, 8.0) * np.arange(len(samples)) / RATE_HZ)
    return np.asarray(samples * (1.0 - rng.uniform(0.1, 0.7) * 0.5 * (1.0 + turns)))


def echoing(rng: np.random.Generator, samples: Samples) -> Samples:
    """A delay: up to four echoes, the first 10 to 24 dB down."""
    late, out = int(rng.uniform(0.07, 0.5) * RATE_HZ), samples.copy()
    gain, again = 10.0 ** (-rng.uniform(10.0, 24.0) / 20.0), rng.uniform(0.1, 0.6)
    for at in range(1, 5):
        out[at * late :] += gain * again ** (at - 1) * samples[: len(samples) - at * late]
    return out


def tilted(rng: np.random.Generator, samples: Samples) -> Samples:
    """Brighter or duller by up to 12 dB about 0.3 to 3 kHz."""
    pole = np.exp(-2.0 * np.pi * np.exp(rng.uniform(np.log(300.0), np.log(3_000.0))) / RATE_HZ)
    low = lfilter([1.0 - pole], [1.0, -pole], samples)
    return np.asarray(low + (samples - low) * 10.0 ** (rng.uniform(-12.0, 12.0) / 20.0))


def through_a_telephone(rng: np.random.Generator, samples: Samples) -> Samples:
    """A narrow band."""
    band = [rng.uniform(80.0, 350.0), rng.uniform(2_800.0, 6_000.0)]
    return np.asarray(sosfilt(butter(3, band, "band", fs=RATE_HZ, output="sos"), samples))


def clipped(rng: np.random.Generator, samples: Samples) -> Samples:
    """An overloaded input: cut off at 20 to 80 % of the peak."""
    limit = rng.uniform(0.2, 0.8)
    return np.clip(at_peak(samples), -limit, limit)


def coded(rng: np.random.Generator, samples: Samples) -> Samples:
    """Through a lossy codec at 24 to 64 kbit/s and back, its delay taken out."""
    container, encoder = CODECS[rng.integers(len(CODECS))]
    sound = at_peak(samples, 0.8).astype(np.float32)
    file = _encoded(sound, container, encoder, int(rng.choice([24, 32, 48, 64])) * 1000)
    to_float = av.AudioResampler("fltp", "mono", RATE_HZ)
    with av.open(file, "r") as back:
        frames = [f for frame in back.decode(audio=0) for f in to_float.resample(frame)]
    heard = np.concatenate([frame.to_ndarray()[0] for frame in frames]).astype(float)
    heard = np.pad(heard, (0, max(0, len(samples) + LATEST_CODEC - len(heard))))
    return heard[_delay(samples, heard) :][: len(samples)]


def _encoded(sound: NDArray[np.float32], container: str, encoder: str, bit_rate: int) -> io.BytesIO:
    """Return ``sound`` as a file in memory."""
    file = io.BytesIO()
    with av.open(file, "w", format=container) as out:
        stream = out.add_stream(encoder, rate=RATE_HZ)
        assert isinstance(stream, av.AudioStream)  # what an audio encoder makes
        stream.layout = "mono"
        stream.bit_rate = bit_rate
        for at in range(0, len(sound), CODEC_FRAME):
            part = sound[None, at : at + CODEC_FRAME]
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
            frame.sample_rate = RATE_HZ
            frame.pts = at
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    file.seek(0)
    return file


def _delay(samples: Samples, heard: Samples) -> int:
    """Return how many samples later ``heard`` is, 0 to LATEST_CODEC."""
    near = correlate(heard[: len(samples)], samples, method="fft")[len(samples) - 1 :]
    return int(near[:LATEST_CODEC].argmax())


ELECTRIC: tuple[tuple[float, Effect], ...] = (
    (0.3, driven),
    (0.2, compressed),
    (0.15, chorused),
    (0.08, trembling),
)
ANY: tuple[tuple[float, Effect], ...] = ((0.1, compressed), (0.05, chorused), (0.06, echoing), (0.35, tilted))
RECORDED: tuple[tuple[float, Effect], ...] = (
    (0.25, reverberant),
    (0.06, through_a_telephone),
    (0.06, clipped),
    (0.06, coded),
)


def some_of(rng: np.random.Generator, samples: Samples, effects: tuple[tuple[float, Effect], ...]) -> Samples:
    """Return ``samples`` through each of ``effects`` (share of takes, effect), or not, as chance has it."""
    for share, effect in effects:
        if rng.random() < share:
            samples = effect(rng, samples)
    return samples


def as_recorded(rng: np.random.Generator, samples: Samples) -> Samples:
    """Return ``samples`` as a recording has them: a room, noise and hum at times, sometimes worse."""
    if rng.random() < 0.35:  # noqa: PLR2004  share
        samples = mixed(samples, pink(rng, len(samples)), -rng.uniform(24.0, 60.0))
    if rng.random() < 0.12:  # noqa: PLR2004  share
        samples = mixed(samples, hum(rng, len(samples)), -rng.uniform(26.0, 50.0))
    return some_of(rng, samples, RECORDED)
