"""Pieces of sound to frames, ten milliseconds apart: how loud its bands and its pitch classes are."""

from functools import cache

import numpy as np
from scipy.ndimage import maximum_filter1d

from batch.beats.companion.pieces import AROUND, RATE_HZ, Floats, Piece

HOP = RATE_HZ // 100
FRAMES_A_S = 100
WINDOW = 1024
"""Samples of a frame, 43 ms: tells a bass drum from a bass, and blurs an attack by two frames."""
BANDS = 24
BAND_HZ = (40.0, 10_240.0)
"""Three bands an octave, about as wide as the ear's critical bands above 500 Hz."""
CLASS_WINDOW, CLASS_EVERY = 4096, 10
"""Samples in which pitches are told, 170 ms, and frames of which one is enough for that."""
CLASS_HZ = (100.0, 1600.0)
COLUMNS = BANDS + 12
"""Of a frame: levels of the bands, then of the pitch classes from A on, dB."""

INPUTS = 2 * BANDS + 12
"""Of a frame as the network reads it: levels, rises, pitch classes."""
REFERENCE = 5 * FRAMES_A_S
"""Frames to either side among which the loudest band is the reference: gain does not matter."""
RANGE_DB, RISE_DB, CLASS_DB = 60.0, 20.0, 20.0
QUIETEST_DB = -90.0
LAG = 2


def spectra_in(piece: Piece) -> Floats:
    """Return (frames, COLUMNS) of ``piece``, which is a whole number of frames long but at the end."""
    starts = AROUND + np.arange(0, piece.length, HOP)
    bands = _power(piece.samples, starts, WINDOW) @ _bands(WINDOW)
    seldom = _power(piece.samples, starts[::CLASS_EVERY], CLASS_WINDOW) @ _classes()
    classes = np.repeat(seldom, CLASS_EVERY, axis=0)[: len(starts)]
    return np.asarray(10 * np.log10(np.hstack([bands, classes]) + 1e-14), dtype=np.float32)


def _power(samples: Floats, centres: np.ndarray, window: int) -> Floats:
    frames = np.lib.stride_tricks.sliding_window_view(samples, window)[centres - window // 2]
    spectrum = np.fft.rfft(frames * np.hanning(window).astype(np.float32))
    return np.asarray((spectrum.real**2 + spectrum.imag**2) / (window / 4) ** 2, dtype=np.float32)


@cache
def _bands(window: int) -> Floats:
    """Return triangles (bins, BANDS) even on a logarithmic scale, a bin wide at least."""
    hz = np.arange(window // 2 + 1) * RATE_HZ / window
    centres = np.geomspace(*BAND_HZ, BANDS)
    reach = np.maximum(centres * (2 ** (1 / 3) - 1), RATE_HZ / window)
    return np.maximum(0.0, 1.0 - np.abs(hz[:, None] - centres) / reach).astype(np.float32)


@cache
def _classes() -> Floats:
    """Return (bins, 12), one where a bin belongs to a pitch class, A first."""
    hz = np.arange(CLASS_WINDOW // 2 + 1) * RATE_HZ / CLASS_WINDOW
    used = (hz > CLASS_HZ[0]) & (hz < CLASS_HZ[1])
    place = np.round(12 * np.log2(np.maximum(hz, 1.0) / 440.0)).astype(int) % 12
    return np.asarray(used[:, None] * (place[:, None] == np.arange(12)), dtype=np.float32)


def inputs_of(spectra: Floats) -> Floats:
    """Return (frames, INPUTS) of ``spectra`` (frames, COLUMNS), each about 0 to 1; gain does not matter."""
    bands, classes = spectra[:, :BANDS], spectra[:, BANDS:]
    loudest = maximum_filter1d(bands.max(axis=1), 2 * REFERENCE + 1, mode="nearest")
    reference = np.maximum(loudest, np.float32(QUIETEST_DB))[:, None]
    levels = np.clip((bands - reference) / RANGE_DB + 1.0, 0.0, 1.0)
    rises = np.zeros_like(levels)
    before = maximum_filter1d(levels, 3, axis=1)
    rises[LAG:] = np.clip((levels[LAG:] - before[:-LAG]) * (RANGE_DB / RISE_DB), 0.0, 1.0)
    heard = np.clip((classes - classes.max(axis=1, keepdims=True)) / CLASS_DB + 1.0, 0.0, 1.0)
    return np.asarray(np.hstack([levels, rises, heard * (levels.max(axis=1, keepdims=True) > 0)]), np.float32)
