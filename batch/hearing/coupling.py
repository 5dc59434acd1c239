"""Sound around zero: what a coupling capacitor does to a constant voltage.

One number for a whole take would do harm: the mean puts a voltage where digital silence was, the
median where a lopsided tone, as of a reed or a voice, has none.
"""

import math

import numpy as np

from batch.hearing.compiling import compiled, one_at_a_time
from batch.hearing.features import Floats

CORNER_HZ = 20.0  # an octave under the lowest pitch, which loses 1 dB (first-order high-pass filter)
STILL = 1e-12  # what is weaker is nothing: numbers near the smallest there are take ten times as long


def coupled(samples: Floats, rate_hz: int) -> Floats:
    """Return ``samples`` (n,) without what is constant, or slower than CORNER_HZ; silence stays silent."""
    out = np.empty(len(samples), np.float32)
    _high_pass(samples.astype(np.float32, copy=False), math.exp(-2.0 * math.pi * CORNER_HZ / rate_hz), out)
    return out


@compiled
def _high_pass(samples, pole, out):  # type: ignore[no-untyped-def]
    """Fill ``out``: the difference from sample to sample, and what is left of the sums before."""
    held = 0.0
    before = samples[0] if len(samples) else 0.0
    for t in range(len(samples)):
        held = pole * held + samples[t] - before
        if abs(held) < STILL:
            held = 0.0
        before = samples[t]
        out[t] = held


def compile_coupling() -> None:
    """Compile, or load what another process has compiled."""
    with one_at_a_time(_high_pass):
        coupled(np.zeros(1, np.float32), 1)
