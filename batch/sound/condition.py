"""What is wrong with a recording that plays all the same: offset, clipping, too little level.

Measured while the take is read for the hearing, not in a pass of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from batch.sound.model import PLAIN, Floats, FullScale

OFFSET_FROM = 0.01
"""Constant offset that is told, of full scale: it eats headroom and clicks at every cut (our choice)."""
CLIPPED_RUN = 3
"""Samples in a row at full scale: one or two can be a loud take, brought to full scale exactly."""
CLIPPED_FROM = 10
"""Places; fewer are an accident that no listener hears (our choice)."""
FAINT_BELOW_DB = -55.0
"""Level of the loudest block, of full scale: the noise of a small recorder is near (our choice)."""
SILENT_BELOW_DB = -150.0
"""Less than the last bit of 24: silence, which is said where it is told why there are no phrases."""
MISSING_FROM_S = 1.0
"""Difference between stated and read length that is told, for formats that state it loosely."""

_TINY = 1e-20


@dataclass(frozen=True, slots=True)
class Condition:
    """The state of a take's recording, of the channels that were heard.

    ``offset`` is the greatest constant offset of a channel, -1..1; ``clipped`` counts the runs
    at full scale; ``level_db`` is the RMS level of the loudest block, offset aside.
    """

    read_s: float
    offset: float
    clipped: int
    level_db: float


class Meter:
    """Measures the blocks of one pass; starts afresh with the next."""

    def __init__(self) -> None:
        self.start(PLAIN, 1)

    def start(self, full_scale: FullScale, rate_hz: int) -> None:
        """Forget everything: a pass begins."""
        self._full_scale, self._rate_hz = full_scale, rate_hz
        self._frames, self._clipped = 0, 0
        self._sums: np.ndarray = np.zeros(1)
        self._loudest = 0.0

    def add(self, block: Floats) -> None:
        """Take in a block (n, channels) as it was recorded; n > 0."""
        sums = np.ones(len(block), np.float32) @ block
        means = sums / len(block)
        power = np.einsum("ij,ij->j", block, block) / len(block) - means**2
        self._frames += len(block)
        self._sums = self._sums + sums
        self._loudest = max(self._loudest, float(power.max()))
        if max(block.max(), -block.min()) >= self._full_scale.lowest:
            self._clipped += sum(_runs(channel, self._full_scale) for channel in block.T)

    def condition(self) -> Condition:
        """Return what the pass so far has shown."""
        offsets = self._sums / max(self._frames, 1)
        return Condition(
            read_s=self._frames / self._rate_hz,
            offset=float(offsets[np.argmax(np.abs(offsets))]),
            clipped=self._clipped,
            level_db=float(10 * np.log10(self._loudest + _TINY)),
        )


def _runs(samples: Floats, full_scale: FullScale) -> int:
    """Return how often at least CLIPPED_RUN samples in a row of one sign stand at full scale."""
    count = 0
    for side in (samples, -samples):
        pressed = (side >= full_scale.lowest) & (side <= full_scale.highest)
        edges = np.diff(np.concatenate([[0], pressed.astype(np.int8), [0]]))
        lengths = np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)
        count += int(np.count_nonzero(lengths >= CLIPPED_RUN))
    return count


def warnings_of(condition: Condition, stated_s: float, remarks: Sequence[str]) -> tuple[str, ...]:
    """Return what the player should know, in sentences: ``remarks`` first, then what was measured."""
    found = list(remarks)
    missing_s = stated_s - condition.read_s
    if missing_s >= MISSING_FROM_S:
        found.append(f"ends {missing_s:,.1f} s before its header says: copy it again if the end is missing")
    if SILENT_BELOW_DB <= condition.level_db < FAINT_BELOW_DB:
        found.append(
            f"nearly silent: the loudest part is at {condition.level_db:.0f} dB of full scale;"
            " record with more gain"
        )
    if condition.clipped >= CLIPPED_FROM:
        found.append(
            f"clipped in {condition.clipped:,} places: record with less gain; attacks there may be misheard"
        )
    if abs(condition.offset) >= OFFSET_FROM:
        found.append(
            f"a constant offset (DC) of {100 * condition.offset:+.1f} % of full scale, left out for the"
            " hearing: take it out in the recording program, or have the interface looked at"
        )
    return tuple(found)
