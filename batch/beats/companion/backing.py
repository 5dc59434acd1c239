"""Activations to a pulse where the companion is a backing: a band, or part of one, that plays along."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.beats.companion.pieces import Floats
from batch.beats.companion.pointer import BPM_LIMITS, FELT_BPM, bars_in, beats_in
from batch.beats.companion.spectra import FRAMES_A_S
from batch.beats.pulse import Pulse
from batch.tempo import MeterChange

FEWEST = 8
"""Beats of a backing: two bars."""
USUAL_BARS = (4, 3)
"""Beats a bar where no meter is stated: others are seldom, and what is odd in a bar sounds like them."""
OTHER_LEVELS = (1 / 3, 1 / 2, 2 / 3, 1.0, 3 / 2, 2.0, 3.0)
"""Of the likeliest tempo: pulses that a band's strokes may stand for as well."""
WIDE = 0.25
"""How far a band may go from its tempo."""
CHOICE = (4.0, -0.61, -0.54, 1.26, 0.52, -0.6, 8.67)
"""Weights of ``signs_of`` in the log-odds of one level against the others. Fitted as a choice among levels
on 210 backings of the invented band, of which the network had seen 150."""
CONFIDENCE = (1.0, 1.22, 1.24, 0.27)
"""Constant and weights of how sure the choice is, how sure the network is on beats, and how clear bars are,
in the log-odds that F is 0.9: fitted on the same backings; the constant lowered by 0.4, as bands differ."""
MOST_SURE = 0.97
"""A backing is never surer than that (our choice)."""
SOFT = 0.02
"""Activation added before its logarithm is taken: less is nothing."""


@dataclass(frozen=True, slots=True)
class Heard:
    """Beats at one level: their frames (n,), numbers in the bar, beats a bar, and ``signs_of`` them."""

    frames: NDArray[np.float64]
    numbers: NDArray[np.int64]
    per_bar: int
    signs: tuple[float, ...]

    @property
    def worth(self) -> float:
        """Log-odds of this level, up to what all levels share."""
        return float(np.dot(CHOICE, self.signs))


def pulse_of_backing(
    activation: Floats, meter: tuple[int, int] | None, tempo_bpm: float | None
) -> Pulse | None:
    """Return the beats and bars in ``activation`` (n, 2), or None where there are none."""
    if len(activation) < FRAMES_A_S:
        return None
    per_bar = (MeterChange(0, *meter).beats_per_bar,) if meter else USUAL_BARS
    found = levels_of(activation, per_bar, tempo_bpm)
    if not found:
        return None
    best = max(found, key=lambda one: one.worth)
    beats_s = np.maximum(best.frames, 0.0) / FRAMES_A_S
    return Pulse(
        tuple(beats_s.tolist()), tuple(best.numbers.tolist()), best.per_bar, _confidence(best, found)
    )


def levels_of(activation: Floats, per_bar: tuple[int, ...], tempo_bpm: float | None) -> list[Heard]:
    """Return the beats and bars at every level that may be meant; the one stated where a tempo is."""
    return [_heard(activation, frames, per_bar) for frames in _levels(activation[:, 0], tempo_bpm)]


def _confidence(best: Heard, found: Sequence[Heard]) -> float:
    share = 1.0 / sum(math.exp(max(one.worth - best.worth, -30.0)) for one in found)
    choice = math.log((share + SOFT) / (1.0 - share + SOFT))
    odds = CONFIDENCE[0] + float(np.dot(CONFIDENCE[1:], (choice, best.signs[0], best.signs[-1])))
    return MOST_SURE / (1.0 + math.exp(-min(max(odds, -30.0), 30.0)))


def _levels(activation: Floats, tempo_bpm: float | None) -> Iterator[NDArray[np.float64]]:
    """Yield the frames of the beats at each level that may be meant."""
    frames = beats_in(activation, tempo_bpm)
    if len(frames) < FEWEST or tempo_bpm:
        if len(frames) >= FEWEST:
            yield frames
        return
    likeliest_bpm = 60 * FRAMES_A_S / float(np.median(np.diff(frames)))
    for level in OTHER_LEVELS:
        bpm = likeliest_bpm * level
        if not BPM_LIMITS[0] <= bpm <= BPM_LIMITS[1]:
            continue
        others = frames if level == 1.0 else beats_in(activation, bpm, WIDE)
        if len(others) >= FEWEST:
            yield others


def _heard(activation: Floats, frames: NDArray[np.float64], per_bar: tuple[int, ...]) -> Heard:
    numbers, count, clear = bars_in(activation[:, 1], frames, per_bar)
    return Heard(frames, numbers, count, (*signs_of(activation[:, 0], frames), clear))


def signs_of(activation: Floats, frames: NDArray[np.float64]) -> tuple[float, ...]:
    """Return what tells a true pulse from its half, its double, and a guess.

    Logarithms of the activation on beats, half way and at the thirds between them, and of the weaker
    of every other beat over the stronger; the tempo against 120 and its square, in octaves.
    """
    spans = np.diff(frames)
    on = _near(activation, frames)
    half = _near(activation, frames[:-1] + spans / 2)
    thirds = 0.5 * (
        _near(activation, frames[:-1] + spans / 3) + _near(activation, frames[:-1] + spans * 2 / 3)
    )
    odd, even = float(on[::2].mean()), float(on[1::2].mean())
    octaves = math.log2(60 * FRAMES_A_S / float(np.median(spans)) / FELT_BPM)
    weaker = math.log((min(odd, even) + SOFT) / (max(odd, even) + SOFT))
    logs = (math.log(float(values.mean()) + SOFT) for values in (on, half, thirds))
    return (*logs, weaker, octaves, octaves**2)


def _near(activation: Floats, frames: NDArray[np.float64]) -> Floats:
    """Return the highest activation within two frames of each of ``frames``."""
    near = np.round(frames).astype(int)[:, None] + np.arange(-2, 3)
    return np.asarray(activation[np.clip(near, 0, len(activation) - 1)].max(axis=1))
