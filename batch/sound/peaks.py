"""A recording's outline as a picture needs it: how loud each small stretch gets.

Measured while the take is read for the hearing, so that nobody who draws it reads the sound again.
"""

from base64 import b64encode

import numpy as np

from batch.model import Waveform
from batch.sound.model import Floats

BINS_PER_S = 100
"""Finer than a screen shows of a phrase: 2.5 s across 250 of its dots (our choice)."""
MOST_BINS = 1 << 17
"""Of a long take neighbouring bins are joined, so that its files stay small (our choice): at three hours
one is 0.16 s, a sixteenth of the median phrase."""
_STEPS = 255


class Peaks:
    """Takes in the blocks of one pass; starts afresh with the next."""

    def __init__(self) -> None:
        self.start(1)

    def start(self, rate_hz: int) -> None:
        """Forget everything: a pass begins."""
        self._rate_hz = rate_hz
        self._per_bin = max(1, round(rate_hz / BINS_PER_S))
        self._frames = 0
        self._open = 0.0
        self._bins: list[np.ndarray] = []

    def add(self, block: Floats) -> None:
        """Take in a block (n, channels); n > 0. The loudest channel counts."""
        begun = self._frames % self._per_bin
        starts = np.arange(-begun, len(block), self._per_bin).clip(min=0) * block.shape[1]
        flat = np.ascontiguousarray(block).reshape(-1)
        loudest = np.maximum(np.maximum.reduceat(flat, starts), -np.minimum.reduceat(flat, starts))
        if begun:
            loudest[0] = max(loudest[0], self._open)
        self._frames += len(block)
        is_open = self._frames % self._per_bin != 0
        self._open = float(loudest[-1]) if is_open else 0.0
        self._bins.append(loudest[: len(loudest) - is_open])

    def waveform(self) -> Waveform | None:
        """Return what the pass so far has shown; None if it held nothing."""
        if self._frames == 0:
            return None
        bins = np.concatenate([*self._bins, *([[self._open]] if self._frames % self._per_bin else [])])
        joined = 1
        while -(-len(bins) // joined) > MOST_BINS:
            joined *= 2
        bins = np.maximum.reduceat(bins, np.arange(0, len(bins), joined))
        highest = float(bins.max())
        steps = np.rint(bins * (_STEPS / highest) if highest > 0 else bins).astype(np.uint8)
        return Waveform(
            bin_frames=self._per_bin * joined,
            rate_hz=self._rate_hz,
            highest=highest,
            peaks=b64encode(steps.tobytes()).decode("ascii"),
        )
