"""The middle of a stereo mix: what both channels carry alike, less what is spread to the sides.

A mix of two channels holds all of the backing. Bin by bin of a short-time spectrum, what left and
right have in common in level and phase is kept, what differs is turned down.

References
----------
.. [1] Avendano, C. and Jot, J.-M. (2004). "A frequency-domain approach to multichannel
   upmix". J. Audio Eng. Soc. 52(7/8), 740-749.
"""

from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import chain

import numpy as np
from scipy import fft

from batch.sound.model import Floats

WINDOW_S = 0.046  # s: a note's partials apart, its attack still sharp (common practice, no source)
SHARPNESS = 2.0  # power of the similarity that is kept: what is half spread is down to a quarter
PAGE = 256  # frames transformed at once
TINY = 1e-12


def centred(blocks: Iterable[Floats], rate_hz: int) -> Iterator[Floats]:
    """Yield the middle of stereo ``blocks`` (n, 2) as mono (m,): as many samples in all, none late.

    Windows overlap by half; the root of a Hann window before and after makes them sum to one.
    """
    hop = hop_of(rate_hz)
    held, tail = np.zeros((hop, 2), np.float32), np.zeros(hop, np.float32)
    early, owed = hop, 0  # samples of the silence put in front; samples to give yet
    for block in chain(blocks, [None]):
        added = np.zeros((2 * hop, 2), np.float32) if block is None else block
        owed += 0 if block is None else len(block)
        held = np.concatenate([held, added])
        frames = max(0, len(held) // hop - 1)
        for at in range(0, frames, PAGE):
            until = min(at + PAGE, frames)
            made, tail = _middle(held[at * hop : (until + 1) * hop], tail)
            given = made[early:][:owed]
            early, owed = max(0, early - len(made)), owed - len(given)
            yield given
        held = held[frames * hop :]


def _middle(samples: Floats, tail: Floats) -> tuple[Floats, Floats]:
    """Return the middle of ``samples`` ((k + 1) hops, 2), complete but for its last hop, and that hop."""
    hop = len(tail)
    window = _window(2 * hop)
    views = np.lib.stride_tricks.sliding_window_view(samples, 2 * hop, axis=0)[::hop]
    left, right = (fft.rfft(views[:, side] * window) for side in (0, 1))
    common = left.real * right.real + left.imag * right.imag
    power = left.real**2 + left.imag**2 + right.real**2 + right.imag**2
    alike = np.maximum(2.0 * common / (power + np.float32(TINY)), 0.0) ** np.float32(SHARPNESS)
    pieces = fft.irfft(0.5 * alike * (left + right)) * window
    made = pieces[:, :hop]
    made[1:] += pieces[:-1, hop:]
    made[0] += tail
    return made.reshape(-1), pieces[-1, hop:]


@lru_cache(maxsize=4)
def _window(length: int) -> Floats:
    return np.sqrt(np.hanning(length + 1)[:-1]).astype(np.float32)


def hop_of(rate_hz: int) -> int:
    """Return the samples between two windows, half a window: a power of two."""
    return int(2 ** round(np.log2(WINDOW_S * rate_hz / 2.0)))
