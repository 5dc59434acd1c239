"""Samples to frames: pitch salience, band levels and overall level.

References
----------
.. [1] Tolonen, T. and Karjalainen, M. (2000). "A computationally efficient multipitch
   analysis model". IEEE Trans. Speech and Audio Processing 8(6), 708-716.
.. [2] Böck, S. and Widmer, G. (2013). "Maximum filter vibrato suppression for onset
   detection". Proc. DAFx-13.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from batch.hearing.params import HearingParams

Floats = NDArray[np.float32]

STEPS = 3  # lags a semitone: a vibrato between semitones still meets one within 17 cents
GUARD = 14 * STEPS  # lags above the highest pitch, where its function has its dip
PAGE = 1024  # frames transformed at once: bounds memory, fits the cache
TINY = 1e-10
LEVEL_FLOOR = 1e-7  # -140 dB
WINDOW_ACF_FLOOR = 0.15  # of the window's own autocorrelation: do not blow up the longest lags


@dataclass(frozen=True, slots=True)
class Frames:
    """Per frame: ``salience`` (n, pitches, STEPS), ``bands_db`` (n, bands), ``level_db`` (n,)."""

    salience: Floats
    bands_db: Floats
    level_db: Floats

    def __len__(self) -> int:
        return len(self.level_db)


@lru_cache(maxsize=4)
def _lag_kernel(params: HearingParams) -> tuple[slice, Floats, Floats]:
    """Return the spectrum's bins in use, the cosine kernel (bins, lags) and each lag's window correction."""
    size = 2 * params.pitch_window
    bins = np.arange(size // 2 + 1)
    hz = bins * params.rate_hz / size
    used = slice(
        int(np.searchsorted(hz, params.pitch_low_hz)), int(np.searchsorted(hz, params.pitch_high_hz))
    )
    lags = params.rate_hz / (440.0 * 2.0 ** ((_lag_midi(params) - 69.0) / 12.0))
    kernel = np.cos(2.0 * np.pi * bins[used, None] * lags / size)
    window_acf = fft.irfft(np.abs(fft.rfft(np.hanning(params.pitch_window), size)) ** 2)
    correction = np.interp(lags, np.arange(size // 2), window_acf[: size // 2] / window_acf[0])
    correction = np.maximum(correction, WINDOW_ACF_FLOOR) ** -0.75
    return used, kernel.astype(np.float32), correction.astype(np.float32)


def _lag_midi(params: HearingParams) -> NDArray[np.float64]:
    """Return the pitch of every lag, from a third below the lowest semitone upwards."""
    count = (params.highest_midi - params.lowest_midi + 1) * STEPS + GUARD
    return params.lowest_midi + (np.arange(count) - STEPS // 2) / STEPS


@lru_cache(maxsize=4)
def _band_kernel(params: HearingParams) -> Floats:
    """Return triangles (bins, bands), even on the mel scale, each of unit sum; empty ones left out."""
    edges_mel = np.linspace(_mel(params.band_low_hz), _mel(params.band_high_hz), params.bands + 2)
    edges = 700.0 * (10.0 ** (edges_mel / 2595.0) - 1.0)
    hz = np.arange(params.flux_window // 2 + 1)[:, None] * params.rate_hz / params.flux_window
    rising = (hz - edges[:-2]) / (edges[1:-1] - edges[:-2])
    falling = (edges[2:] - hz) / (edges[2:] - edges[1:-1])
    triangles = np.maximum(0.0, np.minimum(rising, falling))
    triangles = triangles[:, triangles.sum(axis=0) > 0.0]
    return np.asarray(triangles / triangles.sum(axis=0), dtype=np.float32)


def band_of_hz(hz: NDArray[np.floating], bands: int, params: HearingParams) -> NDArray[np.int64]:
    """Return which of ``bands`` columns lies at each of ``hz``; the outermost outside their range."""
    lowest, highest = _mel(params.band_low_hz), _mel(params.band_high_hz)
    step = (highest - lowest) / (params.bands + 1)
    left_out = params.bands - bands
    place = (2595.0 * np.log10(1.0 + hz / 700.0) - lowest) / step - 1.0 - left_out
    return np.clip(np.round(place), 0, bands - 1).astype(np.int64)


def _mel(hz: float) -> float:
    return float(2595.0 * np.log10(1.0 + hz / 700.0))


def _framed(samples: Floats, size: int, hop: int, count: int) -> Floats:
    """Return a view (count, size) whose row t is centred on sample ``t * hop``."""
    padded = np.pad(samples, (size // 2, size))
    return np.lib.stride_tricks.sliding_window_view(padded, size)[: count * hop : hop]


def _salience(frames: Floats, params: HearingParams) -> Floats:
    """Return how periodic each frame is at each lag, (n, lags), at most about 1.

    The autocorrelation of a compressed spectrum [1]_ (power to 3/4, which is cheap by square
    roots). A lag counts only after the function has dipped between it and zero: that rules
    out the main lobe, which low-passed noise has too.
    """
    used, kernel, correction = _lag_kernel(params)
    spectrum = fft.rfft(frames * np.hanning(params.pitch_window).astype(np.float32), 2 * params.pitch_window)[
        :, used
    ]
    root = np.sqrt(spectrum.real**2 + spectrum.imag**2)
    compressed = root * np.sqrt(root)
    energy = compressed.sum(axis=1, keepdims=True) + np.float32(TINY)
    periodic = compressed @ kernel / energy * correction
    dip = np.minimum.accumulate(periodic[:, ::-1], axis=1)[:, ::-1]
    periodic = np.where(dip < params.period_dip * periodic, periodic, np.minimum(periodic, 0.0))
    return np.asarray(periodic[:, :-GUARD], dtype=np.float32)


def _bands(frames: Floats, params: HearingParams) -> Floats:
    spectrum = fft.rfft(frames * np.hanning(params.flux_window).astype(np.float32))
    power = (spectrum.real**2 + spectrum.imag**2) @ _band_kernel(params)
    return np.asarray(10.0 * np.log10(power + np.float32(TINY)), dtype=np.float32)


def _level(frames: Floats) -> Floats:
    rms = np.sqrt(np.einsum("ij,ij->i", frames, frames) / frames.shape[1])
    return np.asarray(20.0 * np.log10(rms + LEVEL_FLOOR), dtype=np.float32)


def frames_of(samples: Floats, params: HearingParams) -> Frames:
    """Return the frames of ``samples`` (n,) at ``params.rate_hz``; frame t is centred on sample t * hop."""
    count = len(samples) // params.hop + 1
    views = [
        _framed(samples, size, params.hop, count)
        for size in (params.pitch_window, params.flux_window, params.level_window)
    ]
    pages = [
        (
            _salience(views[0][at : at + PAGE], params),
            _bands(views[1][at : at + PAGE], params),
            _level(views[2][at : at + PAGE]),
        )
        for at in range(0, count, PAGE)
    ]
    salience, bands, level = (np.concatenate(parts) for parts in zip(*pages, strict=True))
    return Frames(salience.reshape(count, -1, STEPS), bands, level)
