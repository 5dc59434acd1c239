"""A recording's outline: the loudest sample of each hundredth of a second."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.model import Waveform
from batch.sound.peaks import BINS_PER_S, MOST_BINS, Peaks


def waveform_of(sound: np.ndarray, rate_hz: int, cuts: tuple[int, ...] = ()) -> Waveform | None:
    peaks = Peaks()
    peaks.start(rate_hz)
    for first, last in pairwise([0, *cuts, len(sound)]):
        if last > first:
            peaks.add(sound[first:last])
    return peaks.waveform()


def test_a_bin_is_as_loud_as_its_loudest_sample_on_either_side_of_zero():
    sound = np.zeros((300, 2), np.float32)
    sound[10, 0], sound[150, 1], sound[299, 0] = 0.5, -0.25, 0.125
    found = waveform_of(sound, 10_000)
    assert found is not None
    # By hand: bins of 100 samples; 255 is 0.5, so 0.25 is 127.5 and 0.125 is 63.75 of it.
    assert (found.bin_s, found.highest, list(found.levels)) == (0.01, 0.5, [255, 128, 64])


@given(
    st.integers(1, 3000), st.lists(st.integers(0, 3000), max_size=6), st.sampled_from([1, 50, 8000, 44_100])
)
def test_how_the_sound_is_cut_into_blocks_is_no_matter(length, cuts, rate_hz):
    sound = np.random.default_rng(length).uniform(-1, 1, (length, 2)).astype(np.float32)
    whole = waveform_of(sound, rate_hz)
    assert waveform_of(sound, rate_hz, tuple(sorted(min(cut, length) for cut in cuts))) == whole


def test_a_long_take_has_no_more_bins_than_are_kept_and_ends_where_it_ended():
    rate_hz, length = 100, MOST_BINS * 3
    sound = np.full((length, 1), 0.1, np.float32)
    sound[-1] = 1.0
    found = waveform_of(sound, rate_hz)
    assert found is not None
    assert MOST_BINS / 2 < len(found.levels) <= MOST_BINS
    assert found.levels[-1] == 255
    assert found.bin_s * (len(found.levels) - 1) < length / rate_hz <= found.bin_s * len(found.levels)
    assert found.bin_s >= 1 / BINS_PER_S


def test_silence_has_an_outline_and_nothing_has_none():
    silent = waveform_of(np.zeros((100, 1), np.float32), 1000)
    assert silent is not None
    assert (silent.highest, set(silent.levels)) == (0.0, {0})
    assert Peaks().waveform() is None


@pytest.mark.parametrize("peaks", ["A", "a ü", "<b>"])
def test_peaks_that_are_no_base64_are_refused(peaks):
    with pytest.raises(ValueError, match=r"base64|ASCII|padding"):
        Waveform(441, 44_100, 1.0, peaks)
