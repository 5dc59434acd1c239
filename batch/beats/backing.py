"""Activations to a pulse where the companion is a backing: a band, or part of one, that plays along."""

import math

import numpy as np
from numpy.typing import NDArray

from batch.beats.pieces import Floats
from batch.beats.pointer import bars_in, beats_in
from batch.beats.pulse import Pulse
from batch.beats.spectra import FRAMES_A_S
from batch.tempo import MeterChange

FEWEST = 8
"""Beats of a backing: two bars."""
FEWEST_KNOWN = (2, 3, 4, 5, 6, 7)
"""Beats a bar that are looked for where no meter is stated."""
CONFIDENCE = (-3.0, 6.0, -3.0, -8.0)
"""Constant and weights of ``signs_of`` in the log-odds that a pulse is right."""
MOST_SURE = 0.97


def pulse_of_backing(
    activation: Floats, meter: tuple[int, int] | None, tempo_bpm: float | None
) -> Pulse | None:
    """Return the beats and bars in ``activation`` (n, 2), or None where there are none."""
    if len(activation) < FRAMES_A_S:
        return None
    frames = beats_in(activation[:, 0], tempo_bpm)
    if len(frames) < FEWEST:
        return None
    per_bar = (MeterChange(0, *meter).beats_per_bar,) if meter else FEWEST_KNOWN
    numbers, count, _ = bars_in(activation[:, 1], frames, per_bar)
    odds = CONFIDENCE[0] + float(np.dot(CONFIDENCE[1:], signs_of(activation[:, 0], frames)))
    confidence = MOST_SURE / (1.0 + math.exp(-np.clip(odds, -30.0, 30.0)))
    beats_s = np.maximum(frames, 0.0) / FRAMES_A_S
    return Pulse(tuple(beats_s.tolist()), tuple(numbers.tolist()), count, confidence)


def signs_of(activation: Floats, frames: NDArray[np.float64]) -> tuple[float, float, float]:
    """Return what tells a true pulse from a guess.

    How sure the network is on beats, how sure half way between them, and how uneven they are.
    """
    near = np.round(frames).astype(int)[:, None] + np.arange(-2, 3)
    middle = np.round((frames[:-1] + frames[1:]) / 2).astype(int)[:, None] + np.arange(-2, 3)
    last = len(activation) - 1
    on = activation[np.clip(near, 0, last)].max(axis=1)
    between = activation[np.clip(middle, 0, last)].max(axis=1)
    uneven = float(np.mean(np.abs(np.diff(np.log(np.diff(frames))))))
    return float(on.mean()), float(between.mean()), uneven
