"""A time as people write it: clock, seconds, samples, timecode, or bars, beats and ticks."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from batch.bars import BarCounter
from batch.settings import FrameRate, TimeBase

_NTSC = Fraction(1000, 1001)
_DAY_HOURS = 24


@dataclass(frozen=True, slots=True)
class Frames:
    """How frames are counted: so many a second in name and in truth, and whether numbers are dropped."""

    nominal: int
    per_s: Fraction
    drops: bool = False


FRAMES: dict[FrameRate, Frames] = {
    "23.976": Frames(24, 24 * _NTSC),
    "24": Frames(24, Fraction(24)),
    "25": Frames(25, Fraction(25)),
    "29.97": Frames(30, 30 * _NTSC),
    "29.97 drop": Frames(30, 30 * _NTSC, drops=True),
    "30": Frames(30, Fraction(30)),
}

_DROPPED = 2
_FRAMES_A_MINUTE = 60 * 30 - _DROPPED
_FRAMES_IN_TEN = 10 * _FRAMES_A_MINUTE + _DROPPED
"""Drop-frame counting leaves out numbers 00 and 01 of every minute but each tenth (SMPTE ST 12-1)."""


@dataclass(frozen=True, slots=True)
class Ruler:
    """Writes the times of one take in a time base; None where that base does not know them.

    ``starts_at_s`` is the position of the take's start, ``timecode_s`` what the time code reads there.
    """

    base: TimeBase
    frame_rate: FrameRate
    sample_rate_hz: int | None
    bars: BarCounter | None
    starts_at_s: float = 0.0
    timecode_s: float = 0.0

    def __call__(self, time_s: float) -> str | int | float | None:
        """Return ``time_s``, seconds from the start of the take, as written."""
        position_s = self.starts_at_s + time_s
        write: dict[TimeBase, Callable[[], str | int | float | None]] = {
            "clock": lambda: clock(position_s),
            "seconds": lambda: position_s,
            "samples": lambda: sample(position_s, self.sample_rate_hz),
            "timecode": lambda: timecode(self.timecode_s + time_s, FRAMES[self.frame_rate]),
            "bars": lambda: self.bars.text(time_s) if self.bars else None,
        }
        return write[self.base]()


def clock(time_s: float) -> str:
    """Return a time as h:mm:ss.mmm, rounded to the nearest millisecond."""
    milliseconds = round(time_s * 1000)
    minutes, rest = divmod(milliseconds, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest // 1000:02}.{rest % 1000:03}"


def sample(time_s: float, rate_hz: int | None) -> int | None:
    """Return the nearest sample at ``rate_hz``, counted from 0."""
    return None if rate_hz is None else round(time_s * rate_hz)


def timecode(time_s: float, frames: Frames) -> str:
    """Return the nearest frame as hh:mm:ss:ff, with ``;`` before the frames where numbers are dropped.

    After a day it starts again. Counting at 23.976 and 29.97 without dropping falls behind
    the clock by 3.6 s an hour, as it should.

    References
    ----------
    .. [1] SMPTE ST 12-1:2014, "Time and Control Code", 5.2.2: drop-frame counting.
    """
    number = round(Fraction(time_s) * frames.per_s)
    if frames.drops:
        tens, rest = divmod(number, _FRAMES_IN_TEN)
        number += _DROPPED * (9 * tens + max(0, (rest - _DROPPED) // _FRAMES_A_MINUTE))
    seconds, frame = divmod(number, frames.nominal)
    minutes, second = divmod(seconds, 60)
    hours, minute = divmod(minutes, 60)
    mark = ";" if frames.drops else ":"
    return f"{hours % _DAY_HOURS:02}:{minute:02}:{second:02}{mark}{frame:02}"
