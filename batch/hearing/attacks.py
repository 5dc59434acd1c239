"""Attacks: what starts at one moment to a listener's ear, be it one string or six."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.hearing.onsets import onset_rewards
from batch.hearing.params import HearingParams
from batch.hearing.stretch import Stretch
from batch.strums import STRUM_GAP_S, STRUM_LONGEST_S

Ints = NDArray[np.int64]

SLOW_STRUM_GAP_S = 0.1  # s, the same where chords are played: strings between may make no peak of their own
CLEAR = 0.35  # reward from which a peak is an attack: half-hidden ones are noise (rendered solos)
STRUCK_SHARE = 0.15  # of the strong attacks: partials that beat make weaker ones (rendered chords)
RIVAL = 0.26  # of an attack's strength: weaker ones soon after it do not end it (rendered chords)
STRONG = 95  # percentile over attacks that stands for the strong ones
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


def attacks_of(
    stretch: Stretch, params: HearingParams, gap_s: float = STRUM_GAP_S, *, struck_only: bool = False
) -> Attacks:
    """Return every attack of a stretch: peaks of the onset strength, those within ``gap_s`` joined.

    ``struck_only`` leaves out those far weaker than others, which do not end a strong one either.
    """
    frame_s = params.hop / params.rate_hz
    strength = stretch.strength.overall
    reward = onset_rewards(strength, params)
    peaks = np.flatnonzero((reward > CLEAR) & (stretch.loudest_ahead > QUIET_DB))
    if struck_only and len(peaks):
        peaks = peaks[strength[peaks] >= STRUCK_SHARE * np.percentile(strength[peaks], STRONG)]
    first: list[int] = []
    last: list[int] = []
    for peak in peaks.tolist():
        if first and peak - last[-1] <= gap_s / frame_s and peak - first[-1] <= STRUM_LONGEST_S / frame_s:
            last[-1] = peak
        else:
            first.append(peak)
            last.append(peak)
    starts = np.array(first, np.int64)
    following = np.append(starts[1:], len(stretch))
    if struck_only:
        height = np.array([strength[a : b + 1].max() for a, b in zip(first, last, strict=True)])
        following = _next_rivals(starts, height, len(stretch))
    return Attacks(starts, np.array(last, np.int64), following)


def _next_rivals(starts: Ints, height: NDArray[np.floating], end: int) -> Ints:
    """Return (n,) where the next attack starts that is not far weaker than each; ``end`` after the last."""
    following = np.full(len(starts), end, np.int64)
    waiting: list[int] = []
    for at, start in enumerate(starts.tolist()):
        while waiting and height[at] >= RIVAL * height[waiting[-1]]:
            following[waiting.pop()] = start
        waiting.append(at)
    return following
