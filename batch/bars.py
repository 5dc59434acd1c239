"""Bars and beats as people count them: which bar of a grid a time lies in, and how far into it."""

from bisect import bisect_right
from dataclasses import dataclass
from itertools import accumulate

from batch.model import Grid

TICKS_PER_BEAT = 960
"""As many as the marker file counts a quarter."""

_ON_LINE_S = 0.001
"""A bar that starts this little before the take starts with it: positions are told to this (our choice)."""


@dataclass(frozen=True, slots=True)
class BarCounter:
    """Counts the bars of a grid; ``bars`` has the number of the bar that each beat lies in."""

    beats_s: tuple[float, ...]
    beat_in_bar: tuple[int, ...]
    bars: tuple[int, ...]

    @classmethod
    def of(cls, grid: Grid, *, from_session: bool = True) -> "BarCounter":
        """Count as the grid does, or a session's bars from the first one that starts in the take."""
        later = (beat == 1 for beat in grid.beat_in_bar[1:])
        bars = tuple(accumulate(later, initial=grid.first_bar))
        if grid.spans_session and not from_session:
            beats = zip(grid.beats_s, grid.beat_in_bar, bars, strict=True)
            first = next((bar for time, beat, bar in beats if beat == 1 and time >= -_ON_LINE_S), bars[0])
            bars = tuple(bar - first + 1 for bar in bars)
        return cls(grid.beats_s, grid.beat_in_bar, bars)

    def bar_beat(self, time_s: float, steps: int) -> tuple[int, float]:
        """Return the bar and the fractional beat in it, from 1, to the nearest of ``steps`` a beat."""
        beats, last = self.beats_s, len(self.beats_s) - 1
        index = max(bisect_right(beats, time_s) - 1, 0)
        left = min(index, last - 1)
        part = round((time_s - beats[index]) / (beats[left + 1] - beats[left]) * steps) / steps
        if part >= 1 and index < last:
            index, part = index + 1, 0.0
        return self.bars[index], self.beat_in_bar[index] + part

    def text(self, time_s: float) -> str:
        """Return bar|beat|ticks of a felt beat."""
        bar, beat = self.bar_beat(time_s, TICKS_PER_BEAT)
        whole, part = divmod(round(beat * TICKS_PER_BEAT), TICKS_PER_BEAT)
        return f"{bar}|{whole}|{part:03}"
