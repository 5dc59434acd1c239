"""Sound to strokes: where something is struck, to the millisecond, how loud it is and how it sounds."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from batch.beats.companion.pieces import AROUND, RATE_HZ, Floats, Piece

HOP = RATE_HZ // 500
"""Samples from frame to frame: two milliseconds."""
WINDOW = 256
"""Samples of a frame, 10.7 ms: shorter than most clicks (our choice)."""
BAND_EDGES = (2, 4, 6, 8, 10, 13, 16, 20, 25, 31, 38, 47, 58, 72, 89, 129)
"""First bins of the bands in which a rise is looked for, 94 Hz apart; mains hum lies below the first."""
LAG = (3, 8)
"""Frames back, from and to, against which a level counts as risen: just before the window, and 10 ms more."""
FLOOR_SHARE, FLOOR_OVER_DB = 50.0, 5.0
"""Percentile of a band's level in a piece that is its noise, and how far noise itself rises above (clicks in
reddish noise of our own)."""
RANGE_DB = 60.0
"""Below a piece's loudest band nothing rises."""
QUIETEST_DB = -115.0
"""Band level below which all is silence: the rounding noise of 16 bits lies there."""
MOST_RISE_DB = 40.0
BEST_BANDS = 2
"""Bands that rise most: their mean is the stroke's rise, so that a pure tone counts as well as noise."""
RISE_DB = 5.0
"""A stroke rises by this much at least (our choice: noise above its floor seldom does)."""
WHOLE_RISE_DB = 1.5
"""All bands together rise by this much at least: where a tone is cut off, some rise and the whole falls."""
APART = 12
"""Frames to either side of which a stroke rises most, 24 ms: two sticks at once are one stroke."""
LOUD_FRAMES = 12
"""Frames after the attack in which a stroke's level is measured."""
SPECTRUM_WINDOW = 1024
"""Samples after the attack in which its spectrum is, 43 ms: tells 1000 from 1060 Hz."""
SPECTRUM_BANDS = 36
SPECTRUM_HZ = (120.0, 11_000.0)
SPECTRUM_RANGE_DB = 30.0
LOW_HZ = 150.0
"""Below lies a bass drum; no click does (our choice)."""
BEFORE_S, AFTER_S = 0.008, 0.010
"""Around the coarse attack, where the exact one is looked for."""
BEGUN = 0.15
"""Share of a stroke's height above which it has begun, about where it is heard to start (our choice)."""
NOISE_TOPS = 1.6
"""Peak of the noise before an attack that is still noise, times."""


@dataclass(frozen=True, slots=True)
class Strokes:
    """Strokes in time: when (n,), rise and level in dB (n,), spectrum (n, bands) in dB, 0 to -30.

    ``low_share`` (n,) is how much of each one's power lies under 150 Hz.
    """

    times_s: NDArray[np.float64]
    rise_db: Floats
    level_db: Floats
    spectra_db: Floats
    low_share: Floats

    def __len__(self) -> int:
        return len(self.times_s)

    def only(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> "Strokes":
        """Return some of the strokes, by mask or by number."""
        return Strokes(
            self.times_s[which],
            self.rise_db[which],
            self.level_db[which],
            self.spectra_db[which],
            self.low_share[which],
        )


def joined(parts: Iterable[Strokes]) -> Strokes:
    """Return the strokes of all pieces as one."""
    empty = np.zeros(0, np.float32)
    listed = [Strokes(np.zeros(0), empty, empty, np.zeros((0, SPECTRUM_BANDS), np.float32), empty), *parts]
    whole = Strokes(
        np.concatenate([p.times_s for p in listed]),
        np.concatenate([p.rise_db for p in listed]),
        np.concatenate([p.level_db for p in listed]),
        np.concatenate([p.spectra_db for p in listed]),
        np.concatenate([p.low_share for p in listed]),
    )
    # Where two pieces meet, both may have found the same one.
    return whole.only(np.diff(whole.times_s, prepend=-np.inf) > APART * HOP / RATE_HZ)


def strokes_in(piece: Piece) -> Strokes:
    """Return the strokes whose attack lies in ``piece``, its surroundings left out."""
    levels_db = _levels_db(piece.samples)
    rise_db = _rise_db(levels_db)
    peaks = (rise_db == maximum_filter1d(rise_db, 2 * APART + 1)) & (rise_db >= RISE_DB)
    at = np.flatnonzero(peaks)
    at = at[(at * HOP >= AROUND) & (at * HOP < AROUND + piece.length)]
    if len(at):
        at = at[np.diff(at, prepend=-APART) > APART]  # equal heights: the first
    starts = np.array([_attack(piece.samples, int(frame) * HOP) for frame in at], dtype=np.int64)
    loud_db = 10 * np.log10(10 ** (levels_db / 10) @ np.ones(levels_db.shape[1]) + 1e-20)
    windows = at[:, None] + np.arange(LOUD_FRAMES)
    level_db = loud_db[np.minimum(windows, len(loud_db) - 1)].max(axis=1) if len(at) else np.zeros(0)
    spectra_db, low_share = _spectra_db(piece.samples, starts)
    times_s = (piece.first - AROUND + starts) / RATE_HZ
    return Strokes(times_s, rise_db[at], np.asarray(level_db, np.float32), spectra_db, low_share)


def _levels_db(samples: Floats) -> Floats:
    """Return (frames, bands) levels of frames centred every millisecond."""
    padded = np.pad(samples, (WINDOW // 2, WINDOW))
    count = len(samples) // HOP
    frames = np.lib.stride_tricks.sliding_window_view(padded, WINDOW)[: count * HOP : HOP]
    spectrum = np.fft.rfft(frames * np.hanning(WINDOW).astype(np.float32))
    power = (spectrum.real**2 + spectrum.imag**2) / (WINDOW / 2) ** 2
    edges = np.array(BAND_EDGES)
    bands = np.add.reduceat(power[:, : edges[-1]], edges[:-1], axis=1)
    return np.asarray(10 * np.log10(bands + 1e-20), dtype=np.float32)


def _rise_db(levels_db: Floats) -> Floats:
    """Return (frames,) how far the level has risen, in the bands where it rose most."""
    noise_db = np.percentile(levels_db, FLOOR_SHARE, axis=0) + FLOOR_OVER_DB
    floor_db = np.maximum(np.maximum(noise_db, levels_db.max() - RANGE_DB), QUIETEST_DB)
    held = np.maximum(levels_db, floor_db)
    nearest, furthest = LAG
    before = held[: len(held) - nearest]
    before = maximum_filter1d(before, furthest - nearest + 1, axis=0, origin=(furthest - nearest) // 2)
    rises = np.zeros_like(held)
    rises[nearest:] = np.clip(held[nearest:] - before, 0.0, MOST_RISE_DB)
    whole_db = 10 * np.log10((10 ** (held / 10)).sum(axis=1))
    risen = np.zeros(len(held), np.bool_)
    risen[nearest:] = whole_db[nearest:] > whole_db[: len(held) - nearest] + WHOLE_RISE_DB
    return np.asarray(np.sort(rises, axis=1)[:, -BEST_BANDS:].mean(axis=1) * risen, dtype=np.float32)


def _attack(samples: Floats, coarse: int) -> int:
    """Return the sample at which the stroke near sample ``coarse`` begins.

    In the differences from sample to sample, in which hum and rumble are faint.
    """
    first, last = coarse - int(BEFORE_S * RATE_HZ), coarse + int(AFTER_S * RATE_HZ)
    before = np.abs(np.diff(samples[max(0, first - int(0.012 * RATE_HZ)) : first]))
    near = np.abs(np.diff(samples[first:last]))
    noise = float(before.max(initial=0.0)) * NOISE_TOPS
    height = float(near.max(initial=0.0))
    over = np.flatnonzero(near > max(BEGUN * height, min(noise, 0.7 * height)))
    return first + int(over[0]) if len(over) else coarse


def _spectra_db(samples: Floats, starts: NDArray[np.int64]) -> tuple[Floats, Floats]:
    """Return what sounds after each attack, (n, bands) against its loudest, and the share under 150 Hz."""
    windows = np.minimum(starts[:, None] + np.arange(SPECTRUM_WINDOW), len(samples) - 1)
    taper = np.hanning(2 * SPECTRUM_WINDOW)[SPECTRUM_WINDOW:].astype(np.float32)
    spectrum = np.fft.rfft(samples[windows] * taper)
    power = spectrum.real**2 + spectrum.imag**2
    hz = np.arange(power.shape[1]) * RATE_HZ / SPECTRUM_WINDOW
    place = np.log(np.maximum(hz, 1.0) / SPECTRUM_HZ[0]) / np.log(SPECTRUM_HZ[1] / SPECTRUM_HZ[0])
    centres = np.arange(SPECTRUM_BANDS)
    triangles = np.maximum(0.0, 1.0 - np.abs(place[:, None] * (SPECTRUM_BANDS - 1) - centres))
    bands = 10 * np.log10(power @ triangles.astype(np.float32) + 1e-12)
    bands -= bands.max(axis=1, keepdims=True, initial=-120.0)
    low_share = power[:, hz < LOW_HZ].sum(axis=1) / (power.sum(axis=1) + 1e-12)
    return np.asarray(np.maximum(bands, -SPECTRUM_RANGE_DB), np.float32), np.asarray(low_share, np.float32)
