"""The frames' filter bank against another implementation."""

import librosa
import numpy as np

from batch.hearing.features import _band_kernel, band_of_hz
from batch.hearing.params import DEFAULTS


def test_bands_are_the_mel_filters_of_librosa():
    # Reference: librosa.filters.mel with the HTK scale; ours are scaled to unit sum.
    reference = librosa.filters.mel(
        sr=DEFAULTS.rate_hz,
        n_fft=DEFAULTS.flux_window,
        n_mels=DEFAULTS.bands,
        fmin=DEFAULTS.band_low_hz,
        fmax=DEFAULTS.band_high_hz,
        htk=True,
        norm=None,
    ).T
    reference = reference[:, reference.sum(axis=0) > 0]
    assert np.allclose(_band_kernel(DEFAULTS), reference / reference.sum(axis=0), atol=1e-5)


def test_a_frequency_lies_in_the_band_that_answers_it_most():
    kernel = _band_kernel(DEFAULTS)
    hz = np.arange(400.0, 9_000.0, 43.066)  # above 400 Hz every band spans more than one bin
    bins = np.round(hz * DEFAULTS.flux_window / DEFAULTS.rate_hz).astype(int)
    strongest = kernel[bins].argmax(axis=1)
    assert np.abs(band_of_hz(hz, kernel.shape[1], DEFAULTS) - strongest).max() <= 1
