"""Click tracks made for tests: every stroke's place is known to the sample.

Plain synthesis: damped tones and noise, as drum machines and metronomes make them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
Sound = NDArray[np.float64]

LEAD_IN_S = 0.35
TAIL_S = 1.0


@dataclass(frozen=True, slots=True)
class Clicked:
    """A click track (n,), where its beats are, and each beat's number in its bar."""

    samples: Samples
    rate_hz: int
    beats_s: NDArray[np.float64]
    beat_in_bar: NDArray[np.int64]

    @property
    def downbeats_s(self) -> NDArray[np.float64]:
        """When the first beat of each bar is."""
        return self.beats_s[self.beat_in_bar == 1]


def _damped(
    rate_hz: int, partials: Sequence[tuple[float, float]], ring_s: float, *, noise: float = 0.0
) -> Sound:
    """Return tones of (Hz, weight) that fall by 60 dB within ``ring_s``, with a burst of noise in front."""
    t = np.arange(int(ring_s * rate_hz)) / rate_hz
    sound = sum(weight * np.sin(2 * np.pi * hz * t + 0.7) for hz, weight in partials if hz < 0.45 * rate_hz)
    sound = (np.zeros(len(t)) + sound) * np.exp(-6.9 * t / ring_s)
    burst = np.random.default_rng(3).standard_normal(len(t)) * np.exp(-6.9 * t / min(ring_s, 0.02))
    return np.asarray(sound + noise * burst)


def _beep(rate_hz: int, hz: float) -> Sound:
    """Return a gated sine of 30 ms with edges of 1 ms."""
    t = np.arange(int(0.03 * rate_hz)) / rate_hz
    return np.sin(2 * np.pi * hz * t) * np.minimum(1.0, np.minimum(t, t[-1] - t) / 0.001)


def _hiss(rate_hz: int, ring_s: float) -> Sound:
    """Return bright noise that dies within ``ring_s``."""
    count = int(ring_s * rate_hz)
    noise = np.diff(np.random.default_rng(5).standard_normal(count + 1))
    return noise * np.exp(-6.9 * np.arange(count) / count)


SOUNDS: dict[str, Callable[[int, float], Sound]] = {  # each by rate and how much higher an accent is
    "beep": lambda rate, up: _beep(rate, 1000.0 * up),
    "high beep": lambda rate, up: _beep(rate, 1760.0 * up),
    "wood block": lambda rate, up: _damped(rate, [(870 * up, 1.0), (1390 * up, 0.5)], 0.09, noise=0.3),
    "rim": lambda rate, up: _damped(rate, [(480 * up, 0.6), (1720 * up, 1.0)], 0.05, noise=1.0),
    "cowbell": lambda rate, up: _damped(rate, [(540 * up, 1.0), (800 * up, 1.0), (1620 * up, 0.3)], 0.25),
    "hi-hat": lambda rate, up: _hiss(rate, 0.06 * up),
    "clave": lambda rate, up: _damped(rate, [(2450 * up, 1.0)], 0.07),
    "metronome": lambda rate, up: _damped(
        rate, [(1150 * up, 0.7), (2600 * up, 1.0), (4100 * up, 0.6)], 0.045, noise=0.8
    ),
}


@dataclass(frozen=True, slots=True)
class Plan:
    """How a click is laid out: which beats sound how, and what comes in between.

    ``accent`` says how beat 1 differs: "pitch", "level", "both", "lower", "none". ``parts`` are
    strokes to a beat, those within it ``softer_db``. ``heard`` are the beats of a bar that sound
    (none: all). ``silent_bars`` are left out. ``bend`` is the tempo over the file, (share, factor) pairs.
    """

    tempo_bpm: float = 120.0
    beats_per_bar: int = 4
    bars: int = 16
    sound: str = "beep"
    accent: str = "pitch"
    parts: int = 1
    softer_db: float = 8.0
    heard: tuple[int, ...] = ()
    silent_bars: tuple[int, ...] = ()
    bend: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    jitter_s: float = 0.0
    lead_in_s: float = LEAD_IN_S


def clicked(plan: Plan, rate_hz: int = 22_050, *, seed: int = 0) -> Clicked:
    """Return the click that ``plan`` lays out."""
    rng = np.random.default_rng(seed)
    beats_s, numbers = laid_out(plan)
    beats_s = beats_s + plan.jitter_s * rng.standard_normal(len(beats_s))
    samples = np.zeros(int((beats_s[-1] + TAIL_S) * rate_hz))
    spans = np.diff(beats_s, append=2 * beats_s[-1] - beats_s[-2])
    for at, (start_s, span_s) in enumerate(zip(beats_s, spans, strict=True)):
        silent = at // plan.beats_per_bar in plan.silent_bars
        if silent or (plan.heard and numbers[at] not in plan.heard):
            continue
        for part in range(plan.parts):
            stroke = _stroke(plan, rate_hz, accented=numbers[at] == 1 and part == 0, inner=part > 0)
            put(samples, stroke, start_s + part * span_s / plan.parts, rate_hz)
    return Clicked(as_sound(samples), rate_hz, beats_s, numbers)


def laid_out(plan: Plan) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return when the plan's beats are, on whole samples of none in particular, and their numbers."""
    count = plan.bars * plan.beats_per_bar
    shares, factors = np.array(plan.bend).T
    tempo = plan.tempo_bpm * np.interp(np.arange(count) / count, shares, factors)
    starts = plan.lead_in_s + np.concatenate([[0.0], np.cumsum(60.0 / tempo)[:-1]])
    return starts, np.arange(count) % plan.beats_per_bar + 1


def _stroke(plan: Plan, rate_hz: int, *, accented: bool, inner: bool) -> Sound:
    up = 1.0
    if accented:
        up = {"pitch": 1.5, "both": 1.5, "lower": 0.67}.get(plan.accent, 1.0)
    gain = 10 ** (-plan.softer_db / 20) if inner else 1.0
    if not accented and not inner and plan.accent in {"level", "both"}:
        gain = 0.5
    if inner and plan.accent in {"level", "both"}:
        gain *= 0.5
    return gain * SOUNDS[plan.sound](rate_hz, up)


def put(samples: Sound, sound: Sound, at_s: float, rate_hz: int) -> None:
    """Add ``sound`` to ``samples`` from ``at_s`` on, as far as there is room."""
    first = round(at_s * rate_hz)
    room = max(0, min(len(sound), len(samples) - first))
    samples[first : first + room] += sound[:room]


def as_sound(samples: Sound, peak: float = 0.5) -> Samples:
    """Return ``samples`` with their highest peak at ``peak``; silence stays."""
    highest = float(np.abs(samples).max(initial=0.0))
    return np.asarray(samples * (peak / highest if highest else 1.0), dtype=np.float32)


def noisy(click: Clicked, below_db: float, *, seed: int = 0) -> Clicked:
    """Return ``click`` under reddish noise, hum and a room, as a phone beside a metronome hears it.

    ``below_db`` is how far the noise is under the level of the loudest 10 ms.
    """
    rng = np.random.default_rng(seed)
    count = len(click.samples)
    tail = rng.standard_normal(int(0.35 * click.rate_hz)) * np.exp(
        -6.9 * np.arange(int(0.35 * click.rate_hz)) / (0.35 * click.rate_hz)
    )
    tail[: int(0.004 * click.rate_hz)] = 0.0
    size = 1 << (count + len(tail)).bit_length()
    roomy = np.fft.irfft(np.fft.rfft(click.samples, size) * np.fft.rfft(tail, size), size)[:count]
    dry = click.samples / np.abs(click.samples).max()
    sound = dry + roomy / np.abs(roomy).max() * 0.3
    white = rng.standard_normal(count)
    noise = np.convolve(white, 0.9 ** np.arange(40), mode="same") + 0.3 * white
    noise += np.sin(2 * np.pi * 50.0 * np.arange(count) / click.rate_hz)
    frame = click.rate_hz // 100
    loudest = np.sqrt((sound[: count // frame * frame].reshape(-1, frame) ** 2).mean(axis=1).max())
    noise *= loudest * 10 ** (-below_db / 20) / np.sqrt((noise**2).mean())
    return replace(click, samples=as_sound(sound + noise))


def spoken(rate_hz: int, at_s: Sequence[float], *, seed: int = 0) -> Sound:
    """Return vowels of a falling pitch with a hiss in front, a word at each of ``at_s``."""
    rng = np.random.default_rng(seed)
    sound = np.zeros(int((max(at_s) + 0.6) * rate_hz))
    for start_s in at_s:
        t = np.arange(int(rng.uniform(0.18, 0.3) * rate_hz)) / rate_hz
        phase = 2 * np.pi * np.cumsum(rng.uniform(110, 150) * (1.0 - 0.8 * t)) / rate_hz
        formant = rng.uniform(500, 900)
        vowel = sum(
            np.exp(-(((k * 125 - formant) / 400) ** 2)) * np.sin(k * phase) + 0.1 * np.sin(k * phase) / k
            for k in range(1, 24)
        )
        edge = np.minimum(1.0, np.minimum(t / 0.03, (t[-1] - t) / 0.06))
        put(sound, 0.3 * np.diff(rng.standard_normal(int(0.06 * rate_hz))) * 0.3, start_s, rate_hz)
        put(sound, vowel * edge * 0.3, start_s + rng.uniform(0.02, 0.06), rate_hz)
    return sound
