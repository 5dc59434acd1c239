"""Attacks: what starts at one moment to a listener's ear, be it one string or six."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.hearing.onsets import onset_rewards
from batch.hearing.params import HearingParams
from batch.hearing.stretch import Stretch

Ints = NDArray[np.int64]

STRUM_GAP_S = (
    0.045  # s between the strings of a slow strum at most; a fast line's notes are 50 apart and more
)
SLOW_STRUM_GAP_S = 0.1  # s, the same where chords are played: strings between may make no peak of their own
STRUM_LONGEST_S = 0.16  # s from a slow strum's first string to its last (common practice, no source)
CLEAR = 0.35  # reward from which a peak is an attack: half-hidden ones are noise (rendered solos)
QUIET_DB = -15.0  # against the playing level: what is quieter hardly sounds beside the line


@dataclass(frozen=True, slots=True)
class Attacks:
    """Frames of each attack's ``first`` and ``last`` string and of the ``next`` attack, each (n,)."""

    first: Ints
    last: Ints
    next: Ints

    def __len__(self) -> int:
        return len(self.first)

    def only(self, which: NDArray[np.bool_]) -> "Attacks":
        """Return the attacks where ``which`` holds."""
        return Attacks(self.first[which], self.last[which], self.next[which])


def attacks_of(stretch: Stretch, params: HearingParams, gap_s: float = STRUM_GAP_S) -> Attacks:
    """Return every attack of a stretch: peaks of the onset strength, those within ``gap_s`` joined."""
    frame_s = params.hop / params.rate_hz
    reward = onset_rewards(stretch.strength.overall, params)
    peaks = np.flatnonzero((reward > CLEAR) & (stretch.loudest_ahead > QUIET_DB))
    first: list[int] = []
    last: list[int] = []
    for peak in peaks.tolist():
        if first and peak - last[-1] <= gap_s / frame_s and peak - first[-1] <= STRUM_LONGEST_S / frame_s:
            last[-1] = peak
        else:
            first.append(peak)
            last.append(peak)
    starts = np.array(first, np.int64)
    return Attacks(starts, np.array(last, np.int64), np.append(starts[1:], len(stretch)))
