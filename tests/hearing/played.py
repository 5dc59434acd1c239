"""Lines played by plain synthesis, so that what was played is known exactly."""

from collections.abc import Callable, Sequence

import mir_eval
import numpy as np

from batch.hearing import Heard
from batch.hearing import hear as hear_blocks
from batch.model import Note

RATE = 22_050
Played = Sequence[tuple[float, float, float]]  # onset_s, offset_s, MIDI pitch
Tone = Callable[[float, float, int], np.ndarray]


def hz(midi):
    return 440.0 * 2.0 ** ((np.asarray(midi) - 69.0) / 12.0)


def harmonics(phase, weights, top_hz, pitch_hz):
    return sum(w * np.sin((k + 1) * phase) for k, w in enumerate(weights) if (k + 1) * pitch_hz < top_hz)


def plucked(midi: float, duration_s: float, rate: int = RATE) -> np.ndarray:
    """A string: bright at first, falling 30 dB a second and faster the higher the partial, then damped."""
    t = np.arange(int((duration_s + 0.04) * rate)) / rate
    f = float(hz(midi))
    partials = [
        np.exp(-t * (3.0 + 1.5 * k)) * np.sin(2 * np.pi * k * f * t + k) / k
        for k in range(1, 13)
        if k * f < 9_000
    ]
    return sum(partials) * np.minimum(t / 0.002, 1.0) * np.clip((duration_s + 0.03 - t) / 0.03, 0.0, 1.0)


def struck(midi: float, duration_s: float, rate: int = RATE) -> np.ndarray:
    """A piano's string: falls fast at first, then slowly (Weinreich 1977), damped in a tenth of a second."""
    t = np.arange(int((duration_s + 0.1) * rate)) / rate
    f = float(hz(midi))
    partials = [
        np.exp(-0.8 * k * t) * np.sin(2 * np.pi * k * f * t + k) / k**1.5
        for k in range(1, 13)
        if k * f < 9_000
    ]
    fall = 0.7 * np.exp(-6.0 * t) + 0.3 * np.exp(-1.8 * t)
    return sum(partials) * fall * np.minimum(t / 0.002, 1.0) * np.clip((duration_s + 0.1 - t) / 0.1, 0.0, 1.0)


def blown(midi: float, duration_s: float, rate: int = RATE) -> np.ndarray:
    """A reed: all partials, 15 ms attack, steady, 20 ms release."""
    t = np.arange(int((duration_s + 0.02) * rate)) / rate
    f = float(hz(midi))
    tone = harmonics(2 * np.pi * f * t, [1, 0.8, 0.9, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15, 0.1], 9_000, f)
    return tone * np.minimum(t / 0.015, 1.0) * np.clip((duration_s + 0.02 - t) / 0.02, 0.0, 1.0)


def hollow(midi: float, duration_s: float, rate: int = RATE) -> np.ndarray:
    """A clarinet's low register: odd partials only."""
    t = np.arange(int((duration_s + 0.02) * rate)) / rate
    f = float(hz(midi))
    tone = harmonics(2 * np.pi * f * t, [1, 0, 0.6, 0, 0.4, 0, 0.3, 0, 0.2], 9_000, f)
    return tone * np.minimum(t / 0.015, 1.0) * np.clip((duration_s + 0.02 - t) / 0.02, 0.0, 1.0)


def driven(midi: float, duration_s: float, rate: int = RATE) -> np.ndarray:
    """A string through a clipping amplifier."""
    return np.tanh(6.0 * plucked(midi, duration_s, rate))


def line(played: Played, tone: Tone, *, rate: int = RATE, tail_s: float = 0.5) -> np.ndarray:
    """Return the line as float32 samples peaking at 0.5."""
    out = np.zeros(int((max((off for _, off, _ in played), default=0.0) + tail_s) * rate))
    for onset, offset, midi in played:
        samples = tone(midi, offset - onset, rate)
        at = round(onset * rate)
        samples = samples[: len(out) - at]
        out[at : at + len(samples)] += samples
    return (0.5 * out / np.abs(out).max()).astype(np.float32)


def melody(
    seed: int, count: int = 60, *, shortest_s: float = 0.1, rest_share: float = 0.1
) -> list[tuple[float, float, float]]:
    """Return a random walk of notes like a solo's: eighths mostly, some held, some rests."""
    rng = np.random.default_rng(seed)
    played, t, midi = [], 0.4, 64
    for _ in range(count):
        length = float(rng.choice([1, 1, 1, 2, 3])) * shortest_s * rng.uniform(1.0, 1.5)
        played.append((t, t + 0.92 * length, float(midi)))
        t += length + (rng.uniform(0.3, 1.0) if rng.random() < rest_share else 0.0)
        midi = int(np.clip(midi + rng.choice([-7, -4, -3, -2, -1, 1, 2, 3, 4, 5]), 50, 82))
    return played


def hear_all(samples: np.ndarray, rate: int = RATE, block: int = 65_536, **kwargs) -> Heard:
    samples = np.asarray(samples, dtype=np.float32)
    return hear_blocks(
        lambda: (samples[at : at + block] for at in range(0, len(samples), block)), rate, **kwargs
    )


def hear(samples: np.ndarray, rate: int = RATE, block: int = 65_536, **kwargs) -> tuple[Note, ...]:
    return hear_all(samples, rate, block, **kwargs).notes


def as_played(notes: Sequence[Note]) -> list[tuple[float, float, float]]:
    return [(note.onset_s, note.offset_s, note.pitch_midi) for note in notes]


def note_f(played: Played, heard: Played, offset_ratio: float | None = None) -> float:
    """Return mir_eval's note F: onset within 50 ms, pitch within 50 cents."""
    if not heard:
        return 0.0
    truth, found = np.array(played, dtype=float), np.array(heard, dtype=float)
    return mir_eval.transcription.precision_recall_f1_overlap(
        truth[:, :2], hz(truth[:, 2]), found[:, :2], hz(found[:, 2]), offset_ratio=offset_ratio
    )[2]
