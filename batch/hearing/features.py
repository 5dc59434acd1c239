"""Samples to frames: pitch salience, band levels and overall level.

References
----------
.. [1] Tolonen, T. and Karjalainen, M. (2000). "A computationally efficient multipitch
   analysis model". IEEE Trans. Speech and Audio Processing 8(6), 708-716.
.. [2] Böck, S. and Widmer, G. (2013). "Maximum filter vibrato suppression for onset
   detection". Proc. DAFx-13.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft

from batch.hearing.params import HearingParams

Floats = NDArray[np.float32]

STEPS = 3  # lags a semitone: a vibrato between semitones still meets one within 17 cents
GUARD = 14 * STEPS  # lags above the highest pitch, where its function has its dip
PAGE = 1024  # frames transformed at once: bounds memory, fits the cache
TINY = 1e-10
FAINT = 1e-4  # of the peak, -80 dB: a tone as weak as that is half as periodic, what is weaker hardly at all
LEVEL_FLOOR = 1e-7  # -140 dB
WINDOW_ACF_FLOOR = 0.15  # of the window's own autocorrelation: do not blow up the longest lags
CORRECTED = 0.75  # power of that autocorrelation which is made up for: long lags are less sure
HALF = 2  # times: lags of all other notes are looked for at this fraction of the rate; it holds their band
SLOWER = 4  # times: lags of the lowest notes are looked for at this fraction of the rate
EVERY = 2  # frames of which one is enough for them: their window is twelve frames long
DULL_SHARE = 0.8  # of half the slower rate: above it its filter falls off
FINE_EVERY = 4  # frames of which one is enough for partials: their window is sixteen frames long
FINE_WINDOW = 512  # slower samples, 93 ms: tells partials 21 Hz apart
FINE_FFT = 1024  # bins 5 Hz apart, between which partials are read off
FINE_BELOW = 12  # semitones below the lowest pitch at which partials begin: where a wrong octave's would be
FINE_TOP_MIDI = 97  # exclusive; 2.1 kHz, as far as the slower samples go
FINE_REACH = 0.7  # semitones to either side that count as a semitone's own


@dataclass(frozen=True, slots=True)
class Frames:
    """Per frame: ``salience`` (n, pitches, STEPS), ``bands_db`` (n, bands), ``level_db`` (n,).

    ``partials_db`` (n / FINE_EVERY, semitones) is a finer spectrum, one column a semitone from
    FINE_BELOW under the lowest pitch on.
    """

    salience: Floats
    bands_db: Floats
    level_db: Floats
    partials_db: Floats

    def __len__(self) -> int:
        return len(self.level_db)


@dataclass(frozen=True, slots=True)
class Lags:
    """One window's way to salience: which pitches, in which part of which spectrum.

    ``kernel`` is (bins in use, lags), ``fading`` (lags,) the window's own autocorrelation,
    ``correction`` (lags,) what makes up for it.
    """

    taper: Floats
    used: slice
    kernel: Floats
    fading: Floats
    correction: Floats


@lru_cache(maxsize=4)
def _lags(params: HearingParams) -> tuple[Lags, Lags]:
    """Return the lags of the lowest notes, from a longer window of slower samples, and of all others."""
    low, middle, top = params.lowest_midi, params.long_below_midi, params.highest_midi + 1
    slow_hz = params.rate_hz / SLOWER
    low_band = (params.long_low_hz, DULL_SHARE * slow_hz / 2.0)
    band = (params.pitch_low_hz, params.pitch_high_hz)
    half_hz = params.rate_hz / HALF
    others = _lags_between(middle, top, half_hz, window=params.pitch_window // HALF, band_hz=band)
    lowest = _lags_between(low, middle, slow_hz, window=params.long_window // SLOWER, band_hz=low_band)
    left = float(others.fading[0]) ** (1.0 - CORRECTED)  # so that neighbours across the seam compare
    return (
        replace(lowest, correction=np.float32(left) / lowest.fading),
        replace(others, correction=np.maximum(others.fading, WINDOW_ACF_FLOOR) ** np.float32(-CORRECTED)),
    )


def _lags_between(
    low_midi: int, high_midi: int, rate_hz: float, *, window: int, band_hz: tuple[float, float]
) -> Lags:
    """Return the lags of ``low_midi`` to ``high_midi`` (exclusive), and GUARD above them, uncorrected."""
    size = 2 * window
    bins = np.arange(size // 2 + 1)
    used = slice(*np.searchsorted(bins * rate_hz / size, band_hz).tolist())
    midi = low_midi + (np.arange((high_midi - low_midi) * STEPS + GUARD) - STEPS // 2) / STEPS
    lags = rate_hz / (440.0 * 2.0 ** ((midi - 69.0) / 12.0))
    kernel = np.cos(2.0 * np.pi * bins[used, None] * lags / size).astype(np.float32)
    taper = np.hanning(window)
    window_acf = fft.irfft(np.abs(fft.rfft(taper, size)) ** 2)
    fading = np.interp(lags, np.arange(size // 2), window_acf[: size // 2] / window_acf[0]).astype(np.float32)
    return Lags(taper.astype(np.float32), used, kernel, fading, np.ones_like(fading))


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


def _salience(frames: Floats, lags: Lags, period_dip: float) -> Floats:
    """Return how periodic each frame is at each lag, (n, lags), at most about 1.

    The autocorrelation of a compressed spectrum [1]_ (power to 3/4, which is cheap by square
    roots). A lag counts only after the function has dipped between it and zero: that rules
    out the main lobe, which low-passed noise has too.
    """
    length = len(lags.taper)
    padded = np.zeros((len(frames), 2 * length), np.float32)
    np.multiply(frames, lags.taper, out=padded[:, :length])
    root = _power(fft.rfft(padded)[:, lags.used])
    np.sqrt(root, out=root)
    compressed = np.sqrt(root)
    compressed *= root
    periodic = compressed @ lags.kernel
    faint = np.float32((FAINT * lags.taper.sum()) ** 1.5)
    periodic /= compressed.sum(axis=1, keepdims=True) + faint
    periodic *= lags.correction
    dip = np.minimum.accumulate(periodic[:, ::-1], axis=1)[:, ::-1][:, :-GUARD]
    periodic = periodic[:, :-GUARD]
    return np.where(dip < np.float32(period_dip) * periodic, periodic, np.minimum(periodic, np.float32(0.0)))


def _power(spectrum: NDArray[np.complex64]) -> Floats:
    power = np.square(spectrum.real)
    power += np.square(spectrum.imag)
    return power


def _bands(frames: Floats, params: HearingParams) -> Floats:
    power = _power(fft.rfft(frames * np.hanning(params.flux_window).astype(np.float32)))
    return np.asarray(10.0 * np.log10(power @ _band_kernel(params) + np.float32(TINY)), dtype=np.float32)


@lru_cache(maxsize=4)
def _partial_kernel(params: HearingParams) -> Floats:
    """Return triangles (bins, semitones) about every semitone, at least a bin to either side, of unit sum."""
    midi = np.arange(params.lowest_midi - FINE_BELOW, FINE_TOP_MIDI)
    middle = 440.0 * 2.0 ** ((midi - 69.0) / 12.0)
    bin_hz = params.rate_hz / SLOWER / FINE_FFT
    reach = np.maximum(middle * (2.0 ** (FINE_REACH / 12.0) - 1.0), bin_hz)
    bins_hz = np.arange(FINE_FFT // 2 + 1)[:, None] * bin_hz
    triangles = np.maximum(0.0, 1.0 - np.abs(bins_hz - middle) / reach)
    return np.asarray(triangles / triangles.sum(axis=0), dtype=np.float32)


def _partials(frames: Floats, params: HearingParams) -> Floats:
    power = _power(fft.rfft(frames * np.hanning(FINE_WINDOW).astype(np.float32), FINE_FFT))
    return np.asarray(10.0 * np.log10(power @ _partial_kernel(params) + np.float32(TINY)), dtype=np.float32)


def _level(frames: Floats) -> Floats:
    rms = np.sqrt(np.einsum("ij,ij->i", frames, frames) / frames.shape[1])
    return np.asarray(20.0 * np.log10(rms + LEVEL_FLOOR), dtype=np.float32)


def frames_of(samples: Floats, params: HearingParams) -> Frames:
    """Return the frames of ``samples`` (n,) at ``params.rate_hz``; frame t is centred on sample t * hop."""
    count = len(samples) // params.hop + 1
    low, others = _lags(params)
    half = np.asarray(soxr.resample(samples, HALF, 1, quality="HQ"), dtype=np.float32)
    slow = np.asarray(soxr.resample(half, SLOWER // HALF, 1, quality="LQ"), dtype=np.float32)
    rare = count // EVERY + 1
    slowly = _framed(slow, len(low.taper), EVERY * params.hop // SLOWER, rare)
    fine = _framed(slow, FINE_WINDOW, FINE_EVERY * params.hop // SLOWER, count // FINE_EVERY + 1)
    pitched = _framed(half, params.pitch_window // HALF, params.hop // HALF, count)
    fluxed, levelled = (
        _framed(samples, size, params.hop, count) for size in (params.flux_window, params.level_window)
    )
    lowest = np.empty((rare, low.kernel.shape[1] - GUARD), np.float32)
    for page in _pages(rare):
        lowest[page] = _salience(slowly[page], low, params.period_dip)
    seam = lowest.shape[1]
    salience = np.empty((count, seam + others.kernel.shape[1] - GUARD), np.float32)
    salience[:, :seam] = np.repeat(lowest, EVERY, axis=0)[:count]
    bands = np.empty((count, _band_kernel(params).shape[1]), np.float32)
    level = np.empty(count, np.float32)
    for page in _pages(count):
        salience[page, seam:] = _salience(pitched[page], others, params.period_dip)
        bands[page] = _bands(fluxed[page], params)
        level[page] = _level(levelled[page])
    partials = np.concatenate([_partials(fine[page], params) for page in _pages(len(fine))])
    return Frames(salience.reshape(count, -1, STEPS), bands, level, partials)


def _pages(count: int) -> list[slice]:
    return [slice(at, at + PAGE) for at in range(0, count, PAGE)]
