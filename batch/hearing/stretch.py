"""One stretch of sound, prepared so that any span of it can be asked for quickly."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d

from batch.hearing.contour import moments_of
from batch.hearing.features import FINE_EVERY, Floats, Frames
from batch.hearing.onsets import MEAN_FRAMES, Loudness, Strength
from batch.hearing.spans import Ints

QUIETEST_DB = -60.0  # against the playing level: anything below is as good as silence


@dataclass(frozen=True, slots=True)
class RunningSum:
    """Sums over time of (n, m) values, from which the mean of any frames comes in one step."""

    total: NDArray[np.float64]

    @classmethod
    def of(cls, values: Floats) -> "RunningSum":
        """Sum ``values`` (n, m)."""
        return cls(
            np.concatenate([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0, dtype=np.float64)])
        )

    def mean(self, start: Ints, end: Ints) -> NDArray[np.float64]:
        """Return (k, m) means over frames ``start`` to ``end`` (exclusive, each (k,)); at least one frame."""
        first, last = self._inside(start, end)
        return np.asarray((self.total[last] - self.total[first]) / (last - first)[:, None])

    def mean_at(self, start: Ints, end: Ints, column: Ints) -> NDArray[np.float64]:
        """Return (k,) means of one column each."""
        first, last = self._inside(start, end)
        return np.asarray((self.total[last, column] - self.total[first, column]) / (last - first))

    def _inside(self, start: Ints, end: Ints) -> tuple[Ints, Ints]:
        frames = len(self.total) - 1
        first = np.clip(start, 0, frames - 1)
        return first, np.clip(end, first + 1, frames)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Frames and everything derived from them that decisions about spans read.

    ``level_db`` (n,) counts from the playing level; ``salience`` (n, pitches) has the lags of
    a semitone joined; ``contour_sum`` sums ``contour.moments_of``.
    """

    frames: Frames
    salience: Floats
    level_db: Floats
    playing_db: float
    strength: Strength
    salience_sum: RunningSum
    bands_sum: RunningSum
    power_sum: RunningSum
    contour_sum: RunningSum
    partials_sum: RunningSum
    peak: Floats
    peak_regions: Floats
    mean_strength: Floats
    loudest_ahead: Floats
    loudest_behind: Floats
    quietest_near: Floats

    def __len__(self) -> int:
        return len(self.level_db)

    def mean_level_db(self, start: Ints, end: Ints) -> NDArray[np.float64]:
        """Return the RMS level of each span, dB against the playing level."""
        return np.asarray(10.0 * np.log10(self.power_sum.mean(start, end)[:, 0] + 1e-9))

    def partials_between(self, start: Ints, end: Ints) -> NDArray[np.float64]:
        """Return (k, semitones) the finer spectrum over each span, dB: windows centred in it, or the next."""
        first = (start + FINE_EVERY // 2) // FINE_EVERY
        return self.partials_sum.mean(first, (end + FINE_EVERY // 2) // FINE_EVERY)

    def pitch_between(self, start: Ints, end: Ints) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return (k,) mean and spread in semitones of the pitch where it sounds; NaN where it never does."""
        share, pitch, square = self.contour_sum.mean(start, end).T
        share = np.where(share > 0.0, share, np.nan)
        mean = pitch / share
        return mean, np.sqrt(np.maximum(square / share - mean**2, 0.0))


def prepared(
    frames: Frames, salience: Floats, contour: Floats, strength: Strength, loudness: Loudness
) -> Stretch:
    """Prepare the sums and running extremes of a stretch."""
    level = np.maximum(frames.level_db - np.float32(loudness.playing_db), np.float32(QUIETEST_DB))
    power = np.asarray(10.0 ** (level / 10.0), dtype=np.float32)
    near = 9  # frames, 52 ms: an onset and a change of pitch this close are one event
    return Stretch(
        frames=frames,
        salience=salience,
        level_db=level,
        playing_db=loudness.playing_db,
        strength=strength,
        salience_sum=RunningSum.of(salience),
        bands_sum=RunningSum.of(frames.bands_db),
        power_sum=RunningSum.of(power[:, None]),
        contour_sum=RunningSum.of(moments_of(contour)),
        partials_sum=RunningSum.of(frames.partials_db),
        peak=maximum_filter1d(strength.overall, near),
        peak_regions=maximum_filter1d(strength.regions, near, axis=0),
        mean_strength=uniform_filter1d(strength.overall, MEAN_FRAMES),
        loudest_ahead=maximum_filter1d(level, 12, origin=-6),  # 70 ms from here on
        loudest_behind=maximum_filter1d(level, 20, origin=9),  # 116 ms up to here
        quietest_near=minimum_filter1d(level, 12, origin=1),
    )
