"""Pitch finer than a semitone, frame by frame: what tells a wobble from a step, and speech from song.

A held note with vibrato crosses semitones and comes back: its mean over one turn of the vibrato
stays. A new note's does not. Speech hardly ever stays.
"""

import numpy as np
from numpy.typing import NDArray

from batch.hearing.decode import GAP
from batch.hearing.features import STEPS, Floats
from batch.hearing.spans import Ints

REACH = 4  # lags to either side of a semitone's own in which its period is looked for: 133 cents
TURN = 31  # frames, 180 ms: one turn of a vibrato of 5.5 Hz
SETTLED = 3  # frames, 17 ms: by then the window has left the note before


def contour_of(salience: Floats, state: NDArray[np.int16]) -> Floats:
    """Return (n,) the pitch in semitone indices around each decoded state; NaN where silence is.

    ``salience`` is (n, pitches, STEPS).
    """
    contour = np.full(len(state), np.nan, np.float32)
    sounding = np.flatnonzero(state != GAP)
    contour[sounding] = refined(salience, sounding, state[sounding].astype(np.int64), REACH)
    return contour


def refined(salience: Floats, frames: Ints, pitch: Ints, reach: int) -> Floats:
    """Return (k,) where between lags ``salience`` (n, pitches, STEPS) peaks near ``pitch`` (k,).

    A parabola through the highest lag within ``reach`` and its neighbours, in ``frames`` (k,).
    """
    lags = salience.reshape(len(salience), salience.shape[1] * salience.shape[2])
    middle = pitch[:, None] * STEPS + STEPS // 2
    around = np.clip(middle + np.arange(-reach, reach + 1), 1, lags.shape[1] - 2)
    highest = lags[frames[:, None], around].argmax(axis=1)
    peak = around[np.arange(len(frames)), highest]
    left, top, right = (lags[frames, peak + step] for step in (-1, 0, 1))
    bend = np.minimum(left - 2.0 * top + right, np.float32(-1e-6))
    shift = np.clip(0.5 * (left - right) / bend, -0.5, 0.5)
    return np.asarray((peak + shift - STEPS // 2) / STEPS, dtype=np.float32)


def moments_of(contour: Floats) -> Floats:
    """Return (n, 3) whether a pitch sounds, the pitch and its square (0 in silence), to be summed."""
    sounds = np.isfinite(contour)
    pitch = np.where(sounds, contour, np.float32(0.0))
    return np.stack([sounds, pitch, pitch**2], axis=1).astype(np.float32)
