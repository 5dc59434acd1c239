"""The middle of a stereo mix: sounds placed here, what should remain known."""

import numpy as np
import pytest

from batch.sound.centre import centred, hop_of

RATE = 44_100
TIME = np.arange(3 * RATE) / RATE


def tones(*hz: float) -> np.ndarray:
    return np.asarray(0.1 * sum(np.sin(2 * np.pi * f * TIME) for f in hz), np.float32)


def middle_of(left: np.ndarray, right: np.ndarray, block: int = 30_000, rate: int = RATE) -> np.ndarray:
    both = np.stack([left, right], axis=1)
    return np.concatenate(list(centred((both[at : at + block] for at in range(0, len(both), block)), rate)))


def level_at(samples: np.ndarray, hz: float) -> float:
    """Return the amplitude at ``hz``, away from the ends (a correlation with sine and cosine)."""
    inner = slice(RATE // 2, -RATE // 2)
    return float(2 * np.abs(np.mean(samples[inner] * np.exp(-2j * np.pi * hz * TIME[: len(samples)][inner]))))


@pytest.mark.parametrize(
    ("length", "block"),
    [(length, 1) for length in (1, 500, 2048)]  # a longer one a sample at a time says no more
    + [(length, block) for length in (1, 500, 2048, 20_001) for block in (777, 30_000, 1_000_000)],
)
def test_what_is_alike_in_both_comes_out_as_it_was(length, block):
    sound = np.random.default_rng(length).normal(size=length).astype(np.float32)
    np.testing.assert_allclose(middle_of(sound, sound, block), sound, atol=1e-4)


def test_what_is_only_on_one_side_is_turned_down_and_the_middle_is_not():
    out = middle_of(tones(440) + tones(700, 1000), tones(440) + tones(1300))
    assert level_at(out, 440) == pytest.approx(0.1, rel=0.02)
    # The mix has half of each side (-6 dB); 30 dB less is left.
    assert all(level_at(out, hz) < 0.05 * 10 ** (-30 / 20) for hz in (700, 1000, 1300))


def test_opposite_channels_leave_nothing():
    assert np.abs(middle_of(tones(440), -tones(440))).max() < 1e-6


def test_nothing_comes_of_nothing():
    assert sum(map(len, centred([], RATE))) == 0


@pytest.mark.parametrize(("rate", "hop"), [(8_000, 256), (22_050, 512), (44_100, 1024), (192_000, 4096)])
def test_the_window_lasts_as_long_at_any_rate(rate, hop):
    assert hop_of(rate) == hop  # the power of two nearest in ratio to 23 ms: 184, 507, 1014, 4416 samples
